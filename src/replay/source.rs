//! Where a replay's lines come from: steps of a job under a board's limits, or a stored job.

use std::collections::VecDeque;
use std::io::Read;

use crate::board::types::{Board, Wait};
use crate::job::reader::{JobError, JobReader, Step};
use crate::job::state::{Act, Stop};
use crate::motion::path::{Block, Path, Place};

use super::store::{Reading, StoredJob};
use super::world::{Line, Work};

/// Gives lines, with their blocks.
pub trait Source {
    /// The next line and the height of its layer, mm; `None` at the end. Its blocks are put behind
    /// `blocks`, and their places, where they are known, behind `places`.
    fn next_line(
        &mut self,
        blocks: &mut VecDeque<Block>,
        places: &mut Vec<Place>,
    ) -> Result<Option<(Line, f64)>, JobError>;

    /// Bytes read so far.
    fn byte_count(&self) -> u64;
}

/// Steps: a file being read, or a job in memory.
pub trait Steps {
    /// The next command line; `None` at the end.
    fn next_step(&mut self) -> Result<Option<&Step>, JobError>;

    /// Bytes read so far.
    fn byte_count(&self) -> u64;
}

impl<R: Read> Steps for JobReader<R> {
    #[inline]
    fn next_step(&mut self) -> Result<Option<&Step>, JobError> {
        JobReader::next_step(self)
    }

    fn byte_count(&self) -> u64 {
        JobReader::byte_count(self)
    }
}

/// Steps in memory.
impl Steps for std::slice::Iter<'_, Step> {
    fn next_step(&mut self) -> Result<Option<&Step>, JobError> {
        Ok(self.next())
    }

    fn byte_count(&self) -> u64 {
        0
    }
}

/// Steps turned into blocks under a board's limits and waits.
#[derive(Debug)]
pub struct Planned<T> {
    /// The steps.
    pub steps: T,
    path: Path,
    wait: Wait,
}

impl<T: Steps> Planned<T> {
    /// The steps on this board.
    pub fn new(steps: T, board: &Board) -> Self {
        Planned {
            steps,
            path: Path::new(board),
            wait: board.wait,
        }
    }

    /// Reads all of it into memory.
    pub fn store(&mut self) -> Result<StoredJob, JobError> {
        let mut stored = StoredJob::default();
        let (mut blocks, mut places) = (VecDeque::new(), Vec::new());
        while let Some((line, _)) = self.next_line(&mut blocks, &mut places)? {
            stored.push(&line, blocks.drain(..));
            places.clear();
        }
        Ok(stored)
    }
}

impl<T: Steps> Source for Planned<T> {
    #[inline]
    fn next_line(
        &mut self,
        blocks: &mut VecDeque<Block>,
        places: &mut Vec<Place>,
    ) -> Result<Option<(Line, f64)>, JobError> {
        let Some(step) = self.steps.next_step()? else {
            return Ok(None);
        };
        let work = match &step.act {
            Act::Nothing => Work::Nothing,
            Act::Limit(limit) => {
                self.path.limit(limit);
                Work::Nothing
            }
            Act::Stop(stop) => Work::Stop(stop_s(stop, &self.wait)),
            Act::Move(m) => {
                let count = self.path.blocks(m, |block, place| {
                    blocks.push_back(block);
                    places.push(place);
                });
                Work::Blocks {
                    count,
                    arc: m.circle.is_some(),
                }
            }
        };
        let line = Line {
            number: step.line,
            layer: step.layer,
            end_byte: step.end_byte,
            raw_bytes: step.raw_bytes,
            command_bytes: step.command_bytes,
            work,
        };
        Ok(Some((line, step.layer_height_mm)))
    }

    fn byte_count(&self) -> u64 {
        self.steps.byte_count()
    }
}

/// A stored job knows no places.
impl Source for Reading<'_> {
    #[inline]
    fn next_line(
        &mut self,
        blocks: &mut VecDeque<Block>,
        _places: &mut Vec<Place>,
    ) -> Result<Option<(Line, f64)>, JobError> {
        Ok(Reading::next_line(self, blocks).map(|line| (line, 0.0)))
    }

    fn byte_count(&self) -> u64 {
        0
    }
}

/// How long a commanded stop takes of its own, s.
fn stop_s(stop: &Stop, wait: &Wait) -> f64 {
    match stop {
        Stop::Dwell(seconds) => *seconds,
        Stop::Plain => 0.0,
        Stop::Heat => wait.heat_s,
        Stop::Home => wait.home_s,
        Stop::Change => wait.change_s,
    }
}
