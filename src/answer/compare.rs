//! The question of `compare`: how do jobs fare under several settings, with the same luck?

use std::sync::atomic::{AtomicU64, Ordering};

use crate::board::types::Board;
use crate::replay::cause::PerCause;
use crate::study::causes;
use crate::study::compare::{self, Case, Outcome, Samples};
use crate::study::facts::{JobFacts, facts};
use crate::study::sample::{Sight, has_draws};

use super::job::Job;
use super::progress::{Progress, Task};
use super::replay::UNASKED_WORK;
use super::shelf::{ShelvedJob, same_blocks};
use super::trouble::Trouble;

/// Numbers of runs after which the comparison checks whether its answer is firm.
const RUNS_BETWEEN_CHECKS: [usize; 7] = [6, 10, 15, 20, 30, 40, 80];
/// Lines, blocks, saves and runs of chores that all runs may have together: half a minute of work.
const RUNS_WORK: usize = 150_000_000;
/// What each line of the jobs adds to it.
const RUNS_WORK_A_LINE: usize = 160;

/// A board under a setting.
#[derive(Clone, Debug)]
pub struct Setting {
    /// What it is called.
    pub name: String,
    /// The board.
    pub board: Board,
}

/// Whether each job has to be read more than once to compare these settings.
pub fn reads_again(settings: &[Setting]) -> bool {
    settings
        .iter()
        .any(|s| !same_blocks(&s.board, &settings[0].board))
}

/// What is asked.
#[derive(Clone, Debug)]
pub struct CompareQuestion<'a> {
    /// The settings, at least one; the others are compared with the first.
    pub settings: &'a [Setting],
    /// The first seed; run `k` has seed + k, the same for all settings.
    pub seed: u64,
    /// Most runs of a setting with draws.
    pub runs_max: usize,
    /// Whether causes are worked out in full, however long that takes.
    pub causes: bool,
    /// Height from which a bump counts as visible, mm.
    pub visible_mm: f64,
    /// Threads that may be used.
    pub threads: usize,
}

/// A job, and what it asks of any board.
#[derive(Clone, Debug, PartialEq)]
pub struct ComparedJob {
    /// Its name.
    pub name: String,
    /// The job in a few numbers.
    pub facts: JobFacts,
}

/// One job under one setting.
#[derive(Clone, Debug, PartialEq)]
pub struct ComparedCase {
    /// Number of the job.
    pub job: usize,
    /// Number of the setting.
    pub setting: usize,
    /// What its runs came to.
    pub outcome: Outcome,
    /// Lost time by cause in the first run, s, where it was worked out.
    pub by_cause_s: Option<PerCause<f64>>,
}

/// The answer.
#[derive(Clone, Debug)]
pub struct CompareAnswer {
    /// The settings.
    pub settings: Vec<Setting>,
    /// The jobs.
    pub jobs: Vec<ComparedJob>,
    /// Each job under each setting, job by job.
    pub cases: Vec<ComparedCase>,
    /// The first seed.
    pub seed: u64,
    /// Runs made of each setting with draws.
    pub runs: usize,
    /// Whether more runs would hardly change the answer.
    pub firm: bool,
    /// Whether runs are left out because all of them would take too long.
    pub runs_cut: bool,
    /// Runs that were asked for at most.
    pub runs_asked: usize,
    /// About how many runs a firm answer needs; `None` where there are enough, or where that cannot be estimated.
    pub runs_needed: Option<usize>,
    /// Where limits of this program have taken effect: the job, the line, what was done about it.
    pub limits: Vec<(String, u64, String)>,
}

/// Answers the question.
///
/// # Panics
/// If there is no setting.
pub fn compare(
    jobs: Vec<Job>,
    question: &CompareQuestion,
    progress: &dyn Progress,
) -> Result<CompareAnswer, Trouble> {
    let settings = question.settings;
    let mut shelf: Vec<ShelvedJob> = jobs.into_iter().map(ShelvedJob::new).collect();
    let mut jobs = Vec::new();
    for shelved in &mut shelf {
        jobs.push(ComparedJob {
            name: shelved.job.name.clone(),
            facts: facts(
                &shelved
                    .planned_for(&settings[0].board, question.threads)?
                    .stored,
            ),
        });
    }
    let cases: Vec<Case> = (0..shelf.len() * settings.len())
        .map(|i| Case {
            board: &settings[i % settings.len()].board,
            first: i - i % settings.len(),
        })
        .collect();
    let mut grid = Grid {
        question,
        shelf,
        cases: &cases,
        progress,
    };
    let Sampled { samples, firm, cut } = grid.sampled(jobs.iter().map(|j| j.facts.lines).sum())?;
    let outcomes = compare::outcomes(&cases, &samples);
    let by_cause_s = grid.shares(&samples)?;
    let runs_needed = compare::runs_needed(&cases, &outcomes);
    let case =
        |(i, (outcome, by_cause_s)): (usize, (Outcome, Option<PerCause<f64>>))| ComparedCase {
            job: i / settings.len(),
            setting: i % settings.len(),
            outcome,
            by_cause_s,
        };
    Ok(CompareAnswer {
        settings: settings.to_vec(),
        jobs,
        cases: outcomes
            .into_iter()
            .zip(by_cause_s)
            .enumerate()
            .map(case)
            .collect(),
        seed: question.seed,
        runs: samples.iter().map(Vec::len).max().unwrap_or(0),
        firm,
        runs_cut: cut,
        runs_asked: question.runs_max,
        runs_needed,
        limits: grid.limits(),
    })
}

/// All jobs under all settings, job by job.
struct Grid<'a> {
    question: &'a CompareQuestion<'a>,
    shelf: Vec<ShelvedJob>,
    cases: &'a [Case<'a>],
    progress: &'a dyn Progress,
}

/// Runs of all cases.
struct Sampled {
    samples: Samples,
    /// Whether more of them would hardly change the answer.
    firm: bool,
    /// Whether there are fewer than were asked for because they take too long.
    cut: bool,
}

/// Cases that one stored job serves: the job, a board that has its limits, the cases.
type Batch<'a> = (usize, &'a Board, Vec<usize>);

impl<'a> Grid<'a> {
    /// What limits have cut in the jobs, as they were planned last.
    fn limits(&self) -> Vec<(String, u64, String)> {
        let of = |s: &ShelvedJob| {
            let cut = s.job.limits.iter();
            let cut = cut.map(|(line, what)| (s.job.name.clone(), *line, what.clone()));
            cut.collect::<Vec<_>>()
        };
        self.shelf.iter().flat_map(of).collect()
    }

    /// Those of `wanted`, job by job and limits by limits.
    fn batches(&self, wanted: &[usize]) -> Vec<Batch<'a>> {
        let settings = self.question.settings.len();
        let mut batches: Vec<Batch> = Vec::new();
        for case in wanted {
            let (job, board) = (case / settings, self.cases[*case].board);
            match batches
                .iter_mut()
                .find(|b| b.0 == job && same_blocks(b.1, board))
            {
                Some(batch) => batch.2.push(*case),
                None => batches.push((job, board, vec![*case])),
            }
        }
        batches
    }

    /// Runs until the answer is firm, until there are as many as asked for, or until jobs of so many lines have
    /// been worked on for long enough.
    fn sampled(&mut self, lines: usize) -> Result<Sampled, Trouble> {
        let cases = self.cases;
        let mut samples: Samples = vec![Vec::new(); cases.len()];
        let most = if cases.iter().any(|c| has_draws(c.board)) {
            self.question.runs_max
        } else {
            1
        };
        // One run of each tells what a run takes.
        self.add_runs(&mut samples, 1)?;
        let drawn = (0..cases.len()).filter(|i| has_draws(cases[*i].board));
        let work: usize = drawn.map(|i| samples[i][0].cost.work).sum();
        let affordable = ((RUNS_WORK + RUNS_WORK_A_LINE * lines) / work.max(1)).max(1);
        let cut = affordable < most;
        let most = most.min(affordable);
        let checks = RUNS_BETWEEN_CHECKS.into_iter().filter(|n| *n < most);
        for runs in checks.chain([most]) {
            if runs > samples[0].len() {
                self.add_runs(&mut samples, runs)?;
            }
            if compare::is_firm(cases, &compare::outcomes(cases, &samples)) {
                return Ok(Sampled {
                    samples,
                    firm: true,
                    cut: false,
                });
            }
        }
        Ok(Sampled {
            samples,
            firm: false,
            cut,
        })
    }

    /// Adds runs until each case has so many.
    fn add_runs(&mut self, samples: &mut Samples, runs: usize) -> Result<(), Trouble> {
        let seed = |k: usize| self.question.seed.wrapping_add(k as u64);
        let first_run = samples[0].len();
        let seeds: Vec<u64> = (first_run..runs).map(seed).collect();
        let wanted: Vec<usize> = (0..samples.len())
            .filter(|i| compare::wants_more(self.cases[*i].board, &samples[*i]))
            .collect();
        let drawn = wanted.iter().filter(|i| has_draws(self.cases[**i].board));
        let total = (wanted.len() + drawn.count() * (seeds.len() - 1)) as u64;
        let done = AtomicU64::new(0);
        let (progress, threads) = (self.progress, self.question.threads);
        let each = |_| {
            let done = done.fetch_add(1, Ordering::Relaxed) + 1;
            progress.at(Task::Comparing, done, Some(total));
        };
        for (job, limits, batch) in self.batches(&wanted) {
            let name = self.shelf[job].job.name.clone();
            let kept = self.shelf[job].planned_for(limits, threads)?;
            let boards: Vec<&Board> = batch.iter().map(|i| self.cases[*i].board).collect();
            let sight = Some(Sight {
                facing: &|block| kept.faces.of(block),
                visible_mm: self.question.visible_mm,
            });
            let found = compare::samples(
                &kept.stored,
                &boards,
                first_run,
                &seeds,
                sight,
                threads,
                &each,
            )
            .map_err(|e| Trouble::no_progress(&name, &e))?;
            for (i, found) in batch.into_iter().zip(found) {
                samples[i].extend(found);
            }
        }
        for of_case in samples {
            // Without draws all are alike.
            let same = of_case[0];
            of_case.resize(runs, same);
        }
        Ok(())
    }

    /// Lost time by cause of each case, under the first seed, where that doesn't take too long.
    fn shares(&mut self, samples: &Samples) -> Result<Vec<Option<PerCause<f64>>>, Trouble> {
        let count = self.cases.len();
        let work = |i: usize| {
            let replays = causes::replay_count(self.cases[i].board);
            samples[i][0].cost.work.saturating_mul(replays)
        };
        let all = (0..count).map(work).fold(0, usize::saturating_add);
        if !self.question.causes && all > 8 * UNASKED_WORK {
            return Ok(vec![None; count]);
        }
        let (seed, threads) = (self.question.seed, self.question.threads);
        let mut all = vec![None; count];
        let mut done = 0;
        for (job, limits, batch) in self.batches(&Vec::from_iter(0..count)) {
            let name = self.shelf[job].job.name.clone();
            let stored = &self.shelf[job].planned_for(limits, threads)?.stored;
            for i in batch {
                self.progress.at(Task::Causes, done, Some(count as u64));
                done += 1;
                let board = self.cases[i].board;
                let side_by_side = samples[i][0].cost.threads(threads);
                let shares = causes::shares(stored, board, seed, &[], side_by_side, &|_| {})
                    .map_err(|e| Trouble::no_progress(&name, &e))?;
                all[i] = Some(shares.total_s);
            }
        }
        Ok(all)
    }
}
