//! One layer's printed path, as it is gathered.

use super::grid::Bead;
use super::limits::BEADS_MAX;

/// A point of the path, in single precision: a micron at 10 m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    pub at_mm: [f32; 2],
    /// Width of the bead that leads here; 0: none does.
    pub width_mm: f32,
}

/// A block that leaves too much plastic.
#[derive(Clone, Copy, Debug)]
pub(super) struct Asked {
    pub at_mm: [f32; 2],
    pub width_mm: f32,
    pub excess_mm3: f32,
}

/// A layer's beads.
#[derive(Clone, Debug, Default)]
pub(super) struct Layer {
    /// Its number, from 0.
    pub number: u32,
    pub z_mm: f64,
    pub height_mm: f64,
    /// Blocks it has, those that print and those that don't.
    pub blocks: u32,
    pub path: Vec<Point>,
    beads: u32,
    /// Where beads and blocks part: a bead, and its block, both counted from the layer's first.
    breaks: Vec<[u32; 2]>,
    /// The class of replayed over ideal speed of each bead, where walls are wanted.
    pub speeds: Vec<u8>,
    pub asked: Vec<Asked>,
    /// Whether it has more beads than are held.
    pub cut: bool,
}

/// Beads that follow each other without a gap: a stretch of path, and where its beads begin.
#[derive(Clone, Copy, Debug)]
pub(super) struct Chain {
    /// The first and the last point in the layer's path.
    pub points: [usize; 2],
    /// The number of its first bead.
    pub first_bead: usize,
}

impl Layer {
    /// Nothing printed on it yet.
    pub fn new(number: u32, z_mm: f64) -> Self {
        Layer {
            number,
            z_mm,
            ..Layer::default()
        }
    }

    /// Adds the bead that the layer's newest block prints.
    pub fn bead(&mut self, from_mm: [f32; 2], to_mm: [f32; 2], width_mm: f32) {
        if self.path.len() >= BEADS_MAX {
            self.cut = true;
            return;
        }
        if self.path.last().is_none_or(|p| p.at_mm != from_mm) {
            self.path.push(Point {
                at_mm: from_mm,
                width_mm: 0.0,
            });
        }
        self.path.push(Point {
            at_mm: to_mm,
            width_mm,
        });
        let block = self.blocks - 1;
        let follows = |b: &[u32; 2]| b[1] + (self.beads - b[0]) == block;
        if !self.breaks.last().is_some_and(follows) {
            self.breaks.push([self.beads, block]);
        }
        self.beads += 1;
    }

    /// How many beads it has.
    pub fn bead_count(&self) -> usize {
        self.beads as usize
    }

    /// Width of the last bead, mm.
    pub fn last_width_mm(&self) -> Option<f32> {
        self.path.last().map(|p| p.width_mm)
    }

    /// Its beads, in the order of the path.
    pub fn beads(&self) -> impl Iterator<Item = Bead> + Clone {
        beads_of(&self.path)
    }

    /// Its chains, in the order of the path.
    pub fn chains(&self) -> impl Iterator<Item = Chain> {
        let starts = self.path.iter().enumerate();
        let mut starts = starts.filter(|(_, p)| p.width_mm == 0.0).map(|(k, _)| k);
        let mut next = starts.next();
        let end = self.path.len();
        let mut number = 0;
        std::iter::from_fn(move || {
            let first = next?;
            next = starts.next();
            let last = next.unwrap_or(end) - 1;
            let chain = Chain {
                points: [first, last],
                // Each chain before this one has one point more than beads.
                first_bead: first - number,
            };
            number += 1;
            Some(chain)
        })
    }

    /// The beads of a chain.
    pub fn beads_of(&self, chain: &Chain) -> impl Iterator<Item = Bead> + Clone {
        beads_of(&self.path[chain.points[0]..=chain.points[1]])
    }

    /// Each stretch of blocks: those that don't print before the next bead's, then that bead's.
    pub fn each_block(&self, mut each: impl FnMut(u64, Option<usize>)) {
        let mut block = 0;
        let ends = self.breaks.iter().skip(1).map(|b| b[0]);
        for (begin, end) in self.breaks.iter().zip(ends.chain([self.beads])) {
            each(u64::from(begin[1] - block), None);
            for bead in begin[0]..end {
                each(1, Some(bead as usize));
            }
            block = begin[1] + (end - begin[0]);
        }
        each(u64::from(self.blocks - block), None);
    }
}

fn beads_of(path: &[Point]) -> impl Iterator<Item = Bead> + Clone {
    let pairs = path.windows(2).filter(|pair| pair[1].width_mm > 0.0);
    pairs.map(|pair| Bead {
        from_mm: pair[0].at_mm.map(f64::from),
        to_mm: pair[1].at_mm.map(f64::from),
        width_mm: f64::from(pair[1].width_mm),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beads_know_their_blocks_and_chains() {
        let mut layer = Layer::new(0, 0.2);
        // A travel, two beads, a travel, one bead, a travel; then a bead that begins where the last ended.
        for (prints, from, to) in [
            (false, 0.0, 5.0),
            (true, 5.0, 6.0),
            (true, 6.0, 7.0),
            (false, 7.0, 9.0),
            (true, 9.0, 8.0),
            (false, 8.0, 8.0),
            (true, 8.0, 4.0),
        ] {
            layer.blocks += 1;
            if prints {
                layer.bead([from, 0.0], [to, 0.0], 0.4);
            }
        }
        layer.blocks += 2;
        let mut told = Vec::new();
        layer.each_block(|count, bead| told.extend((0..count).map(|_| bead)));
        let expected = [
            None,
            Some(0),
            Some(1),
            None,
            Some(2),
            None,
            Some(3),
            None,
            None,
        ];
        assert_eq!(told, expected);
        let chains: Vec<_> = layer
            .chains()
            .map(|c| (c.first_bead, layer.beads_of(&c).count()))
            .collect();
        assert_eq!(chains, [(0, 2), (2, 2)]);
    }
}
