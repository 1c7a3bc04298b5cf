//! What blocks face, run by run, while it is not yet known which voids are open and what is part.

use super::facing::{Face, Faces, Surface};
use super::ground::NOTHING;
use super::layer::Layer;
use super::voids::Voids;

/// What a bead faces, as far as is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Faced {
    /// One of the constants below, or a void.
    face: u32,
    /// The column to which it belongs.
    column: u32,
}

const OUTER: u32 = u32::MAX;
const HOLE: u32 = u32::MAX - 1;
const INNER: u32 = u32::MAX - 2;
const OUT: u32 = u32::MAX - 3;
const DARK: u32 = u32::MAX - 4;

impl Faced {
    /// It is no part.
    pub const LEFT_OUT: Faced = Faced {
        face: OUT,
        column: NOTHING,
    };
    /// Nobody knows.
    pub const UNKNOWN: Faced = Faced {
        face: DARK,
        column: NOTHING,
    };

    pub fn outer(column: u32) -> Self {
        Faced {
            face: OUTER,
            column,
        }
    }

    pub fn hole(column: u32) -> Self {
        Faced { face: HOLE, column }
    }

    pub fn inner(column: u32) -> Self {
        Faced {
            face: INNER,
            column,
        }
    }

    pub fn void(void: u32, column: u32) -> Self {
        Faced { face: void, column }
    }
}

#[derive(Clone, Copy, Debug)]
struct Run {
    blocks: u32,
    faced: Faced,
}

/// Runs that are kept before those alike are looked for.
const MANY: usize = 1 << 20;

/// What the blocks of all layers so far face.
#[derive(Debug)]
pub(super) struct Runs {
    runs: Vec<Run>,
    many: usize,
}

impl Default for Runs {
    fn default() -> Self {
        Runs {
            runs: Vec::new(),
            many: MANY,
        }
    }
}

impl Runs {
    fn push(&mut self, blocks: u64, faced: Faced) {
        if let Some(last) = self.runs.last_mut()
            && last.faced == faced
            && let Some(sum) = u64::from(last.blocks).checked_add(blocks)
            && let Ok(sum) = u32::try_from(sum)
        {
            last.blocks = sum;
            return;
        }
        // A layer counts its blocks in 32 bits.
        let blocks = blocks as u32;
        if blocks > 0 {
            self.runs.push(Run { blocks, faced });
        }
    }

    fn last(&self) -> Faced {
        self.runs.last().map_or(Faced::UNKNOWN, |r| r.faced)
    }

    /// Adds a layer's blocks. `faced`: what its beads face, unknown beyond its end; `None`: it has none.
    pub fn layer(&mut self, layer: &Layer, faced: Option<&[Faced]>) {
        let Some(faced) = faced else {
            return self.push(u64::from(layer.blocks), self.last());
        };
        layer.each_block(|blocks, bead| {
            let faced = match bead {
                Some(bead) => faced.get(bead).copied().unwrap_or(Faced::UNKNOWN),
                None => self.last(),
            };
            self.push(blocks, faced);
        });
    }

    /// Whether there are so many that merging is worth its time.
    pub fn are_many(&self) -> bool {
        self.runs.len() > self.many
    }

    /// Makes one of neighbours that are found to be alike by now.
    pub fn merge(&mut self, mut void: impl FnMut(u32) -> u32, mut column: impl FnMut(u32) -> u32) {
        for run in std::mem::take(&mut self.runs) {
            let mut faced = run.faced;
            if faced.face < DARK {
                faced.face = void(faced.face);
            }
            if faced.column != NOTHING {
                faced.column = column(faced.column);
            }
            self.push(u64::from(run.blocks), faced);
        }
        self.many = MANY.max(2 * self.runs.len());
    }

    /// Ends the job. `part` tells the part of a column, if it is one.
    pub fn finish(self, voids: &mut Voids, mut part: impl FnMut(u32) -> Option<usize>) -> Faces {
        let mut faces = Faces::default();
        for run in self.runs {
            let part = match run.faced.column {
                NOTHING => None,
                column => part(column),
            };
            let face = match run.faced.face {
                DARK => Face::Unknown,
                _ if part.is_none() => Face::LeftOut,
                OUTER => Face::Part(Surface::Outer),
                HOLE => Face::Part(Surface::Hole),
                INNER => Face::Part(Surface::Inner),
                void if voids.is_open(void) => Face::Part(Surface::Hole),
                _ => Face::Part(Surface::Inner),
            };
            faces.push(u64::from(run.blocks), face, part);
        }
        faces
    }
}
