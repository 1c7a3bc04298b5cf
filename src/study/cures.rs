//! What would cure it: single changes, tried and ranked, and the cheapest set of them.

use crate::board::types::Board;
use crate::job::reader::Step;
use crate::replay::duties::Restless;
use crate::replay::source::Planned;
use crate::replay::store::StoredJob;

use super::parallel;
use super::remedy::{self, Remedy};
use super::reshape::{Reshape, fastest_mm_s, reshape};
use super::sample::{Sample, sample};

/// A change, or a set of them, tried.
#[derive(Clone, Debug)]
pub struct Tried {
    /// The changes.
    pub remedies: Vec<Remedy>,
    /// What the replay came to.
    pub sample: Sample,
    /// How far the path moved at most, mm.
    pub shift_mm: f64,
}

impl Tried {
    /// How hard it is: the efforts of its changes, added up.
    pub fn effort(&self) -> u32 {
        self.remedies.iter().map(|r| r.effort as u32).sum()
    }
}

/// All that was tried.
#[derive(Clone, Debug)]
pub struct Cures {
    /// The board and the job as they are.
    pub before: Sample,
    /// Single changes, the best first.
    pub single: Vec<Tried>,
    /// The cheapest set that leaves least, where no single change does.
    pub set: Option<Tried>,
}

/// Steps of bisection in search of a speed.
const SEARCH_STEPS: usize = 7;

/// Tries all changes on a job, `threads` at a time.
pub fn cures(
    steps: &[Step],
    board: &Board,
    seed: u64,
    threads: usize,
    each: &(dyn Fn(usize) + Sync),
) -> Result<Cures, Restless> {
    let job = stored(steps, board);
    let before = sample(&job, board, seed, None)?;
    let mut remedies = remedy::list(board);
    if before.stalls() > 0 {
        remedies.extend(slower(steps, board, seed, &before)?);
    }
    let tried = parallel::map(remedies.len(), threads, each, &|k| {
        attempt(steps, &job, board, &[&remedies[k]], seed)
    });
    let mut single = tried
        .into_iter()
        .collect::<Result<Vec<Tried>, Restless>>()?;
    single.sort_by(|a, b| {
        let longer = a.sample.replay_s.total_cmp(&b.sample.replay_s);
        let left = |t: &Tried| left(&t.sample, &before);
        left(a).total_cmp(&left(b)).then(longer)
    });
    let set = best_set(steps, &job, board, &before, &single, seed, threads)?;
    Ok(Cures {
        before,
        single,
        set,
    })
}

/// What is left of lost time and of stalls, both shares in one number to rank by.
fn left(after: &Sample, before: &Sample) -> f64 {
    let share = |a: f64, b: f64| if b > 0.0 { a / b } else { a };
    share(after.lost_s, before.lost_s) + share(after.stalls() as f64, before.stalls() as f64)
}

fn stored(steps: &[Step], board: &Board) -> StoredJob {
    match Planned::new(steps.iter(), board).store() {
        Ok(job) => job,
        Err(error) => unreachable!("steps in memory were read before: {error}"),
    }
}

/// Makes the changes and replays.
fn attempt(
    steps: &[Step],
    job: &StoredJob,
    board: &Board,
    remedies: &[&Remedy],
    seed: u64,
) -> Result<Tried, Restless> {
    let mut changed = board.clone();
    let mut reshaped = None;
    for remedy in remedies {
        remedy.change.apply(&mut changed);
        if let Some(how) = remedy.change.reshape() {
            reshaped = Some(reshape(steps, how));
        }
    }
    let (sample, shift_mm) = match &reshaped {
        Some((steps, shift_mm)) => (
            sample(&stored(steps, &changed), &changed, seed, None)?,
            *shift_mm,
        ),
        // No change to a board touches its limits, so that the job's blocks stay.
        None => (sample(job, &changed, seed, None)?, 0.0),
    };
    Ok(Tried {
        remedies: remedies.iter().map(|r| (*r).clone()).collect(),
        sample,
        shift_mm,
    })
}

/// Lost time that is left counts as starving no more, as a share of today's.
const STARVED_SHARE: f64 = 0.02;

/// The highest feed of printing moves at which next to no time is lost.
fn slower(
    steps: &[Step],
    board: &Board,
    seed: u64,
    before: &Sample,
) -> Result<Option<Remedy>, Restless> {
    let fastest_mm_s = fastest_mm_s(steps);
    let starves = |most_mm_s: f64| -> Result<bool, Restless> {
        let (slow, _) = reshape(steps, Reshape::Slow(most_mm_s));
        let after = sample(&stored(&slow, board), board, seed, None)?;
        Ok(after.lost_s > STARVED_SHARE * before.lost_s)
    };
    let (mut low, mut high) = (0.1 * fastest_mm_s, fastest_mm_s);
    if fastest_mm_s <= 0.0 || starves(low)? {
        return Ok(None);
    }
    for _ in 0..SEARCH_STEPS {
        let middle = (low + high) / 2.0;
        if starves(middle)? {
            high = middle
        } else {
            low = middle
        }
    }
    Ok(Some(remedy::slower(low.floor().max(0.1 * fastest_mm_s))))
}

/// Single changes out of which sets are made.
const SET_FROM: usize = 8;

/// Longer prints than this share of today's are no part of a set.
const LONGER_SHARE: f64 = 0.1;

/// The cheapest pair, or three, that leaves fewer stalls than any single change of little time.
fn best_set(
    steps: &[Step],
    job: &StoredJob,
    board: &Board,
    before: &Sample,
    single: &[Tried],
    seed: u64,
    threads: usize,
) -> Result<Option<Tried>, Restless> {
    let quick = |t: &&Tried| t.sample.replay_s <= (1.0 + LONGER_SHARE) * before.replay_s;
    let stalls = single.iter().filter(quick).map(|t| t.sample.stalls());
    let least = stalls.min().unwrap_or(before.stalls());
    if least == 0 {
        return Ok(None);
    }
    let pool: Vec<&Remedy> = single
        .iter()
        .filter(quick)
        .take(SET_FROM)
        .map(|t| &t.remedies[0])
        .collect();
    let mut sets: Vec<Vec<&Remedy>> = Vec::new();
    for (i, a) in pool.iter().enumerate() {
        for (j, b) in pool.iter().enumerate().skip(i + 1) {
            if a.change.excludes(&b.change) {
                continue;
            }
            sets.push(vec![a, b]);
            for c in pool.iter().skip(j + 1) {
                if !c.change.excludes(&a.change) && !c.change.excludes(&b.change) {
                    sets.push(vec![a, b, c]);
                }
            }
        }
    }
    let tried = parallel::map(sets.len(), threads, &|_| {}, &|k| {
        attempt(steps, job, board, &sets[k], seed)
    });
    let effort = |t: &Tried| t.effort();
    let mut best: Option<Tried> = None;
    for tried in tried {
        let tried = tried?;
        let key = |t: &Tried| (t.sample.stalls(), effort(t));
        if tried.sample.stalls() < least && best.as_ref().is_none_or(|b| key(&tried) < key(b)) {
            best = Some(tried);
        }
    }
    Ok(best)
}
