//! One layer on a grid: where plastic lies, what is outside it, and which voids it encloses.
//!
//! A grid and not polygons: beads cross, touch and leave gaps of any size, and a cell of a fraction
//! of a bead takes all of that as it is. Only tiles that plastic touches have cells; all others are
//! one label, so that time and memory go by the path and not by the bed.

use std::ops::Range;

use super::beads::{STRAIGHT_MAX, end_cell, first_cell, reach, straight};
use super::limits::{Budget, DRAWN_TILES_MAX, TILES_MAX};

pub use super::beads::Bead;

/// What a cell is: plastic, outside, or the number of a void from 2 on.
pub type Label = u32;
/// Plastic.
pub const SOLID: Label = 0;
/// Reachable from outside in the plane of the layer.
pub const OUTSIDE: Label = 1;

/// Cells along a tile's side.
pub(super) const SIDE: usize = 16;

/// A tile that no plastic touches has one label; the others have cells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Tile {
    Whole(Label),
    /// The place of its rows, and of the runs in them.
    Cells(u32),
}

/// Free cells side by side in one row of a tile, as bits.
#[derive(Clone, Copy, Debug)]
pub(super) struct Run {
    pub(super) cells: u16,
    pub(super) label: Label,
}

/// A tile's runs.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rows {
    /// Where they begin.
    pub(super) first: u32,
    /// By row: its first run and the one behind its last, counted from `first`.
    pub(super) spans: [[u8; 2]; SIDE],
    /// The least of their labels; `Label::MAX`: there are none.
    pub(super) least: Label,
    /// Their labels, each once, if there are few.
    pub(super) few: Option<([Label; FEW], u8)>,
}

impl Default for Rows {
    fn default() -> Self {
        Rows {
            first: 0,
            spans: [[0; 2]; SIDE],
            least: Label::MAX,
            few: None,
        }
    }
}

impl Rows {
    /// The places of all runs.
    pub(super) fn all(&self) -> Range<usize> {
        let first = self.first as usize;
        first..first + usize::from(self.spans[SIDE - 1][1])
    }
}

/// Work on a tile with plastic, in that on a free one.
const TILE_WORK: f64 = 40.0;
/// Labels of a tile that are counted.
pub(super) const FEW: usize = 4;

/// A layer's cells.
#[derive(Clone, Debug)]
pub struct Grid {
    /// The first tile's place in the lattice of all tiles of this size.
    pub(super) first: [i64; 2],
    pub(super) cell_mm: f64,
    /// Tiles.
    pub(super) wide: usize,
    pub(super) high: usize,
    pub(super) tiles: Vec<Tile>,
    /// Plastic, row by row as bits, of those tiles that have cells.
    pub(super) solid: Vec<[u16; SIDE]>,
    pub(super) rows: Vec<Rows>,
    pub(super) runs: Vec<Run>,
    /// The work that drawing it took off the budget.
    pub(super) work: f64,
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
            tiles: vec![Tile::Whole(SOLID); wide * tall],
            solid: Vec::new(),
            rows: Vec::new(),
            runs: Vec::new(),
            work,
            labels_end: OUTSIDE + 1,
        };
        let mut beads = beads;
        let mut next: Vec<Bead> = Vec::with_capacity(STRAIGHT_MAX);
        loop {
            next.extend(beads.by_ref().take(STRAIGHT_MAX - next.len()));
            let Some(first) = next.first() else { break };
            let count = straight(&next, cell_mm);
            grid.draw(&Bead {
                to_mm: next[count - 1].to_mm,
                ..*first
            });
            next.drain(..count);
            if grid.solid.len() > DRAWN_TILES_MAX {
                return None;
            }
        }
        grid.label();
        Some(grid)
    }

    /// Each tile with cells, row by row: its column and row among the tiles, and the place of its cells.
    pub(super) fn each_drawn(&self, mut each: impl FnMut(usize, usize, u32)) {
        for (y, row) in self.tiles.chunks_exact(self.wide).enumerate() {
            for (x, tile) in row.iter().enumerate() {
                if let Tile::Cells(at) = tile {
                    each(x, y, *at);
                }
            }
        }
    }

    /// Whether `good` holds for each label of a tile's free cells; false where there are many.
    #[inline]
    pub(super) fn all_labels(&self, tile: Tile, mut good: impl FnMut(Label) -> bool) -> bool {
        match tile {
            Tile::Whole(label) => good(label),
            Tile::Cells(at) => match &self.rows[at as usize].few {
                Some((few, count)) => few[..usize::from(*count)].iter().all(|l| good(*l)),
                None => false,
            },
        }
    }

    /// The runs of a row of a tile with cells.
    #[inline]
    pub(super) fn row(&self, at: u32, row: usize) -> &[Run] {
        let rows = &self.rows[at as usize];
        let first = rows.first as usize;
        let [begin, end] = rows.spans[row].map(usize::from);
        &self.runs[first + begin..first + end]
    }

    /// A point in cells from the grid's corner.
    pub(super) fn cell(&self, at_mm: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|k| at_mm[k] / self.cell_mm - (self.first[k] * SIDE as i64) as f64)
    }

    fn at(&self, column: usize, row: usize) -> Label {
        match self.tiles[row / SIDE * self.wide + column / SIDE] {
            Tile::Whole(label) => label,
            Tile::Cells(at) => {
                let bit = 1 << (column % SIDE);
                let runs = self.row(at, row % SIDE);
                runs.iter()
                    .find(|run| run.cells & bit != 0)
                    .map_or(SOLID, |run| run.label)
            }
        }
    }

    /// What a bead of this width at this point faces: outside before any void, else a void, else
    /// only plastic. `seen` keeps from call to call the middle of a cell that is outside: of two points
    /// that lie near each other both mostly face it.
    pub fn faces(&self, at_mm: [f64; 2], width_mm: f64, seen: &mut Option<[f64; 2]>) -> Label {
        let radius = reach(width_mm) / self.cell_mm + 1.5;
        let [x, y] = self.cell(at_mm);
        if let Some([seen_x, seen_y]) = seen {
            let (dx, dy) = (*seen_x - x, *seen_y - y);
            // A little less than what the rows below find, rounding apart.
            if dx * dx + dy * dy < radius * radius * (1.0 - 1e-9) {
                return OUTSIDE;
            }
        }
        let (rows, columns) = (self.high * SIDE, self.wide * SIDE);
        let (first, end) = (first_cell(y - radius), end_cell(y + radius).min(rows));
        let least = self.least([first_cell(x - radius), end_cell(x + radius)], [first, end]);
        if least == Label::MAX {
            return SOLID;
        }
        let mut faced = SOLID;
        // From the middle row on: what is seen there is seen longest.
        let middle_row = (y as usize).clamp(first, end.max(first));
        for row in (middle_row..end).chain((first..middle_row).rev()) {
            let dy = row as f64 + 0.5 - y;
            let reach = (radius * radius - dy * dy).max(0.0).sqrt();
            let mut from = first_cell(x - reach);
            let to = end_cell(x + reach).min(columns);
            while from < to {
                let span = (SIDE - from % SIDE).min(to - from);
                let mut middle = 0.0;
                let mut meet = |label: Label, column: usize| {
                    if faced == SOLID || label < faced {
                        faced = label;
                        middle = column as f64 + 0.5;
                    }
                };
                match self.tiles[row / SIDE * self.wide + from / SIDE] {
                    Tile::Whole(label) => meet(label, from),
                    Tile::Cells(at) => {
                        let wanted = cells(from % SIDE, span);
                        let free = wanted & !self.solid[at as usize][row % SIDE];
                        let runs = if free == 0 {
                            &[]
                        } else {
                            self.row(at, row % SIDE)
                        };
                        for run in runs {
                            let met = run.cells & free;
                            if met != 0 {
                                let column = from - from % SIDE + met.trailing_zeros() as usize;
                                meet(run.label, column);
                            }
                        }
                    }
                }
                if faced == OUTSIDE {
                    *seen = Some([middle, row as f64 + 0.5]);
                    return OUTSIDE;
                }
                from += span;
            }
            // Nothing near it comes before that.
            if faced == least {
                return faced;
            }
        }
        faced
    }

    /// The least label of the tiles in which these columns and rows lie, each from the first to the one behind the
    /// last; `Label::MAX` where all is plastic.
    fn least(&self, columns: [usize; 2], rows: [usize; 2]) -> Label {
        let mut least = Label::MAX;
        for row in rows[0] / SIDE..rows[1].div_ceil(SIDE) {
            for column in columns[0] / SIDE..columns[1].div_ceil(SIDE).min(self.wide) {
                least = least.min(match self.tiles[row * self.wide + column] {
                    Tile::Whole(label) => label,
                    Tile::Cells(at) => self.rows[at as usize].least,
                });
            }
        }
        least
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

    pub(super) fn tile(&self, column: i64, row: i64) -> Tile {
        let (column, row) = (column - self.first[0], row - self.first[1]);
        let inside = |at: i64, tiles: usize| at >= 0 && (at as usize) < tiles;
        if inside(column, self.wide) && inside(row, self.high) {
            self.tiles[row as usize * self.wide + column as usize]
        } else {
            Tile::Whole(OUTSIDE)
        }
    }
}

impl Tile {
    /// Its label, if it has but one.
    pub(super) fn label(self) -> Label {
        match self {
            Tile::Whole(label) => label,
            Tile::Cells(_) => SOLID,
        }
    }
}

/// Bits of `span` cells from `from` on.
#[inline]
fn cells(from: usize, span: usize) -> u16 {
    (((1u32 << span) - 1) << from) as u16
}
