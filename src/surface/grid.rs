//! One layer on a grid: where plastic lies, what is outside it, and which voids it encloses.
//!
//! A grid and not polygons: beads cross, touch and leave gaps of any size, and a cell of a fraction
//! of a bead takes all of that as it is. Only tiles that plastic touches have cells; all others are
//! one label, so that time and memory go by the path and not by the bed.

use std::collections::BTreeMap;

/// A piece of bead, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bead {
    /// Start, x and y.
    pub from_mm: [f64; 2],
    /// End, x and y.
    pub to_mm: [f64; 2],
    /// Width.
    pub width_mm: f64,
}

/// What a cell is: plastic, outside, or the number of a void from 2 on.
pub type Label = u32;
/// Plastic.
pub const SOLID: Label = 0;
/// Reachable from outside in the plane of the layer.
pub const OUTSIDE: Label = 1;

/// Not known yet.
const OPEN: Label = Label::MAX;
/// Beads are drawn this much wider on each side, as a share of their width: gaps up to half a
/// bead let nothing in.
const CLOSING: f64 = 0.25;
/// Cells along a tile's side.
const SIDE: usize = 16;
const CELLS: usize = SIDE * SIDE;
/// Tiles that a layer may have; larger layers get larger cells.
const TILES_MAX: f64 = 1e6;

/// A tile: one label, or the place of its cells.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Tile {
    Whole(Label),
    Cells(u32),
}

/// A layer's cells.
#[derive(Clone, Debug)]
pub struct Grid {
    /// The first tile's place in the lattice of all tiles of this size.
    first: [i64; 2],
    cell_mm: f64,
    /// Tiles.
    wide: usize,
    high: usize,
    tiles: Vec<Tile>,
    /// Cells of those tiles that have them.
    labels: Vec<Label>,
    /// Labels used: voids are 2 to this less one.
    pub labels_end: Label,
}

impl Grid {
    /// Draws the beads, on cells of `cell_mm` or larger, and labels what they leave.
    pub fn new(beads: &[Bead], cell_mm: f64) -> Self {
        let mut low = [f64::MAX; 2];
        let mut high = [f64::MIN; 2];
        let mut widest: f64 = 0.0;
        for bead in beads {
            widest = widest.max(bead.width_mm);
            for point in [bead.from_mm, bead.to_mm] {
                for axis in 0..2 {
                    low[axis] = low[axis].min(point[axis]);
                    high[axis] = high[axis].max(point[axis]);
                }
            }
        }
        if beads.is_empty() {
            (low, high) = ([0.0; 2], [0.0; 2]);
        }
        let size = [high[0] - low[0], high[1] - low[1]].map(|mm| mm + 2.0 * widest);
        let least_mm = (size[0] * size[1] / TILES_MAX).sqrt();
        let cell_mm = cell_mm
            .max(least_mm / SIDE as f64)
            .max(size[0].max(size[1]) / TILES_MAX / SIDE as f64);
        let tile_mm = cell_mm * SIDE as f64;
        // A rim of free tiles, so that outside is all of one piece.
        let rim_mm = widest + cell_mm;
        let first = low.map(|mm| ((mm - rim_mm) / tile_mm).floor() as i64 - 1);
        let last = high.map(|mm| ((mm + rim_mm) / tile_mm).floor() as i64 + 1);
        let (wide, tall) = (
            (last[0] - first[0] + 1) as usize,
            (last[1] - first[1] + 1) as usize,
        );
        let mut grid = Grid {
            first,
            cell_mm,
            wide,
            high: tall,
            tiles: vec![Tile::Whole(OPEN); wide * tall],
            labels: Vec::new(),
            labels_end: OUTSIDE + 1,
        };
        for bead in beads {
            grid.draw(bead);
        }
        grid.flood(0, 0, OUTSIDE);
        for tile in 0..grid.tiles.len() {
            match grid.tiles[tile] {
                Tile::Whole(OPEN) => grid.next_void(tile, 0),
                Tile::Whole(_) => {}
                Tile::Cells(at) => {
                    for cell in 0..CELLS {
                        if grid.labels[at as usize + cell] == OPEN {
                            grid.next_void(tile, cell);
                        }
                    }
                }
            }
        }
        grid
    }

    fn next_void(&mut self, tile: usize, cell: usize) {
        self.flood(tile, cell, self.labels_end);
        self.labels_end += 1;
    }

    /// A point in cells from the grid's corner.
    fn cell(&self, at_mm: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|k| at_mm[k] / self.cell_mm - (self.first[k] * SIDE as i64) as f64)
    }

    fn at(&self, column: usize, row: usize) -> Label {
        let (tile, cell) = self.place(column, row);
        match self.tiles[tile] {
            Tile::Whole(label) => label,
            Tile::Cells(at) => self.labels[at as usize + cell],
        }
    }

    #[inline]
    fn place(&self, column: usize, row: usize) -> (usize, usize) {
        (
            row / SIDE * self.wide + column / SIDE,
            row % SIDE * SIDE + column % SIDE,
        )
    }

    fn cells_of(&mut self, tile: usize) -> usize {
        match self.tiles[tile] {
            Tile::Cells(at) => at as usize,
            Tile::Whole(label) => {
                let at = self.labels.len();
                self.labels.resize(at + CELLS, label);
                self.tiles[tile] = Tile::Cells(at as u32);
                at
            }
        }
    }

    /// Fills the cells whose middles lie within the bead, row by row: a bead with round ends is
    /// convex, so each row is one span.
    fn draw(&mut self, bead: &Bead) {
        let (a, b) = (self.cell(bead.from_mm), self.cell(bead.to_mm));
        let radius = bead.width_mm * (0.5 + CLOSING) / self.cell_mm;
        let (low, high) = (a[1].min(b[1]) - radius, a[1].max(b[1]) + radius);
        let long = (b[0] - a[0]).hypot(b[1] - a[1]);
        let (rows, columns) = (self.high * SIDE, self.wide * SIDE);
        let first = (low - 0.5).ceil().max(0.0) as usize;
        let end = ((high - 0.5).floor().max(-1.0) + 1.0).min(rows as f64) as usize;
        for row in first..end {
            let y = row as f64 + 0.5;
            let (mut left, mut right) = (f64::MAX, f64::MIN);
            let mut widen = |x: f64| {
                left = left.min(x);
                right = right.max(x);
            };
            for end in [a, b] {
                let reach = radius * radius - (y - end[1]) * (y - end[1]);
                if reach >= 0.0 {
                    widen(end[0] - reach.sqrt());
                    widen(end[0] + reach.sqrt());
                }
            }
            if long > 0.0 && a[1] != b[1] {
                let aside = [
                    -(b[1] - a[1]) / long * radius,
                    (b[0] - a[0]) / long * radius,
                ];
                for sign in [1.0, -1.0] {
                    // Where the row crosses this side of the bead.
                    let part = (y - a[1] - sign * aside[1]) / (b[1] - a[1]);
                    if (0.0..=1.0).contains(&part) {
                        widen(a[0] + sign * aside[0] + part * (b[0] - a[0]));
                    }
                }
            }
            if left > right {
                continue;
            }
            let from = (left - 0.5).ceil().max(0.0) as usize;
            let to = ((right - 0.5).floor().max(-1.0) + 1.0).min(columns as f64) as usize;
            self.fill(row, from, to);
        }
    }

    fn fill(&mut self, row: usize, mut from: usize, to: usize) {
        while from < to {
            let (tile, cell) = self.place(from, row);
            let span = (SIDE - from % SIDE).min(to - from);
            let at = self.cells_of(tile) + cell;
            self.labels[at..at + span].fill(SOLID);
            from += span;
        }
    }

    fn flood(&mut self, tile: usize, cell: usize, label: Label) {
        let mut open = vec![(tile, cell)];
        self.take(tile, cell, label);
        while let Some((tile, cell)) = open.pop() {
            let (row, column) = (tile / self.wide, tile % self.wide);
            let beside = [
                (column > 0).then(|| tile - 1),
                (column + 1 < self.wide).then_some(tile + 1),
                (row > 0).then(|| tile - self.wide),
                (row + 1 < self.high).then_some(tile + self.wide),
            ];
            let edge = |side: usize, k: usize| match side {
                0 => k * SIDE + SIDE - 1,
                1 => k * SIDE,
                2 => (SIDE - 1) * SIDE + k,
                _ => k,
            };
            if let Tile::Whole(_) = self.tiles[tile] {
                for (side, next) in beside.into_iter().enumerate() {
                    let Some(next) = next else { continue };
                    let cells = match self.tiles[next] {
                        Tile::Whole(_) => 0..1,
                        Tile::Cells(_) => 0..SIDE,
                    };
                    for k in cells {
                        if self.take(next, edge(side, k), label) {
                            open.push((next, edge(side, k)));
                        }
                    }
                }
                continue;
            }
            let (y, x) = (cell / SIDE, cell % SIDE);
            let steps = [
                (x > 0, 0, y, cell.wrapping_sub(1)),
                (x + 1 < SIDE, 1, y, cell + 1),
                (y > 0, 2, x, cell.wrapping_sub(SIDE)),
                (y + 1 < SIDE, 3, x, cell + SIDE),
            ];
            for (inside, side, k, next_cell) in steps {
                let next = match (inside, beside[side]) {
                    (true, _) => (tile, next_cell),
                    (false, Some(next)) => (next, edge(side, k)),
                    (false, None) => continue,
                };
                if self.take(next.0, next.1, label) {
                    open.push(next);
                }
            }
        }
    }

    /// Labels what is open there; tells whether it was.
    #[inline]
    fn take(&mut self, tile: usize, cell: usize, label: Label) -> bool {
        let at = match &mut self.tiles[tile] {
            Tile::Whole(own) => own,
            Tile::Cells(at) => &mut self.labels[*at as usize + cell],
        };
        let open = *at == OPEN;
        if open {
            *at = label;
        }
        open
    }

    /// What a bead of this width at this point faces: outside before any void, else a void, else
    /// only plastic.
    pub fn faces(&self, at_mm: [f64; 2], width_mm: f64) -> Label {
        let radius = width_mm * (0.5 + CLOSING) / self.cell_mm + 1.5;
        let [x, y] = self.cell(at_mm);
        let span = |at: f64, end: usize| {
            let from = (at - radius - 0.5).ceil().max(0.0) as usize;
            let to = (at + radius - 0.5).floor().min(end as f64 - 1.0);
            from..(to + 1.0).max(0.0) as usize
        };
        let mut faced = SOLID;
        for row in span(y, self.high * SIDE) {
            let dy = row as f64 + 0.5 - y;
            for column in span(x, self.wide * SIDE) {
                let dx = column as f64 + 0.5 - x;
                if dx * dx + dy * dy <= radius * radius {
                    match self.at(column, row) {
                        OUTSIDE => return OUTSIDE,
                        SOLID => {}
                        void if faced == SOLID || void < faced => faced = void,
                        _ => {}
                    }
                }
            }
        }
        faced
    }

    /// The label of a cell counted in the lattice of all cells; beyond the grid all is outside.
    fn lattice(&self, column: i64, row: i64) -> Label {
        let column = column - self.first[0] * SIDE as i64;
        let row = row - self.first[1] * SIDE as i64;
        let inside = |at: i64, tiles: usize| at >= 0 && (at as usize) < tiles * SIDE;
        if inside(column, self.wide) && inside(row, self.high) {
            self.at(column as usize, row as usize)
        } else {
            OUTSIDE
        }
    }

    fn tile(&self, column: i64, row: i64) -> Tile {
        let (column, row) = (column - self.first[0], row - self.first[1]);
        let inside = |at: i64, tiles: usize| at >= 0 && (at as usize) < tiles;
        if inside(column, self.wide) && inside(row, self.high) {
            self.tiles[row as usize * self.wide + column as usize]
        } else {
            Tile::Whole(OUTSIDE)
        }
    }

    /// The one label that lies under another grid's tile, if there is but one; `scale`: the other's
    /// cells over this one's.
    fn whole(&self, column: i64, row: i64, scale: f64) -> Option<Label> {
        let span = |at: i64| {
            let (from, to) = (at as f64 * scale, (at + 1) as f64 * scale);
            from.floor() as i64..to.ceil() as i64
        };
        let mut tiles = span(row).flat_map(|y| span(column).map(move |x| self.tile(x, y)));
        let Some(Tile::Whole(label)) = tiles.next() else {
            return None;
        };
        tiles
            .all(|tile| tile == Tile::Whole(label))
            .then_some(label)
    }

    /// Pairs of labels, this layer's and the one's below, that lie over each other so that a disc
    /// of `width_mm` would pass; plastic left out, and outside over outside.
    pub fn over(&self, below: &Grid, width_mm: f64) -> Vec<(Label, Label)> {
        let mut pairs: BTreeMap<(Label, Label), u32> = BTreeMap::new();
        let scale = self.cell_mm / below.cell_mm;
        let under = |column: i64, row: i64| {
            let at = [column, row].map(|v| ((v as f64 + 0.5) * scale).floor() as i64);
            below.lattice(at[0], at[1])
        };
        let reach = (width_mm / 2.0 / self.cell_mm).floor() as i64;
        // The grid, and what the layer below has beyond it.
        let below_tiles = |first: bool, k: usize| {
            let at = below.first[k] as f64 / scale;
            let tiles = [below.wide, below.high][k] as f64 / scale;
            if first {
                at.floor() as i64
            } else {
                (at + tiles).ceil() as i64
            }
        };
        let from = [0, 1].map(|k| self.first[k].min(below_tiles(true, k)));
        let to = [
            (self.first[0] + self.wide as i64).max(below_tiles(false, 0)),
            (self.first[1] + self.high as i64).max(below_tiles(false, 1)),
        ];
        for tile_row in from[1]..to[1] {
            for tile_column in from[0]..to[0] {
                let own = self.tile(tile_column, tile_row);
                if let Tile::Whole(own) = own
                    && let Some(other) = below.whole(tile_column, tile_row, scale)
                {
                    if (own, other) != (OUTSIDE, OUTSIDE) {
                        *pairs.entry((own, other)).or_insert(0) += CELLS as u32;
                    }
                    continue;
                }
                for cell in 0..CELLS as i64 {
                    let column = tile_column * SIDE as i64 + cell % SIDE as i64;
                    let row = tile_row * SIDE as i64 + cell / SIDE as i64;
                    let pair = (self.lattice(column, row), under(column, row));
                    if pair.0 == SOLID || pair.1 == SOLID || pair == (OUTSIDE, OUTSIDE) {
                        continue;
                    }
                    let clear = [(reach, 0), (-reach, 0), (0, reach), (0, -reach)]
                        .into_iter()
                        .all(|(x, y)| {
                            (
                                self.lattice(column + x, row + y),
                                under(column + x, row + y),
                            ) == pair
                        });
                    if clear {
                        *pairs.entry(pair).or_insert(0) += 1;
                    }
                }
            }
        }
        pairs
            .into_iter()
            .filter(|(_, cells)| *cells >= CLEAR_MIN)
            .map(|(pair, _)| pair)
            .collect()
    }
}

/// Cells that must be clear all around for a way through.
const CLEAR_MIN: u32 = 4;
