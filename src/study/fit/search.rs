//! The search: the posterior by planes through clouds of replays, sampled by walkers.
//!
//! Durations jump with saves and wander by small causes that grow, so that finite differences fail; planes
//! through clouds do not mind. The idea of planes over the posterior is that of posterior linearisation
//! (A. F. Garcia-Fernandez et al., IEEE Transactions on Signal Processing 63, 2015, p. 5561).

use std::cell::RefCell;
use std::collections::VecDeque;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::dice::Dice;
use super::planes::{Planes, effective, spread};
use super::problem::{Doubt, Forward, Problem, Role, Room};
use super::quantiles::quantile;
use super::walkers::walk;
use crate::study::parallel;

/// How a search is run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effort {
    /// Walkers; an even number.
    pub walkers: usize,
    /// Moves of each walker in a round.
    pub moves: usize,
    /// Fewest and most rounds.
    pub rounds: [usize; 2],
    /// Replays that a point estimate takes.
    pub point_replays: usize,
    /// Seed of all draws.
    pub seed: u64,
    /// Threads that replay.
    pub threads: usize,
}

impl Default for Effort {
    fn default() -> Self {
        Effort {
            walkers: 240,
            moves: 400,
            rounds: [9, 20],
            point_replays: 60,
            seed: 0,
            threads: 1,
        }
    }
}

/// A point that was replayed.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Minus the logarithm of the posterior, but for a constant.
    pub misfit: f64,
    /// The unknowns.
    pub theta: Vec<f64>,
    /// Durations of all sections as the model gives them, s.
    pub durations_s: Vec<f64>,
}

/// What a search leaves.
#[derive(Clone, Debug)]
pub struct Posterior {
    /// Samples of the posterior.
    pub samples: Vec<Vec<f64>>,
    /// The best point of all.
    pub free: Point,
    /// The best point at which what was not learnt stays at 0.
    pub kept: Point,
    /// By unknown: whether its posterior is much narrower than its prior.
    pub learnt: Vec<bool>,
    /// By unknown: whether it may differ from 0 at `kept`.
    pub moved: Vec<bool>,
    /// By reading: its variance on the last planes, s².
    pub variances: Vec<f64>,
    /// Variances by luck, s².
    pub doubt: Doubt,
    /// Replays made.
    pub replays: usize,
    /// Rounds made.
    pub rounds: usize,
}

/// An unknown is learnt where its posterior deviation fell below this share of its prior's.
const LEARNT: f64 = 0.6;
/// The posterior is sampled by the walkers of so many of the last rounds: each has planes of its own, so that what
/// the planes are uncertain by is in it.
const LAST_ROUNDS: usize = 3;
/// An unlearnt unknown is released where keeping all of them costs more than this in `misfit`.
const RELEASE: f64 = 4.0;

struct Search<'a, F> {
    problem: &'a Problem<'a, F>,
    effort: Effort,
    dice: Dice,
    doubt: Doubt,
    /// All replays: where, as rounded, durations, misfit.
    tried: Vec<Point>,
    rounded: Vec<Vec<f64>>,
    replays: AtomicUsize,
    each: &'a (dyn Fn(usize) + Sync),
}

/// Finds the posterior. `each` hears how many replays were made. `None`: the model has no answer where the
/// search begins.
pub fn search<F: Forward>(
    problem: &Problem<F>,
    effort: Effort,
    each: &(dyn Fn(usize) + Sync),
) -> Option<Posterior> {
    let start = vec![0.0; problem.unknowns.len()];
    let sections = problem.forward.durations(&start)?.len();
    let mut search = Search {
        problem,
        effort,
        dice: Dice::new(effort.seed),
        doubt: Doubt {
            luck: vec![0.0; sections],
        },
        tried: Vec::new(),
        rounded: Vec::new(),
        replays: AtomicUsize::new(1),
        each,
    };
    search.run()
}

impl<F: Forward> Search<'_, F> {
    fn run(&mut self) -> Option<Posterior> {
        let unknowns = &self.problem.unknowns;
        let count = unknowns.len();
        let cloud = 3 * count;
        self.measure_luck(&vec![0.0; count], 5);
        let mut walkers: Vec<Vec<f64>> = (0..self.effort.walkers)
            .map(|_| {
                let normals = self.dice.normals(count);
                let pairs = normals.iter().zip(unknowns);
                pairs.map(|(n, u)| 0.7 * n * u.sd).collect()
            })
            .collect();
        let mut before: VecDeque<Vec<Vec<f64>>> = VecDeque::new();
        let mut course: Vec<(f64, f64)> = Vec::new();
        let mut last = None;
        for round in 0..self.effort.rounds[1] {
            let points = self.cloud(&walkers, cloud, round);
            let fresh = self.try_all(points);
            if round == 2 || round == 5 {
                let best = self.best()?.theta.clone();
                self.measure_luck(&best, 6);
                self.weigh_again();
            }
            let planes = self.planes(fresh);
            let variances = self.problem.plane_variances(&planes, &self.doubt);
            let moves = self.effort.moves;
            self.walk(&mut walkers, &planes, &variances, moves, 1.0, count);
            before.push_back(walkers.clone());
            if before.len() > LAST_ROUNDS {
                before.pop_front();
            }
            course.push((self.best()?.misfit, self.bend(&planes)));
            last = Some((planes, variances));
            if round + 1 >= self.effort.rounds[0] && is_settled(&course) {
                break;
            }
        }
        let (planes, variances) = last?;
        let rounds = course.len();
        let samples: Vec<Vec<f64>> = before.into_iter().flatten().collect();
        self.conclude(samples, planes, variances, rounds)
    }

    /// Points to replay: walkers, and from round 1 on half of them close to the best so far.
    fn cloud(&mut self, walkers: &[Vec<f64>], size: usize, round: usize) -> Vec<Vec<f64>> {
        let chosen = self.dice.choice(walkers.len(), size);
        let mut points: Vec<Vec<f64>> = chosen.iter().map(|k| walkers[*k].clone()).collect();
        match self.best().cloned() {
            Some(best) if round > 0 => {
                let shape = spread(walkers, 1e-9);
                for point in points.iter_mut().take(size / 2) {
                    *point = self.near(&best.theta, &shape, 0.4);
                }
            }
            _ => points[0].fill(0.0),
        }
        points
    }

    fn near(&mut self, middle: &[f64], shape: &nalgebra::DMatrix<f64>, width: f64) -> Vec<f64> {
        let normals = nalgebra::DVector::from_vec(self.dice.normals(middle.len()));
        let step = shape * normals;
        middle
            .iter()
            .zip(step.iter())
            .map(|(m, s)| m + width * s)
            .collect()
    }

    /// Replays points without keeping them.
    fn replay(&self, points: Vec<Vec<f64>>) -> Vec<Point> {
        let one = |k: usize| {
            let durations_s = self.problem.forward.durations(&points[k])?;
            let misfit = self.problem.misfit(&points[k], &durations_s, &self.doubt);
            (self.each)(self.replays.fetch_add(1, Ordering::Relaxed) + 1);
            Some(Point {
                misfit,
                theta: points[k].clone(),
                durations_s,
            })
        };
        let done = parallel::map(points.len(), self.effort.threads, &|_| {}, &one);
        done.into_iter().flatten().collect()
    }

    /// Replays points and keeps them; how many there were.
    fn try_all(&mut self, points: Vec<Vec<f64>>) -> usize {
        let done = self.replay(points);
        let fresh = done.len();
        for point in done {
            self.rounded
                .push(self.problem.forward.rounded(&point.theta));
            self.tried.push(point);
        }
        fresh
    }

    fn best(&self) -> Option<&Point> {
        let all = self.tried.iter();
        all.min_by(|a, b| a.misfit.total_cmp(&b.misfit))
    }

    fn measure_luck(&mut self, theta: &[f64], replays: usize) {
        let forward = self.problem.forward;
        if let Some(luck) = forward.luck(theta, replays, self.effort.threads) {
            self.doubt.luck = luck;
            self.replays.fetch_add(replays, Ordering::Relaxed);
        }
    }

    fn weigh_again(&mut self) {
        for point in &mut self.tried {
            point.misfit = self
                .problem
                .misfit(&point.theta, &point.durations_s, &self.doubt);
        }
    }

    /// Planes through all replays; those near the answer weigh most, the last `fresh` never little.
    fn planes(&self, fresh: usize) -> Planes {
        let least = self.best().map_or(0.0, |p| p.misfit);
        let weights = |width: f64| -> Vec<f64> {
            let all = self.tried.iter().enumerate();
            all.map(|(k, p)| {
                let weight = (-((p.misfit - least) / width).min(700.0)).exp();
                let is_fresh = k + fresh >= self.tried.len();
                if is_fresh { weight.max(0.3) } else { weight }
            })
            .collect()
        };
        let wanted = 3.5 * self.problem.unknowns.len() as f64;
        let (mut low, mut high): (f64, f64) = (0.5, 1e4);
        for _ in 0..40 {
            let middle = (low * high).sqrt();
            if effective(&weights(middle)) < wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        let inputs: Vec<Vec<f64>> = self
            .rounded
            .iter()
            .map(|theta| self.problem.features(theta).collect())
            .collect();
        let outputs: Vec<Vec<f64>> = self.tried.iter().map(|p| p.durations_s.clone()).collect();
        Planes::new(&inputs, &outputs, &weights((low * high).sqrt()))
    }

    fn walk(
        &mut self,
        points: &mut [Vec<f64>],
        planes: &Planes,
        variances: &[f64],
        moves: usize,
        power: f64,
        dimensions: usize,
    ) {
        let room = RefCell::new(Room::default());
        let log = |theta: &[f64]| {
            let mut room = room.borrow_mut();
            self.problem
                .log_posterior(theta, planes, variances, &mut room)
        };
        walk(points, &log, moves, power, dimensions, &mut self.dice);
    }

    /// How much the planes leave, against what readings and luck leave: the median over readings.
    fn bend(&self, planes: &Planes) -> f64 {
        let ratios =
            self.problem.readings.iter().map(|r| {
                planes.residual[r.section] / (r.sigma_s.powi(2) + self.doubt.luck[r.section])
            });
        quantile(&mut ratios.collect::<Vec<f64>>(), 0.5)
    }

    fn conclude(
        &mut self,
        samples: Vec<Vec<f64>>,
        planes: Planes,
        variances: Vec<f64>,
        rounds: usize,
    ) -> Option<Posterior> {
        let unknowns = &self.problem.unknowns;
        let column = |k: usize| samples.iter().map(move |s| s[k]);
        let learnt: Vec<bool> = (0..unknowns.len())
            .map(|k| deviation(column(k).collect()) < LEARNT * unknowns[k].sd)
            .collect();
        let pulls: Vec<f64> = (0..unknowns.len())
            .map(|k| quantile(&mut column(k).collect::<Vec<f64>>(), 0.5).abs() / unknowns[k].sd)
            .collect();
        let point =
            |search: &mut Self, may: &[bool]| search.point(&samples, &planes, &variances, may);
        let everything = vec![true; unknowns.len()];
        let free = point(self, &everything)?;
        let own = |k: usize| matches!(unknowns[k].role, Role::Clock | Role::Edge);
        let mut moved: Vec<bool> = (0..unknowns.len()).map(|k| learnt[k] || own(k)).collect();
        let mut kept = point(self, &moved)?;
        while kept.misfit > free.misfit + RELEASE && moved.contains(&false) {
            let held = (0..unknowns.len()).filter(|k| !moved[*k]);
            let most = held.max_by(|a, b| pulls[*a].total_cmp(&pulls[*b]))?;
            moved[most] = true;
            let left = moved.iter().filter(|m| !**m).count();
            if left > 4 {
                kept = point(self, &moved)?;
            } else {
                kept = free.clone();
                moved.fill(true);
            }
        }
        Some(Posterior {
            samples,
            free,
            kept,
            learnt,
            moved,
            variances,
            doubt: self.doubt.clone(),
            replays: self.replays.load(Ordering::Relaxed),
            rounds,
        })
    }

    /// The best point when only some unknowns may leave 0: walkers draw together on the planes, the likeliest
    /// are replayed, then points around the best of them.
    fn point(
        &mut self,
        samples: &[Vec<f64>],
        planes: &Planes,
        variances: &[f64],
        may: &[bool],
    ) -> Option<Point> {
        let only = |point: &mut Vec<f64>| {
            let pairs = point.iter_mut().zip(may);
            pairs.filter(|(_, may)| !**may).for_each(|(v, _)| *v = 0.0);
        };
        let walkers = self.effort.walkers.min(samples.len()) & !1;
        let chosen = self.dice.choice(samples.len(), walkers);
        let mut points: Vec<Vec<f64>> = chosen.iter().map(|k| samples[*k].clone()).collect();
        points.iter_mut().for_each(only);
        let dimensions = may.iter().filter(|m| **m).count();
        let (all, each) = (self.effort.point_replays, self.effort.point_replays / 3);
        let mut found: Vec<Point> = Vec::new();
        for power in [2.0, 5.0, 10.0] {
            self.walk(&mut points, planes, variances, 150, power, dimensions);
            let mut room = Room::default();
            let mut ranked: Vec<(f64, usize)> = points
                .iter()
                .enumerate()
                .map(|(k, p)| {
                    (
                        self.problem.log_posterior(p, planes, variances, &mut room),
                        k,
                    )
                })
                .collect();
            ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
            let likely = ranked.iter().step_by(4).take(each);
            found.extend(self.replay(likely.map(|(_, k)| points[*k].clone()).collect()));
        }
        if !may.contains(&false) {
            found.extend(self.best().cloned());
        }
        let shape = spread(&points, 1e-8);
        for width in [1.0, 0.5] {
            let best = least(&found)?.theta.clone();
            let around: Vec<Vec<f64>> = (0..all / 4)
                .map(|_| {
                    let mut point = self.near(&best, &shape, width);
                    only(&mut point);
                    point
                })
                .collect();
            found.extend(self.replay(around));
        }
        least(&found).cloned()
    }
}

fn least(points: &[Point]) -> Option<&Point> {
    points.iter().min_by(|a, b| a.misfit.total_cmp(&b.misfit))
}

/// Whether neither the best point nor the planes get better. `course`: misfit and bend of each round.
fn is_settled(course: &[(f64, f64)]) -> bool {
    let Some(earlier) = course.len().checked_sub(4).filter(|n| *n > 0) else {
        return true;
    };
    let (then, now) = course.split_at(earlier);
    let fell = then[earlier - 1].0 - now[3].0;
    let least = |part: &[(f64, f64)]| part.iter().map(|c| c.1).fold(f64::INFINITY, f64::min);
    fell < 1.0 && (now[3].1 < 0.4 || least(then) < 1.15 * least(now))
}

fn deviation(values: Vec<f64>) -> f64 {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / count).sqrt()
}
