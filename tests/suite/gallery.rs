//! What is committed of results is what this program makes today: the README's pictures, made from
//! the demo, and all outputs for a small job.
//!
//! `HEADSTALL_GALLERY=write cargo test --release gallery` makes both anew.

use std::fs;
use std::path::{Path, PathBuf};

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use headstall::demo::lantern::Lantern;

use super::cli::{folder, ran, text};
use super::live::Live;
use super::open_page::ANSWERED;
use super::webdriver::Browser;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Compares these files of `made` with those of `kept`, or puts them there.
#[track_caller]
fn hold(made: &Path, kept: &Path, names: &[&str]) {
    if std::env::var("HEADSTALL_GALLERY").as_deref() == Ok("write") {
        fs::create_dir_all(kept).unwrap();
        for name in names {
            fs::copy(made.join(name), kept.join(name)).unwrap();
        }
    }
    for name in names {
        let (new, old) = (
            fs::read(made.join(name)).unwrap(),
            fs::read(kept.join(name)),
        );
        let shown = kept.strip_prefix(root()).unwrap().join(name);
        let old = old.unwrap_or_else(|e| panic!("{}: {e}", shown.display()));
        assert!(
            new == old,
            "{} is stale; HEADSTALL_GALLERY=write cargo test --release gallery",
            shown.display()
        );
    }
}

fn replay(args: &[&str]) {
    let done = ran(args);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
}

#[test]
fn gallery_of_the_readme() {
    let dir = folder();
    let job = dir.path().join("lantern.gcode");
    fs::write(&job, Lantern::default().job()).unwrap();
    let (job, out) = (job.display().to_string(), dir.path().join("out"));
    let (board, shown) = (
        root()
            .join("scenarios/lantern/stutters.toml")
            .display()
            .to_string(),
        out.display().to_string(),
    );
    replay(&[
        "compare",
        &job,
        "--board",
        &board,
        "--vary",
        "save=off,layer,1,2,5,10,30",
        "--out",
        &shown,
    ]);
    replay(&["replay", &job, "--board", &board, "--out", &shown]);
    let seen = root().join("scenarios/lantern/seen-stutters.csv");
    let seen = seen.display().to_string();
    let window = "200,340,0,10";
    replay(&[
        "explain", &job, &seen, "--board", &board, "--window", window, "--out", &shown,
    ]);
    let names = [
        "compare.svg",
        "explain.svg",
        "map.svg",
        "part.svg",
        "queue.svg",
        "speed.svg",
        "wall.svg",
    ];
    hold(&out, &root().join("out/gallery"), &names);
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    for name in names {
        assert!(
            readme.contains(&format!("out/gallery/{name}")),
            "README.md does not show {name}"
        );
    }
}

#[test]
fn gallery_of_a_small_job() {
    let dir = folder();
    let mut job = String::from("; two rings and a corner\nM83\nG28\nG1 F6000 Z.2\n");
    for layer in 1..=2 {
        job += &format!("G0 X30 Y20 Z{:.1}\n", 0.2 * f64::from(layer));
        for k in 1..=200 {
            let a = f64::from(k) * std::f64::consts::TAU / 200.0;
            job += &format!(
                "G1 X{:.3} Y{:.3} E0.01\n",
                20.0 + 10.0 * a.cos(),
                20.0 + 10.0 * a.sin()
            );
        }
    }
    job += "G1 X40 E.4\nG1 Y40 E.4\nM117 done\nG1 X1x\n";
    let path = dir.path().join("small.gcode");
    fs::write(&path, job).unwrap();
    let (job, out) = (path.display().to_string(), dir.path().join("out"));
    let shown = out.display().to_string();
    replay(&[
        "compare",
        &job,
        "--vary",
        "save=off,1",
        "--out",
        &shown,
        "--png",
    ]);
    replay(&["remedies", &job, "--out", &shown]);
    replay(&["replay", &job, "--out", &shown, "--png", "--blocks"]);
    hold(
        &out,
        &root().join("tests/snapshots"),
        &[
            "compare.csv",
            "compare.json",
            "compare.svg",
            "map.png",
            "map.svg",
            "part.svg",
            "queue.svg",
            "remedies.csv",
            "remedies.json",
            "report.html",
            "speed.svg",
            "stalls.csv",
            "summary.json",
            "wall.svg",
        ],
    );
    // Every SVG is XML, every PNG 1600 wide.
    for name in ["compare", "map", "part", "queue", "speed", "wall"] {
        let svg = fs::read_to_string(out.join(format!("{name}.svg"))).unwrap();
        let xml = roxmltree::Document::parse(&svg).unwrap();
        for tag in ["title", "desc"] {
            assert!(
                xml.descendants().any(|n| n.tag_name().name() == tag),
                "{name}: {tag}"
            );
        }
        let png = fs::read(out.join(format!("{name}.png"))).unwrap();
        assert_eq!(&png[1..4], b"PNG");
        assert_eq!(png[16..20], 1600u32.to_be_bytes(), "{name}");
    }
    let html = fs::read_to_string(out.join("report.html")).unwrap();
    assert!(
        html.contains("<h2>Compared</h2>"),
        "the comparison in the same folder is shown"
    );
}

/// The live page's knobs. A browser's fonts differ from one computer to the next, so that the picture is made where that
/// is asked for, and never compared.
#[test]
fn picture_of_the_live_page() {
    let kept = root().join("out/gallery/open.png");
    if std::env::var("HEADSTALL_GALLERY").as_deref() == Ok("write") {
        let Some(browser) = Browser::open() else {
            return;
        };
        let dir = folder();
        let job = dir.path().join("lantern.gcode");
        fs::write(&job, Lantern::default().job()).unwrap();
        let board = root().join("scenarios/lantern/stutters.toml");
        let live = Live::start(&[
            &job.display().to_string(),
            "--board",
            &board.display().to_string(),
        ]);
        browser.size(1200, 1500);
        browser.visit(&live.address);
        browser.wait_s(ANSWERED, 60);
        browser.eval(
            "const knob = document.getElementById('knob-save'); knob.value = 1; \
             knob.dispatchEvent(new Event('input', { bubbles: true }))",
        );
        browser.wait_s(
            "return document.querySelectorAll('#knobs-table tbody tr').length > 3",
            60,
        );
        browser.wait_s(ANSWERED, 60);
        browser.eval("document.querySelector('nav').hidden = true");
        let knobs = browser.element("#knobs");
        let picture = format!("{}/element/{knobs}/screenshot", browser.session);
        let picture: serde_json::Value = ureq::get(&picture)
            .call()
            .unwrap()
            .body_mut()
            .read_json()
            .unwrap();
        let png = STANDARD.decode(picture["value"].as_str().unwrap()).unwrap();
        fs::write(&kept, png).unwrap();
    }
    let png = fs::read(kept).unwrap();
    assert!(
        png.starts_with(b"\x89PNG") && png.len() < 300_000,
        "{}",
        png.len()
    );
}
