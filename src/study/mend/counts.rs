//! What a pass over a job has seen and done.

use std::collections::BTreeMap;

use super::plan::Class;

/// What a pass has seen and done.
#[derive(Clone, Debug, Default)]
pub struct Counts {
    /// Lines of the job.
    pub lines: u64,
    /// Bytes of the job.
    pub bytes: u64,
    /// Command lines that were left alone because they are not understood.
    pub alone_lines: u64,
    /// Their bytes.
    pub alone_bytes: u64,
    /// Lines that went because others stand for them.
    pub merged_lines: u64,
    /// Arcs written.
    pub arcs: u64,
    /// Moves of the mended job that are slower than those that they stand for.
    pub paced_moves: u64,
    /// Lines with nothing but fewer bytes.
    pub shortened_lines: u64,
    /// Bytes written.
    pub written_bytes: u64,
    /// Moves of walls with a comment before or behind them, if the walls were asked for.
    pub commented_moves: u64,
    /// The kinds of wall, if they were asked for.
    pub walls: BTreeMap<Class, WallSum>,
}

impl Counts {
    /// Whether any line was changed.
    pub fn changed(&self) -> bool {
        self.merged_lines + self.arcs + self.paced_moves + self.shortened_lines > 0
    }
}

/// Sums over the runs of one class.
#[derive(Clone, Copy, Debug, Default)]
pub struct WallSum {
    /// Time by the ideal, s.
    pub ideal_s: f64,
    /// Time where the board may lose the pace, s.
    pub risk_s: f64,
    /// Bumps on it, of those that were given.
    pub bumps: u64,
    /// The same under strain.
    pub strained_bumps: u64,
    /// Highest feed, mm/s.
    pub feed_mm_s: f64,
}
