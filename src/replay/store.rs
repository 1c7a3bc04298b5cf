//! A job kept in memory, as blocks, to be replayed many times: at most 48 bytes a block.

use std::collections::VecDeque;

use crate::motion::path::Block;

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
    last: Option<Line>,
}

impl StoredJob {
    /// Adds the next line; its blocks are put behind the others.
    pub fn push(&mut self, line: &Line, blocks: impl Iterator<Item = Block>) {
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
        self.blocks.extend(blocks);
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

    /// Bytes of memory that lines and blocks take.
    pub fn memory_bytes(&self) -> usize {
        self.lines.len() * size_of::<Compact>()
            + self.odd.len() * size_of::<Line>()
            + self.blocks.len() * size_of::<Block>()
    }

    /// A reading of it from the start.
    pub fn read(&self) -> Reading<'_> {
        Reading {
            job: self,
            next: 0,
            odd: 0,
            block: 0,
            last: None,
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
