//! A job streamed through a board, next to its ideal, in memory that doesn't grow with the job.

use std::collections::VecDeque;
use std::io::Read;

use crate::board::types::Board;
use crate::job::notices::NoticeKind;
use crate::job::reader::{JobError, JobReader};
use crate::motion::ideal::Ideal;
use crate::motion::path::{Block, Place};
use crate::motion::trapezoid::Trapezoid;

use super::ahead::Ahead;
use super::cause::Setup;
use super::controller;
use super::duties::NoProgress;
use super::source::{Footprint, Planned, Sink, Source};
use super::store::StoredJob;
use super::world::{Cause, Line, Ran, Totals, Work, World};

/// A block that was replayed, beside its ideal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Done {
    /// What the head did.
    pub ran: Ran,
    /// What it would have done with every line known in advance.
    pub ideal: Trapezoid,
    /// Where the block goes.
    pub place: Place,
    /// The file's line, from 1.
    pub line: u64,
    /// The layer, from 0.
    pub layer: u32,
    /// The layer's height, mm.
    pub layer_height_mm: f64,
    /// Acceleration, mm/s².
    pub accel_mm_s2: f64,
    /// Length, mm.
    pub length_mm: f64,
    /// Bytes that the link carried for the block's line, its share of them.
    pub bytes: f64,
}

impl Done {
    /// The block's ideal duration, s.
    pub fn ideal_s(&self) -> f64 {
        self.ideal.duration_s()
    }

    /// Replayed over ideal speed, the rest before the block included; 0 to 1.
    pub fn speed_ratio(&self) -> f64 {
        if self.lost_s() == 0.0 {
            return 1.0;
        }
        let took_s = self.ran.profile.duration_s() + self.ran.gap_s;
        if took_s > 0.0 {
            (self.ideal_s() / took_s).clamp(0.0, 1.0)
        } else {
            1.0
        }
    }

    /// Time lost at this block: its gap, and what it took longer than the ideal; s.
    pub fn lost_s(&self) -> f64 {
        self.ran.gap_s + (self.ran.profile.duration_s() - self.ideal.duration_s())
    }
}

/// Hears of a replay's blocks and stops, in order.
pub trait Watcher {
    /// A block.
    fn block(&mut self, done: &Done);
    /// A commanded stop between the block before and the next.
    fn stop(&mut self, start_s: f64, end_s: f64);
    /// Bytes of the job read so far.
    fn progress(&mut self, _bytes: u64) {}
    /// The main loop was held by this for a while; comes earlier than the blocks of that time.
    #[inline]
    fn spent(&mut self, _on: Cause, _from_s: f64, _to_s: f64) {}
    /// A block has come into the planner queue; comes earlier than the block.
    #[inline]
    fn inserted(&mut self, _at_s: f64) {}
}

/// Why a replay was not done.
#[derive(Debug)]
pub enum ReplayError {
    /// The job cannot be used.
    Job(JobError),
    /// The board cannot be used.
    Board(NoProgress),
}

/// What a replay leaves beside its blocks.
pub struct Replayed<S> {
    /// Sums of the replay.
    pub totals: Totals,
    /// The ideal's duration, commanded stops included, s.
    pub ideal_s: f64,
    /// Sum of the lost time of all blocks, s.
    pub lost_s: f64,
    /// Blocks that waited for their ideal, at most: what a replay takes memory for.
    pub held_blocks: usize,
    /// The source at the job's end; a reader's has notices, counts, layers.
    pub source: S,
    /// The job, kept, if that was wanted and it was not too long.
    pub kept: Option<StoredJob>,
}

/// Replays the job on the board, in one pass over its bytes, in constant memory.
pub fn replay<R: Read, W: Watcher>(
    input: R,
    board: &Board,
    seed: u64,
    watcher: &mut W,
) -> Result<Replayed<Planned<JobReader<R>>>, ReplayError> {
    let source = Planned::new(JobReader::new(input), board);
    replay_source(source, board, seed, watcher, 0)
}

/// The same as [`replay_source`], with the source read on a thread of its own, where there is one.
pub fn replay_ahead<S: Source + Send + 'static, W: Watcher>(
    source: S,
    board: &Board,
    seed: u64,
    watcher: &mut W,
    keep_blocks_max: usize,
) -> Result<Replayed<S>, ReplayError> {
    let ahead = match Ahead::new(source) {
        Ok(ahead) => ahead,
        Err(source) => return replay_source(source, board, seed, watcher, keep_blocks_max),
    };
    let done = replay_source(ahead, board, seed, watcher, keep_blocks_max)?;
    Ok(Replayed {
        totals: done.totals,
        ideal_s: done.ideal_s,
        lost_s: done.lost_s,
        held_blocks: done.held_blocks,
        source: done.source.finish(),
        kept: done.kept,
    })
}

/// Replays what a source gives on the board; keeps the job if it has at most `keep_blocks_max`
/// blocks and lines.
pub fn replay_source<S: Source, W: Watcher>(
    source: S,
    board: &Board,
    seed: u64,
    watcher: &mut W,
    keep_blocks_max: usize,
) -> Result<Replayed<S>, ReplayError> {
    replay_setup(source, &Setup::whole(board), seed, watcher, keep_blocks_max)
}

/// The same on what is left of a board, or within what a replay may take.
pub fn replay_setup<S: Source, W: Watcher>(
    source: S,
    setup: &Setup,
    seed: u64,
    watcher: &mut W,
    keep_blocks_max: usize,
) -> Result<Replayed<S>, ReplayError> {
    let mut stream = Stream {
        source,
        ideal: Ideal::default(),
        ran: VecDeque::new(),
        ideal_s: 0.0,
        lost_s: 0.0,
        held_blocks: 0,
        failed: None,
        lines: 0,
        kept: (keep_blocks_max > 0).then(StoredJob::default),
        keep_blocks_max,
        watcher,
        joined: (0, 0),
    };
    let run = controller::run(setup, seed, &mut stream);
    if let Some(error) = stream.failed {
        return Err(ReplayError::Job(error));
    }
    let totals = run.map_err(ReplayError::Board)?;
    assert!(
        stream.ideal.held() == 0 && stream.ran.is_empty(),
        "a block was not accounted for"
    );
    if stream.ideal.is_cut() {
        stream.source.note(NoticeKind::IdealCut, 0);
    }
    Ok(Replayed {
        ideal_s: stream.ideal_s + totals.stop_s,
        lost_s: stream.lost_s,
        held_blocks: stream.held_blocks,
        totals,
        source: stream.source,
        kept: stream.kept,
    })
}

struct Stream<'w, S, W> {
    source: S,
    ideal: Ideal<Footprint>,
    ran: VecDeque<Ran>,
    ideal_s: f64,
    lost_s: f64,
    held_blocks: usize,
    failed: Option<JobError>,
    lines: u64,
    kept: Option<StoredJob>,
    keep_blocks_max: usize,
    watcher: &'w mut W,
    /// Blocks handed on, and the line of the last.
    joined: (u64, u64),
}

/// Lines between two reports of progress.
const PROGRESS_LINES: u64 = 4096;

impl<S: Source, W: Watcher> Stream<'_, S, W> {
    /// Keeps the line, whose blocks are kept already.
    #[inline(never)]
    fn keep(&mut self, line: &Line) {
        let Some(kept) = &mut self.kept else { return };
        kept.line(line);
        if kept.block_count().max(kept.line_count()) > self.keep_blocks_max {
            self.kept = None;
        }
    }

    /// Hands on the blocks that both have done.
    #[inline]
    fn settle(&mut self) {
        if !self.ran.is_empty() {
            self.settle_late();
        }
    }

    #[inline(never)]
    fn settle_late(&mut self) {
        while let Some(ran) = self.ran.front().copied()
            && self.join(&ran)
        {
            self.ran.pop_front();
        }
    }

    /// The next block's replay beside its ideal, if that is final.
    #[inline(always)]
    fn join(&mut self, ran: &Ran) -> bool {
        let Some((course, foot)) = self.ideal.pop() else {
            return false;
        };
        let real = &ran.profile;
        let alike = real.entry_mm_s == course.entry_mm_s
            && real.exit_mm_s == course.exit_mm_s
            && ran.nominal_mm_s == course.nominal_mm_s;
        let done = Done {
            ran: *ran,
            // Most of a job; the same bits.
            ideal: if alike { *real } else { course.profile() },
            place: foot.place,
            line: foot.line,
            layer: foot.layer,
            layer_height_mm: foot.layer_height_mm,
            accel_mm_s2: course.accel_mm_s2,
            length_mm: course.length_mm,
            bytes: foot.bytes,
        };
        self.ideal_s += done.ideal_s();
        self.lost_s += done.lost_s();
        self.joined = (done.ran.block + 1, done.line);
        self.watcher.block(&done);
        true
    }
}

/// Where a line's blocks go: to the ideal, and to the main loop.
struct ToPlan<'a> {
    ideal: &'a mut Ideal<Footprint>,
    blocks: &'a mut VecDeque<Block>,
    kept: &'a mut Option<StoredJob>,
}

impl Sink for ToPlan<'_> {
    #[inline(always)]
    fn block(&mut self, block: &Block, foot: Footprint) {
        self.ideal.push(block, foot);
        self.blocks.push_back(*block);
        if let Some(kept) = self.kept {
            kept.block(block, foot);
        }
    }
}

impl<S: Source, W: Watcher> World for Stream<'_, S, W> {
    #[inline(always)]
    fn next_line(&mut self, blocks: &mut VecDeque<Block>) -> Option<Line> {
        let mut planned = ToPlan {
            ideal: &mut self.ideal,
            blocks,
            kept: &mut self.kept,
        };
        let next = self.source.next_line(&mut planned);
        let line = next.unwrap_or_else(|error| {
            self.failed.get_or_insert(error);
            None
        });
        if line.is_none_or(|line| matches!(line.work, Work::Stop(_))) {
            self.ideal.rest();
        }
        self.settle();
        let line = line?;
        self.lines += 1;
        if self.lines.is_multiple_of(PROGRESS_LINES) {
            self.watcher.progress(self.source.byte_count());
        }
        if self.kept.is_some() {
            self.keep(&line);
        }
        Some(line)
    }

    #[inline(always)]
    fn ran(&mut self, ran: &Ran) {
        if !self.ran.is_empty() || !self.join(ran) {
            self.ran.push_back(*ran);
            self.held_blocks = self.held_blocks.max(self.ideal.held());
        }
    }

    fn stopped(&mut self, start_s: f64, end_s: f64) {
        self.watcher.stop(start_s, end_s);
    }

    fn line_of(&self, block: u64) -> Option<u64> {
        let (joined, line) = self.joined;
        match block.checked_sub(joined) {
            Some(k) => self.ideal.load(k as usize).map(|foot| foot.line),
            None => (block + 1 == joined).then_some(line),
        }
    }

    #[inline]
    fn spent(&mut self, on: Cause, from_s: f64, to_s: f64) {
        self.watcher.spent(on, from_s, to_s);
    }

    #[inline]
    fn inserted(&mut self, at_s: f64) {
        self.watcher.inserted(at_s);
    }
}
