//! Results folders that exist already, and runs that are cut short.

use std::fs;
use std::io::Write;
use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use tempfile::TempDir;

use crate::cli::{PLAIN, folder, headstall, names, ran, refused, starving, text, write};

/// A stuttering job, and a place for its results.
fn job_and_place(dir: &TempDir) -> (String, PathBuf) {
    (write(dir, "job.gcode", &starving()), dir.path().join("out"))
}

fn shown(place: &Path) -> String {
    place.display().to_string()
}

#[track_caller]
fn replay(job: &str, place: &Path, more: &[&str]) {
    let place = shown(place);
    let done = ran(&[&["replay", job, "--out", &place][..], more].concat());
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
}

fn inode(path: &Path) -> u64 {
    fs::metadata(path).unwrap().ino()
}

/// Asserts that a folder's files are those of one run, and that there are no others.
#[track_caller]
fn whole(place: &Path) {
    let summary = fs::read(place.join("summary.json")).unwrap();
    let summary: serde_json::Value = serde_json::from_slice(&summary).unwrap();
    let stalls = fs::read_to_string(place.join("stalls.csv")).unwrap();
    let rows = stalls.lines().count() as u64 - 1;
    assert_eq!(summary["stalls"].as_u64(), Some(rows), "{summary}");
    let mut listed: Vec<&str> = summary["files"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| f.as_str().unwrap())
        .collect();
    listed.sort_unstable();
    assert_eq!(names(place), listed);
    let board = summary["board"].as_str().unwrap();
    for name in listed
        .iter()
        .filter(|n| n.ends_with(".html") || n.ends_with(".svg"))
    {
        let picture = fs::read_to_string(place.join(name)).unwrap();
        assert!(picture.contains(board), "{name} is not of {board}");
    }
}

#[test]
fn a_results_folder_is_swapped_and_keeps_its_rights() {
    let dir = folder();
    let (job, place) = job_and_place(&dir);
    replay(&job, &place, &["--blocks", "--png"]);
    assert_eq!(names(&place).len(), PLAIN.len() + 6);
    fs::set_permissions(&place, fs::Permissions::from_mode(0o2750)).unwrap();
    // All names it ever writes are known as its own.
    replay(&job, &place, &["--blocks", "--png"]);
    assert_eq!(names(&place).len(), PLAIN.len() + 6);
    let before = inode(&place);
    // What a run leaves that is killed as it begins.
    fs::create_dir(place.join(".headstall-abcdef")).unwrap();
    replay(&job, &place, &[]);
    assert_eq!(names(&place), PLAIN);
    assert_ne!(inode(&place), before);
    let mode = fs::metadata(&place).unwrap().mode();
    assert_eq!(mode & 0o7777, 0o2750, "{mode:o}");
    assert_eq!(names(dir.path()), ["job.gcode", "out"]);
}

#[test]
fn results_of_other_commands_move_along() {
    let dir = folder();
    let (job, place) = job_and_place(&dir);
    let compare = || {
        let place = shown(&place);
        let vary = "save=off,layer";
        ran(&["compare", &job, "--vary", vary, "--out", &place, "--png"])
    };
    assert_eq!(compare().status.code(), Some(0));
    let before = inode(&place);
    replay(&job, &place, &[]);
    assert_ne!(inode(&place), before);
    assert_eq!(names(&place).len(), PLAIN.len() + 4);
    assert_eq!(compare().status.code(), Some(0));
    assert_eq!(names(&place).len(), PLAIN.len() + 4);
}

#[test]
fn a_link_to_a_results_folder_stays_one() {
    let dir = folder();
    let (job, place) = job_and_place(&dir);
    replay(&job, &place, &["--blocks"]);
    let link = dir.path().join("link");
    symlink("out", &link).unwrap();
    let before = inode(&place);
    replay(&job, &link, &[]);
    assert!(link.is_symlink());
    assert_ne!(inode(&place), before);
    assert_eq!(names(&place), PLAIN);
    fs::remove_dir_all(&place).unwrap();
    let args = ["replay", &job, "--out", &shown(&link)];
    refused(&args, 2, "is a link that leads nowhere");
}

#[test]
fn a_folder_that_somebody_stands_in_is_filled_where_it_is() {
    let dir = folder();
    let (job, place) = job_and_place(&dir);
    replay(&job, &place, &["--blocks"]);
    let inner = place.join("inner");
    fs::create_dir(&inner).unwrap();
    let before = inode(&place);
    for (at, out) in [(&place, "."), (&place, "../out/"), (&inner, "..")] {
        let args = ["replay", &job, "--out", out];
        let done = headstall().args(args).current_dir(at).output().unwrap();
        assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
        assert_eq!(inode(&place), before);
    }
    fs::remove_dir(&inner).unwrap();
    assert_eq!(names(&place), PLAIN);
    let args = ["replay", &job, "--out", "."];
    let done = headstall().args(args).current_dir(&place).output().unwrap();
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    assert_eq!(inode(&place), before);
    whole(&place);
}

#[test]
fn other_things_in_the_folder_stay() {
    let dir = folder();
    let (job, place) = job_and_place(&dir);
    replay(&job, &place, &["--blocks"]);
    fs::write(place.join("notes.txt"), "mine").unwrap();
    symlink("nowhere", place.join("later")).unwrap();
    fs::create_dir(place.join("photos")).unwrap();
    fs::write(place.join("photos/bump.jpg"), "mine too").unwrap();
    let before = [inode(&place), inode(&place.join("notes.txt"))];
    replay(&job, &place, &[]);
    assert_eq!(before, [inode(&place), inode(&place.join("notes.txt"))]);
    assert!(place.join("later").is_symlink());
    for name in ["later", "notes.txt"] {
        fs::remove_file(place.join(name)).unwrap();
    }
    fs::remove_dir_all(place.join("photos")).unwrap();
    whole(&place);
    assert_eq!(names(dir.path()), ["job.gcode", "out"]);
}

#[test]
fn links_with_names_of_ours_are_not_ours() {
    let dir = folder();
    let (job, place) = job_and_place(&dir);
    replay(&job, &place, &[]);
    let elsewhere = write(&dir, "elsewhere.svg", "mine");
    let args = ["replay", &job, "--out", &shown(&place)];
    for target in ["nowhere", &elsewhere] {
        let map = place.join("map.svg");
        fs::remove_file(&map).unwrap();
        symlink(target, &map).unwrap();
        refused(&args, 2, "holds a map.svg that is not from this program");
        assert_eq!(fs::read_link(&map).unwrap(), Path::new(target));
    }
    assert_eq!(fs::read_to_string(&elsewhere).unwrap(), "mine");
    assert_eq!(names(&place), PLAIN);
}

#[test]
fn a_summary_from_elsewhere_gives_no_file_away() {
    let dir = folder();
    let (job, place) = job_and_place(&dir);
    fs::create_dir(&place).unwrap();
    let mine = ["job.gcode", "notes.txt", "compare.csv"];
    for name in mine {
        fs::write(place.join(name), "mine").unwrap();
    }
    let summary = r#"{"program": "headstall 9", "files":
        ["summary.json", "job.gcode", "notes.txt", "compare.csv", "../job.gcode", "."]}"#;
    fs::write(place.join("summary.json"), summary).unwrap();
    replay(&job, &place, &[]);
    for name in mine {
        assert_eq!(fs::read_to_string(place.join(name)).unwrap(), "mine");
    }
    assert_eq!(fs::read_to_string(&job).unwrap(), starving());
    assert_eq!(names(&place).len(), PLAIN.len() + mine.len());
}

/// What one run that was cut short among its renames leaves, the next one mends.
#[test]
fn an_incomplete_folder_is_mended() {
    let dir = folder();
    let (job, place) = job_and_place(&dir);
    replay(&job, &place, &[]);
    let interim = r#"{"program": "headstall 0.1.0", "verdict": "Incomplete",
        "files": ["summary.json", "stalls.csv", "bumps.csv", "map.svg", "wall.svg", "part.svg", "queue.svg",
        "speed.svg", "report.html", "blocks.csv"]}"#;
    fs::write(place.join("summary.json"), interim).unwrap();
    fs::write(place.join("blocks.csv"), "half").unwrap();
    replay(&job, &place, &[]);
    whole(&place);
}

#[test]
fn a_limit_of_file_size_is_an_error_like_others() {
    let dir = folder();
    let (job, place) = job_and_place(&dir);
    let limited = |more: &str| {
        let program = env!("CARGO_BIN_EXE_headstall");
        let run = format!(
            "ulimit -f 8; exec '{program}' replay '{job}' --out '{}' {more}",
            place.display()
        );
        Command::new("sh").args(["-c", &run]).output().unwrap()
    };
    for more in ["", "--quick --blocks"] {
        let done = limited(more);
        let error = text(&done.stderr);
        assert_eq!(done.status.code(), Some(1), "{:?} {error}", done.status);
        assert!(
            error.contains("cannot be written: File too large"),
            "{error}"
        );
        assert_eq!(error.lines().count(), 1, "{error}");
        assert!(done.stdout.is_empty());
        assert_eq!(names(dir.path()), ["job.gcode"]);
    }
}

/// Waits until something has come, for some seconds.
fn wait_for(mut come: impl FnMut() -> bool) {
    let began = Instant::now();
    while !come() {
        assert!(began.elapsed() < Duration::from_secs(10), "waited in vain");
        thread::yield_now();
    }
}

#[test]
fn a_run_ended_by_a_signal_leaves_nothing() {
    for (signal, number) in [("HUP", 1), ("INT", 2), ("TERM", 15)] {
        let dir = folder();
        let mut child = headstall()
            .args(["replay", "-", "--out", &shown(&dir.path().join("out"))])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // Its standard input stays open: it waits for more.
        let input = child.stdin.take();
        wait_for(|| !names(dir.path()).is_empty());
        let kill = format!("kill -{signal} {}", child.id());
        assert!(
            Command::new("sh")
                .args(["-c", &kill])
                .status()
                .unwrap()
                .success()
        );
        let done = child.wait_with_output().unwrap();
        drop(input);
        assert_eq!(done.status.signal(), Some(number), "{:?}", done.status);
        assert!(done.stderr.is_empty(), "{}", text(&done.stderr));
        assert!(names(dir.path()).is_empty());
    }
}

/// A signal that whoever started the run has it ignore stays ignored.
#[test]
fn an_ignored_signal_stays_ignored() {
    let dir = folder();
    let run = "trap '' INT; exec \"$0\" replay - --out \"$1\"";
    let mut child = Command::new("sh")
        .args(["-c", run, env!("CARGO_BIN_EXE_headstall")])
        .arg(dir.path().join("out"))
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    wait_for(|| !names(dir.path()).is_empty());
    let kill = format!("kill -INT {}", child.id());
    let killed = Command::new("sh").args(["-c", &kill]).status().unwrap();
    assert!(killed.success());
    input.write_all(b"G1 X10 F600\n").unwrap();
    drop(input);
    assert!(child.wait().unwrap().success());
    assert!(dir.path().join("out/summary.json").is_file());
}

/// Kills runs about the moment at which they put their results over those of another board; each time
/// `check` sees what is there.
fn killed_runs(place: &Path, job: &str, mut check: impl FnMut()) {
    let beside = place.parent().unwrap();
    let hidden = || {
        let found = [beside, place].map(|at| names(at).into_iter().map(|n| at.join(n)));
        let is_hidden = |p: &PathBuf| p.display().to_string().contains("/.headstall-");
        found.into_iter().flatten().find(is_hidden)
    };
    let began = Instant::now();
    let mut round: usize = 0;
    while began.elapsed() < Duration::from_millis(1500) || round < 6 {
        let board = ["32bit-usb", "8bit-card"][round % 2];
        let mut child = headstall()
            .args(["replay", job, "--board", board, "--out", &shown(place)])
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        wait_for(|| {
            hidden().is_some_and(|h| h.join("summary.json").exists())
                || child.try_wait().unwrap().is_some()
        });
        let pause = Duration::from_micros(round as u64 * 37 % 600);
        let seen = Instant::now();
        while seen.elapsed() < pause {}
        child.kill().unwrap();
        child.wait().unwrap();
        if let Some(hidden) = hidden() {
            fs::remove_dir_all(hidden).unwrap();
        }
        check();
        round += 1;
    }
}

#[test]
fn a_killed_run_leaves_the_old_results_or_the_new() {
    let dir = folder();
    let (job, place) = job_and_place(&dir);
    replay(&job, &place, &["--board", "8bit-card"]);
    killed_runs(&place, &job, || whole(&place));
}

#[test]
fn a_run_killed_among_its_renames_says_so() {
    let dir = folder();
    let (job, place) = job_and_place(&dir);
    replay(&job, &place, &["--board", "8bit-card", "--blocks"]);
    let photos = place.join("photos");
    fs::create_dir(&photos).unwrap();
    killed_runs(&place, &job, || {
        let summary = fs::read_to_string(place.join("summary.json")).unwrap();
        if !summary.contains("\"Incomplete: ") {
            fs::remove_dir(&photos).unwrap();
            whole(&place);
            fs::create_dir(&photos).unwrap();
        }
    });
    replay(&job, &place, &[]);
    fs::remove_dir(&photos).unwrap();
    whole(&place);
}
