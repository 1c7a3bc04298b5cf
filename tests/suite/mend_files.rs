//! `mend` and its files: what it writes, what it refuses, what a failure leaves.

use std::fs;
use std::process::{Command, Stdio};

use super::mend_command::{names, rings, run, with, workshop};

#[test]
fn what_cannot_be_written_is_refused_and_leaves_nothing() {
    let dir = workshop();
    let dir = dir.path();
    fs::write(dir.join("old.gcode"), "M84\n").unwrap();
    #[cfg(unix)]
    std::os::unix::fs::symlink("old.gcode", dir.join("link.gcode")).unwrap();
    #[cfg(unix)]
    {
        fs::hard_link(dir.join("job.gcode"), dir.join("same.gcode")).unwrap();
        std::os::unix::fs::symlink("job.gcode", dir.join("to-job.gcode")).unwrap();
    }
    let before = names(dir);
    let inputs = [
        "job.gcode",
        "./job.gcode",
        "same.gcode",
        "to-job.gcode",
        "slow.toml",
    ];
    for out in inputs {
        let refused = run(dir, &with(&["--force", "-o", out]));
        assert_eq!(refused.status.code(), Some(2), "{out}: {refused:?}");
        let said = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(said.contains("is the input"), "{said}");
        assert_eq!(names(dir), before);
    }
    for out in ["job.gcode", "old.gcode", "link.gcode", "."] {
        let refused = run(dir, &with(&["-o", out]));
        assert_eq!(refused.status.code(), Some(2), "{out}: {refused:?}");
        assert_eq!(names(dir), before);
    }
    // A device stays one, whatever is said.
    #[cfg(unix)]
    {
        let device = run(dir, &with(&["-o", "/dev/null", "--force"]));
        assert_eq!(device.status.code(), Some(2), "{device:?}");
        assert!(!fs::metadata("/dev/null").unwrap().is_file());
    }
    let nowhere = run(dir, &with(&["-o", "none/new.gcode"]));
    assert_eq!(nowhere.status.code(), Some(2), "{nowhere:?}");
    assert!(!String::from_utf8_lossy(&nowhere.stderr).contains(".headstall-"));
    assert_eq!(
        fs::read(dir.join("job.gcode")).unwrap(),
        rings(4).into_bytes()
    );
    let replaced = run(dir, &with(&["-o", "old.gcode", "--force"]));
    assert_eq!(replaced.status.code(), Some(0), "{replaced:?}");
    assert_ne!(fs::read(dir.join("old.gcode")).unwrap(), b"M84\n");
    assert_eq!(names(dir), before);
}

/// A file that may not grow stands for a full disk.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_leaves_nothing() {
    let dir = workshop();
    let dir = dir.path();
    let before = names(dir);
    let full = Command::new("sh")
        .args(["-c", "trap '' XFSZ; ulimit -f 8; exec \"$@\"", "sh"])
        .arg(env!("CARGO_BIN_EXE_headstall"))
        .args(with(&["-o", "new.gcode"]))
        .current_dir(dir)
        .output()
        .unwrap();
    assert_eq!(full.status.code(), Some(1), "{full:?}");
    assert_eq!(names(dir), before);
}

/// The job on standard input too is read again and again, but no file with a name is made of it that a signal could leave.
#[cfg(unix)]
#[test]
fn a_job_on_standard_input_leaves_nothing_behind() {
    use std::io::Write;
    let dir = workshop();
    let dir = dir.path();
    let (kept, new) = (dir.join("kept"), dir.join("new.gcode"));
    fs::create_dir(&kept).unwrap();
    for signal in ["INT", "TERM", "HUP"] {
        let mut child = Command::new(env!("CARGO_BIN_EXE_headstall"))
            .args(["mend", "-", "--board", "slow.toml", "-o", "new.gcode"])
            .current_dir(dir)
            .env("TMPDIR", &kept)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut pipe = child.stdin.take().unwrap();
        // More than a pipe holds: the program is reading when this has gone.
        pipe.write_all(rings(8).as_bytes()).unwrap();
        let sent = Command::new("kill")
            .args([&format!("-{signal}"), &child.id().to_string()])
            .status()
            .unwrap();
        assert!(sent.success());
        assert!(!child.wait().unwrap().success());
        drop(pipe);
        assert_eq!(names(&kept), [""; 0]);
        assert!(!new.exists());
        assert_eq!(names(dir), ["job.gcode", "kept", "slow.toml"]);
    }
    let job = fs::File::open(dir.join("job.gcode")).unwrap();
    let done = Command::new(env!("CARGO_BIN_EXE_headstall"))
        .args(["mend", "-", "--board", "slow.toml", "--runs", "2"])
        .args(["-o", "new.gcode"])
        .current_dir(dir)
        .env("TMPDIR", &kept)
        .stdin(job)
        .output()
        .unwrap();
    assert_eq!(done.status.code(), Some(0), "{done:?}");
    assert_eq!(names(&kept), [""; 0]);
    run(dir, &with(&["-o", "other.gcode"]));
    assert_eq!(
        fs::read(&new).unwrap(),
        fs::read(dir.join("other.gcode")).unwrap()
    );
}

/// `-o -`: the job on standard output, and nothing else there.
#[test]
fn a_dash_is_standard_output() {
    let dir = workshop();
    let dir = dir.path();
    let before = names(dir);
    let done = run(dir, &with(&["-o", "-"]));
    assert_eq!(done.status.code(), Some(0), "{done:?}");
    assert!(String::from_utf8_lossy(&done.stderr).contains("Mended: no visible bump"));
    assert_eq!(names(dir), before);
    run(dir, &with(&["-o", "new.gcode"]));
    assert_eq!(done.stdout, fs::read(dir.join("new.gcode")).unwrap());
    let both = run(dir, &with(&["-o", "-", "--json"]));
    assert_eq!(both.status.code(), Some(2), "{both:?}");
    assert!(both.stdout.is_empty());
}

/// The path moves by at least the last decimal of a coordinate, or not at all.
#[test]
fn a_tolerance_out_of_range_is_refused_with_the_range() {
    let dir = workshop();
    for within in [
        "0", "-1", "1e-310", "0.0009", "1.01", "1e300", "inf", "NaN", "x",
    ] {
        let refused = run(dir.path(), &with(&["--within", within]));
        assert_eq!(refused.status.code(), Some(2), "{within}: {refused:?}");
        let said = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(said.contains("a number of mm from 0.001 to 1"), "{said}");
    }
}

/// A further means never makes the print slower, nor leaves more bumps.
/// Where a stretch ends goes by what was written before it, which other means write otherwise.
#[test]
fn what_is_kept_of_a_stretch_is_that_of_all_of_it() {
    let dir = workshop();
    let dir = dir.path();
    let board = include_str!("../../scenarios/lantern/stutters.toml");
    fs::write(dir.join("slow.toml"), board).unwrap();
    let mut job = String::from("G28\nM83\nG1 X25 Y0 Z.2 F3600\n");
    let mut at: (f64, f64) = (25.0, 0.0);
    for k in 1..=1400 {
        let turn = f64::from(k) / 700.0 * std::f64::consts::TAU;
        let radius_mm = 25.0 + 1.5 * (12.0 * turn).sin();
        let to = (radius_mm * turn.cos(), radius_mm * turn.sin());
        let e_mm = 0.033 * (to.0 - at.0).hypot(to.1 - at.1);
        job += if k % 23 == 0 { "M117 x\n" } else { "" };
        job += &format!("G1 X{:.3} Y{:.3} E{e_mm:.5}\n", to.0, to.1);
        at = to;
    }
    fs::write(dir.join("job.gcode"), job).unwrap();
    for allow in ["merge,pace,strip", "merge,pace,strip,arcs"] {
        let done = run(dir, &with(&["--allow", allow]));
        let said = String::from_utf8_lossy(&done.stderr);
        assert_eq!(done.status.code(), Some(0), "{said}");
    }
}

#[test]
fn more_means_are_never_worse() {
    let dir = workshop();
    let dir = dir.path();
    let ring = fs::read_to_string(dir.join("job.gcode")).unwrap();
    let commented: String = ring.lines().map(|l| format!("{l} ; c\n")).collect();
    for (job, fewer, more) in [
        (&commented, "merge,strip", "merge,pace,strip"),
        (&ring, "arcs", "arcs,pace"),
        (&ring, "merge,pace", "merge,pace,arcs"),
    ] {
        fs::write(dir.join("job.gcode"), job).unwrap();
        let [one, other] = [fewer, more].map(|allow| {
            let done = run(dir, &with(&["--json", "--allow", allow]));
            assert_eq!(done.status.code(), Some(0), "{done:?}");
            let said: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
            let of = |name: &str| said["after"][name].as_f64().unwrap();
            (of("visible_bumps"), of("print_s"))
        });
        assert!(other.0 <= one.0, "{more}: {other:?}, {fewer}: {one:?}");
        let longer = other.1 / one.1;
        assert!(
            longer < 1.005 || other.0 < one.0,
            "{more}: {other:?}, {fewer}: {one:?}"
        );
    }
}
