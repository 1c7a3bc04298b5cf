//! A job that is replayed many times: kept in memory once, under one board's limits at a time.

use std::fs::File;
use std::io::{self, Read, Seek, Write};
use std::path::Path;

use headstall::board::types::Board;
use headstall::job::reader::JobReader;
use headstall::replay::source::Planned;
use headstall::replay::store::StoredJob;

use super::failure::Failure;
use super::inputs::{self, JobInput, Source};
use super::terminal::complain;

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
            source = Source::File(kept(&mut source, &name)?);
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
        let stored = planned.store().map_err(failed)?;
        for notice in planned.steps.notices().limits() {
            let line = notice.line;
            complain(&format!(
                "{}: line {line}: {}",
                self.name,
                notice.kind.message()
            ));
        }
        Ok(stored)
    }
}

/// All bytes of a job in a file of the temporary folder that goes with this run.
fn kept(source: &mut Source, name: &str) -> Result<File, Failure> {
    let kept_in = std::env::temp_dir();
    let failed = |e: io::Error| {
        let why = e.kind();
        Failure::Other(format!(
            "{name}: cannot be kept in {}, as it must be to be read again: {why}",
            kept_in.display()
        ))
    };
    let mut kept = tempfile::tempfile().map_err(failed)?;
    let mut buffer = vec![0; 1 << 16];
    loop {
        match source.read(&mut buffer) {
            Ok(0) => break,
            Ok(n) => kept.write_all(&buffer[..n]).map_err(failed)?,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => {
                return Err(Failure::Unusable(format!("{name}: cannot be read: {e}")));
            }
        }
    }
    kept.rewind().map_err(failed)?;
    Ok(kept)
}
