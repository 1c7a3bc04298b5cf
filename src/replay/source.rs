//! Where a replay's lines come from: steps of a job under a board's limits, or a stored job.

use std::io::Read;

use crate::board::types::{Board, Wait};
use crate::job::notices::NoticeKind;
use crate::job::reader::{JobError, JobReader, Step};
use crate::job::state::{Act, Stop};
use crate::motion::path::{Block, Path, Place};

use super::world::{Line, Work};

/// Where a block belongs.
#[derive(Clone, Copy, Debug)]
pub struct Footprint {
    /// Where it goes, where that is known.
    pub place: Place,
    /// The file's line, from 1.
    pub line: u64,
    /// The layer, from 0.
    pub layer: u32,
    /// The layer's height, mm.
    pub layer_height_mm: f64,
    /// Its share of the line's command bytes.
    pub bytes: f64,
}

/// Takes a line's blocks.
pub trait Sink {
    /// The next block.
    fn block(&mut self, block: &Block, foot: Footprint);
}

impl Sink for Vec<Block> {
    fn block(&mut self, block: &Block, _foot: Footprint) {
        self.push(*block);
    }
}

/// Gives lines, with their blocks.
pub trait Source {
    /// The next line, its blocks given to `sink`; `None` at the end.
    fn next_line(&mut self, sink: &mut impl Sink) -> Result<Option<Line>, JobError>;

    /// Bytes read so far.
    fn byte_count(&self) -> u64;

    /// Takes note that a limit has cut something at this line of the file.
    fn note(&mut self, _kind: NoticeKind, _line: u64) {}
}

/// Steps: a file being read, or a job in memory.
pub trait Steps {
    /// The next command line; `None` at the end.
    fn next_step(&mut self) -> Result<Option<&Step>, JobError>;

    /// Bytes read so far.
    fn byte_count(&self) -> u64;

    /// Takes note that a limit has cut something at this line of the file.
    fn note(&mut self, _kind: NoticeKind, _line: u64) {}
}

impl<R: Read> Steps for JobReader<R> {
    #[inline]
    fn next_step(&mut self) -> Result<Option<&Step>, JobError> {
        JobReader::next_step(self)
    }

    fn byte_count(&self) -> u64 {
        JobReader::byte_count(self)
    }

    fn note(&mut self, kind: NoticeKind, line: u64) {
        self.note_limit(kind, line);
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

/// Steps that are lent.
impl<T: Steps> Steps for &mut T {
    fn next_step(&mut self) -> Result<Option<&Step>, JobError> {
        (**self).next_step()
    }

    fn byte_count(&self) -> u64 {
        (**self).byte_count()
    }

    fn note(&mut self, kind: NoticeKind, line: u64) {
        (**self).note(kind, line);
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
}

impl<T: Steps> Source for Planned<T> {
    #[inline(always)]
    fn next_line(&mut self, sink: &mut impl Sink) -> Result<Option<Line>, JobError> {
        let Some(step) = self.steps.next_step()? else {
            return Ok(None);
        };
        let mut is_coarse = false;
        let work = match &step.act {
            Act::Nothing => Work::Nothing,
            Act::Limit(limit) => {
                self.path.limit(limit);
                Work::Nothing
            }
            Act::Stop(stop) => Work::Stop(stop_s(stop, &self.wait)),
            Act::Move(m) => {
                let mut count = 0;
                if m.circle.is_some() {
                    self.path.add_chords(step.command_bytes);
                }
                let blocks = self.path.blocks(m);
                is_coarse = blocks.is_coarse();
                let bytes = f64::from(step.command_bytes) / f64::from(blocks.pieces);
                for (block, place) in blocks {
                    let foot = Footprint {
                        place,
                        line: step.line,
                        layer: step.layer,
                        layer_height_mm: step.layer_height_mm,
                        bytes,
                    };
                    sink.block(&block, foot);
                    count += 1;
                }
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
        if is_coarse {
            self.steps.note(NoticeKind::ArcChords, line.number);
        }
        Ok(Some(line))
    }

    fn byte_count(&self) -> u64 {
        self.steps.byte_count()
    }

    fn note(&mut self, kind: NoticeKind, line: u64) {
        self.steps.note(kind, line);
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
