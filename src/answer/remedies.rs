//! The question of `remedies`: what would cure this job on this board?

use crate::board::types::Board;
use crate::job::reader::Step;
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
    let cures = cures::cures(&trial, &each).map_err(Trouble::board)?;
    Ok(RemediesAnswer {
        job: job.name.clone(),
        board: board.name.clone(),
        seed,
        cures,
    })
}
