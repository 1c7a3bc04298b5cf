//! Odd and hostile input: every run ends, in bounded memory, and says what it cut or left out.

use std::fs;
use std::io::Read;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant, SystemTime};

use headstall::board::{builtin, profile};
use headstall::job::notices::NoticeKind;
use headstall::replay::stream::{Done, Watcher, replay};

use crate::cli::{folder, headstall, names, ran, refused, starving, text, write};

/// More than any input may need, KiB of address space: 1 GiB, and what threads reserve and never touch.
const MEMORY_KIB: u64 = 1_400_000;
/// And s.
const TIME_S: u64 = 60;

/// Runs the program under limits set by a shell; kills it where it takes too long.
#[track_caller]
pub fn under(limits: &str, dir: &Path, args: &[&str], env: &[(&str, &str)]) -> Output {
    let mut child = Command::new("sh")
        .arg("-c")
        .arg(format!("{limits}; exec \"$@\""))
        .arg("sh")
        .arg(env!("CARGO_BIN_EXE_headstall"))
        .args(args)
        .envs(env.iter().copied())
        .current_dir(dir)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .process_group(0)
        .spawn()
        .unwrap();
    let (mut stdout, mut stderr) = (child.stdout.take().unwrap(), child.stderr.take().unwrap());
    let out = thread::spawn(move || {
        let mut bytes = Vec::new();
        stdout.read_to_end(&mut bytes).unwrap();
        bytes
    });
    let err = thread::spawn(move || {
        let mut bytes = Vec::new();
        stderr.read_to_end(&mut bytes).unwrap();
        bytes
    });
    let began = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        if began.elapsed() > Duration::from_secs(TIME_S) {
            child.kill().unwrap();
            child.wait().unwrap();
            panic!("{args:?} takes more than {TIME_S} s");
        }
        thread::sleep(Duration::from_millis(5));
    };
    Output {
        status,
        stdout: out.join().unwrap(),
        stderr: err.join().unwrap(),
    }
}

/// Runs the program as it must always run: in bounded time and memory, with an exit code of the contract, and
/// without a hidden folder left.
#[track_caller]
fn bounded(dir: &Path, args: &[&str]) -> Output {
    let done = under(&format!("ulimit -v {MEMORY_KIB}"), dir, args, &[]);
    let code = done.status.code();
    assert!(
        matches!(code, Some(0..=2)),
        "{args:?}: {:?} {}",
        done.status,
        text(&done.stderr)
    );
    let hidden = names(dir).into_iter().find(|n| n.starts_with(".headstall"));
    assert_eq!(hidden, None);
    done
}

#[test]
fn every_job_ends() {
    let dir = folder();
    let zeros = "0".repeat(305);
    let jobs = [
        // Once endless: a flow factor that makes a move of infinite length.
        ("loop", format!("M221 S1{zeros}\nG1 E1000000 F1000\nG28\n")),
        (
            "fast",
            format!("M220 S1{zeros}\nG1 X10 E1 F1{zeros}\nG28\n"),
        ),
        (
            "still",
            format!("M220 S0.{zeros}1\nG1 X10 E1 F0.{zeros}1\nG28\n"),
        ),
        (
            "corner",
            format!("M205 X1{zeros} J1{zeros}\nG1 X9 E1 F900\nG1 X0 E2\nG28\n"),
        ),
        (
            "threads",
            "M203 E0.000001\nG1 X0.000000002 E1000000 F9000\nG1 X9 E2\nG28\n".to_string(),
        ),
        (
            "circles",
            format!("G1 F6000\n{}", "G2 I500000 E1\n".repeat(200)),
        ),
        ("slow", "G1 X900000 E1 F0.0001\nG1 X0\nG28\n".to_string()),
    ];
    for (name, job) in &jobs {
        let job = write(&dir, &format!("{name}.gcode"), job);
        bounded(dir.path(), &["replay", &job, "--quick"]);
        let long = ["--quick", "--set", "queue.lines=1000000"];
        bounded(dir.path(), &[&["replay", &job][..], &long].concat());
        // These only end at the limit of chores, a second for each replay.
        if !matches!(*name, "circles" | "slow" | "threads") {
            bounded(dir.path(), &["replay", &job, "--out", "out", "--blocks"]);
            bounded(dir.path(), &["compare", &job]);
            bounded(dir.path(), &["remedies", &job]);
        }
    }
}

/// 1000 chores, every 50 ms each, over a job of some minutes.
#[test]
fn a_thousand_chores_take_seconds() {
    let dir = folder();
    let mut board = builtin::text("32bit-card").unwrap().to_string();
    for k in 0..900 {
        board += &format!("\n[[chore]]\nname = \"c{k}\"\nevery_s = 0.05\nus = 1\n");
    }
    let board = write(&dir, "chores.toml", &board);
    let job = write(&dir, "job.gcode", "G1 X200 E9 F60\nG1 X0 E18\n");
    let done = bounded(
        dir.path(),
        &["replay", &job, "--board", &board, "--quick", "--json"],
    );
    let summary: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    assert!(summary["replay_s"].as_f64().unwrap() > 390.0);
}

fn warned(job: &str, more: &[&str]) -> serde_json::Value {
    let dir = folder();
    let job = write(&dir, "job.gcode", job);
    let done = ran(&[&["replay", &job, "--quick", "--json"][..], more].concat());
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    serde_json::from_slice(&done.stdout).unwrap()
}

#[track_caller]
fn has_warning(summary: &serde_json::Value, kind: &str, line: u64) {
    let warnings = summary["warnings"].as_array().unwrap();
    let found = warnings.iter().find(|w| w["kind"] == kind);
    assert_eq!(
        found.unwrap_or_else(|| panic!("{warnings:?}"))["line"],
        line
    );
}

#[test]
fn values_that_no_machine_has_are_told_with_their_line() {
    // 10 mm at 0.001 mm/s.
    let slow = warned("G1 X0\nG1 X10 E1 F0.000000001\n", &[]);
    has_warning(&slow, "too_slow", 2);
    assert!((slow["ideal_s"].as_f64().unwrap() - 1e4).abs() < 1.0);
    let by_factor = warned("M220 S0.01\nG1 X10 E1 F1\n", &[]);
    has_warning(&by_factor, "too_slow", 2);
    let dwell = warned("G1 X1 E1 F900\nG4 S1000000000000000000\n", &[]);
    has_warning(&dwell, "long_dwell", 2);
    let factor = warned("G1 X1 E1 F900\nM221 S100000000\nG1 X2 E2\n", &[]);
    has_warning(&factor, "not_positive", 2);
    let at_the_limit = warned("G1 X0.1 E1 F0.06\nG4 S1000000\n", &[]);
    assert_eq!(at_the_limit["warnings"], serde_json::json!([]));
}

/// Counts blocks.
struct Count(u64);

impl Watcher for Count {
    fn block(&mut self, _: &Done) {
        self.0 += 1;
    }
    fn stop(&mut self, _: f64, _: f64) {}
}

fn board(sets: &[&str]) -> headstall::board::types::Board {
    let text = builtin::text("32bit-card").unwrap();
    let sets: Vec<_> = sets
        .iter()
        .map(|s| profile::Override::parse(s).unwrap())
        .collect();
    profile::parse(text, "32bit-card", &sets).unwrap()
}

#[test]
fn arcs_are_cut_as_the_model_says_up_to_a_limit_that_is_told() {
    let blocks = |job: &str| {
        let mut count = Count(0);
        let done = replay(
            job.as_bytes(),
            &board(&["motion.arc_chord_mm=1"]),
            0,
            &mut count,
        )
        .unwrap();
        let told = done.source.steps.notices().limits().map(|n| n.line).next();
        (count.0, told)
    };
    // Model section 1: ceil(2 pi r / chord).
    assert_eq!(blocks("G1 F6000\nG2 I15915 E1\n"), (99_997, None));
    assert_eq!(blocks("G1 F6000\nG2 I16000 E1\n"), (100_000, Some(2)));
    // 63 chords each: more than every arc may have, and yet none is cut before a million and a half are used.
    let many = |n: usize| format!("G1 F60000\n{}", "G2 I10 E.1\n".repeat(n));
    assert_eq!(blocks(&many(30_000)), (1_890_000, None));
}

/// With 0.001 mm/s² no block is final before the last: the ideal holds a bounded number, and says so.
#[test]
fn an_ideal_that_looks_too_far_ahead_is_cut_and_told() {
    let slow = ["print", "travel", "retract"].map(|k| format!("motion.accel.{k}=0.001"));
    let slow = slow.each_ref().map(String::as_str);
    let board = board(&[&slow[..], &["chore=[]"]].concat());
    let job = |n: usize| format!("G91\nG1 F6000\n{}", "X.4\n".repeat(n));
    let told = |n: usize| {
        let job = job(n);
        let done = replay(job.as_bytes(), &board, 0, &mut Count(0)).unwrap();
        done.source.steps.notices().has(NoticeKind::IdealCut)
    };
    assert!(!told(50_000));
    // Half of them could still be braked for by those behind: a few more than 1 << 20.
    assert!(told((2 << 20) + 100_000));
}

/// All that a run writes and prints.
fn all_output(done: &Output, out: &Path) -> String {
    let mut all = text(&done.stdout) + &text(&done.stderr);
    for name in names(out) {
        if !name.ends_with(".png") {
            all += &fs::read_to_string(out.join(name)).unwrap();
        }
    }
    all
}

#[test]
fn foreign_text_does_nothing_on_its_way_out() {
    let dir = folder();
    let evil = "a\u{1b}]0;owned\u{7}\r\u{202e}b\u{9b}2J";
    let name = format!("{evil}.gcode");
    let job = write(
        &dir,
        &name,
        &format!("; {evil}\nG1 X{evil}\n{}", starving()),
    );
    let toml = builtin::text("8bit-card").unwrap().replacen(
        "name = \"",
        "name = \"x\\u001b[31m\\u202e\\u0007y ",
        1,
    );
    let board = write(&dir, "board.toml", &toml);
    let out = dir.path().join("out");
    let place = out.display().to_string();
    let other = write(&dir, "=1+1.gcode", &starving());
    for args in [
        &["replay", &job, "--board", &board, "--out", &place][..],
        &["replay", &job, "--board", &board, "--post"],
        &["compare", &job, &other, "--board", &board, "--out", &place],
        &["remedies", &job, "--board", &board, "--out", &place],
        &["replay", &format!("{}.none", job), "--board", &board],
        &["replay", &job, "--board", &format!("{evil}.toml")],
        &["replay", &job, "--set", &format!("queue.blocks={evil}")],
        &["replay", &job, "--out", &job],
    ] {
        let all = all_output(&ran(args), &out);
        let bad = all.chars().find(|c| {
            c.is_control() && !matches!(c, '\n' | '\t') || matches!(c, '\u{202a}'..='\u{202e}')
        });
        let at = bad.and_then(|c| all.find(c)).unwrap_or(0);
        let from = (0..=at)
            .rev()
            .find(|k| all.is_char_boundary(*k) && at - k > 60);
        assert_eq!(bad, None, "{args:?}: {:?}", &all[from.unwrap_or(0)..at]);
    }
    let table = fs::read_to_string(out.join("compare.csv")).unwrap();
    assert!(table.contains("\n'=1+1.gcode,"), "{table}");
    assert!(!table.contains(",'-"), "numbers need no guard: {table}");
}

#[test]
fn printed_commands_can_be_run_whatever_the_job_is_called() {
    let dir = folder();
    write(&dir, "-dash.gcode", &starving());
    let done = under(
        "true",
        dir.path(),
        &["replay", "--board", "8bit-card", "--", "-dash.gcode"],
        &[],
    );
    let shown = text(&done.stdout);
    let command = shown
        .lines()
        .find(|l| l.contains("headstall replay "))
        .unwrap();
    let args: Vec<&str> = command.split_whitespace().skip(1).collect();
    let again = under("true", dir.path(), &args, &[]);
    assert_eq!(
        again.status.code(),
        Some(0),
        "{command}: {}",
        text(&again.stderr)
    );
}

/// RUST_MIN_STACK asks for a stack that no system gives, so that no thread can be begun.
#[test]
fn without_threads_one_does_the_work() {
    let dir = folder();
    let job = write(&dir, "job.gcode", &starving());
    let none = [("RUST_MIN_STACK", "100000000000000")];
    for args in [
        &[
            "replay",
            &job,
            "--board",
            "8bit-card-saves",
            "--json",
            "--out",
            "out",
        ][..],
        &["compare", &job, "--board", "8bit-card-saves", "--json"],
        &["remedies", &job, "--board", "8bit-card-saves", "--json"],
    ] {
        let alone = under("true", dir.path(), args, &none);
        assert_eq!(alone.status.code(), Some(0), "{}", text(&alone.stderr));
        let all = under("true", dir.path(), args, &[]);
        assert_eq!(text(&alone.stdout), text(&all.stdout));
    }
    assert_eq!(names(dir.path()), ["job.gcode", "out"]);
}

#[test]
fn nothing_is_left_where_memory_or_file_handles_are_short() {
    let dir = folder();
    let job = write(&dir, "job.gcode", &starving());
    for limits in [
        "ulimit -v 32000",
        "ulimit -n 6",
        "ulimit -n 7",
        "ulimit -n 8",
        "ulimit -n 9",
    ] {
        let done = under(limits, dir.path(), &["replay", &job, "--out", "out"], &[]);
        assert!(
            matches!(done.status.code(), Some(0..=2)),
            "{limits}: {:?}",
            done.status
        );
        assert_eq!(text(&done.stderr).is_empty(), done.status.success());
        let _ = fs::remove_dir_all(dir.path().join("out"));
        assert_eq!(names(dir.path()), ["job.gcode"], "{limits}");
    }
}

/// What a run leaves that the system ends, made an hour ago.
fn leftover(dir: &Path, name: &str) -> (PathBuf, fs::File) {
    let path = dir.join(name);
    fs::create_dir(&path).unwrap();
    fs::write(path.join("stalls.csv"), "stall\n").unwrap();
    let held = fs::File::open(&path).unwrap();
    held.set_modified(SystemTime::now() - Duration::from_secs(3600))
        .unwrap();
    (path, held)
}

#[test]
fn the_next_run_removes_what_nobody_holds() {
    let dir = folder();
    let job = write(&dir, "job.gcode", &starving());
    let (dead, _) = leftover(dir.path(), ".headstall-dead");
    let (alive, lock) = leftover(dir.path(), ".headstall-alive");
    lock.lock().unwrap();
    let (foreign, _) = leftover(dir.path(), ".headstall-notes");
    fs::write(foreign.join("diary.txt"), "not of this program").unwrap();
    let young = dir.path().join(".headstall-young");
    fs::create_dir(&young).unwrap();
    let done = under("true", dir.path(), &["replay", &job, "--out", "out"], &[]);
    assert_eq!(done.status.code(), Some(0));
    assert!(!dead.exists());
    assert!(alive.join("stalls.csv").exists() && young.exists());
    assert!(foreign.join("diary.txt").exists());
}

/// The board that a summary and the pictures beside it are of; `None`: they are not of one run.
fn one_run(place: &Path) -> Option<String> {
    let summary = fs::read(place.join("summary.json")).ok()?;
    let summary: serde_json::Value = serde_json::from_slice(&summary).ok()?;
    let board = summary["board"].as_str()?.to_string();
    for file in summary["files"].as_array()? {
        let content = fs::read_to_string(place.join(file.as_str()?)).ok()?;
        let told = !file.as_str()?.ends_with(".svg") || content.contains(&board);
        if !told {
            return None;
        }
    }
    Some(board)
}

/// Two processes at once write to a folder that also holds a foreign file: what is there at the end is of one of
/// them, and one that was refused says so.
#[test]
fn two_runs_at_once_do_not_mix() {
    let dir = folder();
    let job = write(&dir, "job.gcode", &starving());
    let place = dir.path().join("out");
    let mut refusals = 0;
    for round in 0..25 {
        if round % 3 == 0 {
            let _ = fs::remove_dir_all(&place);
        }
        if round % 3 == 1 {
            fs::write(place.join("notes.txt"), "mine").unwrap();
        }
        let start = |board: &str| {
            headstall()
                .args(["replay", &job, "--board", board, "--out"])
                .arg(&place)
                .stdout(Stdio::null())
                .stderr(Stdio::piped())
                .spawn()
                .unwrap()
        };
        let both = [start("8bit-card"), start("8bit-serial-115200")];
        let ended = both.map(|child| child.wait_with_output().unwrap());
        for done in &ended {
            let error = text(&done.stderr);
            match done.status.code() {
                Some(0) => {}
                Some(1) if error.contains("another run is writing there") => refusals += 1,
                other => panic!("{other:?}: {error}"),
            }
        }
        assert!(ended.iter().any(|done| done.status.success()));
        assert!(one_run(&place).is_some(), "round {round}");
        let hidden = names(dir.path())
            .into_iter()
            .find(|n| n.starts_with(".headstall"));
        assert_eq!(hidden, None);
    }
    assert!(refusals > 0, "no two runs met");
}

/// Refusals come while the job has not even begun to arrive.
#[test]
fn places_are_checked_before_the_job_is_read() {
    let dir = folder();
    let taken = dir.path().join("taken");
    fs::create_dir(&taken).unwrap();
    fs::write(taken.join("report.html"), "a page of somebody else").unwrap();
    let file = dir.path().join("file");
    fs::write(&file, "").unwrap();
    let below = file.join("x").display().to_string();
    for (place, why) in [
        (
            taken.display().to_string(),
            "holds a report.html that is not from this program",
        ),
        (below, "is a file; name a folder"),
    ] {
        let mut child = headstall()
            .args(["replay", "-", "--out", &place])
            .stdin(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // Kept open: whoever waits for the job waits for ever.
        let job = child.stdin.take();
        let began = Instant::now();
        while child.try_wait().unwrap().is_none() {
            if began.elapsed() > Duration::from_secs(20) {
                child.kill().unwrap();
                panic!("--out {place} is only refused after the job");
            }
            thread::sleep(Duration::from_millis(5));
        }
        drop(job);
        let done = child.wait_with_output().unwrap();
        assert_eq!(done.status.code(), Some(2));
        assert!(text(&done.stderr).contains(why), "{}", text(&done.stderr));
    }
    assert_eq!(names(&taken), ["report.html"]);
}

#[test]
fn a_layer_that_is_not_there_is_refused_before_the_replay() {
    let dir = folder();
    // A job that no replay finishes.
    let job = write(
        &dir,
        "slow.gcode",
        "G1 Z0.2 F900\nG1 X900000 E1 F0.01\nG28\n",
    );
    refused(
        &["replay", &job, "--layer", "7"],
        2,
        "--layer 7: the job has layers 0 to 0",
    );
}

#[test]
fn messages_name_what_is_wrong() {
    let dir = folder();
    refused(
        &["compare", "-", "-"],
        2,
        "standard input can be read only once",
    );
    let twice = "name = \"a\"\nname = \"b\"\n";
    let twice = write(&dir, "twice.toml", twice);
    let job = write(&dir, "job.gcode", &starving());
    refused(
        &["replay", &job, "--board", &twice],
        2,
        "twice.toml:2: not TOML: the key `name` stands there twice",
    );
    let wrong = ran(&["compare", &job, "--vary", "save=s"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(text(&wrong.stderr).contains("save=s: must be off, layer, or the seconds"));
    // A place where nothing can be made, even by root.
    let done = ran(&["replay", &job, "--out", "/proc/headstall"]);
    let error = text(&done.stderr);
    assert_eq!(done.status.code(), Some(1));
    assert!(
        error.contains("/proc/headstall") && !error.contains(".headstall-"),
        "{error}"
    );
    // A temporary folder that takes nothing.
    let done = under(
        "true",
        dir.path(),
        &["compare", "-", "--vary", "motion.accel.print=500,1000"],
        &[("TMPDIR", "/proc")],
    );
    assert_eq!(done.status.code(), Some(1), "{}", text(&done.stderr));
    assert!(text(&done.stderr).contains("cannot be stored in /proc"));
}
