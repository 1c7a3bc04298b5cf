//! A job that is replayed many times: kept in memory once, under one board's limits at a time.

use std::io::{self, Seek};
use std::path::Path;

use headstall::board::types::Board;
use headstall::job::reader::JobReader;
use headstall::replay::source::Planned;
use headstall::replay::store::StoredJob;

use super::failure::Failure;
use super::inputs::{self, JobInput, Source};

/// The job.
pub struct Shelved {
    /// The name that results use.
    pub name: String,
    source: Source,
    /// The job as it was stored last, and the number of the limits it has.
    stored: Option<(usize, StoredJob)>,
}

impl Shelved {
    /// Opens the job; `again`: it will be asked for under several limits.
    pub fn open(path: &Path, again: bool) -> Result<Self, Failure> {
        let JobInput {
            mut source,
            name,
            bytes,
        } = inputs::job(path)?;
        if again && bytes.is_none() {
            let failed = |e: io::Error| Failure::Unusable(format!("{name}: cannot be kept: {e}"));
            let mut kept = tempfile::tempfile().map_err(failed)?;
            io::copy(&mut source, &mut kept).map_err(failed)?;
            kept.rewind().map_err(failed)?;
            source = Source::File(kept);
        }
        Ok(Shelved {
            name,
            source,
            stored: None,
        })
    }

    /// The job under the limits of this number, which are those of `board`.
    pub fn under(&mut self, limits: usize, board: &Board) -> Result<&StoredJob, Failure> {
        let stored = match self.stored.take() {
            Some((held, stored)) if held == limits => stored,
            other => {
                if let (Some(_), Source::File(file)) = (&other, &mut self.source) {
                    let failed =
                        |e| Failure::Unusable(format!("{}: cannot be read: {e}", self.name));
                    file.rewind().map_err(failed)?;
                }
                // The one goes before the other comes.
                drop(other);
                self.read(board)?
            }
        };
        Ok(&self.stored.insert((limits, stored)).1)
    }

    fn read(&mut self, board: &Board) -> Result<StoredJob, Failure> {
        let mut planned = Planned::new(JobReader::new(&mut self.source), board);
        let failed = |e| Failure::Unusable(format!("{}: {e}", self.name));
        planned.store().map_err(failed)
    }
}
