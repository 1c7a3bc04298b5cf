//! A board fitted to the times of a coupon: the model, what was found, and what goes on with the board.
//!
//! # Coverage
//!
//! Hidden boards drawn about the built-in ones (0.55 prior deviations and less), a clock off by 0.2 %, edges by 0.03 s, and
//! normal noise; the lantern's lost time with the range of 40 draws as its 95 % interval. 2026-11-28:
//!
//! | noise | boards | key intervals that hold | lost time that holds | a fit takes (2 cores) |
//! | --- | --- | --- | --- | --- |
//! | 0.15 s, stop-watch | 19 | 292 of 296 | 19 of 19 | 1 to 9 s, 600 to 1340 replays |
//! | 0.02 s, recording | 7 | 111 of 111 | 5 of 7 (4.6 s outside 4.8 to 14.2; 0.04 s outside 0.06 to 0.49) | 1 to 8 s |

use std::borrow::Cow;

use crate::board::types::{Board, Fitted};
use crate::job::reader::Step;
use crate::replay::duties::NoProgress;
use crate::study::parallel;

use super::costs::{Cost, costs};
use super::dice::Dice;
use super::forward::{self, Coupon};
use super::keys::{self, Key};
use super::problem::{Forward, Problem, Reading, Role, Unknown};
use super::quantiles::{middle, quantile};
use super::search::{Effort, Posterior, search};

/// Degrees of freedom of the readings' errors.
const FREEDOM: f64 = 4.0;
/// What the model itself is trusted to, as a share of a duration.
const TRUST: f64 = 0.003;
/// Prior deviation of the board's clock against the stop-watch's.
const CLOCK_SD: f64 = 0.004;
/// Prior deviation of what all readings are too long by, s.
const EDGE_SD_S: f64 = 0.05;
/// A reading that lies farther off than this many deviations fits nothing.
const ODD_DEVIATIONS: f64 = 4.0;
/// From this many odd readings on, or from this median of squared deviations on, the times fit no board.
const ODD_MAX: usize = 5;
const MISFIT_MAX: f64 = 4.0;
/// A key known to a factor of 3 only is told as a bound where a quantile is nearer than this many deviations.
const BOUND_DEVIATIONS: f64 = 1.3;
/// A board keeps up where no section takes longer than this share more than the moves themselves.
const KEEPS_UP: f64 = 0.03;
/// A board that is tried is given up after so many runs of chores: twice what a whole replay on the start board may
/// take, of which a coupon's chores are a small part.
const CHORE_RUNS_TRIED: u64 = 2_000_000;
/// Draws of the posterior that go on with the board.
pub const DRAWS: usize = 40;

/// What the times say of a key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Its interval is much narrower than what was assumed.
    Learnt,
    /// Only that it is at most `high`.
    AtMost,
    /// Only that it is at least `low`.
    AtLeast,
    /// Not learnt alone; it had to move with others.
    Moved,
    /// Nothing: the start value was kept.
    Kept,
}

/// A key, fitted. Values are in the board file's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// The key.
    pub key: Key,
    /// The start board's value; a draw's mean.
    pub start: f64,
    /// The fitted board's value.
    pub value: f64,
    /// The 95 % interval.
    pub interval: [f64; 2],
    /// What the times say of it.
    pub state: State,
}

/// A reading beside the fitted board's replay.
#[derive(Clone, Debug, PartialEq)]
pub struct Residual {
    /// The reading.
    pub reading: Reading,
    /// What the fitted board takes, as it would be read, s.
    pub fitted_s: f64,
    /// The deviation that was to be expected, s.
    pub expected_s: f64,
    /// Whether it fits nothing and was set aside.
    pub odd: bool,
}

/// A board fitted to times.
#[derive(Clone, Debug)]
pub struct Fit {
    /// The fitted board, with its draws of the posterior; name and notes are the start board's.
    pub board: Board,
    /// The keys that were asked for.
    pub keys: Vec<Found>,
    /// The readings.
    pub residuals: Vec<Residual>,
    /// Whole costs, which are known better than their parts.
    pub costs: Vec<Cost>,
    /// The board's second over the stop-watch's: median and 95 % interval.
    pub clock: [f64; 3],
    /// Whether all sections take hardly longer than their moves: then only bounds come out.
    pub keeps_up: bool,
    /// Minus the logarithm of the posterior: the less, the better a start board suits.
    pub misfit: f64,
    /// Replays made.
    pub replays: usize,
    /// Rounds made.
    pub rounds: usize,
}

/// Why there is no fit.
#[derive(Debug)]
pub enum NoFit {
    /// The start board cannot be replayed.
    Board(NoProgress),
    /// No board has such times: the median of squared deviations, and how many readings are odd.
    Times {
        /// Median over readings of the squared distance in deviations.
        misfit: f64,
        /// Readings that fit nothing.
        odd: usize,
    },
}

/// The coupon on the start board with some keys changed.
struct Model<'a> {
    coupon: &'a Coupon,
    start: &'a Board,
    means: Board,
    keys: Vec<Key>,
}

impl Forward for Model<'_> {
    fn durations(&self, theta: &[f64]) -> Option<Vec<f64>> {
        let board = keys::with(&self.means, &self.keys, theta);
        let took = self.coupon.replay_within(&board, 0, CHORE_RUNS_TRIED);
        took.ok().map(|t| t.sections_s)
    }

    fn rounded(&self, theta: &[f64]) -> Vec<f64> {
        let mut all = keys::rounded(&self.means, &self.keys, theta);
        all.extend(&theta[self.keys.len()..]);
        all
    }

    fn luck(&self, theta: &[f64], replays: usize, threads: usize) -> Option<Vec<f64>> {
        luck(
            self.coupon,
            &keys::with(self.start, &self.keys, theta),
            replays,
            threads,
        )
    }
}

/// Variance of each section's duration on a board by luck alone, from replays with this many seeds, s².
pub fn luck(coupon: &Coupon, board: &Board, replays: usize, threads: usize) -> Option<Vec<f64>> {
    let one = |k: usize| {
        coupon
            .replay(board, k as u64 + 1)
            .ok()
            .map(|t| t.sections_s)
    };
    let all: Option<Vec<Vec<f64>>> = parallel::map(replays, threads, &|_| {}, &one)
        .into_iter()
        .collect();
    let all = all?;
    let count = all.len() as f64;
    let variance = |section: usize| {
        let mean = all.iter().map(|t| t[section]).sum::<f64>() / count;
        all.iter().map(|t| (t[section] - mean).powi(2)).sum::<f64>() / (count - 1.0)
    };
    Some((0..coupon.count()).map(variance).collect())
}

/// Fits a board to the readings of a coupon, from a start board on.
///
/// `rate_is_free`: whether bytes a second are asked for (see [`keys::asked`]). `each` hears how many replays were
/// made.
pub fn fit(
    coupon: &Coupon,
    start: &Board,
    rate_is_free: bool,
    readings: &[Reading],
    effort: Effort,
    each: &(dyn Fn(usize) + Sync),
) -> Result<Fit, NoFit> {
    coupon.replay(start, 0).map_err(NoFit::Board)?;
    let arcs = readings.iter().any(|r| coupon.arcs()[r.section]);
    let model = Model {
        coupon,
        start,
        means: keys::with_means(start),
        keys: keys::asked(start, arcs, rate_is_free),
    };
    let mut sigmas: Vec<f64> = readings.iter().map(|r| r.sigma_s).collect();
    let edge_sd_s = EDGE_SD_S.min(quantile(&mut sigmas, 0.5));
    let of_key = |key: &Key| Unknown {
        sd: key.prior_sd(),
        role: if key.is_cost() {
            Role::Cost
        } else {
            Role::Plain
        },
    };
    let mut unknowns: Vec<Unknown> = model.keys.iter().map(of_key).collect();
    unknowns.push(Unknown {
        sd: CLOCK_SD,
        role: Role::Clock,
    });
    unknowns.push(Unknown {
        sd: edge_sd_s,
        role: Role::Edge,
    });
    let problem = Problem {
        forward: &model,
        unknowns,
        readings: readings.to_vec(),
        freedom: FREEDOM,
        trust: TRUST,
    };
    let failed = NoFit::Times {
        misfit: f64::INFINITY,
        odd: 0,
    };
    let posterior = search(&problem, effort, each).ok_or(failed)?;
    let residuals = residuals(&problem, &posterior);
    let mut off: Vec<f64> = (0..readings.len())
        .map(|k| {
            let read_s = residuals[k].fitted_s;
            let luck = posterior.doubt.luck[readings[k].section];
            (readings[k].seconds - read_s).powi(2) / problem.variance(k, luck, read_s)
        })
        .collect();
    let misfit = quantile(&mut off, 0.5);
    let odd = residuals.iter().filter(|r| r.odd).count();
    if misfit > MISFIT_MAX || odd >= ODD_MAX {
        return Err(NoFit::Times { misfit, odd });
    }
    Ok(told(&model, &posterior, residuals, effort.seed))
}

fn residuals(problem: &Problem<Model>, posterior: &Posterior) -> Vec<Residual> {
    let one = |(k, reading): (usize, &Reading)| {
        let at = |point: &super::search::Point| {
            problem.as_read(&point.theta, point.durations_s[reading.section])
        };
        let expected_s = posterior.variances[k].sqrt();
        Residual {
            reading: reading.clone(),
            fitted_s: at(&posterior.kept),
            expected_s,
            odd: (reading.seconds - at(&posterior.free)).abs() > ODD_DEVIATIONS * expected_s,
        }
    };
    problem.readings.iter().enumerate().map(one).collect()
}

fn told(model: &Model, posterior: &Posterior, residuals: Vec<Residual>, seed: u64) -> Fit {
    let point = keys::rounded(&model.means, &model.keys, &posterior.kept.theta);
    let mut board = keys::with(model.start, &model.keys, &point);
    board.fit = Some(fitted(model, posterior, &point, seed));
    let even = keys::with(&model.means, &model.keys, &point);
    let clock: Vec<f64> = posterior
        .samples
        .iter()
        .map(|s| s[model.keys.len()].exp())
        .collect();
    let ideal = model
        .coupon
        .ideal(&even)
        .map(|t| t.sections_s)
        .unwrap_or_default();
    let keeps_up = residuals.iter().all(|r| {
        let moves_s = ideal.get(r.reading.section).copied().unwrap_or(0.0);
        r.odd || r.fitted_s <= moves_s * (1.0 + KEEPS_UP)
    });
    Fit {
        keys: found(model, posterior, &even),
        costs: costs(&model.means, &model.keys, &posterior.samples),
        board,
        residuals,
        clock: middle(clock),
        keeps_up,
        misfit: posterior.free.misfit,
        replays: posterior.replays,
        rounds: posterior.rounds,
    }
}

fn found(model: &Model, posterior: &Posterior, even: &Board) -> Vec<Found> {
    // Of low water its share of the blocks is fitted.
    let blocks = model.keys.iter().position(|k| *k == Key::Blocks);
    let value_ln = |key: Key, k: usize, sample: &[f64]| match (key, blocks) {
        (Key::LowWater, Some(b)) => sample[k] + sample[b],
        _ => sample[k],
    };
    let one = |(k, key): (usize, &Key)| {
        let start = key.get(&model.means).unwrap_or(0.0);
        let mut shares: Vec<f64> = posterior.samples.iter().map(|s| s[k]).collect();
        let [low, high] = [0.025, 0.975].map(|q| quantile(&mut shares, q));
        let mut logs: Vec<f64> = posterior
            .samples
            .iter()
            .map(|s| value_ln(*key, k, s))
            .collect();
        let mut interval = [0.025, 0.975].map(|q| start * quantile(&mut logs, q).exp());
        if key.is_whole() {
            interval = [interval[0].floor(), interval[1].ceil()];
        }
        let sd = key.prior_sd();
        let state = if posterior.learnt[k] {
            State::Learnt
        } else if sd > 1.0 && high < BOUND_DEVIATIONS * sd {
            State::AtMost
        } else if sd > 1.0 && low > -BOUND_DEVIATIONS * sd {
            State::AtLeast
        } else if posterior.moved[k] {
            State::Moved
        } else {
            State::Kept
        };
        Found {
            key: *key,
            start,
            value: key.get(even).unwrap_or(0.0),
            interval,
            state,
        }
    };
    model.keys.iter().enumerate().map(one).collect()
}

/// Draws of the posterior, as logarithms of factors on the fitted board.
fn fitted(model: &Model, posterior: &Posterior, point: &[f64], seed: u64) -> Fitted {
    let chosen = Dice::new(seed ^ 0x66_6974).choice(posterior.samples.len(), DRAWS);
    let row = |k: usize| {
        let sample = keys::rounded(&model.means, &model.keys, &posterior.samples[k]);
        let pairs = sample.iter().zip(point);
        // To the thousandth: that is how the board file keeps them.
        pairs
            .map(|(s, p)| ((s - p) * 1000.0).round() / 1000.0)
            .collect()
    };
    Fitted {
        keys: model.keys.iter().map(|k| k.name().to_string()).collect(),
        draws: chosen.into_iter().map(row).collect(),
    }
}

/// `count` boards that a fitted board may in truth be: draws of its posterior, taken in turn. A board that was
/// not fitted is returned `count` times.
pub fn draws(board: &Board, count: usize) -> Vec<Board> {
    (0..count).map(|k| drawn(board, k)).collect()
}

/// The board as draw number `k` of its posterior has it.
fn drawn(board: &Board, k: usize) -> Board {
    let mut plain = board.clone();
    let Some(fitted) = plain.fit.take().filter(|f| !f.draws.is_empty()) else {
        return plain;
    };
    let row = &fitted.draws[k % fitted.draws.len()];
    let known = fitted.keys.iter().zip(row);
    let pairs = known.filter_map(|(name, ln)| Some((Key::named(name)?, *ln)));
    let (keys, theta): (Vec<Key>, Vec<f64>) = pairs.unzip();
    keys::with(&plain, &keys, &theta)
}

/// The board of run number `run`: the first run, 0, has the fitted board itself, each further one a draw of its
/// posterior, so that the runs hold what the fit leaves open and the luck together. Limits of motion stay as they were
/// fitted, so that the job's blocks stay. A board that was not fitted is the same in all runs.
pub fn of_run(board: &Board, run: usize) -> Cow<'_, Board> {
    if run == 0 || !board.is_fitted() {
        return Cow::Borrowed(board);
    }
    Cow::Owned(Board {
        motion: board.motion,
        ..drawn(board, run - 1)
    })
}

/// Seconds that a job loses on a fitted board: median and 95 % interval over its draws, the board's luck
/// included. `None` where the job cannot be replayed on one of them.
pub fn lost_s(
    steps: &[Step],
    board: &Board,
    threads: usize,
    each: &(dyn Fn(usize) + Sync),
) -> Option<[f64; 3]> {
    let boards = draws(board, DRAWS);
    let one = |k: usize| forward::lost_s(steps, &boards[k], 100 + k as u64).ok();
    let all: Option<Vec<f64>> = parallel::map(DRAWS, threads, each, &one)
        .into_iter()
        .collect();
    // The next draw lies between the least and the greatest of n with a chance of (n - 1)/(n + 1): 95 % of 40.
    all.map(|mut lost| [0.5, 0.0, 1.0].map(|share| quantile(&mut lost, share)))
}
