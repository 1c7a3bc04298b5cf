//! Unlucky and hostile use of all commands: little memory, no threads, full disks, files that are no jobs, odd numbers.

use std::fs;
use std::path::Path;
use std::process::Output;
use std::time::{Duration, SystemTime};

use headstall::demo::lantern::Lantern;
use serde_json::Value;

use crate::cli::{folder, names, ran, refused, text, write};
use crate::limits::under;

/// RUST_MIN_STACK asks for a stack that no system gives, so that no thread can be begun.
const NO_THREADS: [(&str, &str); 1] = [("RUST_MIN_STACK", "100000000000000")];

/// A folder with a job, bumps seen on it, a coupon and times for it.
fn workshop() -> tempfile::TempDir {
    let dir = folder();
    write(&dir, "job.gcode", &cup());
    let bumps: String = (0..12).map(|k| format!("{},{}\n", k % 6, 40 * k)).collect();
    write(&dir, "seen.csv", &format!("layer,angle_deg\n{bumps}"));
    let made = under("true", dir.path(), &["coupon", "-o", "coupon.gcode"], &[]);
    assert!(made.status.success(), "{}", text(&made.stderr));
    let rows = (1..=18).map(|k| format!("{k},{}\n", 5 + k));
    let rows: String = rows.collect();
    write(&dir, "times.csv", &format!("section,seconds\n{rows}"));
    dir
}

/// Six layers of a wall.
fn cup() -> String {
    let layer = |k: u32| {
        let side = |n: u32| format!("G1 X{} Y{} E1\n", n / 2 * 40, (n + 1) % 4 / 2 * 40);
        format!(
            "G1 Z{:.1}\n{}",
            f64::from(k) * 0.2 + 0.2,
            (0..4).map(side).collect::<String>()
        )
    };
    format!("M83\nG1 F3000\n{}", (0..6).map(layer).collect::<String>())
}

/// Commands that write, and what.
const WRITING: [(&[&str], &str); 8] = [
    (&["replay", "job.gcode", "--out", "new"], "new"),
    (&["compare", "job.gcode", "--out", "new"], "new"),
    (&["remedies", "job.gcode", "--out", "new"], "new"),
    (&["demo", "--out", "new"], "new/lantern.gcode"),
    (&["coupon", "-o", "new"], "new"),
    (
        &[
            "fit",
            "coupon.gcode",
            "times.csv",
            "--sigma",
            "60",
            "-o",
            "new",
        ],
        "new",
    ),
    (&["explain", "job.gcode", "seen.csv", "--out", "new"], "new"),
    (&["mend", "job.gcode", "--runs", "2", "-o", "new"], "new"),
];

fn error(done: &Output) -> String {
    text(&done.stderr)
}

#[track_caller]
fn nothing_is_left(dir: &Path, before: &[String], what: &[&str]) {
    assert_eq!(names(dir), before, "{what:?}");
}

/// Threads reserve address space for their heaps; where there is too little for that, one does the work.
#[test]
fn little_memory_is_enough_for_one_thread() {
    let dir = folder();
    write(&dir, "job.gcode", &Lantern::default().job());
    for kib in [150_000, 160_000, 220_000] {
        let limits = format!("ulimit -c 0; ulimit -v {kib}");
        let args = ["replay", "job.gcode", "--out", "out", "--png"];
        let done = under(&limits, dir.path(), &args, &[]);
        assert_eq!(done.status.code(), Some(0), "{kib}: {}", error(&done));
        fs::remove_dir_all(dir.path().join("out")).unwrap();
        nothing_is_left(dir.path(), &["job.gcode".to_string()], &args);
    }
}

/// Told before the job is looked for.
#[test]
fn too_little_memory_is_told_before_anything_is_done() {
    let dir = folder();
    for (kib, code) in [(50_000, 1), (150_000, 2)] {
        let limits = format!("ulimit -c 0; ulimit -v {kib}");
        let done = under(&limits, dir.path(), &["replay", "none.gcode"], &[]);
        let said = error(&done);
        let short = said.contains("48 MiB must be free beyond the program itself");
        assert_eq!(
            (done.status.code(), short),
            (Some(code), code == 1),
            "{said}"
        );
    }
}

/// A job that is kept in memory, of which there is too little. Rust's standard library then ends the program.
#[cfg(target_os = "linux")]
#[test]
fn what_the_system_ends_leaves_old_results_alone() {
    let dir = folder();
    write(&dir, "small.gcode", &cup());
    let moves: String = (0..2_000_000).map(|k| format!("X{}\n", k % 2)).collect();
    write(&dir, "large.gcode", &format!("G1 X0 E1 F3000\n{moves}"));
    let remedies = |job: &str, kib: u32| {
        let limits = format!("ulimit -c 0; ulimit -v {kib}");
        under(&limits, dir.path(), &["remedies", job, "--out", "out"], &[])
    };
    let written = || fs::read(dir.path().join("out/remedies.json")).unwrap();
    assert_eq!(remedies("small.gcode", 150_000).status.code(), Some(0));
    let before = written();
    assert!(!remedies("large.gcode", 100_000).status.success());
    assert!(before == written());
    for name in names(dir.path())
        .iter()
        .filter(|n| n.starts_with(".headstall-"))
    {
        let left = fs::File::open(dir.path().join(name)).unwrap();
        let hour = Duration::from_secs(3600);
        left.set_modified(SystemTime::now() - hour).unwrap();
    }
    assert_eq!(remedies("small.gcode", 150_000).status.code(), Some(0));
    assert_eq!(names(dir.path()), ["large.gcode", "out", "small.gcode"]);
}

#[test]
fn without_threads_files_are_written_as_well() {
    let dir = workshop();
    for (args, made) in WRITING {
        // The first does without; with threads it is the same.
        let done = [&NO_THREADS[..], &[]].map(|env| {
            let done = under("true", dir.path(), args, env);
            assert_eq!(done.status.code(), Some(0), "{args:?}: {}", error(&done));
            let made = dir.path().join(made);
            let bytes = made.is_file().then(|| fs::read(&made).unwrap());
            let new = dir.path().join("new");
            let _ = fs::remove_file(&new);
            let _ = fs::remove_dir_all(&new);
            (text(&done.stdout), bytes)
        });
        assert!(done[0] == done[1], "{args:?}");
    }
    let page = under("true", dir.path(), &["open", "--no-browser"], &NO_THREADS);
    assert_eq!(page.status.code(), Some(1));
    assert!(error(&page).contains("needs a thread"), "{}", error(&page));
}

/// A file that may not grow stands for a full disk.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_named_by_the_place_that_was_given() {
    let dir = workshop();
    let before = names(dir.path());
    for (args, _) in WRITING {
        let done = under("ulimit -f 0", dir.path(), args, &[]);
        let said = error(&done);
        assert_eq!(done.status.code(), Some(1), "{args:?}: {said}");
        let place = said.strip_prefix("headstall: new").is_some();
        assert!(
            place && said.contains("cannot be written") && !said.contains(".headstall-"),
            "{said}"
        );
        nothing_is_left(dir.path(), &before, args);
    }
}

#[test]
fn a_file_in_no_folder_is_refused_at_once() {
    let dir = workshop();
    let before = names(dir.path());
    let commands: [&[&str]; 3] = [
        &["coupon", "-o"],
        &["fit", "coupon.gcode", "times.csv", "-o"],
        &["mend", "-", "-o"],
    ];
    for args in commands {
        for (place, why) in [
            ("none/x", "none does not exist"),
            ("job.gcode/x", "job.gcode is not a folder"),
        ] {
            let args = [args, &[place]].concat();
            let done = under("true", dir.path(), &args, &[]);
            assert_eq!(done.status.code(), Some(2), "{}", error(&done));
            let why = format!("--out {place}: {why}; name a file in a folder that exists");
            assert!(error(&done).contains(&why), "{}", error(&done));
            nothing_is_left(dir.path(), &before, &args);
        }
    }
}

/// What a run leaves that is killed while it writes one file.
#[test]
fn the_next_run_removes_files_that_nobody_holds() {
    let dir = folder();
    let left = |name: &str| {
        let file = fs::File::create(dir.path().join(name)).unwrap();
        let hour = Duration::from_secs(3600);
        file.set_modified(SystemTime::now() - hour).unwrap();
        file
    };
    drop(left(".headstall-dead"));
    let alive = left(".headstall-alive");
    alive.lock().unwrap();
    fs::write(dir.path().join(".headstall-young"), "").unwrap();
    let done = under("true", dir.path(), &["coupon", "-o", "new"], &[]);
    assert_eq!(done.status.code(), Some(0), "{}", error(&done));
    assert_eq!(
        names(dir.path()),
        [".headstall-alive", ".headstall-young", "new"]
    );
}

/// A foreign file is refused before the job is read, which never ends here.
#[test]
fn a_foreign_picture_is_refused_before_the_job() {
    let dir = workshop();
    let place = dir.path().join("taken");
    fs::create_dir(&place).unwrap();
    fs::write(place.join("explain.svg"), "somebody's").unwrap();
    for job in ["job.gcode", "none.gcode"] {
        let args = ["explain", job, "seen.csv", "--out", "taken"];
        let done = under("true", dir.path(), &args, &[]);
        assert_eq!(done.status.code(), Some(2));
        let why = "--out taken: holds an explain.svg that is not from this program";
        assert!(error(&done).contains(why), "{}", error(&done));
    }
    assert_eq!(names(&place), ["explain.svg"]);
}

/// Whether something without an end is stored: it must be refused by its first bytes.
#[cfg(target_os = "linux")]
#[test]
fn a_device_without_an_end_is_not_stored() {
    for command in ["mend", "compare", "remedies", "open"] {
        refused(
            &[command, "/dev/zero"],
            2,
            "is no print job: it looks like binary data",
        );
    }
}

#[test]
fn a_job_that_is_all_mangled_is_no_job() {
    let dir = folder();
    let mangled = "G1 Xabc Yfoo\nG1 Z..2 E--1\nG1 X Y\nM104 S200\n".repeat(30);
    let job = write(&dir, "job.gcode", &mangled);
    let why =
        "is no print job: none of its lines is a move that can be understood, and 60 of 120 have";
    let more = write(&dir, "more.gcode", &(mangled + "G1 Y=7\n"));
    for command in ["replay", "compare", "remedies", "mend"] {
        refused(
            &[command, &more],
            2,
            "and 61 of 121 have numbers or text that are no G-code",
        );
    }
    assert!(ran(&["replay", &job]).status.success(), "{why}");
    let still = write(
        &dir,
        "still.gcode",
        "G21\nG90\nM104 S200\nG4 P100\nSTART_FANS\nM400\n",
    );
    assert!(ran(&["replay", &still]).status.success());
    let one = write(&dir, "one.gcode", "G1 Xabc\nG1 Yfoo\nG1 X5 F900\n");
    assert!(ran(&["replay", &one]).status.success());
}

/// What each command says in JSON of limits, and on the terminal.
fn said(dir: &Path, args: &[&str]) -> (Vec<String>, String) {
    let shown = under("true", dir, args, &[]);
    assert_eq!(shown.status.code(), Some(0), "{args:?}: {}", error(&shown));
    let json = under("true", dir, &[args, &["--json"]].concat(), &[]);
    let json: Value = serde_json::from_slice(&json.stdout).unwrap();
    let all = match args[0] {
        "explain" => &json["notes"],
        _ => &json["warnings"],
    };
    let all = all.as_array().unwrap_or_else(|| panic!("{args:?}: {json}"));
    let all = all.iter().map(|w| {
        let message = w["message"].as_str().map(String::from);
        message.unwrap_or_else(|| w.as_str().unwrap().to_string())
    });
    // However the lines are broken.
    let shown = text(&shown.stdout) + &error(&shown);
    let shown: Vec<&str> = shown.split_whitespace().collect();
    (all.collect(), shown.join(" "))
}

/// Each way in which a job can go beyond a limit is told by each command that reads jobs.
#[test]
fn what_is_cut_of_a_job_is_told_by_every_command() {
    let dir = workshop();
    let odd = [
        (
            format!("G1 X5 E.2 ;{}\n", "x".repeat(70_000)),
            "more than 64 KiB",
        ),
        (
            "G1 X1 F0.00001\nG1 X1.001\nG1 F3000\n".to_string(),
            "below 0.001 mm/s",
        ),
        ("G4 S1000000000\n".to_string(), "more than 1000000 s"),
        ("M221 S100000000\n".to_string(), "beyond any machine"),
        (
            "G2 X10 Y0 I5000000 J0 E.1\n".to_string(),
            "an arc that no circle fits",
        ),
    ];
    let lines: String = odd.iter().map(|(lines, _)| &lines[..]).collect();
    write(&dir, "odd.gcode", &format!("{0}{lines}{0}", cup()));
    let commands: [&[&str]; 6] = [
        &["replay", "odd.gcode"],
        &["compare", "odd.gcode"],
        &["remedies", "odd.gcode"],
        &["explain", "odd.gcode", "seen.csv", "--draws", "99"],
        &["mend", "odd.gcode", "--runs", "1"],
        &[
            "fit",
            "coupon.gcode",
            "times.csv",
            "--sigma",
            "60",
            "--job",
            "odd.gcode",
        ],
    ];
    for args in commands {
        let (all, shown) = said(dir.path(), args);
        for (_, what) in &odd {
            assert!(
                all.iter().any(|w| w.contains(what)),
                "{args:?}: {what}: {all:?}"
            );
            assert!(shown.contains(what), "{args:?}: {what}: {shown}");
        }
    }
}

#[test]
fn numbers_have_a_range_that_is_told() {
    let dir = workshop();
    let commands: [(&[&str], &str, &str); 12] = [
        (
            &["replay", "job.gcode"],
            "--visible",
            "must be a number of mm from 0 to 100, and 0 or at least 0.001",
        ),
        (
            &["mend", "job.gcode"],
            "--within",
            "must be a number of mm from 0.001 to 1",
        ),
        (
            &["explain", "job.gcode", "seen.csv"],
            "--z-err",
            "must be a number of mm from 0 to 20, and 0 or at least 0.001",
        ),
        (
            &["explain", "job.gcode", "seen.csv"],
            "--angle-err",
            "must be a number of degrees from 0 to 45, and 0 or at least 0.001",
        ),
        (
            &["fit", "coupon.gcode", "times.csv"],
            "--sigma",
            "must be a number of seconds from 0.001 to 60",
        ),
        (
            &["replay", "job.gcode"],
            "--max-bumps",
            "must be a whole number from 0 to",
        ),
        (
            &["open", "--no-browser"],
            "--port",
            "must be a whole number from 0 to 65535",
        ),
        (
            &["open", "--no-browser"],
            "--idle",
            "must be a whole number from 1 to 86400",
        ),
        (
            &["mend", "job.gcode"],
            "--runs",
            "must be a whole number from 1 to 10000",
        ),
        (
            &["explain", "job.gcode", "seen.csv"],
            "--draws",
            "must be a whole number from 99 to 99999",
        ),
        (&["coupon", "-o", "new"], "--z", "must be "),
        (&["coupon", "-o", "new"], "--speed", "must be "),
    ];
    for (args, option, why) in commands {
        for value in ["-1", "4.9e-324", "1e308", "nan", "x"] {
            let done = under("true", dir.path(), &[args, &[option, value]].concat(), &[]);
            let said = error(&done);
            assert_eq!(done.status.code(), Some(2), "{option} {value}: {said}");
            assert!(
                said.contains(why) && said.len() < 220,
                "{option} {value}: {said}"
            );
        }
    }
    for (window, why) in [
        ("0,90,0,1e308", "heights must be from -10000 to 10000 mm"),
        ("0,90,0,4.9e-324", "the second height must be greater"),
        (
            "0,4.9e-324,0,9",
            "the second angle must lie counter-clockwise",
        ),
        ("0,1e308,0,9", "angles must be from -720 to 720"),
    ] {
        let args = ["explain", "job.gcode", "seen.csv", "--window", window];
        let done = under("true", dir.path(), &args, &[]);
        assert!(
            done.status.code() == Some(2) && error(&done).contains(why),
            "{}",
            error(&done)
        );
    }
    for at in ["1e308,0", "0,-4000"] {
        let done = under(
            "true",
            dir.path(),
            &["coupon", "-o", "new", "--at", at],
            &[],
        );
        let said = error(&done);
        assert!(
            said.contains("must be from -2000 to 2000 mm") && said.len() < 90,
            "{said}"
        );
    }
    let far = write(
        &dir,
        "far.gcode",
        &format!("G1 X1{} F900\n", "0".repeat(305)),
    );
    refused(&["replay", &far], 2, "X would be at 1e305 mm");
}

/// The last of all seeds is followed by the first.
#[test]
fn seeds_go_round() {
    let dir = workshop();
    let seed = u64::MAX.to_string();
    let args = [
        "mend",
        "job.gcode",
        "--board",
        "8bit-card-saves",
        "--seed",
        &seed,
        "--runs",
        "3",
        "--json",
    ];
    let done = under("true", dir.path(), &args, &[]);
    let json: Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(json["before"]["runs"], 3);
}
