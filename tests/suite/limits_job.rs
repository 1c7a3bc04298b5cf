//! Limits of what is read (DEVELOPERS.md, "Limits"): each driven to its edge and just beyond.

use std::fs::{self, File};
use std::io::Write;

use headstall::job::notices::NoticeKind;
use headstall::job::reader::JobReader;
use headstall::replay::stream::{Done, Watcher, replay};
use serde_json::Value;

use super::cli::{folder, headstall, ran, refused, starving, text, write};
use super::making::board;

/// What the reader found odd in a job, and where first.
fn odd(job: &str) -> Vec<(NoticeKind, u64)> {
    let mut reader = JobReader::new(job.as_bytes());
    while reader.next_step().unwrap().is_some() {}
    let notices = reader.notices().list();
    // Whether the job prints, and whether it sets F, is no matter here.
    let beside = [NoticeKind::NothingExtruded, NoticeKind::NoFeed];
    let found = notices.map(|n| (n.kind, n.line));
    found.filter(|(kind, _)| !beside.contains(kind)).collect()
}

#[test]
fn a_line_is_read_up_to_64_kib() {
    let line = |bytes: usize| {
        let start = "G1 X5 ";
        format!("{start}{}Y7\n", " ".repeat(bytes - start.len() - 2))
    };
    assert_eq!(odd(&line(1 << 16)), []);
    let [(kind, 1)] = odd(&line((1 << 16) + 1))[..] else {
        panic!("{:?}", odd(&line((1 << 16) + 1)));
    };
    assert_eq!(kind, NoticeKind::LongLine);
    // What lies beyond is not read: 2 m would be refused.
    let beyond = format!("G1 X5 {}Y2000000\nG1 X6\n", " ".repeat(1 << 16));
    assert_eq!(odd(&beyond), [(NoticeKind::LongLine, 1)]);
}

#[test]
fn places_and_filament_reach_a_kilometre() {
    let reads = |job: &str| {
        let mut reader = JobReader::new(job.as_bytes());
        loop {
            match reader.next_step() {
                Ok(Some(_)) => {}
                Ok(None) => return Ok(()),
                Err(e) => return Err(e.to_string()),
            }
        }
    };
    for job in [
        "G1 X1000000\nG1 Y-1000000\n",
        "G91\nG1 Z500000\nG1 Z500000\n",
        "M83\nM221 S200\nG1 X1 E500000\n",
    ] {
        assert_eq!(reads(job), Ok(()), "{job}");
    }
    for (job, why) in [
        ("G1 X1000000.001\n", "line 1 (byte 0): X would be at"),
        (
            "G91\nG1 Z500000\nG1 Z500000.1\n",
            "line 3 (byte 15): Z would be at",
        ),
        ("M83\nM221 S200\nG1 X1 E500001\n", "line 3 (byte 14): E"),
    ] {
        let told = reads(job).unwrap_err();
        assert!(
            told.starts_with(why) && told.contains("-1000000 to 1000000"),
            "{told}"
        );
    }
}

#[test]
fn factors_and_limits_end_where_machines_do() {
    let edges = "M220 S0.001\nM220 S1000000\nM221 S0.001\nM221 S1000000\nM204 S0.001\nM204 S1000000000\nM203 X1000000\n";
    assert_eq!(odd(edges), []);
    for beyond in [
        "M220 S0.0009",
        "M220 S1000001",
        "M221 S0.0009",
        "M221 S1000001",
        "M204 S0.0009",
        "M204 S1000000001",
        "M203 X1000001",
        "M203 X0.0000009",
        "M205 X1000001",
        "M205 J1001",
    ] {
        let job = format!("G1 X1 F900\n{beyond}\n");
        assert_eq!(odd(&job), [(NoticeKind::NotPositive, 2)], "{beyond}");
    }
}

#[test]
fn the_radius_of_an_arc_is_at_most_a_kilometre() {
    let circle = |radius: &str| odd(&format!("G1 X0 Y0 F900\nG2 I{radius}\n"));
    assert_eq!(circle("1000000"), []);
    assert_eq!(circle("1000000.1"), [(NoticeKind::Arc, 2)]);
    let part = |radius: &str| odd(&format!("G1 X0 Y0 F900\nG2 X10 Y0 R{radius}\n"));
    assert_eq!(part("1000000"), []);
    assert_eq!(part("1000000.1"), [(NoticeKind::Arc, 2)]);
}

#[derive(Default)]
struct Count(u64);

impl Watcher for Count {
    fn block(&mut self, _: &Done) {
        self.0 += 1;
    }
    fn stop(&mut self, _: f64, _: f64) {}
}

/// 6284 chords each: 1.5 million are used up with the 239th arc; then there are three for two bytes of a line.
#[test]
fn all_arcs_together_have_chords_by_their_bytes() {
    let board = board(&["motion.arc_chord_mm=1", "queue.lines=8", "queue.blocks=16"]);
    let arcs = |count: usize| {
        let mut blocks = Count::default();
        let job = format!("G1 F60000\n{}", "G2 I1000 E.1\n".repeat(count));
        let done = replay(job.as_bytes(), &board, 0, &mut blocks).unwrap();
        let told = done
            .source
            .steps
            .notices()
            .limits()
            .map(|n| (n.kind, n.line))
            .next();
        (blocks.0, told)
    };
    assert_eq!(arcs(200), (200 * 6284, None));
    let (blocks, told) = arcs(2000);
    let Some((NoticeKind::ArcChords, line)) = told else {
        panic!("{told:?}");
    };
    assert!((240..=242).contains(&line), "{line}");
    let most = 1_500_000 + 3 * 13 * 2000 / 2;
    assert!((1_500_000..=most).contains(&blocks), "{blocks}");
}

#[test]
fn commands_without_effect_have_500_names() {
    let dir = folder();
    let told = |names: usize| {
        let unknown: String = (0..names).map(|k| format!("MACRO_{k}\n")).collect();
        let job = write(
            &dir,
            "job.gcode",
            &format!("G1 X1 E1 F900\n{unknown}{unknown}"),
        );
        let done = ran(&["replay", &job, "--quick", "--json"]);
        let summary: Value = serde_json::from_slice(&done.stdout).unwrap();
        summary["other_commands"].as_object().unwrap().clone()
    };
    let all = told(500);
    assert_eq!((all.len(), all.get("all others")), (500, None));
    let cut = told(540);
    assert_eq!(
        (cut.len(), &cut["all others"], &cut["MACRO_7"]),
        (501, &80.into(), &2.into())
    );
}

#[test]
fn a_board_file_has_a_mib_and_a_thousand_chores() {
    let dir = folder();
    let job = write(&dir, "job.gcode", "G1 X1 E1 F900\n");
    let own = headstall::board::builtin::text("8bit-card").unwrap();
    let runs = |toml: String| {
        let board = write(&dir, "own.toml", &toml);
        let done = ran(&["replay", &job, "--quick", "--board", &board]);
        (done.status.code(), text(&done.stderr))
    };
    let padded = |bytes: usize| format!("{own}#{}", "x".repeat(bytes - own.len() - 1));
    assert_eq!(runs(padded(1 << 20)).0, Some(0));
    let (code, why) = runs(padded((1 << 20) + 1));
    assert!(
        code == Some(2) && why.contains("own.toml: is larger than 1 MiB"),
        "{why}"
    );
    let there = own.matches("[[chore]]").count();
    let chores = |all: usize| {
        let one = "\n[[chore]]\nname = \"c\"\nevery_s = 5\nus = 1\n";
        format!("{own}{}", one.repeat(all - there))
    };
    assert_eq!(runs(chores(1000)).0, Some(0));
    let (code, why) = runs(chores(1001));
    assert!(code == Some(2) && why.contains("1000"), "{why}");
}

#[test]
fn queues_and_waits_of_a_board_have_an_end() {
    let dir = folder();
    let job = write(&dir, "job.gcode", "G1 X1 E1 F900\n");
    for (key, most, beyond) in [
        ("queue.lines", "1000000", "1000001"),
        ("queue.blocks", "1000000", "1000001"),
        ("link.in_flight", "100000", "100001"),
        ("wait.heat_s", "1e6", "1000001"),
        ("save.ms", "1e9", "1.1e9"),
    ] {
        let with = |value: &str| {
            let set = format!("{key}={value}");
            ran(&[
                "replay",
                &job,
                "--quick",
                "--board",
                "8bit-serial-115200",
                "--set",
                &set,
            ])
        };
        let (edge, over) = (with(most), with(beyond));
        assert_eq!(edge.status.code(), Some(0), "{key}: {}", text(&edge.stderr));
        assert_eq!(over.status.code(), Some(2), "{key}");
        let why = text(&over.stderr);
        assert!(why.contains(key) && why.contains("must be"), "{why}");
    }
}

#[test]
fn lists_and_coupons_are_read_up_to_a_size() {
    let dir = folder();
    let coupon = dir.path().join("coupon.gcode").display().to_string();
    assert!(ran(&["coupon", "-o", &coupon]).status.success());
    let times = write(&dir, "times.csv", "section,seconds\n1,5\n");
    let job = write(&dir, "job.gcode", &starving());
    // A file as long as this, of which nothing is stored.
    let hollow = |name: &str, bytes: u64| {
        let path = dir.path().join(name);
        File::create(&path).unwrap().set_len(bytes).unwrap();
        path.display().to_string()
    };
    let why = "is larger than 64 MiB";
    refused(&["fit", &hollow("c.gcode", (64 << 20) + 1), &times], 2, why);
    let done = ran(&["fit", &hollow("c.gcode", 64 << 20), &times]);
    assert!(!text(&done.stderr).contains(why), "{}", text(&done.stderr));
    let lines = |count: usize| {
        write(
            &dir,
            "long.gcode",
            &format!("G1 X1 F900\n{}", "M17\n".repeat(count - 1)),
        )
    };
    let why = "has more than 300000 command lines";
    refused(&["fit", &lines(300_001), &times], 2, why);
    // It is no coupon either, but read.
    refused(
        &["fit", &lines(300_000), &times],
        2,
        "has 0 sections between pauses",
    );
    let seen = hollow("seen.csv", (1 << 20) + 1);
    refused(
        &["explain", &job, &seen],
        2,
        "seen.csv: is larger than 1 MiB",
    );
    let rows = |count: usize| {
        write(
            &dir,
            "rows.csv",
            &format!("layer,angle_deg\n{}", "0,5\n".repeat(count)),
        )
    };
    refused(
        &["explain", &job, &rows(4001)],
        2,
        "line 4002: more than 4000 bumps",
    );
    let done = ran(&["explain", &job, &rows(4000)]);
    assert!(
        !text(&done.stderr).contains("more than"),
        "{}",
        text(&done.stderr)
    );
}

#[test]
fn a_recording_lasts_two_hours_at_most() {
    let dir = folder();
    let coupon = dir.path().join("coupon.gcode").display().to_string();
    assert!(ran(&["coupon", "-o", &coupon]).status.success());
    // 8 bits, mono, 16 000 a second (IBM and Microsoft, Multimedia Programming Interface 1.0, 1991); silence.
    let silent = |seconds: u32| {
        let bytes = seconds * 16_000;
        let mut head = b"RIFF".to_vec();
        head.extend((bytes + 36).to_le_bytes());
        head.extend(b"WAVEfmt \x10\0\0\0\x01\0\x01\0");
        head.extend([16_000_u32.to_le_bytes(), 16_000_u32.to_le_bytes()].concat());
        head.extend(b"\x01\0\x08\0data");
        head.extend(bytes.to_le_bytes());
        let path = dir.path().join("sound.wav");
        let mut file = File::create(&path).unwrap();
        file.write_all(&head).unwrap();
        file.set_len(u64::from(bytes) + 44).unwrap();
        path.display().to_string()
    };
    refused(
        &["fit", &coupon, &silent(7201)],
        2,
        "sound.wav: lasts longer than 2 hours",
    );
    let done = ran(&["fit", &coupon, &silent(60)]);
    assert!(
        !text(&done.stderr).contains("hours"),
        "{}",
        text(&done.stderr)
    );
}

/// The job that a fit is to be used for.
#[test]
fn a_job_for_a_fit_has_two_million_command_lines() {
    let dir = folder();
    let long = |count: usize| {
        write(
            &dir,
            "long.gcode",
            &format!("G1 X1 F900\n{}", "M17\n".repeat(count - 1)),
        )
    };
    let steps = |path: &str| {
        let job = headstall::answer::job::Job::in_memory("long.gcode", fs::read(path).unwrap());
        headstall::answer::fit::steps(&job, &board(&[])).map(|(steps, _)| steps.len())
    };
    assert_eq!(steps(&long(2_000_000)), Ok(2_000_000));
    let why = "long.gcode: has more than 2000000 command lines; no more are taken here";
    assert_eq!(steps(&long(2_000_001)), Err(why.to_string()));
}

#[test]
fn comparisons_have_a_thousand_settings_and_runs_an_end() {
    let dir = folder();
    let job = write(&dir, "job.gcode", "G1 X1 E1 F900\n");
    let vary = |key: &str, count: usize| {
        let values: Vec<String> = (1..=count).map(|k| (k + 1).to_string()).collect();
        format!("{key}={}", values.join(","))
    };
    let settings = |blocks: usize, lines: usize| {
        let (blocks, lines) = (vary("queue.blocks", blocks), vary("queue.lines", lines));
        ran(&[
            "compare", &job, "--runs", "1", "--vary", &blocks, "--vary", &lines,
        ])
    };
    let done = settings(20, 50);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let over = settings(13, 77);
    assert_eq!(over.status.code(), Some(2));
    assert!(text(&over.stderr).contains("more than 1000 settings; give fewer values"));
    for (runs, code) in [("10000", 0), ("10001", 2)] {
        let done = ran(&["compare", &job, "--board", "8bit-card", "--runs", runs]);
        assert_eq!(
            done.status.code(),
            Some(code),
            "{runs}: {}",
            text(&done.stderr)
        );
    }
}

/// What comes through a pipe is kept only up to a length, and that is said.
#[test]
fn a_long_job_from_standard_input_has_no_causes() {
    let dir = folder();
    let told = |moves: usize, json: bool| {
        let moves: String = (1..=moves).map(|k| format!("X{}\n", k % 2)).collect();
        let path = write(&dir, "job.gcode", &format!("G1 X0 F6000\n{moves}"));
        let mut command = headstall();
        command.args(["replay", "-", "--board", "8bit-card"]);
        if json {
            command.arg("--json");
        }
        let done = command.stdin(File::open(path).unwrap()).output().unwrap();
        assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
        text(&done.stdout)
    };
    let by = |moves: usize| {
        let summary: Value = serde_json::from_str(&told(moves, true)).unwrap();
        assert!(summary["stalls"].as_u64().unwrap() > 0);
        summary["causes_by"].as_str().unwrap().to_string()
    };
    assert_eq!(by(24_000), "shapley");
    assert_ne!(by(51_000), "shapley");
    assert!(told(51_000, false).contains("attributed approximately"));
}

/// One move, and many short ones; whoever reads the job.
#[test]
fn what_takes_too_long_is_named_by_line_and_speed() {
    let dir = folder();
    let long = "G1 X1 E1 F900\nG1 X900000 E1 F0.01\nG28\n";
    let long = write(&dir, "long.gcode", long);
    let short: String = (0..900)
        .map(|k| format!("G1 X{} E9\n", k % 2 * 9))
        .collect();
    let short = write(&dir, "short.gcode", &format!("M83\nG1 F0.01\n{short}"));
    let told = |args: &[&str]| {
        let done = ran(args);
        let error = text(&done.stderr);
        assert_eq!(
            (done.status.code(), error.lines().count()),
            (Some(2), 1),
            "{error}"
        );
        assert!(error.contains("(chores ran 50000000 times in ") && error.contains("its F, or"));
        error
    };
    let why = "headstall: long.gcode: line 2: this move takes 899999000 s at 0.001 mm/s (";
    let error = told(&["replay", &long, "--quick"]);
    assert!(error.starts_with(why), "{error}");
    let error = told(&["mend", &long, "--runs", "1"]);
    assert!(error.starts_with("headstall: long.gcode: "), "{error}");
    let error = told(&["replay", &short, "--quick"]);
    let of = error.strip_prefix("headstall: short.gcode: line ");
    let (line, rest) = of
        .unwrap_or_else(|| panic!("{error}"))
        .split_once(": ")
        .unwrap();
    assert!((3..903).contains(&line.parse::<u32>().unwrap()));
    assert!(
        rest.starts_with("this move takes 9000 s at 0.001 mm/s ("),
        "{error}"
    );
    // The board's own speed: its key is named.
    let crawl = "motion.speed_max={ x = 1e-6, y = 1, z = 1, e = 1 }";
    let job = write(&dir, "job.gcode", "G1 X1000 E1 F900\nG28\n");
    let error = told(&["replay", &job, "--quick", "--set", crawl]);
    assert!(
        error.contains(" s at 1.0e-6 mm/s ") && error.contains("motion.speed_max"),
        "{error}"
    );
    // Moves as usual: then it is the chores.
    let job = write(&dir, "job.gcode", &("G1 X200 F600\nG1 X0\n".repeat(9000)));
    let busy = "chore=[{name=\"fan\", every_s=1e-4, us=0.1}]";
    refused(
        &["replay", &job, "--quick", "--set", busy],
        2,
        "--board 8bit-card-saves: chores ran 50000000 times",
    );
}
