//! Bounded, seeded fuzzing. `HEADSTALL_FUZZ_SECONDS` makes it longer, `HEADSTALL_FUZZ_SEED` other.

use std::time::{Duration, Instant};

use headstall::board::{builtin, profile};
use headstall::replay::stream::{Done, ReplayError, Watcher, replay};
use headstall::report::map::{self, MapText};
use headstall::study::watch::Watch;
use rand::seq::IndexedRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::checks;

fn setting<T: std::str::FromStr>(name: &str, usual: T) -> T {
    std::env::var(name)
        .ok()
        .and_then(|v| v.parse().ok())
        .unwrap_or(usual)
}

/// Runs `each` with fresh seeds, 300 times or for the time that is set.
fn campaign(name: &str, each: impl Fn(&mut ChaCha8Rng)) {
    let first: u64 = setting("HEADSTALL_FUZZ_SEED", 1);
    let span = Duration::from_secs(setting("HEADSTALL_FUZZ_SECONDS", 0));
    let began = Instant::now();
    let mut count = 0;
    while count < 300 || began.elapsed() < span {
        let seed = first + count;
        let caught = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            each(&mut ChaCha8Rng::seed_from_u64(seed));
        }));
        assert!(caught.is_ok(), "{name}: HEADSTALL_FUZZ_SEED={seed} fails");
        count += 1;
    }
    println!("{name}: {count} runs");
}

const TOKENS: [&str; 40] = [
    "G0", "G1", "G2", "G3", "G4", "G17", "G18", "G19", "G20", "G21", "G28", "G90", "G91", "G92",
    "M82", "M83", "M201", "M203", "M204", "M205", "M220", "M221", "M400", "T0", "X", "Y", "Z", "E",
    "F", "I", "J", "K", "R", "S", "P", ";", "(", ")", "N", "*",
];

fn number(rng: &mut ChaCha8Rng) -> String {
    match rng.random_range(0..12) {
        0 => "0".into(),
        1 => "-0".into(),
        2 => format!("{}", rng.random_range(-2e3..2e3)),
        3 => "999999".into(),
        4 => ".".into(),
        5 => "99999999999999999999".into(),
        6 => format!("{:.9}", rng.random_range(-1e-6..1e-6)),
        7 => "nan".into(),
        _ => format!("{:.3}", rng.random_range(-60.0..60.0)),
    }
}

fn soup(rng: &mut ChaCha8Rng) -> Vec<u8> {
    let mut job = Vec::new();
    for _ in 0..rng.random_range(0..120) {
        for _ in 0..rng.random_range(0..6) {
            job.extend(TOKENS.choose(rng).unwrap().bytes());
            if rng.random_bool(0.7) {
                job.extend(number(rng).bytes());
            }
            if rng.random_bool(0.5) {
                job.push(b' ');
            }
        }
        job.extend(
            [&b"\n"[..], b"\r\n", b"\r", b"\n\n"]
                .choose(rng)
                .unwrap()
                .iter(),
        );
    }
    job
}

fn mutated(rng: &mut ChaCha8Rng) -> Vec<u8> {
    let jobs: [&[u8]; 3] = [
        include_bytes!("../jobs/milling.gcode"),
        include_bytes!("../jobs/terse.gcode"),
        include_bytes!("../jobs/inches.gcode"),
    ];
    let mut job = jobs.choose(rng).unwrap().to_vec();
    for _ in 0..rng.random_range(0..12) {
        let at = rng.random_range(0..job.len());
        match rng.random_range(0..4) {
            0 => job[at] = rng.random(),
            1 => job.truncate(at.max(1)),
            2 => job.insert(at, rng.random()),
            _ => {
                let piece = job[at..(at + 30).min(job.len())].to_vec();
                job.extend(piece);
            }
        }
    }
    job
}

fn any_job(rng: &mut ChaCha8Rng) -> Vec<u8> {
    match rng.random_range(0..5) {
        0 => (0..rng.random_range(0..3000))
            .map(|_| rng.random())
            .collect(),
        1 | 2 => mutated(rng),
        _ => soup(rng),
    }
}

/// A built-in board with some keys at random, at the edges of their ranges too.
fn any_board(rng: &mut ChaCha8Rng) -> headstall::board::types::Board {
    let names: Vec<&str> = builtin::names().collect();
    let text = builtin::text(names.choose(rng).unwrap()).unwrap();
    let keys = [
        ("queue.blocks", "2"),
        ("queue.blocks", "1000000"),
        ("queue.lines", "1"),
        ("queue.restart_blocks", "2"),
        ("queue.restart_wait_ms", "1"),
        ("queue.low_water", "1000"),
        ("queue.stretch_ms", "1e6"),
        ("motion.speed_max.x", "0.05"),
        ("motion.accel.print", "0.05"),
        ("motion.accel.travel", "1e9"),
        ("motion.arc_chord_mm", "0.05"),
        ("loop.load_max", "0.999999"),
        ("loop.step_us", "1e3"),
        ("loop.line_us", "0"),
        ("loop.block_us", "1e5"),
        ("loop.pass_us", "1e4"),
        ("save.when", "lines"),
        ("save.when", "layer"),
        ("save.stop_first", "true"),
        ("link.sector_ms", "0"),
        ("link.hiccup_chance", "1"),
        ("link.reply_ms", "0"),
        ("link.in_flight", "100"),
        ("link.resend_chance", "1"),
        ("motion.layout", "corexy"),
        ("link.reply_when", "received"),
        ("motion.corner", "{ rule = \"deviation\", mm = 0 }"),
    ];
    let mut sets: Vec<profile::Override> = Vec::new();
    for _ in 0..rng.random_range(0..5) {
        let (key, value) = keys.choose(rng).unwrap();
        let set = profile::Override::parse(&format!("{key}={value}")).unwrap();
        sets.push(set);
        if profile::parse(text, "fuzz", &sets).is_err() {
            sets.pop();
        }
    }
    profile::parse(text, "fuzz", &sets).unwrap()
}

struct Finite<W>(W);

impl<W: Watcher> Watcher for Finite<W> {
    fn block(&mut self, done: &Done) {
        let p = done.ran.profile;
        for value in [
            done.ran.start_s,
            done.ran.end_s,
            done.ran.gap_s,
            p.entry_mm_s,
            p.peak_mm_s,
            p.exit_mm_s,
            done.ideal_s(),
            done.lost_s(),
            done.length_mm,
        ] {
            assert!(value.is_finite(), "{done:?}");
        }
        self.0.block(done);
    }

    fn stop(&mut self, start_s: f64, end_s: f64) {
        assert!(start_s.is_finite() && end_s.is_finite());
        self.0.stop(start_s, end_s);
    }
}

#[test]
fn bytes_into_the_reader() {
    campaign("reader", |rng| {
        checks::reader::check(&any_job(rng));
    });
}

#[test]
fn bytes_into_the_board() {
    campaign("board", |rng| {
        let names: Vec<&str> = builtin::names().collect();
        let mut text = builtin::text(names.choose(rng).unwrap())
            .unwrap()
            .as_bytes()
            .to_vec();
        for _ in 0..rng.random_range(1..6) {
            if text.is_empty() {
                break;
            }
            let at = rng.random_range(0..text.len());
            match rng.random_range(0..3) {
                0 => text[at] = *b"0123456789.-=\"[]{}#\nexyz".choose(rng).unwrap(),
                1 => text.truncate(at.max(1)),
                _ => drop(text.drain(at..(at + 9).min(text.len()))),
            }
        }
        checks::board::check(&String::from_utf8_lossy(&text));
    });
}

#[test]
fn jobs_and_boards_into_the_replay() {
    campaign("replay", |rng| {
        let (job, board) = (any_job(rng), any_board(rng));
        let seed = rng.random();
        let mut watch = Finite(Watch::new(&board.nozzle, |_| {}).with_trace(None));
        match replay(&job[..], &board, seed, &mut watch) {
            Ok(done) => {
                assert!(done.totals.replay_s.is_finite() && done.ideal_s.is_finite());
                let (_, trace) = watch.0.finish();
                let text = MapText {
                    verdict: "v".into(),
                    job: "j".into(),
                    board: "b".into(),
                    layers: done.source.steps.layers().count(),
                    bumps: Vec::new(),
                    visible: 0,
                    notes: Vec::new(),
                };
                let svg = map::svg(&trace, &text);
                assert!(!svg.contains("NaN") && !svg.contains("inf"));
            }
            Err(ReplayError::Job(error)) => assert!(!error.to_string().is_empty()),
            Err(ReplayError::Board(error)) => assert!(!error.to_string().is_empty()),
        }
    });
}
