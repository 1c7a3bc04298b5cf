//! The same jobs under several settings, with the same luck (common random numbers).

use crate::board::types::Board;
use crate::replay::duties::NoProgress;
use crate::replay::store::StoredJob;

use super::fit::fitting::of_run;
use super::parallel;
use super::sample::{Sample, Sight, has_draws, sample};
use super::stats::{self, Median};

/// A job under a setting.
#[derive(Clone, Copy, Debug)]
pub struct Case<'a> {
    /// The board.
    pub board: &'a Board,
    /// The case that this one is compared with: the first of its job.
    pub first: usize,
}

/// Samples of each case, by seed.
pub type Samples = Vec<Vec<Sample>>;

/// Whether more runs of this board tell anything new.
pub fn wants_more(board: &Board, samples: &[Sample]) -> bool {
    samples.is_empty() || has_draws(board)
}

/// Of a job with more blocks the first run is made alone.
const ALONE_BLOCKS: usize = 1 << 18;

/// Samples of a job on some boards, by board and seed. The job is stored under limits and waits that they all
/// have. A board without draws gives the same each time: it is run once. `first_run`: the number of the run with the
/// first of these seeds; see [`of_run`].
pub fn samples(
    job: &StoredJob,
    boards: &[&Board],
    first_run: usize,
    seeds: &[u64],
    sight: Option<Sight>,
    threads: usize,
    each: &(dyn Fn(usize) + Sync),
) -> Result<Samples, NoProgress> {
    let own = |board: &Board| if has_draws(board) { seeds.len() } else { 1 };
    let tasks: Vec<(usize, usize)> = boards
        .iter()
        .enumerate()
        .flat_map(|(i, board)| (0..own(board)).map(move |run| (i, run)))
        .collect();
    let one = |k: usize| {
        let (board, run) = tasks[k];
        let board = of_run(boards[board], first_run + run);
        sample(job, &board, seeds[run], sight)
    };
    let mut found = Vec::with_capacity(tasks.len());
    let mut threads = threads;
    if job.block_count() > ALONE_BLOCKS && !tasks.is_empty() {
        // The first shows how many fit side by side.
        found.push(one(0)?);
        each(1);
        threads = found[0].cost.threads(threads);
    }
    let first = found.len();
    let told = |done: usize| each(first + done);
    let count = tasks.len() - first;
    found.extend(parallel::try_map(count, threads, &told, &|k| {
        one(first + k)
    })?);
    let mut samples = Samples::new();
    samples.resize(boards.len(), Vec::new());
    for ((board, _), found) in tasks.iter().zip(found) {
        samples[*board].push(found);
    }
    Ok(samples)
}

/// A case's samples, told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outcome {
    /// How many runs.
    pub runs: usize,
    /// Visible bumps.
    pub visible: Median,
    /// Share of runs with any visible bump, and its Wilson interval.
    pub visible_chance: [f64; 3],
    /// Stalls.
    pub stalls: Median,
    /// Lost time, s.
    pub lost_s: Median,
    /// Replay, s.
    pub replay_s: Median,
    /// Lost time less that of the first case, run by run, s.
    pub more_s: Median,
    /// Visible bumps more than in the first case, run by run.
    pub more_visible: Median,
    /// Sign test of which of the two is worse, run by run: the one with more visible bumps, or, where they have as
    /// many, the one that loses more time; Holm-adjusted over the cases of the job.
    pub p_holm: f64,
    /// Runs in which this case is worse than the first, and better.
    pub signs: [usize; 2],
    /// Share of runs with any stall, and its Wilson interval.
    pub chance: [f64; 3],
}

/// How a run compares with another: by visible bumps, and by lost time where both have as many.
fn worse(own: &Sample, first: &Sample) -> f64 {
    if own.visible == first.visible {
        own.lost_s - first.lost_s
    } else {
        own.visible as f64 - first.visible as f64
    }
}

/// Tells all cases.
pub fn outcomes(cases: &[Case], samples: &Samples) -> Vec<Outcome> {
    let of = |case: usize, what: &dyn Fn(&Sample) -> f64| -> Vec<f64> {
        samples[case].iter().map(what).collect()
    };
    let lost = |s: &Sample| s.lost_s;
    let against_first = |i: usize, of: &dyn Fn(&Sample, &Sample) -> f64| -> Vec<f64> {
        let pairs = samples[i].iter().zip(&samples[cases[i].first]);
        pairs.map(|(own, first)| of(own, first)).collect()
    };
    let worse: Vec<Vec<f64>> = (0..cases.len()).map(|i| against_first(i, &worse)).collect();
    let mut p_holm = vec![1.0; cases.len()];
    for first in 0..cases.len() {
        let others: Vec<usize> = (0..cases.len())
            .filter(|i| cases[*i].first == first && *i != first)
            .collect();
        let p: Vec<f64> = others
            .iter()
            .map(|i| stats::sign_test(&worse[*i]))
            .collect();
        for (i, p) in others.iter().zip(stats::holm(&p)) {
            p_holm[*i] = p;
        }
    }
    let chance = |i: usize, has: &dyn Fn(&Sample) -> bool| {
        let runs = samples[i].len() as u64;
        let with = samples[i].iter().filter(|s| has(s)).count() as u64;
        let [low, high] = stats::wilson(with, runs);
        [with as f64 / runs as f64, low, high]
    };
    (0..cases.len())
        .map(|i| {
            let more = |of: &dyn Fn(&Sample, &Sample) -> f64| stats::median(&against_first(i, of));
            Outcome {
                runs: samples[i].len(),
                visible: stats::median(&of(i, &|s| s.visible as f64)),
                visible_chance: chance(i, &|s| s.visible > 0),
                stalls: stats::median(&of(i, &|s| s.stalls() as f64)),
                lost_s: stats::median(&of(i, &lost)),
                replay_s: stats::median(&of(i, &|s| s.replay_s)),
                more_s: more(&|own, first| own.lost_s - first.lost_s),
                more_visible: more(&|own, first| own.visible as f64 - first.visible as f64),
                p_holm: p_holm[i],
                signs: [
                    worse[i].iter().filter(|d| **d > 0.0).count(),
                    worse[i].iter().filter(|d| **d < 0.0).count(),
                ],
                chance: chance(i, &|s| s.stalls() > 0),
            }
        })
        .collect()
}

/// Differences of lost time below this share of the first case's lost time do not matter.
const FIRM_SHARE: f64 = 0.05;
/// And in seconds.
const FIRM_S: f64 = 0.1;

/// Difference of visible bumps that nobody minds.
const FIRM_BUMPS: f64 = 1.0;

/// Chance of a wrong sign that a firm answer may have.
pub const FIRM_P: f64 = 0.05;

/// Whether this difference to the first case is known: its interval is narrow, or it has a sign
/// that is no luck (Holm-adjusted sign test).
fn is_known(case: usize, cases: &[Case], outcomes: &[Outcome]) -> bool {
    let (first, o) = (cases[case].first, &outcomes[case]);
    if first == case || !(has_draws(cases[case].board) || has_draws(cases[first].board)) {
        return true;
    }
    let narrow_s = FIRM_S.max(FIRM_SHARE * outcomes[first].lost_s.middle);
    let is_narrow =
        |m: &Median, most: f64| m.interval.is_some_and(|[low, high]| high - low <= most);
    o.p_holm <= FIRM_P || is_narrow(&o.more_s, narrow_s) && is_narrow(&o.more_visible, FIRM_BUMPS)
}

/// Whether each difference to the first case of its job is known.
pub fn is_firm(cases: &[Case], outcomes: &[Outcome]) -> bool {
    (0..cases.len()).all(|i| is_known(i, cases, outcomes))
}

/// About how many runs a firm answer needs, if signs go on as they did; `None` where it is firm,
/// or where no number of runs is likely to do.
pub fn runs_needed(cases: &[Case], outcomes: &[Outcome]) -> Option<usize> {
    let need = |i: usize| {
        let [up, down] = outcomes[i].signs;
        let tests = cases.iter().filter(|c| c.first == cases[i].first).count() - 1;
        let (most, all) = (up.max(down) as f64, (up + down) as f64);
        let lead = 2.0 * most / all.max(1.0) - 1.0;
        // With all signs alike 2·tests/2^n must be small; else a normal bound on their share.
        let alike = (2.0 * tests as f64 / FIRM_P).log2();
        let uneven = 4.0 / (lead * lead);
        let n = if lead < 1.0 { alike.max(uneven) } else { alike };
        (n < 1e4).then(|| (n.ceil() as usize).max(outcomes[i].runs + 1))
    };
    let open = (0..cases.len()).filter(|i| !is_known(*i, cases, outcomes));
    open.map(need)
        .try_fold(0, |most, n| n.map(|n| most.max(n)))
        .filter(|n| *n > 0)
}
