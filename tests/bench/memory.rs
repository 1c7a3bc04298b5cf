//! How much memory the program takes: each row is a run of the program as people run it.
//!
//! While it runs its peak is asked for every millisecond (Linux only). A peak only grows: the last answer lacks
//! what came in the last millisecond at most.

use std::fs::{self, File};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use super::cases::peak_mb;
use super::job::Job;

/// Runs over the big job. `JOB` and `DIR` stand for paths; standard input is the job too.
const STREAMED: [&str; 8] = [
    "replay - --board 32bit-card --quick",
    "replay - --board 32bit-card",
    "replay - --board 32bit-card --out DIR",
    "replay JOB --board 32bit-card --out DIR",
    "replay - --board 8bit-serial-115200 --quick",
    "replay - --board 8bit-serial-115200",
    "replay - --board 8bit-serial-115200 --out DIR",
    "replay JOB --board 8bit-serial-115200 --out DIR",
];

/// Runs that keep the job: over one of a million lines.
const STORED: [&str; 3] = [
    "replay JOB --board 8bit-card-saves --causes",
    "compare JOB --board 8bit-card-saves --runs 6 --vary save=off,layer,5",
    "compare JOB --board 8bit-card-saves --runs 6 --vary motion.accel.print=500,1000",
];

/// Prints the table, for these jobs.
pub fn table(big: &Job, million: &Job, tiny: &Job, folder: &Path) {
    println!(
        "A block takes: the peak, less that of the same with a job of one layer, over the blocks.\n"
    );
    println!("| headstall | blocks | peak memory | a block |");
    println!("| --- | --- | --- | --- |");
    let streamed = STREAMED.iter().map(|command| (command, big));
    let stored = STORED.iter().map(|command| (command, million));
    for (command, job) in streamed.chain(stored) {
        let [peak_mb, base_mb] = [job, tiny].map(|job| peak_of(command, &job.path, folder));
        println!(
            "| `{command}` | {} | {peak_mb:.1} MB | {:.1} bytes |",
            job.blocks(),
            (peak_mb - base_mb) * 1e6 / job.blocks() as f64
        );
    }
}

/// The peak of a run of the program, MB.
fn peak_of(command: &str, job: &Path, folder: &Path) -> f64 {
    let out = folder.join("out");
    let args = command.split(' ').map(|word| match word {
        "JOB" => job,
        "DIR" => &out,
        word => Path::new(word),
    });
    let mut child = Command::new(env!("CARGO_BIN_EXE_headstall"))
        .args(args)
        .stdin(File::open(job).unwrap())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let mut peak = f64::NAN;
    let status = loop {
        peak = peak_mb(&child.id().to_string()).unwrap_or(peak);
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        std::thread::sleep(Duration::from_millis(1));
    };
    assert!(status.success(), "headstall {command}: {status}");
    if out.exists() {
        fs::remove_dir_all(out).unwrap();
    }
    peak
}
