//! How fast, in how much memory: `cargo bench --bench replay [-- MB]` prints the tables of DEVELOPERS.md.
//!
//! The yardstick N is measured in the same run: a plain standard-library pass over the same bytes,
//! `lines()`, `split_whitespace()`, `parse::<f64>()`, on one thread, anew before each case. Each runs twice,
//! the better counts. Where valgrind is installed, instructions a line are counted too, on a smaller job: they
//! are the same whatever else the machine does.

mod ring;

use std::fs::{self, File};
use std::hint::black_box;
use std::io::{BufRead, BufReader, BufWriter, Write};
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use headstall::board::types::Board;
use headstall::board::{builtin, profile};
use headstall::job::reader::JobReader;
use headstall::replay::source::Planned;
use headstall::replay::stream::{replay_ahead, replay_source};
use headstall::study::causes;
use headstall::study::watch::Watch;
use headstall::surface::skin::Wanted;

/// Writes the job, at least this many bytes of it.
fn make(path: &Path, bytes: usize) {
    let mut file = BufWriter::new(File::create(path).unwrap());
    file.write_all(ring::BEGINNING.as_bytes()).unwrap();
    let mut written = ring::BEGINNING.len();
    for layer in 1.. {
        if written >= bytes {
            break;
        }
        let text = ring::layer(layer);
        file.write_all(text.as_bytes()).unwrap();
        written += text.len();
    }
    file.flush().unwrap();
}

/// The yardstick.
fn plain_pass(path: &Path) -> (f64, u64) {
    let began = Instant::now();
    let (mut lines, mut sum) = (0, 0.0);
    for line in BufReader::new(File::open(path).unwrap()).lines() {
        lines += 1;
        for word in line.unwrap().split_whitespace() {
            if let Ok(number) = word[1..].parse::<f64>() {
                sum += number;
            }
        }
    }
    black_box(sum);
    (began.elapsed().as_secs_f64(), lines)
}

/// The most memory that this process has had, MB (Linux only).
fn peak_mb() -> f64 {
    let text = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = text
        .lines()
        .find(|l| l.starts_with("VmHWM"))
        .unwrap_or_default();
    line.split_whitespace()
        .nth(1)
        .and_then(|v| v.parse::<f64>().ok())
        .map_or(f64::NAN, |kb| kb / 1024.0)
}

fn board(name: &str, sets: &[&str]) -> Board {
    let sets: Vec<_> = sets
        .iter()
        .map(|s| profile::Override::parse(s).unwrap())
        .collect();
    profile::parse(builtin::text(name).unwrap(), name, &sets).unwrap()
}

/// What is measured.
struct Case {
    what: &'static str,
    board: &'static str,
    sets: &'static [&'static str],
    surface: bool,
    threads: usize,
}

const SLOW: &[&str] = &[
    "queue.blocks=512",
    "motion.accel.print=60",
    "motion.accel.travel=60",
];

#[rustfmt::skip]
const CASES: [Case; 12] = [
    Case { what: "replay, 32-bit card", board: "32bit-card", sets: &[], surface: false, threads: 1 },
    Case { what: "replay, 8-bit card with saves", board: "8bit-card-saves", sets: &[], surface: false, threads: 1 },
    Case { what: "replay, 8-bit serial 115200, starved", board: "8bit-serial-115200", sets: &[], surface: false, threads: 1 },
    Case { what: "replay, queue of 512, slow ramps", board: "32bit-card", sets: SLOW, surface: false, threads: 1 },
    Case { what: "and surface, 32-bit card", board: "32bit-card", sets: &[], surface: true, threads: 1 },
    Case { what: "and surface, 8-bit card with saves", board: "8bit-card-saves", sets: &[], surface: true, threads: 1 },
    Case { what: "and surface, 8-bit serial, starved", board: "8bit-serial-115200", sets: &[], surface: true, threads: 1 },
    Case { what: "replay, 32-bit card", board: "32bit-card", sets: &[], surface: false, threads: 2 },
    Case { what: "replay, 8-bit serial 115200, starved", board: "8bit-serial-115200", sets: &[], surface: false, threads: 2 },
    Case { what: "and surface, 32-bit card", board: "32bit-card", sets: &[], surface: true, threads: 2 },
    Case { what: "and surface, 8-bit card with saves", board: "8bit-card-saves", sets: &[], surface: true, threads: 2 },
    Case { what: "and surface, 8-bit serial, starved", board: "8bit-serial-115200", sets: &[], surface: true, threads: 2 },
];

impl Case {
    fn board(&self) -> Board {
        board(self.board, self.sets)
    }

    /// The better of two runs, s.
    fn time_s(&self, path: &Path) -> f64 {
        let run = || watched(path, &self.board(), self.surface, self.threads);
        run().min(run())
    }
}

/// One replay, watched as `--quick` watches it, or with the surface too, s.
fn watched(path: &Path, board: &Board, surface: bool, threads: usize) -> f64 {
    let began = Instant::now();
    let mut watch = Watch::new(&board.nozzle, |_| {});
    if surface {
        let wanted = Wanted {
            walls: true,
            stalls_max: 15_000,
            aside: threads > 1,
        };
        watch = watch.with_trace(None).with_surface(&board.nozzle, &wanted);
    }
    let source = Planned::new(JobReader::new(File::open(path).unwrap()), board);
    let replay = if threads > 1 {
        replay_ahead
    } else {
        replay_source
    };
    let done = replay(source, board, 0, &mut watch, 0).unwrap();
    black_box((done.totals, watch.found().seen));
    began.elapsed().as_secs_f64()
}

/// The yardstick, the better of two, s; and lines.
fn yardstick(path: &Path) -> (f64, u64) {
    let (a, b) = (plain_pass(path), plain_pass(path));
    (a.0.min(b.0), a.1)
}

/// What a command prints, if it can be run.
fn said(command: &mut Command) -> Option<String> {
    let output = command.output().ok()?;
    let text = [output.stdout, output.stderr].concat();
    Some(String::from_utf8_lossy(&text).into_owned())
}

/// Instructions that this program takes for a case, if valgrind can count them.
fn instructions(case: &str, path: &Path) -> Option<f64> {
    let text = said(
        Command::new("valgrind")
            .args(["--tool=callgrind", "--callgrind-out-file=/dev/null"])
            .arg(std::env::current_exe().ok()?)
            .args(["--one", case])
            .arg(path),
    )?;
    let line = text.lines().find(|l| l.contains("Collected :"))?;
    line.split_whitespace().last()?.parse().ok()
}

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    if let [one, case, path, ..] = args.as_slice()
        && one == "--one"
    {
        let path = Path::new(path);
        match case.parse::<usize>() {
            Ok(k) => watched(path, &CASES[k].board(), CASES[k].surface, 1),
            Err(_) => plain_pass(path).0,
        };
        return;
    }
    let mb = args.iter().find_map(|a| a.parse::<usize>().ok());
    let mb = mb.unwrap_or(50);
    let cpu = fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let cpu = cpu.lines().find_map(|l| l.strip_prefix("model name"));
    println!(
        "{}, {} cores, {}",
        cpu.map_or("unknown", |m| m.trim_start_matches([' ', '\t', ':'])),
        std::thread::available_parallelism().map_or(0, usize::from),
        said(Command::new("date").arg("-I"))
            .unwrap_or_default()
            .trim()
    );
    let path = std::env::temp_dir().join("headstall-bench.gcode");
    let small = std::env::temp_dir().join("headstall-bench-small.gcode");
    make(&path, mb * 1_000_000);
    make(&small, 3_000_000);
    let small_lines = plain_pass(&small).1 as f64;
    let (n_s, lines) = yardstick(&path);
    let per_line = |case: &str| match instructions(case, &small) {
        Some(count) => format!("{:.0}", count / small_lines),
        None => "?".to_string(),
    };
    println!("{mb} MB, {lines} lines\n");
    println!("| what | threads | time | N | instructions a line | peak memory so far |");
    println!("| --- | --- | --- | --- | --- | --- |");
    let row = |what: &str, threads: usize, took_s: f64, n_s: f64, count: &str| {
        println!(
            "| {what} | {threads} | {took_s:.2} s | {:.2} | {count} | {:.0} MB |",
            took_s / n_s,
            peak_mb()
        );
    };
    row("N: the plain pass", 1, n_s, n_s, &per_line("plain"));
    for (k, case) in CASES.iter().enumerate() {
        let counted = case.threads == 1;
        let count = if counted {
            per_line(&k.to_string())
        } else {
            String::new()
        };
        let n_s = yardstick(&path).0;
        row(case.what, case.threads, case.time_s(&path), n_s, &count);
    }
    println!("\n| size | time | a MB | N | peak memory so far |");
    println!("| --- | --- | --- | --- | --- |");
    growth(mb);
    println!();
    for blocks in [8, 32, 128, 512] {
        let board = board("32bit-card", &[&format!("queue.blocks={blocks}")]);
        let took_s = watched(&path, &board, false, 1).min(watched(&path, &board, false, 1));
        println!("queue of {blocks}: {took_s:.2} s, {:.2} N", took_s / n_s);
    }
    println!();
    stored(&path, &CASES[1].board());
    fs::remove_file(&path).unwrap();
    fs::remove_file(&small).unwrap();
}

/// Cost against size on the 8-bit card with saves, each size against its own yardstick.
fn growth(mb: usize) {
    let path = std::env::temp_dir().join("headstall-bench-growth.gcode");
    for size_mb in [1, 10, 100, 1000].into_iter().filter(|s| *s <= 5 * mb) {
        make(&path, size_mb * 1_000_000);
        let (n_s, _) = yardstick(&path);
        let took_s = watched(&path, &board("8bit-card-saves", &[]), false, 1);
        println!(
            "| {size_mb} MB | {took_s:.3} s | {:.1} ms | {:.2} | {:.0} MB |",
            took_s * 1e3 / size_mb as f64,
            took_s / n_s,
            peak_mb()
        );
    }
    fs::remove_file(&path).unwrap();
}

/// Causes, over a part that has a million lines at most.
fn stored(path: &Path, board: &Board) {
    let part = fs::read(path).unwrap();
    let end = part
        .iter()
        .enumerate()
        .filter(|(_, b)| **b == b'\n')
        .nth(999_999)
        .map_or(part.len(), |(i, _)| i + 1);
    let kept = Planned::new(JobReader::new(&part[..end]), board)
        .store()
        .unwrap();
    println!(
        "kept: {} lines, {:.1} bytes a block",
        kept.line_count(),
        kept.memory_bytes() as f64 / kept.block_count() as f64
    );
    for threads in [1, 2] {
        let began = Instant::now();
        let shares = causes::shares(&kept, board, 0, &[], threads, &|_| {}).unwrap();
        let took_s = began.elapsed().as_secs_f64();
        println!(
            "causes, {} replays of {} lines, {threads} threads: {took_s:.2} s, {:.3} s each",
            shares.replays,
            kept.line_count(),
            took_s / shares.replays as f64
        );
    }
}
