//! One layer on a grid: where plastic lies, what is outside it, and which voids it encloses.
//!
//! A grid and not polygons: beads cross, touch and leave gaps of any size, and a cell of a fraction
//! of a bead takes all of that as it is. Only tiles that plastic touches have cells; all others are
//! one label, so that time and memory go by the path and not by the bed.

use super::beads::{STRAIGHT_MAX, each_row, end_cell, first_cell, reach, straight};
use super::joined::Sets;
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

/// Where a tile's runs begin, and how many lie before each of its rows.
#[derive(Clone, Copy, Debug)]
struct Rows {
    first: u32,
    before: [u8; SIDE + 1],
    /// The labels of its runs, each once, if there are few.
    few: Option<([Label; FEW], u8)>,
}

/// Work on a tile with plastic, in that on a free one.
const TILE_WORK: f64 = 40.0;
/// Labels of a tile that are counted.
const FEW: usize = 3;

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
    rows: Vec<Rows>,
    runs: Vec<Run>,
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
        if !(tiles <= TILES_MAX && budget.spend(tiles + work)) {
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
        for (place, tile) in self.tiles.iter().enumerate() {
            if let Tile::Cells(at) = tile {
                each(place % self.wide, place / self.wide, *at);
            }
        }
    }

    /// Finds what hangs together: each free tile and each run of free cells is a node, joined with
    /// those beside and above it; what hangs together with the rim is outside.
    fn label(&mut self) {
        let mut sets = Sets::default();
        // Nodes as labels for now.
        for place in 0..self.tiles.len() {
            let left = (!place.is_multiple_of(self.wide)).then(|| place - 1);
            let up = place.checked_sub(self.wide);
            match self.tiles[place] {
                Tile::Whole(_) => {
                    let node = sets.node();
                    self.tiles[place] = Tile::Whole(node);
                    match left.map(|left| (left, self.tiles[left])) {
                        Some((_, Tile::Whole(other))) => sets.join(node, other),
                        Some((left, _)) => {
                            self.each_at_edge(left, Side::Right, |_, other| sets.join(node, other));
                        }
                        None => {}
                    }
                    if let Some(up) = up {
                        self.each_at_edge(up, Side::Bottom, |_, other| sets.join(node, other));
                    }
                }
                Tile::Cells(at) => {
                    self.find_runs(at, &mut sets);
                    if let Some(left) = left {
                        self.each_at_edge(left, Side::Right, |row, other| {
                            for run in self.row(at, row) {
                                if run.cells & 1 != 0 {
                                    sets.join(run.label, other);
                                }
                            }
                        });
                    }
                    if let Some(up) = up {
                        for run in self.row(at, 0) {
                            self.each_over(up, run.cells, |other| sets.join(run.label, other));
                        }
                    }
                }
            }
        }
        self.name(sets);
    }

    /// Finds the runs of free cells of a tile; those that touch within it share a node.
    fn find_runs(&mut self, at: u32, sets: &mut Sets) {
        let solid = self.solid[at as usize];
        let first = self.runs.len();
        let mut rows = Rows {
            first: first as u32,
            before: [0; SIDE + 1],
            few: None,
        };
        let mut row_above = first;
        for (row, solid) in solid.into_iter().enumerate() {
            let row_first = self.runs.len();
            let mut free = !solid;
            while free != 0 {
                let from = free.trailing_zeros();
                let long = (free >> from).trailing_ones();
                let cells = ((1u32 << (from + long)) - (1u32 << from)) as u16;
                free &= !cells;
                // The node of what it touches above, if there is any.
                let mut label = None;
                for run in &self.runs[row_above..row_first] {
                    if run.cells & cells != 0 {
                        match label {
                            None => label = Some(run.label),
                            Some(label) => sets.join(label, run.label),
                        }
                    }
                }
                let label = label.unwrap_or_else(|| sets.node());
                self.runs.push(Run { cells, label });
            }
            row_above = row_first;
            rows.before[row + 1] = (self.runs.len() - first) as u8;
        }
        self.rows[at as usize] = rows;
    }

    /// Gives each set of nodes its label.
    fn name(&mut self, mut sets: Sets) {
        // The first tile lies on the rim.
        let mut labels = vec![SOLID; sets.parents.len()];
        if let Some(Tile::Whole(rim)) = self.tiles.first() {
            labels[sets.root(*rim) as usize] = OUTSIDE;
        }
        let mut end = OUTSIDE + 1;
        let mut name = |node: &mut Label| {
            let label = &mut labels[sets.root(*node) as usize];
            if *label == SOLID {
                *label = end;
                end += 1;
            }
            *node = *label;
        };
        for tile in &mut self.tiles {
            match tile {
                Tile::Whole(node) => name(node),
                Tile::Cells(at) => {
                    let rows = self.rows[*at as usize];
                    let first = rows.first as usize;
                    let runs = first..first + usize::from(rows.before[SIDE]);
                    let mut few = [SOLID; FEW];
                    let mut count = 0;
                    let mut last = (Label::MAX, SOLID);
                    for run in &mut self.runs[runs] {
                        // Runs of one void mostly follow each other.
                        let node = run.label;
                        if node != last.0 {
                            name(&mut run.label);
                            last = (node, run.label);
                        }
                        run.label = last.1;
                        if !few[..count.min(FEW)].contains(&run.label) {
                            if let Some(place) = few.get_mut(count) {
                                *place = run.label;
                            }
                            count += 1;
                        }
                    }
                    self.rows[*at as usize].few = (count <= FEW).then_some((few, count as u8));
                }
            }
        }
        self.labels_end = end;
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
        &self.runs[first + usize::from(rows.before[row])..first + usize::from(rows.before[row + 1])]
    }

    /// What is free on an edge of a tile: a row or column, and its label; a whole tile counts for
    /// all rows.
    fn each_at_edge(&self, tile: usize, side: Side, mut each: impl FnMut(usize, Label)) {
        match (self.tiles[tile], side) {
            (Tile::Whole(label), Side::Right) => (0..SIDE).for_each(|row| each(row, label)),
            (Tile::Whole(label), Side::Bottom) => each(SIDE - 1, label),
            (Tile::Cells(at), Side::Right) => {
                for row in 0..SIDE {
                    if let Some(run) = self.row(at, row).last()
                        && run.cells >> (SIDE - 1) != 0
                    {
                        each(row, run.label);
                    }
                }
            }
            (Tile::Cells(at), Side::Bottom) => {
                for run in self.row(at, SIDE - 1) {
                    each(SIDE - 1, run.label);
                }
            }
        }
    }

    /// What is free in the last row of a tile over these cells.
    fn each_over(&self, tile: usize, cells: u16, mut each: impl FnMut(Label)) {
        match self.tiles[tile] {
            Tile::Whole(label) => each(label),
            Tile::Cells(at) => {
                for run in self.row(at, SIDE - 1) {
                    if run.cells & cells != 0 {
                        each(run.label);
                    }
                }
            }
        }
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

    fn draw(&mut self, bead: &Bead) {
        let ends = [self.cell(bead.from_mm), self.cell(bead.to_mm)];
        let radius = reach(bead.width_mm) / self.cell_mm;
        let (rows, columns) = (self.high * SIDE, self.wide * SIDE);
        each_row(ends, radius, |row, from, to| {
            if row < rows {
                self.fill(row, from, to.min(columns));
            }
        });
    }

    fn fill(&mut self, row: usize, mut from: usize, to: usize) {
        while from < to {
            let tile = row / SIDE * self.wide + from / SIDE;
            let span = (SIDE - from % SIDE).min(to - from);
            let at = match self.tiles[tile] {
                Tile::Cells(at) => at,
                Tile::Whole(_) => {
                    let at = self.solid.len() as u32;
                    self.solid.push([0; SIDE]);
                    self.rows.push(Rows {
                        first: 0,
                        before: [0; SIDE + 1],
                        few: None,
                    });
                    self.tiles[tile] = Tile::Cells(at);
                    at
                }
            };
            self.solid[at as usize][row % SIDE] |= cells(from % SIDE, span);
            from += span;
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
                        for run in self.row(at, row % SIDE) {
                            let met = run.cells & wanted;
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
        }
        faced
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

/// An edge of a tile.
#[derive(Clone, Copy)]
enum Side {
    Right,
    Bottom,
}
