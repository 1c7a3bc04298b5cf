//! What a job asks of any board.

use std::collections::VecDeque;

use crate::replay::store::StoredJob;

/// Blocks over which the greatest demand is taken.
const WINDOW_BLOCKS: usize = 64;

/// A job in a few numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct JobFacts {
    /// Command lines.
    pub lines: usize,
    /// Blocks.
    pub blocks: usize,
    /// Half of the blocks are at most this long, mm.
    pub median_block_mm: f64,
    /// Bytes of command lines for each millimetre of path.
    pub bytes_per_mm: f64,
    /// The greatest demand: blocks a second at commanded feed, over 64 blocks.
    pub peak_blocks_per_s: f64,
}

/// Measures a job.
pub fn facts(job: &StoredJob) -> JobFacts {
    let mut lengths = Vec::with_capacity(job.block_count());
    let (mut bytes, mut path_mm) = (0.0, 0.0);
    let (mut window, mut window_s, mut peak) = (VecDeque::new(), 0.0, 0.0f64);
    for (line, blocks) in job.read() {
        bytes += f64::from(line.command_bytes);
        for block in blocks {
            lengths.push(block.length_mm as f32);
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
    lengths.sort_unstable_by(f32::total_cmp);
    JobFacts {
        lines: job.line_count(),
        blocks: lengths.len(),
        median_block_mm: lengths
            .get(lengths.len() / 2)
            .copied()
            .map_or(0.0, f64::from),
        bytes_per_mm: if path_mm > 0.0 { bytes / path_mm } else { 0.0 },
        peak_blocks_per_s: peak,
    }
}
