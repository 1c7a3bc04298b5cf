//! The command line, as a shell sees it.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use tempfile::TempDir;

const JOB: &str = "M83\nG1 Z0.2 F3000\nG1 X20 E1\nG1 Y20 E1\n";

pub fn headstall() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_headstall"));
    command.env_remove("NO_COLOR");
    command
}

pub fn ran(args: &[&str]) -> Output {
    headstall()
        .args(args)
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

pub fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

pub fn folder() -> TempDir {
    tempfile::tempdir().unwrap()
}

pub fn write(folder: &TempDir, name: &str, text: &str) -> String {
    let path = folder.path().join(name);
    fs::write(&path, text).unwrap();
    path.display().to_string()
}

/// A job that stutters: 2000 chords of 0.05 mm.
pub fn starving() -> String {
    let chords = (1..=2000).map(|k| format!("G1 X{:.2} E0.002\n", f64::from(k) * 0.05));
    format!("M83\nG1 Z0.2 F4800\n{}", chords.collect::<String>())
}

pub fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// What `replay --out` writes.
pub const PLAIN: [&str; 9] = [
    "bumps.csv",
    "map.svg",
    "part.svg",
    "queue.svg",
    "report.html",
    "speed.svg",
    "stalls.csv",
    "summary.json",
    "wall.svg",
];

/// That and one more, in order.
fn plain_and(more: &str) -> Vec<&str> {
    let mut names = [&PLAIN[..], &[more]].concat();
    names.sort_unstable();
    names
}

/// Exit code 2 (or another), one line on standard error that says `why`, nothing on standard output.
#[track_caller]
pub fn refused(args: &[&str], code: i32, why: &str) {
    let out = ran(args);
    let error = text(&out.stderr);
    assert_eq!(out.status.code(), Some(code), "{error}");
    assert!(error.contains(why), "{error}");
    assert_eq!(error.lines().count(), 1, "{error}");
    assert!(out.stdout.is_empty());
}

#[test]
fn answers_come_with_code_0() {
    let dir = folder();
    let job = write(&dir, "corner.gcode", JOB);
    let out = ran(&["replay", &job, "--board", "32bit-card"]);
    assert_eq!(out.status.code(), Some(0));
    let shown = text(&out.stdout);
    assert!(shown.starts_with("No stutter"), "{shown}");
    assert!(!shown.contains('\u{1b}'), "no colour in a pipe");
    let starved = write(&dir, "starved.gcode", &starving());
    for board in ["8bit-card", "8bit-serial-115200", "32bit-usb"] {
        let out = ran(&["replay", &starved, "--board", board]);
        assert_eq!(out.status.code(), Some(0));
        let shown = text(&out.stdout);
        let commands = |l: &&str| !l.trim_start().starts_with("headstall replay");
        for line in shown.lines().filter(commands) {
            assert!(line.chars().count() <= 80, "{line}");
        }
    }
}

#[test]
fn unusable_arguments_boards_and_jobs_get_code_2() {
    let dir = folder();
    let job = write(&dir, "corner.gcode", JOB);
    refused(
        &["replay", "no-such.gcode"],
        2,
        "no-such.gcode: cannot be read",
    );
    refused(
        &["replay", &dir.path().display().to_string()],
        2,
        "is a folder",
    );
    refused(&["replay", &job, "--board", "no-such"], 2, "8bit-card");
    refused(
        &["replay", &job, "--board", "no-such.toml"],
        2,
        "no-such.toml",
    );
    refused(&["boards", "no-such"], 2, "there is no such board");
    refused(
        &["replay", &job, "--set", "queue.blocks=1"],
        2,
        "must be a whole number from 2",
    );
    refused(
        &["replay", &job, "--set", "queue.bloks=4"],
        2,
        "queue.bloks",
    );
    refused(
        &["replay", &job, "--layer", "7"],
        2,
        "the job has layers 0 to 0",
    );
    refused(&["replay", &write(&dir, "empty.gcode", "")], 2, "is empty");
    refused(
        &["replay", &write(&dir, "far.gcode", "G1 X9999999\n")],
        2,
        "line 1",
    );
    let board = write(&dir, "bad.toml", "name = \"b\"\n[link]\nkind = \"tape\"\n");
    refused(&["replay", &job, "--board", &board], 2, "bad.toml");
    for args in [
        &["replay"][..],
        &["replay", &job, "--seed", "x"],
        &["replay", &job, "--blocks"],
        &["print"],
    ] {
        let out = ran(args);
        assert_eq!(out.status.code(), Some(2), "{args:?}");
        assert!(out.stdout.is_empty() && !out.stderr.is_empty());
    }
}

#[test]
fn too_many_stalls_get_code_3() {
    let dir = folder();
    let job = write(&dir, "starved.gcode", &starving());
    let code = |most: &str| ran(&["replay", &job, "--max-stalls", most]).status.code();
    assert_eq!(code("0"), Some(3));
    assert_eq!(code("100000"), Some(0));
}

/// What is not worked out cannot pass.
#[test]
fn bumps_that_are_unknown_cannot_be_bounded() {
    let dir = folder();
    let job = write(&dir, "starved.gcode", &starving());
    let out = ran(&["replay", &job, "--max-bumps", "0", "--quick"]);
    assert_eq!(out.status.code(), Some(2));
    assert!(out.stdout.is_empty());
}

/// A job whose only stalls are on moves that print nothing needs no cure.
#[test]
fn what_nobody_sees_gets_no_advice() {
    let dir = folder();
    // The stop parts the travel from what is printed: the head would brake there anyway.
    let mut job = "M83\nG1 F6000 Z0.2\n".to_string();
    job += &"G1 X200 E9\nG1 X20 E9\n".repeat(20);
    job += "G4 P0\n";
    for k in 0..400 {
        job += &format!(
            "G1 X{} Y{}\n",
            20.0 + 0.05 * f64::from(k),
            0.05 * f64::from(k % 2)
        );
    }
    let job = write(&dir, "travel.gcode", &job);
    let out = ran(&[
        "replay",
        &job,
        "--board",
        "8bit-card",
        "--set",
        "queue.blocks=4",
    ]);
    let shown = text(&out.stdout);
    // What oozes on the way lies on no wall.
    assert!(
        shown.starts_with("Stutters that nobody will see: "),
        "{shown}"
    );
    assert!(!shown.contains("try next"), "{shown}");
}

/// Of a stream with more stalls than are held, bumps are counted like those of the file.
#[test]
fn many_stalls_from_standard_input() {
    let mut job = String::from("M83\nG1 F6000 Z0.2\n");
    for k in 0..15_100 {
        let y = f64::from(k % 100);
        job += &format!("G1 X1 Y{y} E0.01\nG1 X2 E0.05\nG4\n");
    }
    let dir = folder();
    let path = write(&dir, "many.gcode", &job);
    let told = |source: &str| {
        let set = ["--set", "loop.block_us=90000", "--set", "queue.blocks=2"];
        let out = headstall()
            .args(["replay", source, "--json"])
            .args(set)
            .stdin(std::fs::File::open(&path).unwrap())
            .output()
            .unwrap();
        assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
        serde_json::from_slice::<serde_json::Value>(&out.stdout).unwrap()
    };
    let (file, stream) = (told(&path), told("-"));
    assert!(file["stalls"].as_u64().unwrap() > 15_000, "{file}");
    assert_eq!(file["stalls"], stream["stalls"]);
    assert!(
        file["surfaces"].is_object() && stream["surfaces"].is_null(),
        "{file}"
    );
    // Bumps are counted however many there are.
    assert!(file["visible_bumps"].is_u64(), "{file}");
    assert_eq!(file["visible_bumps"], stream["visible_bumps"]);
    assert_eq!(file["largest_bump_mm"], stream["largest_bump_mm"]);
    assert_eq!(file["level"], stream["level"]);
}

#[test]
fn standard_input_is_a_job_too() {
    let mut child = headstall()
        .args(["replay", "-", "--json"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child
        .stdin
        .take()
        .unwrap()
        .write_all(JOB.as_bytes())
        .unwrap();
    let out = child.wait_with_output().unwrap();
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    let summary: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(summary["job"], "standard input");
    for key in [
        "job",
        "board",
        "seed",
        "lines",
        "blocks",
        "layers",
        "ideal_s",
        "replay_s",
        "start_up_s",
        "lost_s",
        "stalls",
        "dwells",
        "dips",
        "drags",
        "by_cause",
        "warnings",
    ] {
        assert!(!summary[key].is_null(), "{key}");
    }
    assert_eq!(summary["by_cause"].as_object().unwrap().len(), 6);
    assert!(out.stderr.is_empty());
}

#[test]
fn a_closed_pipe_is_no_failure() {
    let dir = folder();
    let job = write(&dir, "starved.gcode", &starving());
    let mut child = headstall()
        .args(["replay", &job])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let out = child.wait_with_output().unwrap();
    assert_eq!(out.status.code(), Some(0));
    assert!(out.stderr.is_empty(), "{}", text(&out.stderr));
}

#[test]
fn results_are_all_or_nothing() {
    let dir = folder();
    let job = write(&dir, "starved.gcode", &starving());
    let out_dir: PathBuf = dir.path().join("a/b");
    let out = out_dir.display().to_string();
    let done = ran(&["replay", &job, "--out", &out, "--blocks"]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    assert_eq!(names(&out_dir), plain_and("blocks.csv"));
    assert_eq!(
        fs::read_to_string(out_dir.join("blocks.csv"))
            .unwrap()
            .lines()
            .count(),
        2002
    );
    // Again, without blocks: what is stale goes, what is foreign stays.
    fs::write(out_dir.join("notes.txt"), "mine").unwrap();
    assert_eq!(ran(&["replay", &job, "--out", &out]).status.code(), Some(0));
    assert_eq!(names(&out_dir), plain_and("notes.txt"));
    // A job that breaks off in its middle leaves all as it was.
    let before = fs::read(out_dir.join("summary.json")).unwrap();
    let bad = write(&dir, "bad.gcode", &format!("{}G1 X5000000\n", starving()));
    refused(&["replay", &bad, "--out", &out], 2, "line 2003");
    assert_eq!(fs::read(out_dir.join("summary.json")).unwrap(), before);
    assert_eq!(names(&out_dir), plain_and("notes.txt"));
    let fresh = dir.path().join("fresh");
    refused(
        &["replay", &bad, "--out", &fresh.display().to_string()],
        2,
        "line 2003",
    );
    assert!(!fresh.exists());
    assert_eq!(names(dir.path()), ["a", "bad.gcode", "starved.gcode"]);
}

#[test]
fn foreign_files_are_not_touched() {
    let dir = folder();
    let job = write(&dir, "corner.gcode", JOB);
    let other = dir.path().join("other");
    fs::create_dir(&other).unwrap();
    fs::write(other.join("stalls.csv"), "horses").unwrap();
    refused(
        &["replay", &job, "--out", &other.display().to_string()],
        2,
        "not from this program",
    );
    assert_eq!(
        fs::read_to_string(other.join("stalls.csv")).unwrap(),
        "horses"
    );
    assert_eq!(names(&other), ["stalls.csv"]);
    refused(&["replay", &job, "--out", &job], 2, "is a file");
}

#[test]
fn places_that_cannot_be_written_get_code_1() {
    let dir = folder();
    let job = write(&dir, "corner.gcode", JOB);
    if Path::new("/proc/self").exists() {
        refused(
            &["replay", &job, "--out", "/proc/headstall"],
            1,
            "no results can be written",
        );
    }
    let closed = dir.path().join("closed");
    fs::create_dir(&closed).unwrap();
    let mut rights = fs::metadata(&closed).unwrap().permissions();
    rights.set_readonly(true);
    fs::set_permissions(&closed, rights).unwrap();
    if fs::write(closed.join("probe"), "").is_ok() {
        println!("not tried: this user may write to read-only folders");
        return;
    }
    refused(
        &[
            "replay",
            &job,
            "--out",
            &closed.join("in").display().to_string(),
        ],
        1,
        "no results",
    );
}

#[test]
fn boards_can_be_listed_and_started_from() {
    let dir = folder();
    let list = text(&ran(&["boards"]).stdout);
    let job = write(&dir, "corner.gcode", JOB);
    let mut count = 0;
    for line in list.lines().take_while(|l| !l.is_empty()) {
        assert!(line.len() <= 90, "{line}");
        let name = line.split_whitespace().next().unwrap();
        let file = write(&dir, "mine.toml", &text(&ran(&["boards", name]).stdout));
        let summary = |board: &str| {
            let out = ran(&["replay", &job, "--json", "--board", board]);
            serde_json::from_slice::<serde_json::Value>(&out.stdout).unwrap()
        };
        assert_eq!(summary(&file), summary(name));
        count += 1;
    }
    assert!(count >= 7, "{list}");
}

#[test]
fn settings_are_compared() {
    let dir = folder();
    let job = write(&dir, "starved.gcode", &starving());
    let out = dir.path().join("out");
    let shown = out.display().to_string();
    let done = ran(&[
        "compare",
        &job,
        "--vary",
        "save=1,layer,off",
        "--vary",
        "queue.blocks=8,16",
        "--runs",
        "8",
        "--out",
        &shown,
    ]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    // A command stands on one line, to be copied.
    let fits = |l: &str| l.chars().count() <= 80 || l.trim_start().starts_with("headstall mend ");
    assert!(
        text(&done.stdout).lines().all(fits),
        "{}",
        text(&done.stdout)
    );
    assert_eq!(names(&out), ["compare.csv", "compare.json", "compare.svg"]);
    let table = fs::read_to_string(out.join("compare.csv")).unwrap();
    assert_eq!(table.lines().count(), 7, "{table}");
    assert!(
        table.starts_with("job,setting,board,runs,stalls,stalls_low,stalls_high,lost_s,"),
        "{table}"
    );
    let svg = fs::read_to_string(out.join("compare.svg")).unwrap();
    let xml = roxmltree::Document::parse(&svg).unwrap();
    assert!(
        xml.descendants()
            .any(|n| matches!(n.attribute("class"), Some("bumps")))
    );
    // Three runs cannot tell: the least p of a sign test on them is 2/2³.
    let few = ran(&[
        "compare",
        &job,
        "--vary",
        "queue.blocks=8,16",
        "--runs",
        "3",
    ]);
    let told = text(&few.stdout);
    assert!(
        told.contains("is best") && told.contains("not significant (p = "),
        "{told}"
    );
    // A board against itself: exactly no difference.
    let same = ran(&[
        "compare",
        &job,
        "--boards",
        "8bit-card,8bit-card",
        "--runs",
        "6",
        "--json",
    ]);
    let json: serde_json::Value = serde_json::from_slice(&same.stdout).unwrap();
    assert_eq!(json["rows"][1]["more_s"], 0.0);
    assert_eq!(json["rows"][1]["p_holm"], 1.0);
    refused(
        &["compare", &job, "--vary", "queue.blocks=8,1"],
        2,
        "must be a whole number from 2",
    );
    refused(&["compare", &job, "no-such.gcode"], 2, "no-such.gcode");
}

#[test]
fn remedies_are_ranked() {
    let dir = folder();
    let job = write(&dir, "starved.gcode", &starving());
    let out = dir.path().join("out");
    let shown = out.display().to_string();
    let done = ran(&[
        "remedies",
        &job,
        "--board",
        "8bit-serial-115200",
        "--out",
        &shown,
    ]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    assert!(
        text(&done.stdout).contains("Costs:"),
        "{}",
        text(&done.stdout)
    );
    // A command stands on one line, to be copied.
    let fits = |l: &str| l.chars().count() <= 80 || l.trim_start().starts_with("headstall mend ");
    assert!(
        text(&done.stdout).lines().all(fits),
        "{}",
        text(&done.stdout)
    );
    assert_eq!(names(&out), ["remedies.csv", "remedies.json"]);
    let table = fs::read_to_string(out.join("remedies.csv")).unwrap();
    // All chords lie on one line: merged, nothing starves, and the path has not moved.
    let merged = table
        .lines()
        .find(|l| l.contains("chords merged within 0.01 mm"))
        .unwrap();
    let columns: Vec<&str> = merged.split(',').collect();
    assert!(
        columns[2].parse::<f64>().unwrap() < 0.05 && columns[5].parse::<f64>().unwrap() < 1e-9,
        "{merged}"
    );
}
