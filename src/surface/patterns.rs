//! Patterns: how plastic lies in a tile. Many tiles of a layer share one, so that what goes by the pattern alone is found
//! once.

use std::ops::Range;

use super::cells::{Cells, Edges, Piece, split};

/// What a piece of a tile is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Free = 0,
    Solid = 1,
}

/// The pieces of a kind, of all patterns.
#[derive(Clone, Debug, Default)]
pub(super) struct Pieces {
    /// By pattern: where its pieces end.
    ends: Vec<u32>,
    all: Vec<Piece>,
    edges: Vec<Edges>,
}

impl Pieces {
    fn add(&mut self, cells: &Cells) {
        split(cells, &mut self.all);
        let added = &self.all[self.edges.len()..];
        self.edges.extend(added.iter().map(Piece::edges));
        self.ends.push(self.all.len() as u32);
    }

    /// A pattern's pieces, in the order of their first cells.
    #[inline]
    pub fn of(&self, pattern: u32) -> &[Piece] {
        &self.all[self.range(pattern)]
    }

    /// Their edges.
    #[inline]
    pub fn edges(&self, pattern: u32) -> &[Edges] {
        &self.edges[self.range(pattern)]
    }

    #[inline]
    fn range(&self, pattern: u32) -> Range<usize> {
        let first = match pattern.checked_sub(1) {
            Some(before) => self.ends[before as usize] as usize,
            None => 0,
        };
        first..self.ends[pattern as usize] as usize
    }
}

/// The pattern without plastic.
pub(super) const FREE: u32 = 0;

/// All patterns of a grid.
#[derive(Clone, Debug)]
pub(super) struct Patterns {
    /// By pattern: how plastic lies in a tile.
    all: Vec<Cells>,
    /// By kind.
    pieces: [Pieces; 2],
}

impl Default for Patterns {
    fn default() -> Self {
        let mut patterns = Patterns {
            all: Vec::new(),
            pieces: Default::default(),
        };
        patterns.add(&Cells::default());
        patterns
    }
}

impl Patterns {
    /// The pattern of each of these tiles.
    pub fn of(&mut self, tiles: &[Cells]) -> Vec<u32> {
        // By a hash: a pattern's place.
        let mut table = vec![FREE; 64];
        let mut last = FREE;
        let places = tiles.iter().map(|solid| {
            // Tiles that follow each other under a bead are often alike.
            if self.all[last as usize] == *solid {
                return last;
            }
            if table.len() < 2 * self.all.len() {
                table = vec![FREE; 2 * table.len()];
                for (place, solid) in self.all.iter().enumerate().skip(1) {
                    let slot = self.slot(&table, solid);
                    table[slot] = place as u32;
                }
            }
            let slot = self.slot(&table, solid);
            if table[slot] == FREE {
                table[slot] = self.all.len() as u32;
                self.add(solid);
            }
            last = table[slot];
            last
        });
        places.collect()
    }

    /// Where a pattern stands in the table, or would.
    fn slot(&self, table: &[u32], solid: &Cells) -> usize {
        let mask = table.len() - 1;
        let mut slot = solid.hash() as usize & mask;
        while table[slot] != FREE && self.all[table[slot] as usize] != *solid {
            slot = (slot + 1) & mask;
        }
        slot
    }

    fn add(&mut self, solid: &Cells) {
        self.all.push(*solid);
        self.pieces[Kind::Free as usize].add(&solid.others());
        self.pieces[Kind::Solid as usize].add(solid);
    }

    /// The pieces of a kind.
    #[inline]
    pub fn pieces(&self, kind: Kind) -> &Pieces {
        &self.pieces[kind as usize]
    }
}

/// The labels of all pieces of one kind, tile after tile. A free tile is a piece too.
#[derive(Clone, Debug, Default)]
pub(super) struct Labels {
    /// By place: where the labels of a tile's pieces begin; one more for the end.
    pub starts: Vec<u32>,
    pub all: Vec<u32>,
}

impl Labels {
    /// Those of some tiles' pieces.
    #[inline]
    pub fn of(&self, places: Range<usize>) -> &[u32] {
        let [first, end] = [places.start, places.end].map(|place| self.starts[place] as usize);
        &self.all[first..end]
    }

    /// Each place of a tile that has any of some labels, once for each piece.
    pub fn each_place(&self, is_one: impl Fn(u32) -> bool, mut each: impl FnMut(usize)) {
        let mut place = 0;
        for (k, label) in self.all.iter().enumerate() {
            if is_one(*label) {
                while self.starts[place + 1] as usize <= k {
                    place += 1;
                }
                each(place);
            }
        }
    }

    /// Those of a tile's pieces.
    #[inline]
    pub fn of_mut(&mut self, place: usize) -> &mut [u32] {
        let [first, end] = [place, place + 1].map(|place| self.starts[place] as usize);
        &mut self.all[first..end]
    }
}
