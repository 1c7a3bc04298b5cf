//! What real jobs contain.

use std::io::Read;

use headstall::job::notices::NoticeKind;
use headstall::job::reader::{JobError, JobReader, Step};

use super::making::{board, run};

/// Hands out one byte at a time.
struct Dribble<'a>(&'a [u8]);

impl Read for Dribble<'_> {
    fn read(&mut self, to: &mut [u8]) -> std::io::Result<usize> {
        self.0.read(&mut to[..1])
    }
}

struct Seen {
    end: [f64; 4],
    steps: Vec<Step>,
    odd: Vec<(NoticeKind, u64)>,
    others: Vec<(String, u64)>,
    lines: u64,
}

fn collect<R: Read>(mut reader: JobReader<R>) -> Result<Seen, JobError> {
    let mut steps = Vec::new();
    while let Some(step) = reader.next_step()? {
        steps.push(*step);
    }
    Ok(Seen {
        end: reader.machine_mm(),
        steps,
        odd: reader.notices().list().map(|n| (n.kind, n.count)).collect(),
        others: reader
            .notices()
            .others()
            .iter()
            .map(|(k, v)| (k.clone(), *v))
            .collect(),
        lines: reader.line_count(),
    })
}

fn read(job: &[u8]) -> Seen {
    let whole = collect(JobReader::new(job)).unwrap();
    let dribbled = collect(JobReader::new(Dribble(job))).unwrap();
    assert_eq!(whole.steps, dribbled.steps);
    assert_eq!(whole.odd, dribbled.odd);
    whole
}

/// The job ends at x, y, z, e and was odd in this way only (besides a missing F and filament).
#[track_caller]
fn check(job: &[u8], end: [f64; 4], odd: &[NoticeKind]) {
    let seen = read(job);
    for (found, expected) in seen.end.iter().zip(end) {
        assert!((found - expected).abs() < 1e-9, "{:?}", seen.end);
    }
    let usual = [NoticeKind::NoFeed, NoticeKind::NothingExtruded];
    let found: Vec<NoticeKind> = seen
        .odd
        .iter()
        .map(|o| o.0)
        .filter(|k| !usual.contains(k) || odd.contains(k))
        .collect();
    assert_eq!(found, odd, "{:?}", String::from_utf8_lossy(job));
}

#[test]
fn bytes_and_line_ends() {
    check(b"\xef\xbb\xbfG1 X5\n", [5.0, 0.0, 0.0, 0.0], &[]);
    check(b"G1 X5\r\nG1 Y2\r\n", [5.0, 2.0, 0.0, 0.0], &[]);
    check(b"G1 X5\rG1 Y2\r", [5.0, 2.0, 0.0, 0.0], &[]);
    check(b"G1 X5\nG1 Y2\r\nG1 Z1\r; x\n", [5.0, 2.0, 1.0, 0.0], &[]);
    check(
        b"G1 X5\nG1 Y2.2",
        [5.0, 2.2, 0.0, 0.0],
        &[NoticeKind::CutOff],
    );
    check(b"G1 X5\nM84", [5.0, 0.0, 0.0, 0.0], &[]);
    check(
        b"G1 X5 ; caf\xe9 \xff\xfe\nG1 Y2 ; caf\xc3\xa9\n",
        [5.0, 2.0, 0.0, 0.0],
        &[],
    );
    let mut long = b"; ".to_vec();
    long.extend(std::iter::repeat_n(b'q', 12_000));
    long.extend(b"\nG1 X5\n");
    check(&long, [5.0, 0.0, 0.0, 0.0], &[]);
    assert_eq!(read(b"G1 X5\r\n\r\nG1 Y2\r\n").lines, 3);
}

#[test]
fn nul_bytes_in_the_middle() {
    let mut job = b"G1 X5 ; a line of the kind that jobs are full of\n".repeat(4);
    job.extend(b"\0\0\0\0\nG1 Y2\n");
    let seen = read(&job);
    assert_eq!(seen.end, [5.0, 2.0, 0.0, 0.0]);
    assert!(
        seen.odd.iter().any(|o| o.0 == NoticeKind::Nul),
        "{:?}",
        seen.odd
    );
}

#[test]
fn a_line_longer_than_is_kept() {
    let mut job = b"G1 X5\n;".to_vec();
    job.extend(std::iter::repeat_n(b'q', 200_000));
    job.extend(b"\nG1 Y2\n");
    let seen = read(&job);
    assert_eq!(seen.end, [5.0, 2.0, 0.0, 0.0]);
    assert_eq!(seen.steps[1].raw_bytes as usize, 200_001 + 1 + 6);
}

#[test]
fn numbers_and_words() {
    check(b"G1 E.45\n", [0.0, 0.0, 0.0, 0.45], &[]);
    check(b"G1 Z+0.5 X-.3\n", [-0.3, 0.0, 0.5, 0.0], &[]);
    check(b"G00 X 145\n", [145.0, 0.0, 0.0, 0.0], &[]);
    check(b"  G01 X2\n", [2.0, 0.0, 0.0, 0.0], &[]);
    check(b"G1X3\nG0X0Y4\n", [0.0, 4.0, 0.0, 0.0], &[]);
    check(b"g1 x3 y2\n", [3.0, 2.0, 0.0, 0.0], &[]);
    check(b"G1 X3 Y4\nG28 X\n", [0.0, 4.0, 0.0, 0.0], &[]);
    check(b"G1 X3 Y4\nG28\n", [0.0; 4], &[]);
    check(b"G1 X3\nM84 X Y E\n", [3.0, 0.0, 0.0, 0.0], &[]);
    check(
        b"G1 X0 Y0 Z5 F{Z_SPEED}\n",
        [0.0, 0.0, 5.0, 0.0],
        &[NoticeKind::Number],
    );
    check(
        b"G1 X1 X2\n",
        [2.0, 0.0, 0.0, 0.0],
        &[NoticeKind::LetterTwice],
    );
    check(
        b"G1 X1.2.3 Y5\n",
        [0.0, 5.0, 0.0, 0.0],
        &[NoticeKind::Number],
    );
    check(
        b"G1 X5 F0\nG1 F-3 X6\n",
        [6.0, 0.0, 0.0, 0.0],
        &[NoticeKind::NotPositive, NoticeKind::NoFeed],
    );
    check(
        b"G1 X5 U3\n",
        [5.0, 0.0, 0.0, 0.0],
        &[NoticeKind::StrangeAxis],
    );
    check(
        b"M220 S0\nG1 X1 F60\n",
        [1.0, 0.0, 0.0, 0.0],
        &[NoticeKind::NotPositive],
    );
}

#[test]
fn comments() {
    check(b"M83;\nG1 X1 E2\n", [1.0, 0.0, 0.0, 2.0], &[]);
    check(b"G1 X5 (a (b) c) Y3\n", [5.0, 3.0, 0.0, 0.0], &[]);
    check(
        b"G1 X5 (never closed Y3\n",
        [5.0, 0.0, 0.0, 0.0],
        &[NoticeKind::UnclosedComment],
    );
    check(b"M108 T1(set tool)\nG1 X5\n", [5.0, 0.0, 0.0, 0.0], &[]);
    check(
        b"G90 : back to absolute\nG1 X5\n",
        [5.0, 0.0, 0.0, 0.0],
        &[],
    );
    let tail = read(b"; a comment whose tail\ngoes on here as bare words\nG1 X5\n");
    assert_eq!(tail.end, [5.0, 0.0, 0.0, 0.0]);
    check(b"; G28\n; G1 X99 Y99\nG1 X5\n", [5.0, 0.0, 0.0, 0.0], &[]);
}

#[test]
fn commands() {
    check(b"G1 X5\nG29.2 S1\nM73.2 R1.0\n", [5.0, 0.0, 0.0, 0.0], &[]);
    check(
        b"G1 X5\nM117 Layer 3 of 40 X99\nM118 X15 done\n",
        [5.0, 0.0, 0.0, 0.0],
        &[],
    );
    check(b"G1 X5\nM862.3 P \"X9\"\n", [5.0, 0.0, 0.0, 0.0], &[]);
    check(
        b"G1 X5\nSOME_WORD KEY=VALUE X=3\n@host line G1 X9\n",
        [5.0, 0.0, 0.0, 0.0],
        &[],
    );
    check(
        b"G1 X5\nT255\nT1000\nG10\nG11\nG10 P1 L2 X0\n",
        [5.0, 0.0, 0.0, 0.0],
        &[],
    );
    check(b"M204 P800 T900 R700\nG1 X5\n", [5.0, 0.0, 0.0, 0.0], &[]);
    check(
        b"G1 X5\nM622 J1\nG1 Y3\nM623\n",
        [5.0, 3.0, 0.0, 0.0],
        &[NoticeKind::Conditional],
    );
    check(
        b"G21 G90 G1 X7\nG1 X5\n",
        [5.0, 0.0, 0.0, 0.0],
        &[NoticeKind::SecondCommand],
    );
    let seen = read(b"G1 X5\nM73 P1\nm73 P2\nSOME_WORD A=1\nG29.2\n");
    let named = |name: &str| seen.others.iter().find(|o| o.0 == name).map(|o| o.1);
    assert_eq!(named("M73"), Some(2), "{:?}", seen.others);
    assert_eq!(named("SOME_WORD"), Some(1), "{:?}", seen.others);
    assert_eq!(named("G29.2"), Some(1), "{:?}", seen.others);
}

#[test]
fn stops_are_not_their_dotted_cousins() {
    let stops = |job: &str| {
        run(
            &format!("G1 X1\n{job}\nG1 X2\n"),
            &board(&["wait.home_s=9"]),
        )
        .totals
        .stop_s
    };
    assert_eq!(stops("G29"), 9.0);
    assert_eq!(stops("G29.2"), 0.0);
    assert_eq!(stops("G28"), 9.0);
    assert_eq!(stops("T255"), 0.0);
}

#[test]
fn checksums() {
    let sum = |text: &str| text.bytes().fold(0u8, |a, b| a ^ b);
    let good = "N3 G1 X5";
    check(
        format!("{good}*{}\n", sum(good)).as_bytes(),
        [5.0, 0.0, 0.0, 0.0],
        &[],
    );
    check(
        format!("{good}*{}\n", sum(good) ^ 1).as_bytes(),
        [5.0, 0.0, 0.0, 0.0],
        &[NoticeKind::Checksum],
    );
    check(b"N123456 G1 X5\n", [5.0, 0.0, 0.0, 0.0], &[]);
}

#[test]
fn filament() {
    check(
        b"M82\nG1 X1 E5\nG1 X2 E7\nG92 E0\nG1 X3 E1\n",
        [3.0, 0.0, 0.0, 8.0],
        &[],
    );
    check(b"M83\nG1 X1 E5\nG1 X2 E7\n", [2.0, 0.0, 0.0, 12.0], &[]);
    // Relative while G91 or M83 is in force; G90 ends the one, M82 the other.
    check(
        b"G91\nG1 E1\nG1 E1\nG90\nG1 E5\n",
        [0.0, 0.0, 0.0, 5.0],
        &[],
    );
    check(b"M83\nG91\nG90\nG1 E1\nG1 E1\n", [0.0, 0.0, 0.0, 2.0], &[]);
    check(b"M83\nG91\nM82\nG1 E1\nG1 E1\n", [0.0, 0.0, 0.0, 2.0], &[]);
}

#[test]
fn arcs_of_prints() {
    let full = run(
        "G1 X10 F3000\nG3 Z.8 I-.313 J-1.176\n",
        &board(&["motion.arc_chord_mm=0.1"]),
    );
    let radius = 0.313f64.hypot(1.176);
    assert_eq!(
        full.blocks.len(),
        1 + (std::f64::consts::TAU * radius / 0.1).ceil() as usize
    );
    check(b"G2 X10 R2\n", [10.0, 0.0, 0.0, 0.0], &[NoticeKind::Arc]);
    check(b"G2 X10 I5\n", [10.0, 0.0, 0.0, 0.0], &[]);
    check(
        b"G2 X10 I3\n",
        [10.0, 0.0, 0.0, 0.0],
        &[NoticeKind::ArcRadii],
    );
}

#[track_caller]
fn refused(job: &[u8], why: &str) {
    let error = collect(JobReader::new(job))
        .err()
        .expect("no job")
        .to_string();
    assert!(error.contains(why), "{error}");
    assert_eq!(error.lines().count(), 1);
}

#[test]
fn what_is_no_job() {
    refused(b"", "is empty");
    refused(b"\n\n", "no line of it");
    refused(b"PK\x03\x04rest", "ZIP");
    refused(b"\x1f\x8b\x08rest", "gzip");
    refused(b"\x89PNG\r\n\x1a\n", "PNG");
    refused(b"version 1\npointer to abc\nsize 12\n", "no line of it");
    refused(b"Recv: ok\nRecv: wait\n", "no line of it");
    let mut binary: Vec<u8> = (0..4096u32).map(|k| (k * 7919 % 256) as u8).collect();
    binary.extend(b"\nG1 X5\n");
    refused(&binary, "binary");
    refused(b"G1 X1e\nG1 X2000000\n", "allowed is -1000000 to 1000000");
    refused(b"G1 X99999999999999999999999999999999\n", "line 1");
}

/// Three jobs in other dialects, written by hand.
#[test]
fn a_milling_job() {
    let job = include_str!("../jobs/milling.gcode");
    let seen = read(job.as_bytes());
    assert!(seen.odd.iter().any(|o| o.0 == NoticeKind::NothingExtruded));
    assert!(seen.odd.iter().any(|o| o.0 == NoticeKind::Deleted));
    assert_eq!(seen.end[..3], [0.0, 0.0, 5.0]);
    let run = run(job, &board(&[]));
    // 5 rapid and plunge moves, 4 sides, two quarter arcs of 10 mm radius... the first is R form.
    let length: f64 = run.blocks.iter().map(|b| b.length_mm).sum();
    assert!(length > 130.0 && length < 260.0, "{length}");
    assert_eq!(run.totals.stop_s, 0.5);
}

#[test]
fn a_terse_job() {
    let job = include_bytes!("../jobs/terse.gcode");
    let seen = read(job);
    assert!((seen.end[3] - 8.0 * 0.65).abs() < 1e-9, "{:?}", seen.end);
    let kinds: Vec<NoticeKind> = seen.odd.iter().map(|o| o.0).collect();
    assert_eq!(kinds, [NoticeKind::Number]);
    assert_eq!(seen.steps.iter().map(|s| s.layer).max(), Some(1));
    let text = String::from_utf8_lossy(job);
    let run = run(&text, &board(&[]));
    // Two squares of 20 mm at 30 mm/s, and the way there.
    assert!(
        run.ideal_s > 160.0 / 30.0 && run.ideal_s < 9.0,
        "{}",
        run.ideal_s
    );
}

#[test]
fn an_inch_job() {
    let job = include_str!("../jobs/inches.gcode");
    let seen = read(job.as_bytes());
    let kinds: Vec<(NoticeKind, u64)> = seen.odd.clone();
    assert!(kinds.contains(&(NoticeKind::Checksum, 1)), "{kinds:?}");
    assert!((seen.end[0] - 25.4).abs() < 1e-9 && (seen.end[1] - 25.4).abs() < 1e-9);
    let run = run(job, &board(&["motion.arc_chord_mm=0.2"]));
    assert!(run.blocks.len() > 600, "{}", run.blocks.len());
    assert_eq!(run.totals.stop_s, 1.0);
}

/// A long comment whose CR is the last byte that a full buffer holds, and others around it.
#[test]
fn a_line_end_at_a_buffers_end() {
    for length in (262_100..262_180).chain([65_530, 65_536, 65_537, 131_071, 524_287]) {
        for end in ["\r\n", "\r", "\n"] {
            let job = format!(
                "G1 X1 E1{end};{}{end}G1 X2 E2{end}G1 X3 E3{end}",
                "x".repeat(length)
            );
            let steps = collect(JobReader::new(job.as_bytes())).unwrap().steps;
            assert_eq!(steps.len(), 3, "{length} {end:?}");
            assert_eq!(steps[2].line, 4, "{length} {end:?}");
            assert_eq!(steps[2].end_byte, job.len() as u64);
        }
    }
}

/// Limits that no machine has are ignored, as those of zero are.
#[test]
fn limits_beyond_any_machine() {
    let seen = read(b"M204 S1000000000000\nM201 X0.000001\nM203 Y9000000\nG1 X1 E1 F600\n");
    let count = seen
        .odd
        .iter()
        .find(|(kind, _)| *kind == NoticeKind::NotPositive);
    assert_eq!(count.map(|(_, n)| *n), Some(3));
}

/// A spline is no lost move, and limits that an unknown command may change are not passed over in silence.
#[test]
fn splines_and_hidden_limits() {
    let seen = read(b"G1 X0 Y0 F3000\nG5 X10 Y5 I1 J2 P-1 Q3 E1\nX20 Y0 I1 J2 P-1 Q3\nSET_SOMETHING ACCEL=500\nOTHER_WORD A=1 ; accel\n");
    assert_eq!(seen.end[..2], [20.0, 0.0]);
    let count = |kind: NoticeKind| seen.odd.iter().find(|o| o.0 == kind).map(|o| o.1);
    assert_eq!(count(NoticeKind::Spline), Some(2), "{:?}", seen.odd);
    assert_eq!(count(NoticeKind::HiddenLimits), Some(1), "{:?}", seen.odd);
}
