//! Islands: the plastic of one layer that hangs together.

use super::grid::{Grid, Label, SIDE, Tile};
use super::joined::Sets;

/// The plastic of one tile that hangs together within that tile.
#[derive(Clone, Copy, Debug)]
pub(super) struct Piece {
    /// Row by row as bits.
    pub cells: [u16; SIDE],
    /// Its island, from 0.
    pub island: Label,
}

/// The islands of a grid.
#[derive(Clone, Debug, Default)]
pub(super) struct Islands {
    /// By tile with cells: where its pieces begin; one more for the end.
    first: Vec<u32>,
    pieces: Vec<Piece>,
    /// How many islands there are.
    pub count: usize,
}

/// The runs of `solid` that hold a bit of `seeds`, which lie in `solid`. A carry runs from a seed to the
/// upper end of its run; mirrored, to the lower end.
fn touched(solid: u16, seeds: u16) -> u16 {
    let upward = |solid: u16, seeds: u16| {
        let sum = u32::from(solid) + u32::from(seeds);
        (solid & !(sum as u16)) | seeds
    };
    let down = upward(solid.reverse_bits(), seeds.reverse_bits()).reverse_bits();
    upward(solid, seeds) | down
}

/// The piece of `solid` that holds its first cell.
fn first_piece(solid: &[u16; SIDE]) -> Option<[u16; SIDE]> {
    let top = solid.iter().position(|row| *row != 0)?;
    let mut piece = [0; SIDE];
    piece[top] = touched(solid[top], solid[top] & solid[top].wrapping_neg());
    loop {
        let before = piece;
        for row in top + 1..SIDE {
            let seeds = piece[row] | (piece[row - 1] & solid[row]);
            piece[row] = touched(solid[row], seeds);
        }
        if piece == *solid {
            return Some(piece);
        }
        for row in (top..SIDE - 1).rev() {
            let seeds = piece[row] | (piece[row + 1] & solid[row]);
            piece[row] = touched(solid[row], seeds);
        }
        if piece == before {
            return Some(piece);
        }
    }
}

/// A column of a tile as bits, one for each row.
fn column(cells: &[u16; SIDE], bit: usize) -> u16 {
    (0..SIDE).fold(0, |column, row| column | ((cells[row] >> bit) & 1) << row)
}

impl Islands {
    /// The islands of this grid.
    pub fn new(grid: &Grid) -> Self {
        let mut islands = Islands {
            first: vec![0; grid.solid.len() + 1],
            ..Islands::default()
        };
        // By tile with cells: its pieces, in the order of drawing.
        for (at, solid) in grid.solid.iter().enumerate() {
            let mut left = *solid;
            if left == [u16::MAX; SIDE] {
                islands.push(left);
            } else {
                while let Some(piece) = first_piece(&left) {
                    islands.push(piece);
                    (0..SIDE).for_each(|row| left[row] &= !piece[row]);
                }
            }
            islands.first[at + 1] = islands.pieces.len() as u32;
        }
        let mut sets = Sets::default();
        islands.pieces.iter().for_each(|_| {
            sets.node();
        });
        islands.join(grid, &mut sets);
        let mut names = vec![Label::MAX; islands.pieces.len()];
        for k in 0..islands.pieces.len() {
            let name = &mut names[sets.root(k as u32) as usize];
            if *name == Label::MAX {
                *name = islands.count as Label;
                islands.count += 1;
            }
            islands.pieces[k].island = *name;
        }
        islands
    }

    fn push(&mut self, cells: [u16; SIDE]) {
        self.pieces.push(Piece { cells, island: 0 });
    }

    /// Joins the pieces that meet at the edges of tiles.
    fn join(&self, grid: &Grid, sets: &mut Sets) {
        let range = |at: u32| self.first[at as usize]..self.first[at as usize + 1];
        grid.each_drawn(|x, y, at| {
            for own in range(at) {
                let cells = &self.pieces[own as usize].cells;
                if x > 0
                    && let Tile::Cells(left) = grid.tiles[y * grid.wide + x - 1]
                {
                    let edge = column(cells, 0);
                    for other in range(left) {
                        if column(&self.pieces[other as usize].cells, SIDE - 1) & edge != 0 {
                            sets.join(own, other);
                        }
                    }
                }
                if y > 0
                    && let Tile::Cells(up) = grid.tiles[(y - 1) * grid.wide + x]
                {
                    for other in range(up) {
                        if self.pieces[other as usize].cells[SIDE - 1] & cells[0] != 0 {
                            sets.join(own, other);
                        }
                    }
                }
            }
        });
    }

    /// The pieces of a tile with cells.
    pub fn of(&self, at: u32) -> &[Piece] {
        &self.pieces[self.first[at as usize] as usize..self.first[at as usize + 1] as usize]
    }

    /// The island at a point, if plastic lies there.
    pub fn at(&self, grid: &Grid, at_mm: [f64; 2]) -> Option<Label> {
        let [x, y] = grid.cell(at_mm).map(|v| v.max(0.0) as usize);
        let tile = y / SIDE * grid.wide + x / SIDE;
        let Some(Tile::Cells(at)) = grid.tiles.get(tile) else {
            return None;
        };
        let pieces = self.of(*at);
        let there = |p: &&Piece| p.cells[y % SIDE] >> (x % SIDE) & 1 != 0;
        pieces.iter().find(there).map(|p| p.island)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seed_takes_its_whole_run() {
        assert_eq!(touched(0b0111_0110, 0b0010_0000), 0b0111_0000);
        assert_eq!(touched(0b0111_0110, 0b0101_0000), 0b0111_0000);
        assert_eq!(touched(u16::MAX, 0x8001), u16::MAX);
        assert_eq!(touched(0xF00F, 0), 0);
    }

    #[test]
    fn a_piece_winds_through_its_tile() {
        // A U and a bar inside it that touches nothing.
        let mut solid = [0b0000_0000_1000_0001; SIDE];
        solid[SIDE - 1] = 0xFF;
        solid[3] |= 0b0001_0000;
        let piece = first_piece(&solid).unwrap();
        assert_eq!(piece[3], 0b1000_0001);
        assert_eq!(piece[SIDE - 1], 0xFF);
        assert_eq!(first_piece(&[0; SIDE]), None);
    }
}
