//! Draws beads on a grid: the cells under a bead become plastic.

use super::beads::{each_row, reach};
use super::grid::{Bead, Grid, Rows, SIDE, Tile};

/// What a bead covers of one row of tiles.
struct Band {
    /// The row among the rows of tiles.
    row: usize,
    /// By row of cells: the first cell and the one behind the last.
    spans: [[usize; 2]; SIDE],
    /// The first row that the bead covers, and the one behind the last.
    first: usize,
    end: usize,
}

impl Band {
    fn new(row: usize) -> Self {
        Band {
            row,
            spans: [[0; 2]; SIDE],
            first: SIDE,
            end: 0,
        }
    }
}

impl Grid {
    pub(super) fn draw(&mut self, bead: &Bead) {
        let ends = [self.cell(bead.from_mm), self.cell(bead.to_mm)];
        let radius = reach(bead.width_mm) / self.cell_mm;
        let (rows, columns) = (self.high * SIDE, self.wide * SIDE);
        let mut band = Band::new(usize::MAX);
        each_row(ends, radius, |row, from, to| {
            let to = to.min(columns);
            if row >= rows || from >= to {
                return;
            }
            if row / SIDE != band.row {
                self.fill(&band);
                band = Band::new(row / SIDE);
            }
            band.spans[row % SIDE] = [from, to];
            band.first = band.first.min(row % SIDE);
            band.end = row % SIDE + 1;
        });
        self.fill(&band);
    }

    /// Makes plastic of what a bead covers of a row of tiles.
    fn fill(&mut self, band: &Band) {
        if band.first >= band.end {
            return;
        }
        let spans = &band.spans[band.first..band.end];
        // The tiles so far: those of a bead hang together. Tiles are numbered as its rows come to them.
        let mut tiles = spans[0][0] / SIDE..spans[0][0] / SIDE;
        for [from, to] in spans {
            let own = from / SIDE..to.div_ceil(SIDE);
            for column in (own.start..tiles.start).chain(tiles.end..own.end) {
                self.take_cells(band.row * self.wide + column);
            }
            tiles = tiles.start.min(own.start)..tiles.end.max(own.end);
        }
        for column in tiles {
            let Tile::Cells(at) = self.tiles[band.row * self.wide + column] else {
                continue;
            };
            let left = column * SIDE;
            let cells = &mut self.solid[at as usize][band.first..band.end];
            for (cells, [from, to]) in cells.iter_mut().zip(spans) {
                let [from, to] = [from, to].map(|at| at.saturating_sub(left).min(SIDE) as u32);
                *cells |= ((1u32 << to) - (1u32 << from)) as u16;
            }
        }
    }

    /// Sees to it that a tile has cells.
    fn take_cells(&mut self, tile: usize) {
        if let Tile::Whole(_) = self.tiles[tile] {
            self.tiles[tile] = Tile::Cells(self.solid.len() as u32);
            self.solid.push([0; SIDE]);
            self.rows.push(Rows::default());
        }
    }
}
