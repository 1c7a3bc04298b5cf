//! `coupon` and `fit` as a shell sees them.

use std::fmt::Write;
use std::fs;

use headstall::board::builtin;
use headstall::study::fit::forward::{self, Coupon};

use crate::cli::{folder, headstall, ran, refused, text, write};
use crate::making::board_from;

fn made(dir: &tempfile::TempDir, board: &str) -> String {
    let place = dir.path().join("coupon.gcode").display().to_string();
    let out = ran(&["coupon", "--board", board, "--no-arcs", "-o", &place]);
    assert!(out.status.success(), "{}", text(&out.stderr));
    let said = text(&out.stdout);
    for word in [
        "hot end stays cold",
        "Clear the bed",
        "pinch",
        "power switch",
        "maker's manual",
        "section,seconds",
    ] {
        assert!(said.contains(word), "{word} is not said: {said}");
    }
    place
}

/// Times of the coupon on a built-in board, as CSV.
fn times(coupon: &str, board: &str, factor: f64) -> String {
    let coupon = Coupon::new(forward::steps(&fs::read(coupon).unwrap()[..]).unwrap());
    let took = coupon
        .replay(&board_from(builtin::text(board).unwrap(), &[]), 5)
        .unwrap();
    let mut text = "section,seconds,sigma_s\n".to_string();
    for (k, s) in took.sections_s.iter().enumerate() {
        let factor = if k == 3 { factor } else { 1.0 };
        let _ = writeln!(text, "{},{:.3},0.1", k + 1, s * factor);
    }
    text
}

#[test]
fn a_coupon_is_written_once_and_whole() {
    let dir = folder();
    let place = made(&dir, "8bit-serial-115200");
    let first = fs::read(&place).unwrap();
    let head = text(&first);
    assert!(head.starts_with("; Headstall coupon") && head.contains("hot end stays cold"));
    refused(
        &["coupon", "-o", &place],
        2,
        "exists; add --force to replace it",
    );
    assert_eq!(fs::read(&place).unwrap(), first);
    let out = ran(&["coupon", "--at=-30,10", "--force", "-o", &place]);
    assert!(out.status.success());
    assert!(text(&fs::read(&place).unwrap()).contains("G1 X-30.00 Y10.00"));
    let other = dir.path().join("x").display().to_string();
    refused(
        &["coupon", "--z", "1", "-o", &other],
        2,
        "--z 1: must be from 5 to 2000 mm",
    );
    refused(
        &["coupon", "--speed", "200", "-o", &other],
        2,
        "--speed 200: must be from 10 to 100 mm/s",
    );
    refused(
        &["coupon", "--board", "none", "-o", &other],
        2,
        "no such board",
    );
    refused(
        &["coupon", "-o", &format!("{other}/y/z")],
        2,
        "x/y does not exist; name a file in a folder that exists",
    );
    let board = write(&dir, "b.toml", builtin::text("8bit-card").unwrap());
    refused(
        &["coupon", "--board", &board, "--force", "-o", &board],
        2,
        "is the input; name another file",
    );
    assert!(
        !ran(&["coupon", "--at", "80", "-o", &other])
            .status
            .success()
    );
    assert!(!dir.path().join("x").exists());
}

#[test]
fn mistakes_end_with_2_and_leave_nothing() {
    let dir = folder();
    let coupon = made(&dir, "8bit-serial-115200");
    let board = "8bit-serial-115200";
    let good = write(&dir, "good.csv", &times(&coupon, board, 1.0));
    let out = dir.path().join("mine.toml").display().to_string();
    let fit = |times: &str, more: &[&str], why: &str| {
        let args = [&["fit", &coupon, times, "--board", board, "-o", &out], more].concat();
        refused(&args, 2, why);
        assert!(!dir.path().join("mine.toml").exists());
    };
    fit(
        &write(&dir, "a.csv", "section,seconds\n1,x\n"),
        &[],
        "a.csv:2: seconds = `x`",
    );
    fit(
        &write(&dir, "b.csv", "section,seconds\n1,2\n"),
        &[],
        "has times of 1 sections; at least 6",
    );
    fit("nowhere.csv", &[], "nowhere.csv: cannot be read");
    fit(&good, &["--times", "heard.csv"], "is no WAV file");
    fit(
        &good,
        &["--job", "nowhere.gcode"],
        "nowhere.gcode: cannot be read",
    );
    fit(
        &write(&dir, "c.wav", "RIFF....WAVE"),
        &[],
        "is not a WAV file that can be read",
    );
    fit(
        &good,
        &["--set", "save.when=off", "--set", "queue.blocks=0"],
        "queue.blocks",
    );
    refused(&["fit", &good, &good, "--board", board], 2, "print job");
    let plain = write(&dir, "plain.gcode", "G1 X5 F600\nG1 X6\n");
    refused(
        &["fit", &plain, &good],
        2,
        "has 0 sections between pauses of 2.5 s",
    );
    refused(
        &[
            "fit", &coupon, &good, "--board", board, "--force", "-o", &good,
        ],
        2,
        "is the input; name another file",
    );
    refused(
        &["fit", &coupon, &good, &good, "--board", board, "-o", &out],
        2,
        "two lists of times are compared",
    );
}

#[test]
fn two_lists_say_what_differs() {
    let dir = folder();
    let coupon = made(&dir, "8bit-serial-115200");
    let board = "8bit-serial-115200";
    let before = write(&dir, "before.csv", &times(&coupon, board, 1.0));
    let after = write(&dir, "after.csv", &times(&coupon, board, 1.2));
    let run = |args: &[&str]| text(&headstall().args(args).output().unwrap().stdout);
    let said = run(&["fit", &coupon, &before, &after, "--board", board]);
    assert!(
        said.contains("1 of 14 sections differ") && said.contains("Section 4 (chords of 0.02 mm)"),
        "{said}"
    );
    assert!(said.contains("how many short moves a second"), "{said}");
    let same = run(&["fit", &coupon, &before, &before, "--board", board]);
    assert!(same.contains("No significant difference"), "{same}");
    let json = run(&["fit", &coupon, &before, &after, "--board", board, "--json"]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["sections"].as_array().unwrap().len(), 14);
    assert_eq!(json["sections"][3]["differs"], true);
}

/// A WAV file of noise: read, and refused for what is in it.
#[test]
fn a_recording_that_holds_no_coupon_is_refused() {
    let dir = folder();
    let coupon = made(&dir, "8bit-serial-115200");
    let place = dir.path().join("noise.wav");
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(&place, spec).unwrap();
    let mut state = 1u32;
    for _ in 0..2 * 16_000 * 60 {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        wav.write_sample((state >> 20) as i16).unwrap();
    }
    wav.finalize().unwrap();
    let picture = dir.path().join("fit.svg").display().to_string();
    let place = place.display().to_string();
    let args = [
        "fit",
        &coupon,
        &place,
        "--board",
        "8bit-serial-115200",
        "--picture",
        &picture,
    ];
    refused(&args, 2, "noise.wav: ");
    let svg = fs::read_to_string(&picture).unwrap();
    assert!(
        svg.starts_with("<svg") && svg.contains("not taken"),
        "the picture shows what was heard"
    );
    roxmltree::Document::parse(&svg).unwrap();
}
