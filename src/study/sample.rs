//! One replay of a stored job in a few numbers: stalls, lost time, visible bumps.

use crate::board::types::{Board, Link, Span};
use crate::replay::cause::Setup;
use crate::replay::duties::{CHORE_RUNS_MAX, NoProgress};
use crate::replay::store::StoredJob;
use crate::replay::stream::{Done, ReplayError, Watcher, replay_setup};
use crate::replay::world::Totals;
use crate::surface::bump::Bump;
use crate::surface::flow::{Excess, Flow};
use crate::surface::skin::Surface;

use super::bumps::{BumpFinder, Found};
use super::stalls::{LOST_MIN_S, Stall, StallFinder};

/// Which bumps count as visible.
#[derive(Clone, Copy)]
pub struct Sight<'a> {
    /// What each block of the job faces, by its number.
    pub facing: &'a (dyn Fn(u64) -> Option<Surface> + Sync),
    /// Height from which a bump counts as visible, mm.
    pub visible_mm: f64,
}

/// What one replay came to.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sample {
    /// Stalls by kind: dwells, dips, drags.
    pub kinds: [u64; 3],
    /// Lost time, s.
    pub lost_s: f64,
    /// The replay's duration, s.
    pub replay_s: f64,
    /// Visible bumps; 0 where they were not looked for.
    pub visible: u64,
    /// Height of the highest bump on a surface that can be seen, mm.
    pub highest_mm: f64,
    /// What the replay took.
    pub cost: Cost,
}

/// What a replay takes of the computer, in counts: the same on any computer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Cost {
    /// Lines, blocks, saves, runs of chores, and 4 samples of a stall's surplus each: a few million of them a second.
    pub work: usize,
    /// Blocks held at most while they waited for their ideal.
    pub held_blocks: usize,
}

/// Bytes that a block takes while it waits for its ideal, growing queues included.
const HELD_BLOCK_BYTES: usize = 600;
/// Bytes that replays side by side may take.
const SIDE_BY_SIDE_BYTES: usize = 400 << 20;

impl Cost {
    /// Runs of chores that a replay under a change may make, where it takes this much without.
    pub fn chore_runs_max(&self) -> u64 {
        (self.work.saturating_mul(CHANGED_SHARE) as u64).clamp(CHANGED_CHORES, CHORE_RUNS_MAX)
    }

    /// How many of `threads` may replay at a time, so that all of them together stay small.
    pub fn threads(&self, threads: usize) -> usize {
        let each = (self.held_blocks * HELD_BLOCK_BYTES).max(1);
        threads.min(SIDE_BY_SIDE_BYTES / each).max(1)
    }
}

/// A replay under a change may take this many times what it takes without: at a tenth of the speed ten times as many
/// chores run. Beyond it the change is given up.
const CHANGED_SHARE: usize = 12;
/// Runs of chores that it may make in any case.
const CHANGED_CHORES: u64 = 1_000_000;

/// Samples of a stall's surplus that take as long as a line.
const SAMPLES_A_LINE: u64 = 4;

/// What these samples of surplus take, in lines.
pub fn samples_work(samples: u64) -> usize {
    usize::try_from(samples / SAMPLES_A_LINE).unwrap_or(usize::MAX)
}

/// What a replay with these sums took.
fn work(job: &StoredJob, totals: &Totals) -> usize {
    let duties = usize::try_from(totals.chores + totals.saves).unwrap_or(usize::MAX);
    (job.line_count() + job.block_count()).saturating_add(duties)
}

impl Sample {
    /// All stalls.
    pub fn stalls(&self) -> u64 {
        self.kinds.iter().sum()
    }
}

/// Looks for bumps.
struct Looking<'a> {
    sight: Sight<'a>,
    flow: Flow,
    bumps: BumpFinder,
}

/// Counts stalls and bumps.
struct Count<'a> {
    finder: StallFinder,
    looking: Option<Looking<'a>>,
    sample: Sample,
    /// The visible bumps, where they are wanted one by one.
    kept: Option<Vec<Bump>>,
}

impl Count<'_> {
    fn end(&mut self, stall: Option<Stall>) {
        let Some(stall) = stall else { return };
        self.sample.kinds[stall.kind as usize] += 1;
        if let Some(looking) = &mut self.looking {
            looking.bumps.end(stall);
        }
    }

    fn take_bumps(&mut self) {
        let Some(looking) = &mut self.looking else {
            return;
        };
        while let Some(found) = looking.bumps.take() {
            if let Found::Bump(bump) = found
                && !bump.travels
                && matches!(
                    (looking.sight.facing)(bump.block),
                    Some(Surface::Outer | Surface::Hole)
                )
            {
                let visible = bump.height_mm >= looking.sight.visible_mm;
                self.sample.visible += u64::from(visible);
                if let Some(kept) = self.kept.as_mut().filter(|_| visible) {
                    kept.push(bump);
                }
                self.sample.highest_mm = self.sample.highest_mm.max(bump.height_mm);
            }
        }
    }
}

impl Watcher for Count<'_> {
    fn block(&mut self, done: &Done) {
        let mut excess = Excess::default();
        if let Some(looking) = &mut self.looking {
            excess = looking.flow.block(done);
            looking.bumps.layer(done);
        }
        if done.lost_s() > LOST_MIN_S || self.finder.is_open() {
            let ended = self.finder.block(done, &excess);
            self.end(ended);
            if let Some(looking) = &mut self.looking
                && self.finder.is_open()
            {
                looking.bumps.block(done, &excess, &looking.flow);
            }
        }
        self.take_bumps();
    }

    fn stop(&mut self, start_s: f64, end_s: f64) {
        if let Some(looking) = &mut self.looking {
            looking.flow.stop(start_s, end_s);
        }
        let ended = self.finder.close();
        self.end(ended);
        self.take_bumps();
    }
}

/// Replays a stored job once; visible bumps are counted where `sight` says which those are.
pub fn sample(
    job: &StoredJob,
    board: &Board,
    seed: u64,
    sight: Option<Sight>,
) -> Result<Sample, NoProgress> {
    sample_of(job, &Setup::whole(board), seed, sight)
}

/// The same on what is left of a board, or within what a replay may take.
pub fn sample_of(
    job: &StoredJob,
    setup: &Setup,
    seed: u64,
    sight: Option<Sight>,
) -> Result<Sample, NoProgress> {
    counted(job, setup, seed, sight, None).map(|(sample, _)| sample)
}

/// Replays a stored job once and lists its visible bumps. A stored job has no places: x of a bump's place is its way
/// along its block, mm.
pub fn bumps(
    job: &StoredJob,
    board: &Board,
    seed: u64,
    sight: Sight,
) -> Result<Vec<Bump>, NoProgress> {
    let setup = Setup::whole(board);
    let (_, kept) = counted(job, &setup, seed, Some(sight), Some(Vec::new()))?;
    Ok(kept.unwrap_or_default())
}

fn counted(
    job: &StoredJob,
    setup: &Setup,
    seed: u64,
    sight: Option<Sight>,
    kept: Option<Vec<Bump>>,
) -> Result<(Sample, Option<Vec<Bump>>), NoProgress> {
    let nozzle = &setup.board.nozzle;
    let mut count = Count {
        finder: StallFinder::default(),
        looking: sight.map(|sight| Looking {
            sight,
            flow: Flow::new(nozzle),
            bumps: BumpFinder::with_first_layer(nozzle, job.first_layer_mm()),
        }),
        sample: Sample::default(),
        kept,
    };
    let done = match replay_setup(job.read(), setup, seed, &mut count, 0) {
        Ok(done) => done,
        Err(ReplayError::Board(error)) => return Err(error),
        Err(ReplayError::Job(error)) => unreachable!("a stored job was read before: {error}"),
    };
    let last = count.finder.close();
    count.end(last);
    if let Some(looking) = &mut count.looking {
        looking.bumps.finish();
    }
    count.take_bumps();
    let samples = count.looking.as_ref().map_or(0, |l| l.bumps.samples());
    let sample = Sample {
        lost_s: done.lost_s,
        replay_s: done.totals.replay_s,
        cost: Cost {
            work: work(job, &done.totals).saturating_add(samples_work(samples)),
            held_blocks: done.held_blocks,
        },
        ..count.sample
    };
    Ok((sample, count.kept))
}

/// Whether two runs can give two answers on this board: it has draws, or its numbers are known within limits only.
pub fn has_draws(board: &Board) -> bool {
    let chance = |c: f64| c > 0.0 && c < 1.0;
    let link = match &board.link {
        Link::Card(c) => {
            c.sector.is_drawn()
                || chance(c.hiccup_chance)
                || (c.hiccup_chance > 0.0 && c.hiccup.is_drawn())
        }
        Link::Serial(s) => s.reply.is_drawn() || chance(s.resend_chance),
    };
    let drawn = |span: &Span| span.is_drawn();
    let fitted = board.is_fitted();
    fitted || link || drawn(&board.save.hold) || board.chores.iter().any(|c| drawn(&c.work))
}
