//! A job that is replayed many times: kept in memory once, under one board's limits at a time.

use crate::board::types::Board;
use crate::replay::source::Planned;
use crate::replay::store::StoredJob;
use crate::surface::faces::{self, Faces};
use crate::surface::skin::Wanted;

use super::job::Job;
use super::trouble::Trouble;

/// Whether a job has the same blocks, stops and faces on both boards.
pub fn same_blocks(a: &Board, b: &Board) -> bool {
    a.motion == b.motion && a.wait == b.wait && a.nozzle == b.nozzle
}

/// A job as one board's limits plan it.
pub(super) struct KeptJob {
    board: Board,
    /// Its lines and blocks.
    pub stored: StoredJob,
    /// What its blocks face.
    pub faces: Faces,
}

/// A job, with what was last kept of it.
pub(super) struct ShelvedJob {
    /// The job.
    pub job: Job,
    kept: Option<KeptJob>,
}

impl ShelvedJob {
    /// A job that has not been read yet.
    pub fn new(job: Job) -> Self {
        ShelvedJob { job, kept: None }
    }

    /// The job as this board's limits plan it.
    pub fn planned_for(&mut self, board: &Board, threads: usize) -> Result<&KeptJob, Trouble> {
        let kept = match self.kept.take() {
            Some(kept) if same_blocks(&kept.board, board) => kept,
            other => {
                // The one goes before the other comes.
                drop(other);
                self.read(board, threads)?
            }
        };
        Ok(self.kept.insert(kept))
    }

    fn read(&mut self, board: &Board, threads: usize) -> Result<KeptJob, Trouble> {
        let wanted = Wanted {
            walls: false,
            whole: false,
            aside: threads > 1,
        };
        let mut planned = Planned::new(self.job.steps()?, board);
        let (stored, exposure) = faces::store(&mut planned, &board.nozzle, &wanted)
            .map_err(|e| Trouble::job(&self.job.name, &e))?;
        self.job.limits = planned.steps.reader().notices().cuts();
        self.job.limits.extend(exposure.cut().map(|what| (0, what)));
        Ok(KeptJob {
            board: board.clone(),
            stored,
            faces: exposure.faces,
        })
    }
}
