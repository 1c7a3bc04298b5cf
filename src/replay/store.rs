//! A job kept in memory, as blocks, to be replayed many times: at most 56 bytes a block. Places are not kept,
//! only how far a block goes and what filament it moves.

use std::collections::VecDeque;

use crate::job::reader::JobError;
use crate::motion::path::{Block, Place};

use super::source::{Footprint, Planned, Sink, Source, Steps};
use super::world::{Line, Work};

/// A line in eight bytes; what doesn't fit stands in a list of its own.
#[derive(Clone, Copy, Debug)]
struct Compact {
    raw_bytes: u16,
    command_bytes: u16,
    /// Blocks.
    count: u16,
    /// File lines since the command line before; 0: the line stands in the list.
    step: u8,
    /// Bits [`ARC`], [`BLOCKS`] and [`RISES`].
    bits: u8,
}

const BLOCKS: u8 = 1;
const ARC: u8 = 2;
const RISES: u8 = 4;

/// A job's lines and blocks, under one board's limits and waits.
#[derive(Clone, Debug, Default)]
pub struct StoredJob {
    lines: Vec<Compact>,
    odd: Vec<Line>,
    blocks: Vec<Block>,
    /// Filament of each block, mm; [`NO_MOVE`] where nothing but filament moves.
    e_mm: Vec<f64>,
    /// Heights of layers, mm, each with the number of the first block that has it.
    heights: Vec<(usize, f64)>,
    /// Height of layer 0 where its last block lies, mm.
    first_layer_mm: f64,
    above_first: bool,
    last: Option<Line>,
}

/// Stands for the filament of a block that moves nothing else.
const NO_MOVE: f64 = f64::NEG_INFINITY;

/// Blocks come before the line that they belong to.
impl Sink for StoredJob {
    #[inline]
    fn block(&mut self, block: &Block, foot: Footprint) {
        let height_mm = foot.layer_height_mm;
        if self.heights.last().is_none_or(|last| last.1 != height_mm) {
            self.heights.push((self.blocks.len(), height_mm));
        }
        self.above_first |= foot.layer > 0;
        if !self.above_first {
            self.first_layer_mm = height_mm;
        }
        self.blocks.push(*block);
        self.e_mm.push(if foot.place.moves() {
            foot.place.e_mm
        } else {
            NO_MOVE
        });
    }
}

impl StoredJob {
    /// Adds the next line, whose blocks were added just before.
    pub fn line(&mut self, line: &Line) {
        self.lines.push(self.compact(line).unwrap_or_else(|| {
            self.odd.push(*line);
            Compact {
                raw_bytes: 0,
                command_bytes: 0,
                count: 0,
                step: 0,
                bits: 0,
            }
        }));
        self.last = Some(*line);
    }

    fn compact(&self, line: &Line) -> Option<Compact> {
        let last = self.last.as_ref()?;
        let (count, kind) = match line.work {
            Work::Nothing => (0, 0),
            Work::Blocks { count, arc } => (count, if arc { BLOCKS | ARC } else { BLOCKS }),
            Work::Stop(_) | Work::Poll => return None,
        };
        let risen = line.layer.checked_sub(last.layer)?;
        let step = u8::try_from(line.number - last.number).ok()?;
        let follows = line.end_byte - u64::from(line.raw_bytes) == last.end_byte;
        (risen <= 1 && step > 0 && follows).then_some(Compact {
            raw_bytes: u16::try_from(line.raw_bytes).ok()?,
            command_bytes: u16::try_from(line.command_bytes).ok()?,
            count: u16::try_from(count).ok()?,
            step,
            bits: kind | if risen == 1 { RISES } else { 0 },
        })
    }

    /// Blocks in all.
    pub fn block_count(&self) -> usize {
        self.blocks.len()
    }

    /// Command lines in all.
    pub fn line_count(&self) -> usize {
        self.lines.len()
    }

    /// The height of layer 0 where it ends, mm: the one that it has for bumps.
    pub fn first_layer_mm(&self) -> f64 {
        self.first_layer_mm
    }

    /// Bytes of memory that lines and blocks take.
    pub fn memory_bytes(&self) -> usize {
        self.lines.len() * size_of::<Compact>()
            + self.odd.len() * size_of::<Line>()
            + self.blocks.len() * (size_of::<Block>() + size_of::<f64>())
            + self.heights.len() * size_of::<(usize, f64)>()
    }

    /// A reading of it from the start.
    pub fn read(&self) -> Reading<'_> {
        Reading {
            job: self,
            next: 0,
            odd: 0,
            block: 0,
            height: 0,
            last: None,
        }
    }

    /// A place that stands for that of a block: as long, with the same filament.
    fn place(&self, block: usize) -> Place {
        let e_mm = self.e_mm[block];
        if e_mm == NO_MOVE {
            return Place::default();
        }
        Place {
            from_mm: [0.0; 3],
            to_mm: [self.blocks[block].length_mm, 0.0, 0.0],
            e_mm,
        }
    }
}

/// How far a stored job has been read.
#[derive(Clone, Debug)]
pub struct Reading<'a> {
    job: &'a StoredJob,
    next: usize,
    odd: usize,
    block: usize,
    /// Number of the height that the last block had.
    height: usize,
    last: Option<Line>,
}

impl Reading<'_> {
    /// The next line; its blocks are put behind `blocks`.
    #[inline]
    pub fn line(&mut self, blocks: &mut VecDeque<Block>) -> Option<Line> {
        let (line, of_line) = self.next()?;
        blocks.extend(of_line);
        Some(line)
    }

    /// A block of the job, by its number from 0.
    pub fn block(&self, number: u64) -> Option<Block> {
        let place = usize::try_from(number).ok()?;
        self.job.blocks.get(place).copied()
    }
}

/// Lines, each with its blocks.
impl<'a> Iterator for Reading<'a> {
    type Item = (Line, &'a [Block]);

    #[inline]
    fn next(&mut self) -> Option<(Line, &'a [Block])> {
        let compact = self.job.lines.get(self.next)?;
        self.next += 1;
        let line = match (&self.last, compact.step) {
            (Some(last), 1..) => Line {
                number: last.number + u64::from(compact.step),
                layer: last.layer + u32::from(compact.bits & RISES != 0),
                end_byte: last.end_byte + u64::from(compact.raw_bytes),
                raw_bytes: u32::from(compact.raw_bytes),
                command_bytes: u32::from(compact.command_bytes),
                work: if compact.bits & BLOCKS == 0 {
                    Work::Nothing
                } else {
                    Work::Blocks {
                        count: u32::from(compact.count),
                        arc: compact.bits & ARC != 0,
                    }
                },
            },
            _ => {
                self.odd += 1;
                self.job.odd[self.odd - 1]
            }
        };
        let from = self.block;
        if let Work::Blocks { count, .. } = line.work {
            self.block += count as usize;
        }
        self.last = Some(line);
        Some((line, &self.job.blocks[from..self.block]))
    }
}

impl<T: Steps> Planned<T> {
    /// Reads all of it into memory.
    pub fn store(&mut self) -> Result<StoredJob, JobError> {
        let mut stored = StoredJob::default();
        while let Some(line) = self.next_line(&mut stored)? {
            stored.line(&line);
        }
        Ok(stored)
    }
}

/// The places it gives have the right length and filament, and lie anywhere.
impl Source for Reading<'_> {
    #[inline]
    fn next_line(&mut self, sink: &mut impl Sink) -> Result<Option<Line>, JobError> {
        let first = self.block;
        let Some((line, blocks)) = self.next() else {
            return Ok(None);
        };
        let job = self.job;
        for (k, block) in blocks.iter().enumerate() {
            while let Some(next) = job.heights.get(self.height + 1)
                && next.0 <= first + k
            {
                self.height += 1;
            }
            let foot = Footprint {
                place: job.place(first + k),
                line: line.number,
                layer: line.layer,
                layer_height_mm: job.heights[self.height].1,
                bytes: f64::from(line.command_bytes) / blocks.len() as f64,
            };
            sink.block(block, foot);
        }
        Ok(Some(line))
    }

    fn byte_count(&self) -> u64 {
        0
    }
}
