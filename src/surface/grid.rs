//! One layer on a grid: where plastic lies, what is outside it, and which voids it encloses.
//!
//! A grid and not polygons: beads cross, touch and leave gaps of any size, and a cell of a fraction
//! of a bead takes all of that as it is. Only tiles that plastic touches have cells; all others are
//! one label, so that time and memory go by the path and not by the bed.

use super::beads::{STRAIGHT_MAX, end_cell, first_cell, reach, straight};
use super::cells::{Cells, Piece, Plastic, SIDE, span};
use super::limits::{Budget, DRAWN_TILES_MAX, TILES_MAX};
use super::patterns::{FREE, Kind, Labels, Patterns};

pub use super::beads::Bead;

/// What a cell is: plastic, outside, or the number of a void from 2 on.
pub type Label = u32;
/// Plastic.
pub const SOLID: Label = 0;
/// Reachable from outside in the plane of the layer.
pub const OUTSIDE: Label = 1;

/// What was seen from a point, in cells.
#[derive(Clone, Copy, Debug)]
pub struct Sight {
    label: Label,
    /// The middle of a cell that has this label, from the grid's corner.
    middle: [f64; 2],
    /// From the point in that cell's direction, to where the same is likely to be seen from others.
    ahead: [f64; 2],
}

/// Work on a tile with plastic, in that on a free one.
const TILE_WORK: f64 = 40.0;
/// Cells around a bead for which it is worth a look at the labels of all: some 40 tiles.
const ALONG_CELLS_MAX: f64 = 1e4;

/// A layer's cells.
#[derive(Clone, Debug)]
pub struct Grid {
    /// The first tile's place in the lattice of all tiles of this size.
    pub(super) first: [i64; 2],
    pub(super) cell_mm: f64,
    /// Tiles.
    pub(super) wide: usize,
    pub(super) high: usize,
    /// Row by row: each tile's pattern; while beads are drawn, its number among those with plastic, from 1.
    pub(super) tiles: Vec<u32>,
    /// The places of tiles with plastic, in the order of drawing.
    pub(super) drawn: Vec<u32>,
    pub(super) patterns: Patterns,
    /// Of what is free.
    pub(super) labels: Labels,
    /// The work that drawing it took off the budget.
    pub(super) work: f64,
    /// Whether each bead lies on beads before it: all plastic hangs together.
    pub(super) is_one: bool,
    /// By tile: the least of its labels; `Label::MAX` where all is plastic.
    pub(super) least: Vec<Label>,
    /// Labels used: voids are 2 to this less one.
    pub labels_end: Label,
}

impl Grid {
    /// Draws the beads on cells of `cell_mm`, and labels what they leave. `None` where that would take more
    /// tiles than a layer may have, or more work than is left.
    pub fn new(
        beads: impl Iterator<Item = Bead> + Clone,
        cell_mm: f64,
        budget: &mut Budget,
    ) -> Option<Self> {
        let mut low = [f64::MAX; 2];
        let mut high = [f64::MIN; 2];
        let mut widest: f64 = 0.0;
        let mut work = 0.0;
        for bead in beads.clone() {
            widest = widest.max(bead.width_mm);
            let [x_mm, y_mm] = [0, 1].map(|k| (bead.to_mm[k] - bead.from_mm[k]).abs());
            work += (y_mm + (x_mm + y_mm) * TILE_WORK / SIDE as f64) / cell_mm;
            for point in [bead.from_mm, bead.to_mm] {
                for axis in 0..2 {
                    low[axis] = low[axis].min(point[axis]);
                    high[axis] = high[axis].max(point[axis]);
                }
            }
        }
        if widest == 0.0 {
            (low, high) = ([0.0; 2], [0.0; 2]);
        }
        let tile_mm = cell_mm * SIDE as f64;
        // A rim of free tiles, so that outside is all of one piece.
        let rim_mm = widest + cell_mm;
        let first = low.map(|mm| ((mm - rim_mm) / tile_mm).floor() as i64 - 1);
        let last = high.map(|mm| ((mm + rim_mm) / tile_mm).floor() as i64 + 1);
        let spans = [0, 1].map(|k| last[k] as f64 - first[k] as f64 + 1.0);
        let tiles = spans[0] * spans[1];
        work += tiles;
        if !(tiles <= TILES_MAX && budget.spend(work)) {
            return None;
        }
        let (wide, tall) = (spans[0] as usize, spans[1] as usize);
        let mut grid = Grid {
            first,
            cell_mm,
            wide,
            high: tall,
            tiles: vec![FREE; wide * tall],
            drawn: Vec::new(),
            patterns: Patterns::default(),
            labels: Labels::default(),
            work,
            is_one: true,
            least: Vec::new(),
            labels_end: OUTSIDE + 1,
        };
        let mut plastic = Plastic::default();
        let mut beads = beads;
        let mut next: Vec<Bead> = Vec::with_capacity(STRAIGHT_MAX);
        loop {
            next.extend(beads.by_ref().take(STRAIGHT_MAX - next.len()));
            let Some(first) = next.first() else { break };
            let count = straight(&next, cell_mm);
            let bead = Bead {
                to_mm: next[count - 1].to_mm,
                ..*first
            };
            let begins = plastic.tiles.is_empty();
            plastic.meets = false;
            grid.draw(&bead, &mut plastic);
            grid.is_one &= begins || plastic.meets;
            next.drain(..count);
            if plastic.tiles.len() > DRAWN_TILES_MAX {
                return None;
            }
        }
        let patterns = grid.patterns.of(&plastic.tiles);
        drop(plastic);
        for (place, pattern) in grid.drawn.iter().zip(patterns) {
            grid.tiles[*place as usize] = pattern;
        }
        grid.label();
        Some(grid)
    }

    /// Each tile with plastic, row by row: its column and row among the tiles, and its place.
    pub(super) fn each_drawn(&self, mut each: impl FnMut(usize, usize, usize)) {
        for (y, row) in self.tiles.chunks_exact(self.wide).enumerate() {
            for (x, pattern) in row.iter().enumerate() {
                if *pattern != FREE {
                    each(x, y, y * self.wide + x);
                }
            }
        }
    }

    /// The pieces of the tile at a place.
    #[inline]
    pub(super) fn pieces(&self, place: usize, kind: Kind) -> &[Piece] {
        self.patterns.pieces(kind).of(self.tiles[place])
    }

    /// What is free of the tile at a place, and the label of each piece.
    #[inline]
    pub(super) fn free(&self, place: usize) -> (&[Piece], &[Label]) {
        (
            self.pieces(place, Kind::Free),
            self.labels.of(place..place + 1),
        )
    }

    /// A point in cells from the grid's corner.
    pub(super) fn cell(&self, at_mm: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|k| at_mm[k] / self.cell_mm - (self.first[k] * SIDE as i64) as f64)
    }

    #[inline]
    fn at(&self, column: usize, row: usize) -> Label {
        let (pieces, labels) = self.free(row / SIDE * self.wide + column / SIDE);
        let there = |piece: &Piece| piece.cells.has(column % SIDE, row % SIDE);
        pieces.iter().position(there).map_or(SOLID, |k| labels[k])
    }

    /// What a bead of this width at this point faces: outside before any void, else the first void, else only
    /// plastic. `seen` keeps from call to call what was faced last: of two points that lie near each other both mostly
    /// face the same, and of two on one bead in the same direction.
    pub fn faces(&self, at_mm: [f64; 2], width_mm: f64, seen: &mut Option<Sight>) -> Label {
        let radius = reach(width_mm) / self.cell_mm + 1.5;
        let [x, y] = self.cell(at_mm);
        if let Some(sight) = seen
            && sight.label == OUTSIDE
            && is_near([x, y], sight.middle, radius)
        {
            return OUTSIDE;
        }
        let near_tiles = self.near([x, y], [x, y], radius).flatten();
        let least = near_tiles.fold(Label::MAX, |least, own| least.min(*own));
        if least == Label::MAX {
            return SOLID;
        }
        let (rows, columns) = (self.high * SIDE, self.wide * SIDE);
        let window = || {
            [
                [first_cell(x - radius), end_cell(x + radius).min(columns)],
                [first_cell(y - radius), end_cell(y + radius).min(rows)],
            ]
        };
        if let Some(sight) = seen
            && let Some((label, middle)) = self.again([x, y], radius, sight)
            && (label == least || !self.has_less(window(), label))
        {
            (sight.label, sight.middle) = (label, middle);
            return label;
        }
        let window = window();
        let Some((label, middle)) = self.search([x, y], radius, window) else {
            return SOLID;
        };
        let aside = [middle[0] - x, middle[1] - y];
        let far = (aside[0] * aside[0] + aside[1] * aside[1]).sqrt();
        *seen = Some(Sight {
            label,
            middle,
            // From there, any cell's middle that is nearest lies within the radius.
            ahead: aside.map(|at| at / far.max(0.1) * (radius - 0.75)),
        });
        label
    }

    /// Of each row, the least labels of the tiles that hold all that is near a box, in cells, and now and then of some more.
    #[inline]
    fn near(&self, low: [f64; 2], high: [f64; 2], radius: f64) -> impl Iterator<Item = &[Label]> {
        let tile = |at: f64| at.max(0.0) as u32 as usize / SIDE;
        let end = |at: f64, tiles: usize| (tile(at + radius + 1.0) + 1).min(tiles);
        let columns = tile(low[0] - radius)..end(high[0], self.wide);
        let rows = tile(low[1] - radius)..end(high[1], self.high);
        let first = |row: usize| row * self.wide;
        rows.map(move |row| &self.least[first(row)..first(row + 1)])
            .filter_map(move |row| row.get(columns.clone()))
    }

    /// No bead of this width between two points faces less than this label; `Label::MAX`: it faces only plastic.
    pub(super) fn least_along(&self, bead: &Bead) -> Label {
        let radius = reach(bead.width_mm) / self.cell_mm + 1.5;
        let [from, to] = [bead.from_mm, bead.to_mm].map(|end_mm| self.cell(end_mm));
        let low = [0, 1].map(|k| from[k].min(to[k]));
        let high = [0, 1].map(|k| from[k].max(to[k]));
        let area = (high[0] - low[0] + SIDE as f64) * (high[1] - low[1] + SIDE as f64);
        if area > ALONG_CELLS_MAX {
            return OUTSIDE;
        }
        let labels = self.near(low, high, radius).flatten();
        labels.fold(Label::MAX, |least, own| least.min(*own))
    }

    /// Whether a bead at a point faces anything but plastic. `seen` is for [`Grid::faces`].
    pub(super) fn is_seen(&self, at_mm: [f64; 2], width_mm: f64, seen: &mut Option<Sight>) -> bool {
        let [x, y] = self.cell(at_mm);
        let radius = reach(width_mm) / self.cell_mm + 1.5;
        let again = seen.is_some_and(|sight| self.again([x, y], radius, &sight).is_some());
        again || self.faces(at_mm, width_mm, seen) != SOLID
    }

    /// What lies where something was seen from another point in the same direction, if it is not plastic, and the middle
    /// of its cell.
    #[inline]
    fn again(&self, [x, y]: [f64; 2], radius: f64, sight: &Sight) -> Option<(Label, [f64; 2])> {
        let there = [x + sight.ahead[0], y + sight.ahead[1]].map(|at| at.max(0.0) as u32);
        let middle = there.map(|cell| f64::from(cell) + 0.5);
        let [column, row] = there.map(|cell| cell as usize);
        let on_grid = column < self.wide * SIDE && row < self.high * SIDE;
        if !on_grid || !is_near([x, y], middle, radius) {
            return None;
        }
        let label = self.at(column, row);
        (label != SOLID).then_some((label, middle))
    }

    /// Whether there is less than a label in a window of columns and rows.
    fn has_less(&self, window @ [columns, rows]: [[usize; 2]; 2], label: Label) -> bool {
        let mut has = false;
        each_tile(window, |column, row| {
            let place = row * self.wide + column;
            if self.least[place] >= label {
                return;
            }
            let [columns, rows] = [(columns, column), (rows, row)].map(within);
            let block = Cells::block(span(columns[0], columns[1]), rows);
            let (pieces, labels) = self.free(place);
            has |= (pieces.iter().zip(labels)).any(|(p, l)| *l < label && p.cells.meet(&block));
        });
        has
    }

    /// The least label within `radius` of a point, and the middle of the nearest cell that has it. `window` holds all
    /// cells that near.
    fn search(
        &self,
        [x, y]: [f64; 2],
        radius: f64,
        window @ [_, rows]: [[usize; 2]; 2],
    ) -> Option<(Label, [f64; 2])> {
        let mut found: Option<(Label, [f64; 2], f64)> = None;
        each_tile(window, |column, tile_row| {
            let corner = [column, tile_row].map(|tile| (tile * SIDE) as f64);
            let mut disc = Cells::default();
            let rows = within((rows, tile_row));
            for row in rows[0]..rows[1] {
                let dy = (tile_row * SIDE + row) as f64 + 0.5 - y;
                let reach = (radius * radius - dy * dy).max(0.0).sqrt();
                let [from, to] = within(([first_cell(x - reach), end_cell(x + reach)], column));
                disc.add_row(row, if from < to { span(from, to) } else { 0 });
            }
            let mut meet = |label: Label, cells: Cells| {
                if cells.is_empty() || found.is_some_and(|(least, ..)| label > least) {
                    return;
                }
                let (middle, far) = cells.nearest([x - corner[0], y - corner[1]]);
                if found.is_none_or(|(least, _, nearest)| label < least || far < nearest) {
                    found = Some((label, [0, 1].map(|k| corner[k] + middle[k]), far));
                }
            };
            let (pieces, labels) = self.free(tile_row * self.wide + column);
            for (piece, label) in pieces.iter().zip(labels) {
                meet(*label, piece.cells.both(&disc));
            }
        });
        found.map(|(label, middle, _)| (label, middle))
    }

    /// The label of a cell counted in the lattice of all cells; beyond the grid all is outside.
    pub(super) fn lattice(&self, column: i64, row: i64) -> Label {
        let column = column - self.first[0] * SIDE as i64;
        let row = row - self.first[1] * SIDE as i64;
        let inside = |at: i64, tiles: usize| at >= 0 && (at as usize) < tiles * SIDE;
        if inside(column, self.wide) && inside(row, self.high) {
            self.at(column as usize, row as usize)
        } else {
            OUTSIDE
        }
    }
}

/// Whether a cell's middle lies within a distance of a point for sure: a little less, rounding apart.
#[inline]
fn is_near([x, y]: [f64; 2], middle: [f64; 2], radius: f64) -> bool {
    let (dx, dy) = (middle[0] - x, middle[1] - y);
    dx * dx + dy * dy < radius * radius * (1.0 - 1e-9)
}

/// Each tile of a window of columns and rows, the ends excluded: its column and row.
#[inline]
fn each_tile([columns, rows]: [[usize; 2]; 2], mut each: impl FnMut(usize, usize)) {
    for row in rows[0] / SIDE..rows[1].div_ceil(SIDE) {
        for column in columns[0] / SIDE..columns[1].div_ceil(SIDE) {
            each(column, row);
        }
    }
}

/// What a tile has of columns or rows, the end excluded, counted from its own first; `tile`: its place among the tiles.
#[inline]
fn within((ends, tile): ([usize; 2], usize)) -> [usize; 2] {
    ends.map(|end| end.saturating_sub(tile * SIDE).min(SIDE))
}
