//! How fast, in how much memory: `cargo bench --bench replay [-- MB]`.
//!
//! The yardstick N is measured in the same run: a plain standard-library pass over the same bytes,
//! `lines()`, `split_whitespace()`, `parse::<f64>()`, on one thread.

use std::fs::{self, File};
use std::hint::black_box;
use std::io::{BufRead, BufReader, BufWriter, Write};
use std::path::Path;
use std::time::Instant;

use headstall::board::types::Board;
use headstall::board::{builtin, profile};
use headstall::job::reader::JobReader;
use headstall::replay::source::Planned;
use headstall::replay::stream::replay;
use headstall::study::causes;
use headstall::study::watch::Watch;

/// A fluted ring of short chords, layer upon layer.
fn make(path: &Path, bytes: usize) {
    let mut file = BufWriter::new(File::create(path).unwrap());
    let mut written = file.write(b"M83\nG1 F4800\n").unwrap();
    let mut layer = 0;
    while written < bytes {
        layer += 1;
        written += file
            .write(format!("G0 Z{:.2}\n", f64::from(layer) * 0.2).as_bytes())
            .unwrap();
        for k in 0..3000 {
            let a = f64::from(k) / 3000.0 * std::f64::consts::TAU;
            let r = 40.0 + 3.0 * (10.0 * a).sin().abs();
            let line = format!(
                "G1 X{:.3} Y{:.3} E0.00412\n",
                100.0 + r * a.cos(),
                100.0 + r * a.sin()
            );
            written += file.write(line.as_bytes()).unwrap();
        }
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

/// One replay, watched as `--quick` watches it, or with the surface too.
fn watched(path: &Path, board: &Board, surface: bool) -> f64 {
    let began = Instant::now();
    let mut watch = Watch::new(&board.nozzle, None, |_| {});
    if surface {
        watch = watch.with_surface(&board.nozzle, false);
    }
    let done = replay(File::open(path).unwrap(), board, 0, &mut watch).unwrap();
    black_box((done.totals, watch.found().seen));
    began.elapsed().as_secs_f64()
}

/// The yardstick, the better of two, s; and lines.
fn yardstick(path: &Path) -> (f64, u64) {
    let (a, b) = (plain_pass(path), plain_pass(path));
    (a.0.min(b.0), a.1)
}

fn main() {
    let mb = std::env::args()
        .skip(1)
        .find_map(|a| a.parse::<usize>().ok())
        .unwrap_or(50);
    let path = std::env::temp_dir().join("headstall-bench.gcode");
    make(&path, mb * 1_000_000);
    let (n_s, lines) = yardstick(&path);
    println!(
        "{mb} MB, {lines} lines; N = {n_s:.3} s ({:.2} M lines/s)",
        lines as f64 / n_s / 1e6
    );
    let row = |what: &str, took_s: f64| {
        println!(
            "{what:<44} {took_s:8.3} s  {:6.2} N  {:6.2} M lines/s  peak {:.0} MB",
            took_s / n_s,
            lines as f64 / took_s / 1e6,
            peak_mb()
        );
    };
    let slow = [
        "queue.blocks=512",
        "motion.accel.print=60",
        "motion.accel.travel=60",
    ];
    let cases = [
        ("replay, 32-bit card", board("32bit-card", &[])),
        (
            "replay, 8-bit card with saves",
            board("8bit-card-saves", &[]),
        ),
        (
            "replay, 8-bit serial 115200 (starved)",
            board("8bit-serial-115200", &[]),
        ),
        (
            "replay, queue of 512, slow ramps",
            board("32bit-card", &slow),
        ),
    ];
    for (what, board) in &cases {
        row(what, watched(&path, board, false));
    }
    row(
        "replay and surface, 32-bit card",
        watched(&path, &cases[0].1, true),
    );
    growth(mb);
    for blocks in [8, 32, 128, 512] {
        let board = board("32bit-card", &[&format!("queue.blocks={blocks}")]);
        row(
            &format!("replay, queue of {blocks}"),
            watched(&path, &board, false),
        );
    }
    stored(&path, &cases[1].1);
    fs::remove_file(&path).unwrap();
}

/// Cost against size, each size against its own yardstick.
fn growth(mb: usize) {
    let path = std::env::temp_dir().join("headstall-bench-growth.gcode");
    for size_mb in [1, 10, 100, 1000].into_iter().filter(|s| *s <= 5 * mb) {
        make(&path, size_mb * 1_000_000);
        let (n_s, _) = yardstick(&path);
        let took_s = watched(&path, &board("8bit-card-saves", &[]), false);
        println!(
            "{size_mb:>5} MB, 8-bit card with saves: {took_s:.3} s, {:.1} ms/MB, {:.2} N, peak {:.0} MB",
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
