//! `demo`, `completions` and `man`: what somebody meets in the first minutes.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use headstall::demo::lantern::{Lantern, STEADY, STUTTERS};
use serde_json::Value;

use super::cli::{folder, ran, text};
use super::making::{board_from, run};

fn stalls(results: &Path) -> u64 {
    let summary = fs::read(results.join("summary.json")).unwrap();
    let summary: Value = serde_json::from_slice(&summary).unwrap();
    summary["stalls"].as_u64().unwrap()
}

#[test]
fn the_demo_writes_and_replays_the_lantern() {
    let dir = folder();
    let place = dir.path().join("demo");
    let shown = place.display().to_string();
    let done = ran(&["demo", "--out", &shown]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let read = |name: &str| fs::read_to_string(place.join(name)).unwrap();
    assert_eq!(read("lantern.gcode"), Lantern::default().job());
    assert_eq!(read("stutters.toml"), STUTTERS);
    assert_eq!(read("steady.toml"), STEADY);
    assert!(stalls(&place.join("stutters")) > 100);
    assert_eq!(stalls(&place.join("steady")), 0);
    // What it names is there, and each command that it prints can be given as it stands.
    let said = text(&done.stdout);
    assert!(!said.contains("./--"), "{said}");
    for page in ["stutters", "steady"] {
        let page = place.join(page).join("report.html");
        assert!(page.is_file() && said.contains(&page.display().to_string()));
    }
    let commands = said
        .lines()
        .filter_map(|l| l.trim().strip_prefix("headstall "));
    let mut tried = 0;
    for command in commands.filter(|c| c.contains("remedies")) {
        let words: Vec<&str> = command.split(' ').collect();
        assert_eq!(ran(&words).status.code(), Some(0), "{command}");
        tried += 1;
    }
    assert_eq!(tried, 1);
    // Again: nothing has changed. Over something foreign: refused, and it stays.
    assert_eq!(ran(&["demo", "--out", &shown]).status.code(), Some(0));
    fs::write(place.join("steady.toml"), "name = \"mine\"\n").unwrap();
    let done = ran(&["demo", "--out", &shown]);
    assert_eq!(done.status.code(), Some(2));
    assert!(text(&done.stderr).contains("holds a steady.toml that is not the demo's"));
    assert_eq!(read("steady.toml"), "name = \"mine\"\n");
}

#[test]
fn the_demo_wants_a_folder() {
    let dir = folder();
    let file = dir.path().join("file");
    fs::write(&file, "mine").unwrap();
    let done = ran(&["demo", "--out", &file.display().to_string()]);
    assert_eq!(done.status.code(), Some(2));
    assert!(text(&done.stderr).contains("is not a folder"));
    assert_eq!(fs::read_to_string(&file).unwrap(), "mine");
}

/// The same lantern with arcs instead of chords: as much plastic within the error of the chords,
/// in far fewer moves.
#[test]
fn arcs_make_the_same_lantern() {
    let board = board_from(STEADY, &[]);
    let lantern = |arcs| Lantern {
        layers: 3,
        arcs,
        ..Lantern::default()
    };
    let (chords, arcs) = (lantern(false).job(), lantern(true).job());
    assert!(arcs.lines().count() * 4 < chords.lines().count());
    let plastic_mm = |job: &str| -> f64 {
        let blocks = run(job, &board).blocks;
        blocks.iter().map(|b| b.place.e_mm).sum()
    };
    let (of_chords, of_arcs) = (plastic_mm(&chords), plastic_mm(&arcs));
    // A chord of 0.75 mm on an arc of 3 mm is 0.26 % shorter than the arc.
    let part = of_chords / of_arcs;
    assert!((0.9974..1.0).contains(&part), "{of_chords} {of_arcs}");
}

/// Each shell has a script; that of bash is one that bash takes, where there is a bash.
#[test]
fn completions_are_scripts() {
    for (shell, sign) in [
        ("bash", "complete -F _headstall"),
        ("zsh", "#compdef headstall"),
        ("fish", "complete -c headstall"),
        ("elvish", "edit:completion:arg-completer[headstall]"),
        ("powershell", "Register-ArgumentCompleter"),
    ] {
        let done = ran(&["completions", shell]);
        let script = text(&done.stdout);
        assert_eq!(done.status.code(), Some(0), "{shell}");
        for word in [sign, "max-stalls", "remedies"] {
            assert!(script.contains(word), "{shell}: {word}");
        }
        if shell == "bash"
            && let Ok(mut bash) = Command::new("bash").arg("-n").stdin(Stdio::piped()).spawn()
        {
            let mut input = bash.stdin.take().unwrap();
            input.write_all(script.as_bytes()).unwrap();
            drop(input);
            assert!(bash.wait().unwrap().success());
        }
    }
    let done = ran(&["completions", "abacus"]);
    assert_eq!(done.status.code(), Some(2));
    assert!(text(&done.stderr).contains("possible values: bash"));
}

/// Man pages by the macros of man(7): each begins with its title and has the sections that a reader
/// looks for.
#[test]
fn man_pages_have_their_sections() {
    for command in ["", "demo", "replay", "compare", "remedies", "boards"] {
        let args = ["man", command];
        let done = ran(if command.is_empty() {
            &args[..1]
        } else {
            &args
        });
        assert_eq!(done.status.code(), Some(0), "{command}");
        let page = text(&done.stdout);
        let title = match command {
            "" => ".TH headstall 1 ".to_string(),
            _ => format!(".TH headstall-{command} 1 "),
        };
        for line in [
            title.as_str(),
            ".SH NAME",
            ".SH SYNOPSIS",
            ".SH OPTIONS",
            "Examples:",
        ] {
            assert!(
                page.lines().any(|l| l.starts_with(line)),
                "{command}: {line}"
            );
        }
    }
    let done = ran(&["man", "nope"]);
    assert_eq!(done.status.code(), Some(2));
    assert!(text(&done.stderr).contains("there is no such command"));
}

/// A wrong number reaches nobody with clap's tip to write it behind `--`.
#[test]
fn wrong_numbers_say_what_is_allowed() {
    for (option, value) in [("--seed", "-1"), ("--seed", "1.5"), ("--layer", "-1")] {
        let done = ran(&["replay", "job.gcode", option, value]);
        assert_eq!(done.status.code(), Some(2));
        let said = text(&done.stderr);
        assert!(said.contains("must be a whole number from 0 to"), "{said}");
        assert!(!said.contains("tip:") && !said.contains("digit"), "{said}");
    }
}
