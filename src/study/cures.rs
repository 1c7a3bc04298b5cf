//! What would cure it: single changes, tried and ranked, and the cheapest set of them.

use std::io::{self, Read};

use crate::board::types::Board;
use crate::job::reader::{JobError, JobReader};
use crate::job::state::Act;
use crate::replay::cause::Setup;
use crate::replay::source::{Planned, Steps};
use crate::replay::store::StoredJob;
use crate::replay::stream::ReplayError;
use crate::surface::faces::{self, Faces};
use crate::surface::skin::{Surface, Wanted};

use super::fit::fitting::of_run;
use super::parallel;
use super::remedy::{self, Remedy};
use super::reshape::{Reshape, Reshaped};
use super::sample::{Sample, Sight, has_draws, sample, sample_of};

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
    /// What was left out because it would take too long.
    pub skipped: Skipped,
    /// Where limits of this program have taken effect: the line, what was done about it.
    pub limits: Vec<(u64, String)>,
}

/// What was not tried.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Skipped {
    /// Single changes that were not tried because a replay takes so long.
    pub late: usize,
    /// Single changes under which the board makes so little progress that their replay was given up.
    pub no_progress: usize,
    /// Whether a lower speed was not looked for.
    pub slower: bool,
    /// Whether sets were not tried that would have been.
    pub sets: bool,
}

/// Longer prints than this share of today's are no cure.
const LONGER_SHARE: f64 = 0.1;
/// Rounds of the search for a speed; each leaves a third of the range.
const SEARCH_ROUNDS: usize = 4;
/// Runs of each change, where the board has draws.
const RUNS_MAX: usize = 5;
/// Lines, blocks, saves and runs of chores that all replays may have together: half a minute of work.
const WORK: usize = 150_000_000;
/// What each line of the job adds to it.
const WORK_A_LINE: usize = 160;
/// What the search of a lower speed may take, in replays of the job as it is: it goes down to a tenth of the
/// speed, where as many more chores run.
const SLOWER_REPLAYS: usize = 50;
/// Blocks that the runs of one change may have in all: some tenths of a second.
const RUN_BLOCKS: usize = 1_000_000;

/// Opens the job from its beginning, each time it is called.
pub type Open<'a> = &'a (dyn Fn() -> io::Result<Box<dyn Read + Send>> + Sync);

/// How remedies are tried.
#[derive(Clone, Copy)]
pub struct Trial<'a> {
    /// The job; it is read once for each change to it, so that only one or two of them are in memory at a time.
    pub open: Open<'a>,
    /// The board.
    pub board: &'a Board,
    /// The first seed.
    pub seed: u64,
    /// Height from which a bump counts as visible, mm.
    pub visible_mm: f64,
    /// Threads that may be used.
    pub threads: usize,
    /// How much of the usual work all replays together may take; 1: some half a minute.
    pub patience: f64,
}

/// A job in memory, and what its blocks face.
struct Planted {
    job: StoredJob,
    faces: Faces,
    /// What a limit has cut of its surface.
    cut: Option<String>,
}

/// Tries all changes on a job.
///
/// # Errors
/// Those of reading the job, and of boards on which it gets nowhere.
pub fn cures(trial: &Trial, each: &(dyn Fn(usize) + Sync)) -> Result<Cures, ReplayError> {
    let facts = trial.facts()?;
    let mut reader = trial.steps()?;
    let planted = trial.planted(&mut reader, trial.board)?;
    let mut limits = reader.notices().cuts();
    limits.extend(planted.cut.clone().map(|what| (0, what)));
    let blocks = planted.job.block_count().max(1);
    let runs = match has_draws(trial.board) {
        true => (RUN_BLOCKS / blocks).clamp(1, RUNS_MAX),
        false => 1,
    };
    // With the bumps: on long moves to look for them takes longer than the replay.
    let first = sample(
        &planted.job,
        trial.board,
        trial.seed,
        Some(trial.sight(&|block| planted.faces.of(block))),
    );
    let cost = first.map_err(ReplayError::Board)?.cost;
    let work = WORK + WORK_A_LINE * planted.job.line_count();
    let work = (trial.patience * work as f64) as usize;
    let replays = work / cost.work.max(1);
    let runs = runs.min(replays / AFFORDABLE_CHANGES).max(1);
    let trial = &Trial {
        threads: cost.threads(trial.threads),
        ..*trial
    };
    let bench = Bench {
        trial,
        planted: &planted,
        runs,
        chore_runs_max: cost.chore_runs_max(),
    };
    let before = bench.run(&planted.job, &planted.faces, trial.board)?;
    let mut skipped = Skipped::default();
    let mut remedies = remedy::list(trial.board);
    if facts.has_arcs {
        remedies.retain(|r| !matches!(r.change.reshape(), Some(Reshape::Arcs { .. })));
    }
    let mut left = Left(replays / runs);
    skipped.late = left.shorten(&mut remedies);
    if before.stalls > 0.0 {
        skipped.slower = !left.take(SLOWER_REPLAYS);
        if !skipped.slower {
            remedies.extend(bench.slower(&before, facts.fastest_mm_s)?);
        }
    }
    let tried = parallel::try_map(remedies.len(), trial.threads, each, &|k| {
        headway(bench.attempt(&[&remedies[k]]))
    })?;
    let mut single: Vec<Tried> = tried.into_iter().flatten().collect();
    skipped.no_progress = remedies.len() - single.len();
    single.sort_by(|a, b| {
        let (a, b) = (a.rank(&before), b.rank(&before));
        a.0.cmp(&b.0)
            .then(a.1.total_cmp(&b.1))
            .then(a.2.total_cmp(&b.2))
    });
    let sets_max = (SET_BLOCKS / blocks).max(SETS_MIN).min(left.0);
    skipped.sets = sets_max < SETS_MIN;
    let set = bench.best_set(&before, &single, sets_max)?;
    Ok(Cures {
        before,
        single,
        set,
        runs,
        skipped,
        limits,
    })
}

/// Changes that may still be tried.
struct Left(usize);

impl Left {
    /// Takes some off; false, and nothing taken, where fewer are left.
    fn take(&mut self, count: usize) -> bool {
        let enough = count <= self.0;
        if enough {
            self.0 -= count;
        }
        enough
    }

    /// Takes off what these changes need. Where not all can be tried, only the easiest stay; returns how many do
    /// not.
    fn shorten(&mut self, remedies: &mut Vec<Remedy>) -> usize {
        let late = remedies.len().saturating_sub(self.0.max(CHANGES_MIN));
        if late > 0 {
            remedies.sort_by_key(|r| r.effort);
            remedies.truncate(remedies.len() - late);
        }
        self.0 = self.0.saturating_sub(remedies.len());
        late
    }
}

/// A change tried; `None` where the board makes no headway under it.
fn headway(tried: Result<Tried, ReplayError>) -> Result<Option<Tried>, ReplayError> {
    match tried {
        Err(ReplayError::Board(_)) => Ok(None),
        other => other.map(Some),
    }
}

/// What changes to a job go by.
struct Facts {
    /// Whether it has arcs.
    has_arcs: bool,
    /// The highest feed of a printing move, mm/s.
    fastest_mm_s: f64,
}

impl Trial<'_> {
    /// Which bumps count, among blocks that face this.
    fn sight<'s>(&self, facing: &'s (dyn Fn(u64) -> Option<Surface> + Sync)) -> Sight<'s> {
        Sight {
            facing,
            visible_mm: self.visible_mm,
        }
    }

    fn steps(&self) -> Result<JobReader<Box<dyn Read + Send>>, ReplayError> {
        let bytes = (self.open)().map_err(|e| ReplayError::Job(JobError::Io(e)))?;
        Ok(JobReader::new(bytes))
    }

    fn facts(&self) -> Result<Facts, ReplayError> {
        let mut steps = self.steps()?;
        let mut facts = Facts {
            has_arcs: false,
            fastest_mm_s: 0.0,
        };
        while let Some(step) = steps.next_step().map_err(ReplayError::Job)? {
            if let Act::Move(m) = &step.act {
                facts.has_arcs |= m.circle.is_some();
                if m.e_mm > 0.0 {
                    facts.fastest_mm_s = facts.fastest_mm_s.max(m.feed_mm_s);
                }
            }
        }
        Ok(facts)
    }

    fn planted(&self, steps: &mut impl Steps, board: &Board) -> Result<Planted, ReplayError> {
        let mut planned = Planned::new(steps, board);
        let stored = faces::store(&mut planned, &board.nozzle, &Wanted::default());
        let (job, exposure) = stored.map_err(ReplayError::Job)?;
        Ok(Planted {
            job,
            cut: exposure.cut(),
            faces: exposure.faces,
        })
    }
}

/// The job as it is, to be tried under changes.
struct Bench<'a> {
    trial: &'a Trial<'a>,
    planted: &'a Planted,
    runs: usize,
    /// Runs of chores after which a replay is given up.
    chore_runs_max: u64,
}

impl Bench<'_> {
    /// What the runs of a job on a board come to, on average.
    fn run(&self, job: &StoredJob, faces: &Faces, board: &Board) -> Result<Average, ReplayError> {
        let facing = |block| faces.of(block);
        let sight = self.trial.sight(&facing);
        let one = |k: usize| {
            let seed = self.trial.seed.wrapping_add(k as u64);
            let setup = Setup {
                chore_runs_max: self.chore_runs_max,
                ..Setup::whole(&of_run(board, k))
            };
            sample_of(job, &setup, seed, Some(sight)).map_err(ReplayError::Board)
        };
        let samples: Vec<Sample> = (0..self.runs).map(one).collect::<Result<_, _>>()?;
        Ok(Average::of(&samples))
    }

    /// Makes the changes and replays.
    fn attempt(&self, remedies: &[&Remedy]) -> Result<Tried, ReplayError> {
        let mut board = self.trial.board.clone();
        let mut how = None;
        for remedy in remedies {
            remedy.change.apply(&mut board);
            how = how.or(remedy.change.reshape());
        }
        let (after, shift_mm) = match how {
            // No change to a board touches its limits, so that the job's blocks stay.
            None => (
                self.run(&self.planted.job, &self.planted.faces, &board)?,
                0.0,
            ),
            Some(how) => self.reshaped(how, &board)?,
        };
        Ok(Tried {
            remedies: remedies.iter().map(|r| (*r).clone()).collect(),
            after,
            shift_mm,
        })
    }

    /// The job reshaped, on this board; also how far its path moved at most, mm.
    fn reshaped(&self, how: Reshape, board: &Board) -> Result<(Average, f64), ReplayError> {
        let mut steps = Reshaped::new(self.trial.steps()?, how);
        let after = match how {
            // The same moves in the same order face the same.
            Reshape::Slow(_) | Reshape::Short => {
                let job = Planned::new(&mut steps, board).store();
                self.run(&job.map_err(ReplayError::Job)?, &self.planted.faces, board)?
            }
            Reshape::Merge(_) | Reshape::Arcs { .. } => {
                let planted = self.trial.planted(&mut steps, board)?;
                self.run(&planted.job, &planted.faces, board)?
            }
        };
        Ok((after, steps.shift_mm))
    }

    /// The highest feed of printing moves at which next to no time is lost, and no bump is seen.
    fn slower(&self, before: &Average, fastest_mm_s: f64) -> Result<Option<Remedy>, ReplayError> {
        let starves = |most_mm_s: f64| -> Result<bool, ReplayError> {
            let Some(tried) = headway(self.attempt(&[&remedy::slower(most_mm_s)]))? else {
                return Ok(true);
            };
            let after = tried.after;
            Ok(after.lost_s > STARVED_SHARE * before.lost_s || after.visible > 0.0)
        };
        let least_mm_s = 0.1 * fastest_mm_s;
        let (mut low, mut high) = (least_mm_s, fastest_mm_s);
        if fastest_mm_s <= 0.0 || starves(low)? {
            return Ok(None);
        }
        for _ in 0..SEARCH_ROUNDS {
            let between = [1.0, 2.0].map(|k| low + (high - low) * k / 3.0);
            let found = parallel::map(2, self.trial.threads, &|_| {}, &|k| starves(between[k]));
            let mut found = found.into_iter();
            let starved = [found.next(), found.next()].map(|s| s.unwrap_or(Ok(true)));
            let [first, second] = starved;
            (low, high) = match (first?, second?) {
                (true, _) => (low, between[0]),
                (false, true) => (between[0], between[1]),
                (false, false) => (between[1], high),
            };
        }
        Ok(Some(remedy::slower(low.floor().max(least_mm_s))))
    }

    /// The cheapest pair, or three, that leaves fewer visible bumps, or fewer stalls, than any single change that
    /// hardly prolongs the print.
    fn best_set(
        &self,
        before: &Average,
        single: &[Tried],
        sets_max: usize,
    ) -> Result<Option<Tried>, ReplayError> {
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
        let mut sets = sets(&pool.collect::<Vec<_>>());
        sets.truncate(sets_max);
        let tried = parallel::map(sets.len(), self.trial.threads, &|_| {}, &|k| {
            headway(self.attempt(&sets[k]))
        });
        let mut best: Option<Tried> = None;
        for tried in tried {
            let Some(tried) = tried? else { continue };
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

/// The board counts as keeping up once no more than this share of today's lost time is left.
const STARVED_SHARE: f64 = 0.02;
/// Single changes out of which sets are made.
const SET_FROM: usize = 8;
/// Blocks that all sets may have that are tried; with longer jobs, fewer sets, but so many at least.
const SET_BLOCKS: usize = 4_000_000;
/// See [`SET_BLOCKS`].
const SETS_MIN: usize = 4;
/// Single changes that are tried however long a replay takes.
const CHANGES_MIN: usize = 4;
/// So many changes are worth more than a second run of each.
const AFFORDABLE_CHANGES: usize = 80;

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
