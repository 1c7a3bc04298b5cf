//! The two ends of a replay: where lines come from, and who hears what the head does.

use std::collections::VecDeque;

use crate::motion::path::Block;
use crate::motion::trapezoid::Trapezoid;

pub use super::cause::Cause;

/// A command line as the controller sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// The file's line number, from 1.
    pub number: u64,
    /// The layer it bears, from 0.
    pub layer: u32,
    /// Byte offset just behind its line end.
    pub end_byte: u64,
    /// Its raw bytes and those of the blank and comment lines before it.
    pub raw_bytes: u32,
    /// Without comment and outer blanks, plus one for the newline.
    pub command_bytes: u32,
    /// What it makes the main loop do.
    pub work: Work,
}

/// What a line makes the main loop do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Work {
    /// Decoding only.
    Nothing,
    /// This many blocks.
    Blocks {
        /// How many.
        count: u32,
        /// Whether they are chords of an arc.
        arc: bool,
    },
    /// Drain, then this long at rest, s.
    Stop(f64),
    /// Decoding only: a host's poll, no line of the job.
    Poll,
}

/// A block that has started: its profile is fixed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ran {
    /// Number of the block, from 0.
    pub block: u64,
    /// When it starts, s.
    pub start_s: f64,
    /// When it ends, s.
    pub end_s: f64,
    /// Rest just before it that no commanded stop accounts for, s.
    pub gap_s: f64,
    /// Nominal speed after the low-queue stretch, mm/s.
    pub nominal_mm_s: f64,
    /// Speeds and phases.
    pub profile: Trapezoid,
    /// Blocks in the planner queue at its start, itself included.
    pub queued: u32,
    /// What the main loop mostly did between the insertion of the block before it and its own.
    pub late_by: Cause,
    /// How long it did that, s.
    pub late_s: f64,
}

/// A replay's ends.
pub trait World {
    /// The job's next command line; its blocks are put behind `blocks`.
    fn next_line(&mut self, blocks: &mut VecDeque<Block>) -> Option<Line>;
    /// A block has started.
    fn ran(&mut self, ran: &Ran);
    /// A commanded stop took hold; blocks after it start from rest. `end_s`: when it ends.
    fn stopped(&mut self, start_s: f64, end_s: f64);
    /// The main loop was held by this for a while.
    #[inline]
    fn spent(&mut self, _on: Cause, _from_s: f64, _to_s: f64) {}
    /// A block has come into the planner queue.
    #[inline]
    fn inserted(&mut self, _at_s: f64) {}
    /// The file's line of a block that has started and is not followed by another, by its number from 0, where
    /// the world can tell.
    fn line_of(&self, _block: u64) -> Option<u64> {
        None
    }
    /// A block that was given before, by its number from 0, where the world can tell: then an endless queue
    /// needn't hold it.
    #[inline]
    fn block_again(&self, _number: u64) -> Option<Block> {
        None
    }
}

/// Sums of one replay, s.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Totals {
    /// When the replay ends.
    pub replay_s: f64,
    /// Blocks' durations.
    pub moving_s: f64,
    /// Rests that count as lost.
    pub gap_s: f64,
    /// Rests before the first block and after commanded stops, and behind the last block.
    pub start_up_s: f64,
    /// Commanded stops' own time.
    pub stop_s: f64,
    /// From the drained queue to a stop's own time: what the loop had begun it finishes first.
    pub stop_wait_s: f64,
    /// Blocks executed.
    pub blocks: u64,
    /// State saves made.
    pub saves: u64,
    /// Chores run.
    pub chores: u64,
}
