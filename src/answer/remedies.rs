//! The question of `remedies`: what would cure this job on this board?

use crate::board::types::Board;
use crate::job::notices::Kind;
use crate::job::reader::{JobError, Step};
use crate::motion::path::Block;
use crate::replay::source::{Footprint, Planned, Sink, Source, Steps};
use crate::study::cures::{self, Cures, Trial};
use crate::study::remedy;

use super::job::Job;
use super::progress::{Progress, Task};
use super::trouble::Trouble;

/// What is asked.
#[derive(Clone, Debug)]
pub struct RemediesQuestion<'a> {
    /// The board.
    pub board: &'a Board,
    /// The first seed.
    pub seed: u64,
    /// Height from which a bump counts as visible, mm.
    pub visible_mm: f64,
    /// Threads that may be used.
    pub threads: usize,
}

/// The answer.
#[derive(Clone, Debug)]
pub struct RemediesAnswer {
    /// The job's name.
    pub job: String,
    /// The board's name.
    pub board: String,
    /// Seed of all draws.
    pub seed: u64,
    /// All that was tried.
    pub cures: Cures,
    /// What limits of this program have cut: the line, what was done about it.
    pub limits: Vec<(u64, &'static str)>,
}

/// Answers the question.
pub fn remedies(
    job: &mut Job,
    question: &RemediesQuestion,
    progress: &dyn Progress,
) -> Result<RemediesAnswer, Trouble> {
    let RemediesQuestion {
        board,
        seed,
        visible_mm,
        threads,
    } = *question;
    let mut reader = job.read()?;
    let mut steps: Vec<Step> = Vec::new();
    while let Some(step) = reader
        .next_step()
        .map_err(|e| Trouble::job(&job.name, &e))?
    {
        steps.push(*step);
    }
    let total = remedy::list(board).len() as u64;
    let each = |done: usize| progress.at(Task::Trying, done as u64, Some(total));
    let trial = Trial {
        steps: &steps,
        board,
        seed,
        visible_mm,
        threads,
    };
    let cures = cures::cures(&trial, &each).map_err(|e| Trouble::restless(&job.name, &e))?;
    Ok(RemediesAnswer {
        job: job.name.clone(),
        board: board.name.clone(),
        seed,
        cures,
        limits: cut(&steps, board),
    })
}

/// What limits cut when the job is planned on this board: line and message, the first of each.
fn cut(steps: &[Step], board: &Board) -> Vec<(u64, &'static str)> {
    let noting = Noting {
        steps: steps.iter(),
        noted: Vec::new(),
    };
    let mut planned = Planned::new(noting, board);
    while let Ok(Some(_)) = planned.next_line(&mut Nowhere) {}
    let mut noted = planned.steps.noted;
    noted.dedup_by_key(|(kind, _)| *kind);
    let told = |(kind, line): (Kind, u64)| (line, kind.message());
    noted.into_iter().map(told).collect()
}

/// Steps in memory, with what is noted of them.
struct Noting<'a> {
    steps: std::slice::Iter<'a, Step>,
    noted: Vec<(Kind, u64)>,
}

impl Steps for Noting<'_> {
    fn next_step(&mut self) -> Result<Option<&Step>, JobError> {
        Ok(self.steps.next())
    }

    fn byte_count(&self) -> u64 {
        0
    }

    fn note(&mut self, kind: Kind, line: u64) {
        self.noted.push((kind, line));
    }
}

/// Takes blocks that nobody wants.
struct Nowhere;

impl Sink for Nowhere {
    fn block(&mut self, _: &Block, _: Footprint) {}
}
