//! How fast, in how much memory: `cargo bench --bench replay [-- MB]` prints the tables of DEVELOPERS.md, with
//! 200 MB or more those of 1 GB too; `-- plates` and `-- stored` print one part.
//!
//! The yardstick N is measured in the same run: a plain standard-library pass over the same bytes,
//! `lines()`, `split_whitespace()`, `parse::<f64>()`, on one thread, anew before each row. Each runs twice,
//! the better counts. Where valgrind is installed, instructions a line are counted too, on a smaller job: they
//! are the same whatever else the machine does.

mod cases;
mod job;
mod memory;
mod plate;
mod ring;

use std::fs::{self, File};
use std::hint::black_box;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use cases::{
    ASIDE, CARD, CASES, Measured, PLAIN, SAVES, SLOW, STARVED, SURFACE, instructions, measured,
};
use headstall::board::{builtin, profile};
use headstall::job::reader::JobReader;
use headstall::replay::source::Planned;
use headstall::study::causes;
use headstall::study::sample::{Sight, sample};
use headstall::surface::skin::Surface;
use job::Job;
use plate::Fill;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    if cases::is_child(&args) {
        return;
    }
    let mb = args.iter().find_map(|a| a.parse::<usize>().ok());
    let mb = mb.unwrap_or(50);
    let big_mb = if mb >= 200 { 1000 } else { mb };
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    machine();
    if args.iter().any(|a| a == "plates") {
        return plates(folder, mb);
    }
    if args.iter().any(|a| a == "stored") {
        return stored(&Job::make(folder, "million", mb.min(29) * 1_000_000).path);
    }
    let job = Job::make(folder, "job", mb * 1_000_000);
    let small = Job::make(folder, "small", 3_000_000);
    println!("{mb} MB, {} lines\n", job.lines);
    speed(&job, &small);
    println!();
    growth(folder, big_mb);
    println!();
    depth(&job.path);
    println!();
    plates(folder, mb.min(50));
    println!();
    let million = Job::make(folder, "million", mb.min(29) * 1_000_000);
    stored(&million.path);
    println!();
    let big = Job::make(folder, "big", big_mb * 1_000_000);
    memory::table(&big, &million, &Job::make(folder, "tiny", 1), folder);
}

/// Tells where this runs, and when.
fn machine() {
    let cpu = fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let cpu = cpu.lines().find_map(|l| l.strip_prefix("model name"));
    let date = Command::new("date").arg("-I").output();
    println!(
        "{}, {} cores, {}",
        cpu.map_or("unknown", |m| m.trim_start_matches([' ', '\t', ':'])),
        std::thread::available_parallelism().map_or(0, usize::from),
        date.map_or(String::new(), |d| String::from_utf8_lossy(&d.stdout)
            .trim()
            .to_string())
    );
}

/// All cases.
fn speed(job: &Job, small: &Job) {
    println!("| what | threads | time | N | instructions a line | peak memory |");
    println!("| --- | --- | --- | --- | --- | --- |");
    for (k, case) in CASES.iter().enumerate() {
        let plain = measured(PLAIN, &job.path, "");
        let n_s = plain.took_s;
        let Measured { took_s, peak_mb } = if k == PLAIN {
            plain
        } else {
            measured(k, &job.path, "")
        };
        // A thread that waits would be counted too.
        let count = (case.threads == 1).then(|| match instructions(k, &small.path) {
            Some(count) => format!("{:.0}", count / small.lines as f64),
            None => "?".to_string(),
        });
        let count = count.unwrap_or_default();
        println!(
            "| {} | {} | {took_s:.2} s | {:.2} | {count} | {peak_mb:.1} MB |",
            case.what,
            case.threads,
            took_s / n_s
        );
    }
}

/// Cost against size, each size against its own yardstick.
fn growth(folder: &Path, most_mb: usize) {
    println!("{}, against size:\n", CASES[SAVES].what);
    println!("| size | time | a MB | N | peak memory |");
    println!("| --- | --- | --- | --- | --- |");
    for mb in [1, 10, 100, 1000].into_iter().filter(|mb| *mb <= most_mb) {
        let path = Job::make(folder, "growth", mb * 1_000_000).path;
        let n_s = measured(PLAIN, &path, "").took_s;
        let Measured { took_s, peak_mb } = measured(SAVES, &path, "");
        println!(
            "| {mb} MB | {took_s:.3} s | {:.1} ms | {:.2} | {peak_mb:.1} MB |",
            took_s * 1e3 / mb as f64,
            took_s / n_s
        );
        fs::remove_file(path).unwrap();
    }
}

/// Cost against the depth of the planner queue.
fn depth(path: &Path) {
    println!("| queue of | 8 | 32 | 128 | 512 |");
    println!("| --- | --- | --- | --- | --- |");
    for (what, case) in [
        ("32-bit card", CARD),
        ("32-bit card, slow ramps", SLOW),
        ("8-bit serial 115200, starved", STARVED),
    ] {
        let n_s = measured(PLAIN, path, "").took_s;
        let cells = [8, 32, 128, 512].map(|blocks| {
            let took_s = measured(case, path, &format!("queue.blocks={blocks}")).took_s;
            format!("{took_s:.2} s, {:.2} N", took_s / n_s)
        });
        println!("| {what} | {} |", cells.join(" | "));
    }
}

/// Cost of surfaces on plates, which have many cells to a move.
fn plates(folder: &Path, mb: usize) {
    println!(
        "| plate | replay | and surface | instructions a line | with two threads | peak memory |"
    );
    println!("| --- | --- | --- | --- | --- | --- |");
    for (what, fill, shifted) in [
        ("solid", Fill::Solid, false),
        ("sparse", Fill::Sparse, false),
        ("solid, no two layers alike", Fill::Solid, true),
        ("sparse, no two layers alike", Fill::Sparse, true),
    ] {
        let layer = |number| plate::layer(number, fill, shifted);
        let job = Job::of(folder, "plate", mb * 1_000_000, layer);
        let n_s = measured(PLAIN, &job.path, "").took_s;
        let [replay, surface, aside] =
            [CARD, SURFACE, ASIDE].map(|case| measured(case, &job.path, ""));
        let small = Job::of(folder, "small plate", 3_000_000, layer);
        let count = instructions(SURFACE, &small.path).map_or("?".to_string(), |count| {
            format!("{:.0}", count / small.lines as f64)
        });
        println!(
            "| {what} | {:.2} N | {:.2} N | {count} | {:.2} N | {:.1} MB |",
            replay.took_s / n_s,
            surface.took_s / n_s,
            aside.took_s / n_s,
            surface.peak_mb
        );
    }
}

/// Causes and runs with other luck, of a job in memory.
fn stored(path: &Path) {
    let board = |name| profile::parse(builtin::text(name).unwrap(), name, &[]).unwrap();
    let saves = board("8bit-card-saves");
    let kept = Planned::new(JobReader::new(File::open(path).unwrap()), &saves)
        .store()
        .unwrap();
    println!(
        "kept: {} lines, {:.1} bytes a block",
        kept.line_count(),
        kept.memory_bytes() as f64 / kept.block_count() as f64
    );
    for threads in [1, 2] {
        let began = Instant::now();
        let shares = causes::shares(&kept, &saves, 0, &[], threads, &|_| {}).unwrap();
        let took_s = began.elapsed().as_secs_f64();
        println!(
            "causes, {} replays of {} lines, {threads} threads: {took_s:.2} s, {:.3} s each",
            shares.replays,
            kept.line_count(),
            took_s / shares.replays as f64
        );
    }
    let starved = board("8bit-serial-115200");
    let sight = Sight {
        facing: &|_| Some(Surface::Outer),
        visible_mm: 0.1,
    };
    for (what, sight) in [("without bumps", None), ("with bumps", Some(sight))] {
        let runs = 10;
        let began = Instant::now();
        for seed in 0..runs {
            black_box(sample(&kept, &starved, seed, sight).unwrap());
        }
        let took_s = began.elapsed().as_secs_f64();
        println!("starved, {what}: {:.3} s a run", took_s / runs as f64);
    }
}
