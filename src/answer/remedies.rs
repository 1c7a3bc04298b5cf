//! The question of `remedies`: what would cure this job on this board?

use crate::board::types::Board;
use crate::replay::stream::ReplayError;
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
    /// Where limits of this program have taken effect: the line, what was done about it.
    pub limits: Vec<(u64, String)>,
}

/// Answers the question. The job is read many times.
pub fn remedies(
    job: &Job,
    question: &RemediesQuestion,
    progress: &dyn Progress,
) -> Result<RemediesAnswer, Trouble> {
    let board = question.board;
    let total = remedy::list(board).len() as u64;
    let each = |done: usize| progress.at(Task::Trying, done as u64, Some(total));
    let trial = Trial {
        open: &|| job.open(),
        board,
        seed: question.seed,
        visible_mm: question.visible_mm,
        threads: question.threads,
        patience: 1.0,
    };
    let cures = cures::cures(&trial, &each).map_err(|e| match e {
        ReplayError::Job(e) => Trouble::job(&job.name, &e),
        ReplayError::Board(e) => Trouble::no_progress(&job.name, &e),
    })?;
    Ok(RemediesAnswer {
        job: job.name.clone(),
        board: board.name.clone(),
        seed: question.seed,
        limits: cures.limits.clone(),
        cures,
    })
}
