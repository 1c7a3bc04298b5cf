//! A job that is replayed many times: kept in memory once, under one board's limits at a time.

use crate::board::types::Board;
use crate::replay::store::StoredJob;

use super::job::Job;
use super::trouble::Trouble;

/// Whether a job has the same blocks and stops on both boards.
pub(super) fn same_blocks(a: &Board, b: &Board) -> bool {
    a.motion == b.motion && a.wait == b.wait
}

/// A job, with what was last kept of it.
pub(super) struct ShelvedJob {
    /// The job.
    pub job: Job,
    /// The job as it was stored last, and the board whose limits it has.
    kept: Option<(Board, StoredJob)>,
}

impl ShelvedJob {
    /// A job that has not been read yet.
    pub fn new(job: Job) -> Self {
        ShelvedJob { job, kept: None }
    }

    /// The job as this board's limits plan it.
    pub fn planned_for(&mut self, board: &Board) -> Result<&StoredJob, Trouble> {
        let kept = match self.kept.take() {
            Some(kept) if same_blocks(&kept.0, board) => kept,
            other => {
                // The one goes before the other comes.
                drop(other);
                (board.clone(), self.job.stored(board)?)
            }
        };
        Ok(&self.kept.insert(kept).1)
    }
}
