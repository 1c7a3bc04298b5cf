//! Islands: the plastic of one layer that hangs together.

use super::grid::{Grid, Label, SIDE, Tile};
use super::joined::Sets;

/// The plastic of one tile that hangs together within that tile.
#[derive(Clone, Copy, Debug)]
pub(super) struct Piece {
    /// Row by row as bits.
    pub cells: [u16; SIDE],
    /// How many they are.
    pub count: u16,
    /// The places that it takes, as bits: those whose middle it covers.
    pub places: u16,
    /// Its island, from 0.
    pub island: Label,
}

/// A place is this many cells wide; a tile has 4 by 4 of them.
const PLACE_CELLS: usize = 4;
/// Places of a tile.
pub(super) const PLACES: usize = (SIDE / PLACE_CELLS) * (SIDE / PLACE_CELLS);

impl Piece {
    fn new(cells: [u16; SIDE]) -> Self {
        if cells == [u16::MAX; SIDE] {
            return Piece {
                cells,
                count: (SIDE * SIDE) as u16,
                places: u16::MAX,
                island: 0,
            };
        }
        let mut places = 0;
        for row in 0..SIDE / PLACE_CELLS {
            let middle = cells[PLACE_CELLS * row + 1] | cells[PLACE_CELLS * row + 2];
            let met = (middle >> 1 | middle >> 2) & 0x1111;
            places |= (met & 1 | met >> 3 & 2 | met >> 6 & 4 | met >> 9 & 8) << (4 * row);
        }
        // Four rows at a time.
        let four = |rows: &[u16]| {
            rows.iter()
                .fold(0u64, |all, row| all << SIDE | u64::from(*row))
        };
        let count: u32 = cells
            .chunks_exact(4)
            .map(|rows| four(rows).count_ones())
            .sum();
        Piece {
            cells,
            count: count as u16,
            places,
            island: 0,
        }
    }
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

/// Whether these cells hang together for sure: each row is one run that meets the one above it.
fn is_one_piece(cells: &[u16; SIDE]) -> bool {
    let mut above = 0;
    let mut ended = false;
    for row in *cells {
        if row == above {
            continue;
        }
        let least = row & row.wrapping_neg();
        let one_run = row & row.wrapping_add(least) == 0;
        if ended || !one_run || (above != 0 && row != 0 && row & above == 0) {
            return false;
        }
        ended = row == 0;
        above = row;
    }
    true
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
            if is_one_piece(solid) {
                islands.pieces.push(Piece::new(left));
            } else {
                while let Some(piece) = first_piece(&left) {
                    islands.pieces.push(Piece::new(piece));
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

    /// Joins the pieces that meet at the edges of tiles.
    fn join(&self, grid: &Grid, sets: &mut Sets) {
        let range = |at: u32| self.first[at as usize]..self.first[at as usize + 1];
        grid.each_drawn(|x, y, at| {
            for own in range(at) {
                let cells = &self.pieces[own as usize].cells;
                if x > 0
                    && let Tile::Cells(left) = grid.tiles[y * grid.wide + x - 1]
                {
                    for other in range(left) {
                        let other_cells = &self.pieces[other as usize].cells;
                        if (0..SIDE).any(|row| other_cells[row] >> (SIDE - 1) & cells[row] != 0) {
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

    #[test]
    fn what_is_surely_one_piece_is_one() {
        let mut state = 1u64;
        let mut found = [0; 2];
        for _ in 0..20_000 {
            let mut random = |most: u64| {
                state = state
                    .wrapping_mul(6364136223846793005)
                    .wrapping_add(1442695040888963407);
                (state >> 33) % most
            };
            // Bars that shift, now and then with a gap or a second bar.
            let mut cells = [0u16; SIDE];
            let (first, end) = (random(8) as usize, 9 + random(8) as usize);
            let (mut from, long) = (random(9), 1 + random(7));
            for row in &mut cells[first..end] {
                from = (from + random(3)).saturating_sub(random(3)).min(15);
                *row = (((1u32 << long) - 1) << from) as u16;
                *row |= if random(40) == 0 { 1 << random(16) } else { 0 };
                *row &= if random(60) == 0 { 0 } else { u16::MAX };
            }
            let one = is_one_piece(&cells);
            found[usize::from(one)] += 1;
            if one && cells != [0; SIDE] {
                assert_eq!(first_piece(&cells), Some(cells));
            }
            let count: u32 = cells.iter().map(|row| row.count_ones()).sum();
            assert_eq!(u32::from(Piece::new(cells).count), count);
        }
        assert!(found.iter().all(|n| *n > 4000), "{found:?}");
        assert!(is_one_piece(&[u16::MAX; SIDE]));
    }
}
