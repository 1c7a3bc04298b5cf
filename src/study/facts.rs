//! A job in a few numbers that depend on no board: how many lines and blocks it has, how short its moves are and
//! how fast they follow each other.

use std::collections::VecDeque;

use crate::replay::store::StoredJob;

/// The number of consecutive blocks over which the demand is averaged.
const WINDOW_BLOCKS: usize = 64;

/// A job in a few numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct JobFacts {
    /// Command lines.
    pub lines: usize,
    /// Blocks.
    pub blocks: usize,
    /// Median length of the blocks, mm: half of them are at most this long.
    pub median_block_mm: f64,
    /// Bytes of command lines for each millimetre of path, 1/mm.
    pub bytes_per_mm: f64,
    /// The greatest demand, blocks a second: 64 consecutive blocks over the time that they take at their commanded
    /// feed, at its highest.
    pub peak_blocks_per_s: f64,
}

/// Works out a job's facts, in one pass over it and two for the median.
pub fn facts(job: &StoredJob) -> JobFacts {
    let (mut bytes, mut path_mm) = (0.0, 0.0);
    let (mut window, mut window_s, mut peak) = (VecDeque::new(), 0.0, 0.0f64);
    for (line, blocks) in job.read() {
        bytes += f64::from(line.command_bytes);
        for block in blocks {
            path_mm += block.length_mm;
            let took_s = block.length_mm / block.speed_mm_s;
            window.push_back(took_s);
            window_s += took_s;
            if window.len() > WINDOW_BLOCKS {
                window_s -= window.pop_front().unwrap_or(0.0);
            }
            if window.len() == WINDOW_BLOCKS {
                peak = peak.max(WINDOW_BLOCKS as f64 / window_s);
            }
        }
    }
    JobFacts {
        lines: job.line_count(),
        blocks: job.block_count(),
        median_block_mm: median_block_mm(job),
        bytes_per_mm: if path_mm > 0.0 { bytes / path_mm } else { 0.0 },
        peak_blocks_per_s: peak,
    }
}

/// The median length of the blocks, mm, in single precision. It takes no list of all lengths: the bit patterns of
/// positive floating-point numbers have the same order as the numbers, so that one pass finds the upper 16 bits of
/// the median by counting, and a second pass finds the lower 16 bits.
fn median_block_mm(job: &StoredJob) -> f64 {
    let mut rank = job.block_count() / 2;
    if job.block_count() == 0 {
        return 0.0;
    }
    let mut half = |of: &dyn Fn(u32) -> Option<u32>| {
        let mut counts = vec![0usize; 1 << 16];
        for block in job.read().flat_map(|(_, blocks)| blocks) {
            if let Some(half) = of((block.length_mm as f32).to_bits()) {
                counts[half as usize] += 1;
            }
        }
        let mut found = 0;
        while rank >= counts[found] {
            rank -= counts[found];
            found += 1;
        }
        found as u32
    };
    let upper = half(&|bits| Some(bits >> 16));
    let lower = half(&|bits| (bits >> 16 == upper).then_some(bits & 0xffff));
    f64::from(f32::from_bits(upper << 16 | lower))
}
