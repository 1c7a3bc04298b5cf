//! Draws beads on a grid: the cells under a bead become plastic.

use std::ops::Range;

use super::beads::{each_span, reach};
use super::cells::{Cells, Plastic, SIDE, span};
use super::grid::{Bead, Grid};
use super::patterns::FREE;

impl Grid {
    /// Draws a bead.
    pub(super) fn draw(&mut self, bead: &Bead, plastic: &mut Plastic) {
        let ends = [self.cell(bead.from_mm), self.cell(bead.to_mm)];
        let radius = reach(bead.width_mm) / self.cell_mm;
        each_span(ends, radius, |rows, spans| match spans {
            [columns] => self.fill_block(rows, *columns, plastic),
            _ => self.fill(rows, spans, plastic),
        });
    }

    /// Makes plastic of some columns of some rows.
    fn fill_block(&mut self, rows: Range<usize>, [from, to]: [usize; 2], plastic: &mut Plastic) {
        let to = to.min(self.wide * SIDE);
        let mut first = rows.start;
        while first < rows.end {
            let row = first / SIDE;
            let end = rows.end.min((row + 1) * SIDE);
            if row >= self.high {
                return;
            }
            let rows = [first - row * SIDE, end - row * SIDE];
            for column in from / SIDE..to.div_ceil(SIDE) {
                let left = column * SIDE;
                let columns = span(from.saturating_sub(left), (to - left).min(SIDE));
                let at = self.take_cells(row * self.wide + column, plastic);
                if rows == [0, SIDE] {
                    plastic.add(at, &Cells::columns(columns));
                } else {
                    plastic.add(at, &Cells::block(columns, rows));
                }
            }
            first = end;
        }
    }

    /// Makes plastic of the columns of each of these rows, which lie in one row of tiles.
    fn fill(&mut self, rows: Range<usize>, spans: &[[usize; 2]], plastic: &mut Plastic) {
        let (row, columns) = (rows.start / SIDE, self.wide * SIDE);
        if row >= self.high {
            return;
        }
        // The tiles so far: those of a bead hang together. Tiles are numbered as its rows come to them.
        let mut tiles = 0..0;
        // What all rows cover.
        let mut common = [0, usize::MAX];
        for [from, to] in spans {
            let to = to.min(&columns);
            common = [common[0].max(*from), common[1].min(*to)];
            if from >= to {
                continue;
            }
            let own = from / SIDE..to.div_ceil(SIDE);
            if tiles.is_empty() {
                tiles = own.start..own.start;
            }
            if own.start < tiles.start || own.end > tiles.end {
                for column in (own.start..tiles.start).chain(tiles.end..own.end) {
                    self.take_cells(row * self.wide + column, plastic);
                }
                tiles = tiles.start.min(own.start)..tiles.end.max(own.end);
            }
        }
        let first = rows.start % SIDE;
        let whole = Cells::block(u16::MAX, [first, first + spans.len()]);
        for column in tiles {
            let at = self.take_cells(row * self.wide + column, plastic);
            let left = column * SIDE;
            if common[0] <= left && common[1] >= left + SIDE {
                plastic.add(at, &whole);
                continue;
            }
            let mut cells = Cells::default();
            for (row, [from, to]) in (first..).zip(spans) {
                let [from, to] = [from, to].map(|at| at.saturating_sub(left).min(SIDE));
                if from < to {
                    cells.add_row(row, span(from, to));
                }
            }
            plastic.add(at, &cells);
        }
    }

    /// The place of a tile's cells; it has some from now on.
    #[inline]
    fn take_cells(&mut self, tile: usize, plastic: &mut Plastic) -> usize {
        if self.tiles[tile] == FREE {
            self.drawn.push(tile as u32);
            plastic.tiles.push(Cells::default());
            self.tiles[tile] = plastic.tiles.len() as u32;
        }
        self.tiles[tile] as usize - 1
    }
}
