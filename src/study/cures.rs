//! What would cure it: single changes, tried and ranked, and the cheapest set of them.

use crate::board::types::Board;
use crate::job::reader::Step;
use crate::replay::duties::Restless;
use crate::replay::source::Planned;
use crate::replay::store::StoredJob;
use crate::surface::faces::{self, Faces};
use crate::surface::skin::Wanted;

use super::parallel;
use super::remedy::{self, Remedy};
use super::reshape::{fastest_mm_s, reshape};
use super::sample::{Sample, Sight, has_draws, sample};

/// What some runs came to, on average.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Average {
    /// Visible bumps.
    pub visible: f64,
    /// Height of the highest bump that can be seen, in any run, mm.
    pub highest_mm: f64,
    /// Stalls.
    pub stalls: f64,
    /// Lost time, s.
    pub lost_s: f64,
    /// The replay's duration, s.
    pub replay_s: f64,
}

impl Average {
    fn of(samples: &[Sample]) -> Self {
        let n = samples.len().max(1) as f64;
        let mean = |of: &dyn Fn(&Sample) -> f64| samples.iter().map(of).sum::<f64>() / n;
        Average {
            visible: mean(&|s| s.visible as f64),
            highest_mm: samples.iter().map(|s| s.highest_mm).fold(0.0, f64::max),
            stalls: mean(&|s| s.stalls() as f64),
            lost_s: mean(&|s| s.lost_s),
            replay_s: mean(&|s| s.replay_s),
        }
    }
}

/// A change, or a set of them, tried.
#[derive(Clone, Debug)]
pub struct Tried {
    /// The changes.
    pub remedies: Vec<Remedy>,
    /// What the runs came to.
    pub after: Average,
    /// How far the path moved at most, mm.
    pub shift_mm: f64,
}

impl Tried {
    /// How hard it is: the efforts of its changes, added up.
    pub fn effort(&self) -> u32 {
        self.remedies.iter().map(|r| r.effort as u32).sum()
    }

    /// Whether the print takes so much longer that it is hardly a cure.
    pub fn is_slow(&self, before: &Average) -> bool {
        self.after.replay_s > (1.0 + LONGER_SHARE) * before.replay_s
    }

    /// What remedies are ranked by: first those that hardly prolong the print; of these, those that leave fewer
    /// visible bumps; then what is still lost, and what the print takes longer, s.
    fn rank(&self, before: &Average) -> (bool, f64, f64) {
        let longer_s = (self.after.replay_s - before.replay_s).max(0.0);
        (
            self.is_slow(before),
            self.after.visible,
            self.after.lost_s + longer_s,
        )
    }
}

/// All that was tried.
#[derive(Clone, Debug)]
pub struct Cures {
    /// The board and the job as they are.
    pub before: Average,
    /// Single changes, the best first.
    pub single: Vec<Tried>,
    /// The cheapest set that leaves least, where no single change does.
    pub set: Option<Tried>,
    /// Runs made of each, with other seeds.
    pub runs: usize,
}

/// Longer prints than this share of today's are no cure.
const LONGER_SHARE: f64 = 0.1;
/// Steps of bisection in search of a speed.
const SEARCH_STEPS: usize = 7;
/// Runs of each change, where the board has draws.
const RUNS_MAX: usize = 5;
/// Blocks that the runs of one change may have in all: some tenths of a second.
const RUN_BLOCKS: usize = 1_000_000;

/// How remedies are tried.
#[derive(Clone, Copy, Debug)]
pub struct Trial<'a> {
    /// The job.
    pub steps: &'a [Step],
    /// The board.
    pub board: &'a Board,
    /// The first seed.
    pub seed: u64,
    /// Height from which a bump counts as visible, mm.
    pub visible_mm: f64,
    /// Threads that may be used.
    pub threads: usize,
}

/// A job in memory, and what its blocks face.
struct Planted {
    job: StoredJob,
    faces: Faces,
}

/// Tries all changes on a job.
pub fn cures(trial: &Trial, each: &(dyn Fn(usize) + Sync)) -> Result<Cures, Restless> {
    let planted = trial.planted(trial.steps, trial.board);
    let runs = match has_draws(trial.board) {
        true => (RUN_BLOCKS / planted.job.block_count().max(1)).clamp(1, RUNS_MAX),
        false => 1,
    };
    let bench = Bench {
        trial,
        planted: &planted,
        runs,
    };
    let before = bench.run(&planted, trial.board)?;
    let mut remedies = remedy::list(trial.board);
    if before.stalls > 0.0 {
        remedies.extend(bench.slower(&before)?);
    }
    let tried = parallel::map(remedies.len(), trial.threads, each, &|k| {
        bench.attempt(&[&remedies[k]])
    });
    let mut single = tried
        .into_iter()
        .collect::<Result<Vec<Tried>, Restless>>()?;
    single.sort_by(|a, b| {
        let (a, b) = (a.rank(&before), b.rank(&before));
        a.0.cmp(&b.0)
            .then(a.1.total_cmp(&b.1))
            .then(a.2.total_cmp(&b.2))
    });
    let set = bench.best_set(&before, &single)?;
    Ok(Cures {
        before,
        single,
        set,
        runs,
    })
}

impl Trial<'_> {
    fn planted(&self, steps: &[Step], board: &Board) -> Planted {
        let wanted = Wanted {
            walls: false,
            whole: false,
            aside: false,
        };
        let mut planned = Planned::new(steps.iter(), board);
        match faces::store(&mut planned, &board.nozzle, &wanted) {
            Ok((job, exposure)) => Planted {
                job,
                faces: exposure.faces,
            },
            Err(error) => unreachable!("steps in memory were read before: {error}"),
        }
    }
}

/// The job as it is, to be tried under changes.
struct Bench<'a> {
    trial: &'a Trial<'a>,
    planted: &'a Planted,
    runs: usize,
}

impl Bench<'_> {
    /// What the runs of a job on a board come to, on average.
    fn run(&self, planted: &Planted, board: &Board) -> Result<Average, Restless> {
        let sight = Sight {
            facing: &|block| planted.faces.of(block),
            visible_mm: self.trial.visible_mm,
        };
        let one = |k: usize| {
            let seed = self.trial.seed.wrapping_add(k as u64);
            sample(&planted.job, board, seed, Some(sight))
        };
        let samples: Vec<Sample> = (0..self.runs).map(one).collect::<Result<_, _>>()?;
        Ok(Average::of(&samples))
    }

    /// Makes the changes and replays.
    fn attempt(&self, remedies: &[&Remedy]) -> Result<Tried, Restless> {
        let mut board = self.trial.board.clone();
        let mut how = None;
        for remedy in remedies {
            remedy.change.apply(&mut board);
            how = how.or(remedy.change.reshape());
        }
        let (after, shift_mm) = match how {
            Some(how) => {
                let (steps, shift_mm) = reshape(self.trial.steps, how);
                let planted = self.trial.planted(&steps, &board);
                drop(steps);
                (self.run(&planted, &board)?, shift_mm)
            }
            // No change to a board touches its limits, so that the job's blocks stay.
            None => (self.run(self.planted, &board)?, 0.0),
        };
        Ok(Tried {
            remedies: remedies.iter().map(|r| (*r).clone()).collect(),
            after,
            shift_mm,
        })
    }

    /// The highest feed of printing moves at which next to no time is lost, and no bump is seen.
    fn slower(&self, before: &Average) -> Result<Option<Remedy>, Restless> {
        let fastest_mm_s = fastest_mm_s(self.trial.steps);
        let starves = |most_mm_s: f64| -> Result<bool, Restless> {
            let after = self.attempt(&[&remedy::slower(most_mm_s)])?.after;
            Ok(after.lost_s > STARVED_SHARE * before.lost_s || after.visible > 0.0)
        };
        let least_mm_s = 0.1 * fastest_mm_s;
        let (mut low, mut high) = (least_mm_s, fastest_mm_s);
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
        Ok(Some(remedy::slower(low.floor().max(least_mm_s))))
    }

    /// The cheapest pair, or three, that leaves fewer visible bumps, or fewer stalls, than any single change that
    /// hardly prolongs the print.
    fn best_set(&self, before: &Average, single: &[Tried]) -> Result<Option<Tried>, Restless> {
        let quick: Vec<&Tried> = single.iter().filter(|t| !t.is_slow(before)).collect();
        let key = |a: &Average| (a.visible, a.stalls);
        let less = |a: (f64, f64), b: (f64, f64)| a.0 < b.0 || a.0 == b.0 && a.1 < b.1;
        let least = quick.iter().map(|t| key(&t.after));
        let least = least.fold(
            key(before),
            |least, k| if less(k, least) { k } else { least },
        );
        if least == (0.0, 0.0) {
            return Ok(None);
        }
        let pool = quick.iter().take(SET_FROM).map(|t| &t.remedies[0]);
        let sets = sets(&pool.collect::<Vec<_>>());
        let tried = parallel::map(sets.len(), self.trial.threads, &|_| {}, &|k| {
            self.attempt(&sets[k])
        });
        let mut best: Option<Tried> = None;
        for tried in tried {
            let tried = tried?;
            let better = match &best {
                None => less(key(&tried.after), least),
                Some(best) => {
                    let (own, other) = (key(&tried.after), key(&best.after));
                    less(own, other) || own == other && tried.effort() < best.effort()
                }
            };
            if better {
                best = Some(tried);
            }
        }
        Ok(best)
    }
}

/// Lost time that is left counts as starving no more, as a share of today's.
const STARVED_SHARE: f64 = 0.02;
/// Single changes out of which sets are made.
const SET_FROM: usize = 8;

/// Pairs and threes of changes that don't exclude each other.
fn sets<'a>(pool: &[&'a Remedy]) -> Vec<Vec<&'a Remedy>> {
    let mut sets = Vec::new();
    for (i, a) in pool.iter().enumerate() {
        for (j, b) in pool.iter().enumerate().skip(i + 1) {
            if a.change.excludes(&b.change) {
                continue;
            }
            sets.push(vec![*a, *b]);
            for c in pool.iter().skip(j + 1) {
                if !c.change.excludes(&a.change) && !c.change.excludes(&b.change) {
                    sets.push(vec![*a, *b, *c]);
                }
            }
        }
    }
    sets
}
