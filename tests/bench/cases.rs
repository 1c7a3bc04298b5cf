//! What is timed. Each run is a process of its own, so that its peak of memory is its own too.

use std::fs::{self, File};
use std::hint::black_box;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use headstall::board::types::Board;
use headstall::board::{builtin, profile};
use headstall::job::reader::JobReader;
use headstall::replay::source::Planned;
use headstall::replay::stream::{replay_ahead, replay_source};
use headstall::study::watch::Watch;
use headstall::surface::skin::Wanted;

/// How much is done.
pub enum Work {
    /// The yardstick.
    Plain,
    /// A replay as `--quick` has it.
    Replay,
    /// And where stalls lie, as without `--out`.
    Surface,
    /// And walls and the worst layer's path, as pictures need them.
    Walls,
}

use Work::{Plain, Replay, Surface, Walls};

/// What is timed.
pub struct Case {
    pub what: &'static str,
    work: Work,
    board: &'static str,
    sets: &'static [&'static str],
    pub threads: usize,
}

const fn case(
    what: &'static str,
    work: Work,
    board: &'static str,
    sets: &'static [&'static str],
    threads: usize,
) -> Case {
    Case {
        what,
        work,
        board,
        sets,
        threads,
    }
}

const SLOW_RAMPS: &[&str] = &[
    "queue.blocks=512",
    "motion.accel.print=60",
    "motion.accel.travel=60",
];

#[rustfmt::skip]
pub const CASES: [Case; 19] = [
    case("N: the plain pass", Plain, "32bit-card", &[], 1),
    case("replay, 32-bit card", Replay, "32bit-card", &[], 1),
    case("replay, 8-bit card with saves", Replay, "8bit-card-saves", &[], 1),
    case("replay, 8-bit serial 115200, starved", Replay, "8bit-serial-115200", &[], 1),
    case("replay, queue of 512, slow ramps", Replay, "32bit-card", SLOW_RAMPS, 1),
    case("and surface, 32-bit card", Surface, "32bit-card", &[], 1),
    case("and surface, 8-bit card with saves", Surface, "8bit-card-saves", &[], 1),
    case("and surface, 8-bit serial, starved", Surface, "8bit-serial-115200", &[], 1),
    case("and surface, slow ramps", Surface, "32bit-card", SLOW_RAMPS, 1),
    case("and walls, 32-bit card", Walls, "32bit-card", &[], 1),
    case("and walls, 8-bit serial, starved", Walls, "8bit-serial-115200", &[], 1),
    case("replay, 32-bit card", Replay, "32bit-card", &[], 2),
    case("replay, 8-bit serial 115200, starved", Replay, "8bit-serial-115200", &[], 2),
    case("replay, queue of 512, slow ramps", Replay, "32bit-card", SLOW_RAMPS, 2),
    case("and surface, 32-bit card", Surface, "32bit-card", &[], 2),
    case("and surface, 8-bit card with saves", Surface, "8bit-card-saves", &[], 2),
    case("and surface, 8-bit serial, starved", Surface, "8bit-serial-115200", &[], 2),
    case("and walls, 32-bit card", Walls, "32bit-card", &[], 2),
    case("and walls, 8-bit serial, starved", Walls, "8bit-serial-115200", &[], 2),
];
/// Places in [`CASES`].
pub const PLAIN: usize = 0;
pub const CARD: usize = 1;
pub const SAVES: usize = 2;
pub const STARVED: usize = 3;
pub const SLOW: usize = 4;
pub const SURFACE: usize = 5;
/// As [`SURFACE`], with a second thread.
pub const ASIDE: usize = 14;

/// What two runs of a case took.
pub struct Measured {
    /// The better time, s.
    pub took_s: f64,
    /// The higher peak of memory, MB.
    pub peak_mb: f64,
}

/// Runs a case twice, each time in a process of its own.
pub fn measured(case: usize, path: &Path, set: &str) -> Measured {
    let run = || {
        let mut child = Command::new(std::env::current_exe().unwrap());
        child.args(one(case)).arg(path).arg(set);
        let output = child.stderr(Stdio::inherit()).output().unwrap();
        let text = String::from_utf8(output.stdout).unwrap();
        let (took_s, peak_mb) = text.trim().split_once(' ').expect("a run has failed");
        (took_s.parse().unwrap(), peak_mb.parse().unwrap())
    };
    let (a, b): ((f64, f64), (f64, f64)) = (run(), run());
    Measured {
        took_s: a.0.min(b.0),
        peak_mb: a.1.max(b.1),
    }
}

/// Instructions that a case takes, if valgrind can count them.
pub fn instructions(case: usize, path: &Path) -> Option<f64> {
    let output = Command::new("valgrind")
        .args(["--tool=callgrind", "--callgrind-out-file=/dev/null"])
        .arg(std::env::current_exe().ok()?)
        .args(one(case))
        .args([path, Path::new("")])
        .output()
        .ok()?;
    let text = String::from_utf8_lossy(&output.stderr);
    let line = text.lines().find(|l| l.contains("Collected :"))?;
    line.split_whitespace().last()?.parse().ok()
}

fn one(case: usize) -> [String; 2] {
    ["--one".to_string(), case.to_string()]
}

/// The child's side: runs a case if the arguments say so, and prints its time in s and its peak in MB.
pub fn is_child(args: &[String]) -> bool {
    let [flag, case, path, set, ..] = args else {
        return false;
    };
    if flag != "--one" {
        return false;
    }
    let case = &CASES[case.parse::<usize>().unwrap()];
    let path = Path::new(path);
    let began = Instant::now();
    match case.work {
        Plain => plain_pass(path),
        Replay | Surface | Walls => replayed(path, &board(case, set), case),
    }
    let took_s = began.elapsed().as_secs_f64();
    println!("{took_s} {}", peak_mb("self").unwrap_or(f64::NAN));
    true
}

/// A case's board, with one more key set if there is one.
fn board(case: &Case, set: &str) -> Board {
    let sets = case.sets.iter().copied().chain([set]);
    let sets: Vec<_> = sets
        .filter(|s| !s.is_empty())
        .map(|s| profile::Override::parse(s).unwrap())
        .collect();
    profile::parse(builtin::text(case.board).unwrap(), case.board, &sets).unwrap()
}

fn plain_pass(path: &Path) {
    let mut sum = 0.0;
    for line in BufReader::new(File::open(path).unwrap()).lines() {
        for word in line.unwrap().split_whitespace() {
            if let Ok(number) = word[1..].parse::<f64>() {
                sum += number;
            }
        }
    }
    black_box(sum);
}

fn replayed(path: &Path, board: &Board, case: &Case) {
    let mut watch = Watch::new(&board.nozzle, |_| {});
    let walls = matches!(case.work, Walls);
    if walls {
        watch = watch.with_trace(None);
    }
    if walls || matches!(case.work, Surface) {
        let wanted = Wanted {
            walls,
            whole: false,
            aside: case.threads > 1,
        };
        watch = watch.with_surface(&board.nozzle, &wanted);
    }
    let source = Planned::new(JobReader::new(File::open(path).unwrap()), board);
    let replay = if case.threads > 1 {
        replay_ahead
    } else {
        replay_source
    };
    let done = replay(source, board, 0, &mut watch, 0).unwrap();
    black_box((done.totals, watch.found().seen));
}

/// The most memory that a process has had, MB, while it runs (Linux only).
pub fn peak_mb(process: &str) -> Option<f64> {
    let text = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = text.lines().find_map(|l| l.strip_prefix("VmHWM:"))?;
    let kib: f64 = line.split_whitespace().next()?.parse().ok()?;
    Some(kib * 1024.0 / 1e6)
}
