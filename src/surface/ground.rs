//! What stands on what: columns of islands, from layer to layer.
//!
//! Seen from above, each place remembers the column that was printed there last, and its height. So layers of
//! different heights, and parts printed one after another, need no special care.

use std::collections::BTreeMap;

use super::cells::PLACES;
use super::grid::{Grid, Label};
use super::islands::Islands;
use super::joined::Sets;
use super::layer::Layer;
use super::left_out::Why;
use super::limits::GROUND_TILES_MAX;
use super::lines::Line;

/// An island stands on what is at most this far below it: in layer heights, or in mm where that is more.
const NEAR_LAYERS: f64 = 3.0;
const NEAR_MM: f64 = 0.7;
/// A roof covers this many times the places of the lines below it; a wall upon a wall does not.
const ROOF_SHARE: u32 = 8;
const ROOF_OF: u32 = 5;
/// Lines side by side cover their own length times width, a line that stands alone half as much again: below
/// this they are dense.
const SPARSE: f64 = 1.25;
/// A raft has at most so many layers, and is at most so many times as large as what stands on it.
const RAFT_LAYERS: u32 = 12;
const RAFT_SHARE: u32 = 20;

/// Of no column.
pub(super) const NOTHING: u32 = u32::MAX;

/// What was printed last at a place.
#[derive(Clone, Copy, Debug)]
struct Top {
    column: u32,
    z_mm: f32,
}

const NOTHING_THERE: Top = Top {
    column: NOTHING,
    z_mm: 0.0,
};

/// What was printed last at the places of a tile.
#[derive(Clone, Copy, Debug)]
struct Tops {
    /// What was printed there last of all, and at which places, as bits.
    newest: Top,
    covers: u16,
    /// What was printed last at the others.
    older: [Top; PLACES],
}

/// Islands that stand on each other.
#[derive(Clone, Copy, Debug)]
pub(super) struct Column {
    /// Whether it has closed loops.
    pub loops: bool,
    /// Whether it begins on the bed.
    pub bed: bool,
    pub layers: u32,
    pub first_layer: u32,
    pub last_layer: u32,
    /// Places whose last printed column it is, and those over which a roof came.
    top: u32,
    pub roofed: u32,
    /// Area of its plastic as drawn, and its lines' length times width, mm².
    drawn_mm2: f64,
    path_mm2: f64,
    pub low_mm: [f64; 3],
    pub high_mm: [f64; 3],
    /// Its outer wall, mm².
    pub outer_mm2: f64,
    /// Why it is no part, where that is known.
    pub left_out: Option<Why>,
}

impl Column {
    fn join(&mut self, other: &Column) {
        let loops = self.loops || other.loops;
        let left_out = self.left_out.or(other.left_out).filter(|_| !loops);
        *self = Column {
            loops,
            bed: self.bed || other.bed,
            layers: self.layers.max(other.layers),
            first_layer: self.first_layer.min(other.first_layer),
            last_layer: self.last_layer.max(other.last_layer),
            top: self.top + other.top,
            roofed: self.roofed + other.roofed,
            drawn_mm2: self.drawn_mm2 + other.drawn_mm2,
            path_mm2: self.path_mm2 + other.path_mm2,
            low_mm: [0, 1, 2].map(|k| self.low_mm[k].min(other.low_mm[k])),
            high_mm: [0, 1, 2].map(|k| self.high_mm[k].max(other.high_mm[k])),
            outer_mm2: self.outer_mm2 + other.outer_mm2,
            left_out,
        };
    }

    /// Whether it ends below a roof: a support of which the greater part does, or a raft of which any
    /// part does.
    pub fn ends_below_roof(&self) -> bool {
        let share = if self.is_raft() { RAFT_SHARE } else { 1 };
        !self.loops && self.roofed > 0 && self.roofed.saturating_mul(share) >= self.top
    }

    /// Whether it is a few dense layers on the bed.
    fn is_raft(&self) -> bool {
        let dense = self.drawn_mm2 < SPARSE * self.path_mm2;
        dense && self.bed && self.layers <= RAFT_LAYERS
    }

    /// Whether an island of loops over this column of open lines is a roof on a support or a raft, and no wall
    /// upon a wall.
    fn is_roofed_by(&self, contact: &Contact) -> bool {
        contact.near * ROOF_OF >= contact.over * ROOF_SHARE || self.is_raft()
    }
}

/// What an island is, before it is known on what it stands.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shape {
    pub loops: bool,
    /// Its lines' length times width, mm².
    pub path_mm2: f64,
    pub low_mm: [f64; 2],
    pub high_mm: [f64; 2],
}

impl Default for Shape {
    fn default() -> Self {
        Shape {
            loops: false,
            path_mm2: 0.0,
            low_mm: [f64::MAX; 2],
            high_mm: [f64::MIN; 2],
        }
    }
}

impl Shape {
    /// Adds a line that lies on the island.
    pub fn add(&mut self, line: &Line, layer: &Layer) {
        self.loops |= line.closed;
        self.path_mm2 += line.area_mm2;
        for point in &layer.path[line.chain.points[0]..=line.chain.points[1]] {
            let at_mm = point.at_mm.map(f64::from);
            self.low_mm = [0, 1].map(|k| self.low_mm[k].min(at_mm[k]));
            self.high_mm = [0, 1].map(|k| self.high_mm[k].max(at_mm[k]));
        }
    }
}

/// A layer as it is laid on those before it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Laid {
    pub number: u32,
    pub z_mm: f64,
    pub height_mm: f64,
    /// Whether it lies on the bed.
    pub bed: bool,
    /// Whether whatever touches is one, loops or not.
    pub whole: bool,
}

/// Places of an island over a column.
#[derive(Clone, Copy, Debug, Default)]
struct Contact {
    over: u32,
    /// Places of the island in the tiles where it is over the column.
    near: u32,
}

/// What lies where, seen from above, and all columns.
#[derive(Debug, Default)]
pub(super) struct Ground {
    first: [i64; 2],
    wide: usize,
    high: usize,
    /// By tile: its place in `tops`, from 1; 0: nothing was printed there.
    index: Vec<u32>,
    tops: Vec<Tops>,
    sets: Sets,
    columns: Vec<Column>,
    /// Columns that are not joined with others before them.
    apart: usize,
}

impl Tops {
    /// A tile on which nothing was printed.
    const NONE: Tops = Tops {
        newest: NOTHING_THERE,
        covers: 0,
        older: [NOTHING_THERE; PLACES],
    };

    /// What was printed last at a place.
    #[inline]
    fn at(&self, place: u32) -> Top {
        if self.covers >> place & 1 != 0 {
            self.newest
        } else {
            self.older[place as usize]
        }
    }

    /// Something is printed at these places.
    fn cover(&mut self, places: u16, top: Top) {
        let mut left = self.covers & !places;
        while left != 0 {
            self.older[left.trailing_zeros() as usize] = self.newest;
            left &= left - 1;
        }
        (self.newest, self.covers) = (top, places);
    }
}

impl Ground {
    /// Makes room for a grid; false where all layers together would span too much.
    pub fn fits(&mut self, grid: &Grid) -> bool {
        let size = [self.wide as i64, self.high as i64];
        let own = [grid.wide as i64, grid.high as i64];
        let (mut from, mut to) = (grid.first, [0, 1].map(|k| grid.first[k] + own[k]));
        if !self.index.is_empty() {
            from = [0, 1].map(|k| from[k].min(self.first[k]));
            to = [0, 1].map(|k| to[k].max(self.first[k] + size[k]));
        }
        let too_large = |from: [i64; 2], to: [i64; 2]| {
            let spans = [0, 1].map(|k| (to[k] - from[k]) as f64);
            spans[0] * spans[1] > GROUND_TILES_MAX
        };
        if too_large(from, to) {
            return false;
        }
        if from == self.first && [0, 1].map(|k| to[k] - from[k]) == size {
            return true;
        }
        // With room to spare where it grows, so that it does not grow often.
        let spare = |k: usize| (to[k] - from[k]) / 4;
        let roomy = (
            [0, 1].map(|k| from[k] - if from[k] < self.first[k] { spare(k) } else { 0 }),
            [0, 1].map(|k| {
                to[k]
                    + if to[k] > self.first[k] + size[k] {
                        spare(k)
                    } else {
                        0
                    }
            }),
        );
        if !too_large(roomy.0, roomy.1) {
            (from, to) = roomy;
        }
        let spans = [0, 1].map(|k| (to[k] - from[k]) as usize);
        let mut index = vec![0; spans[0] * spans[1]];
        let shift = [0, 1].map(|k| (self.first[k] - from[k]) as usize);
        let rows = if self.index.is_empty() { 0 } else { self.high };
        for row in 0..rows {
            let to = (row + shift[1]) * spans[0] + shift[0];
            let own = &self.index[row * self.wide..(row + 1) * self.wide];
            index[to..to + self.wide].copy_from_slice(own);
        }
        (self.first, self.wide, self.high) = (from, spans[0], spans[1]);
        self.index = index;
        true
    }

    /// The column of this node.
    pub fn column(&mut self, node: u32) -> &mut Column {
        let root = self.sets.root(node);
        &mut self.columns[root as usize]
    }

    /// The node that stands for this one's column.
    pub fn root(&mut self, node: u32) -> u32 {
        self.sets.root(node)
    }

    /// All columns, each by its root.
    pub fn roots(&mut self) -> Vec<u32> {
        let all = 0..self.columns.len() as u32;
        all.filter(|node| self.sets.parents[*node as usize] == *node)
            .collect()
    }

    fn new_column(&mut self, laid: &Laid) -> u32 {
        self.columns.push(Column {
            loops: false,
            bed: laid.bed,
            layers: 0,
            first_layer: laid.number,
            last_layer: laid.number,
            top: 0,
            roofed: 0,
            drawn_mm2: 0.0,
            path_mm2: 0.0,
            low_mm: [f64::MAX; 3],
            high_mm: [f64::MIN; 3],
            outer_mm2: 0.0,
            left_out: None,
        });
        self.apart += 1;
        self.sets.node()
    }

    fn join(&mut self, a: u32, b: u32) -> u32 {
        let (a, b) = (self.sets.root(a), self.sets.root(b));
        if a == b {
            return a;
        }
        self.sets.join(a, b);
        self.apart -= 1;
        let (root, other) = (a.min(b), a.max(b));
        let other = self.columns[other as usize];
        self.columns[root as usize].join(&other);
        root
    }

    /// Lays a layer's islands on those before; returns the column of each. The grid must fit.
    pub fn lay(
        &mut self,
        grid: &Grid,
        islands: &Islands,
        shapes: &[Shape],
        laid: &Laid,
    ) -> Vec<u32> {
        let contacts = self.contacts(grid, islands, shapes, laid);
        let loops_here = shapes.iter().any(|s| s.loops);
        let mut columns = vec![NOTHING; shapes.len()];
        for ((island, column), contact) in contacts {
            let shape = &shapes[island as usize];
            let own = &mut columns[island as usize];
            let root = self.root(column);
            let below = self.columns[root as usize];
            let one = laid.whole
                || below.loops == shape.loops
                || (shape.loops && !below.is_roofed_by(&contact))
                || (below.loops && !loops_here);
            if !one {
                if shape.loops {
                    self.columns[root as usize].roofed += contact.over;
                }
            } else if *own == NOTHING {
                *own = root;
            } else {
                *own = self.join(*own, root);
            }
        }
        let cell_mm2 = grid.cell_mm * grid.cell_mm;
        for (island, shape) in shapes.iter().enumerate() {
            if columns[island] == NOTHING {
                columns[island] = self.new_column(laid);
            }
            let column = self.column(columns[island]);
            column.loops |= shape.loops;
            if column.layers == 0 || column.last_layer != laid.number {
                column.layers += 1;
            }
            column.last_layer = laid.number;
            column.drawn_mm2 += f64::from(islands.cells[island]) * cell_mm2;
            column.path_mm2 += shape.path_mm2;
            let (low, high) = (shape.low_mm, shape.high_mm);
            let (low, high) = ([low[0], low[1], laid.z_mm], [high[0], high[1], laid.z_mm]);
            column.low_mm = [0, 1, 2].map(|k| column.low_mm[k].min(low[k]));
            column.high_mm = [0, 1, 2].map(|k| column.high_mm[k].max(high[k]));
        }
        for column in &mut columns {
            *column = self.root(*column);
        }
        self.cover(grid, islands, &columns, laid.z_mm as f32);
        columns
    }

    fn tile(&self, grid: &Grid, x: usize, y: usize) -> usize {
        let column = (grid.first[0] - self.first[0]) as usize + x;
        let row = (grid.first[1] - self.first[1]) as usize + y;
        row * self.wide + column
    }

    /// What each island lies on.
    fn contacts(
        &mut self,
        grid: &Grid,
        islands: &Islands,
        shapes: &[Shape],
        laid: &Laid,
    ) -> BTreeMap<(Label, u32), Contact> {
        let near_mm = (NEAR_LAYERS * laid.height_mm).max(NEAR_MM) as f32;
        let z_mm = laid.z_mm as f32;
        let mut all: BTreeMap<(Label, u32), Contact> = BTreeMap::new();
        // Those found last: neighbours mostly lie on the same.
        let mut last = ((Label::MAX, NOTHING), Contact::default());
        let mut meet = |key: (Label, u32), over: u32, near: u32| {
            if last.0 != key {
                let (key, contact) = last;
                let to = all.entry(key).or_default();
                to.over += contact.over;
                to.near += contact.near;
                last = (key, Contact::default());
            }
            last.0 = key;
            last.1.over += over;
            last.1.near += near;
        };
        // Of one island over one column that is like it, all that matters is whether they touch.
        let one = self.apart == 1
            && matches!(shapes, [shape] if laid.whole || self.column(0).loops == shape.loops);
        let mut touches = false;
        grid.each_drawn(|x, y, place| {
            if one && touches {
                return;
            }
            let tile = self.index[self.tile(grid, x, y)];
            for (piece, island) in islands.of(grid, place) {
                let Some(tile) = tile.checked_sub(1) else {
                    continue;
                };
                let tops = &self.tops[tile as usize];
                let own = piece.places;
                let mut before = NOTHING;
                let mut left = own;
                while left != 0 {
                    // All at once where all are alike.
                    let alike = own & !tops.covers == 0;
                    let place = left.trailing_zeros();
                    let over = if alike { own.count_ones() } else { 1 };
                    left &= if alike { 0 } else { left - 1 };
                    let top = tops.at(place);
                    let gap_mm = z_mm - top.z_mm;
                    if top.column == NOTHING || !(gap_mm > 0.0 && gap_mm <= near_mm) {
                        continue;
                    }
                    let column = self.sets.root(top.column);
                    let near = if before == column {
                        0
                    } else {
                        own.count_ones()
                    };
                    before = column;
                    meet((island, column), over, near);
                    touches = true;
                }
            }
        });
        let to = all.entry(last.0).or_default();
        to.over += last.1.over;
        to.near += last.1.near;
        all.remove(&(Label::MAX, NOTHING));
        all
    }

    /// Notes the layer as what was printed last.
    fn cover(&mut self, grid: &Grid, islands: &Islands, columns: &[u32], z_mm: f32) {
        grid.each_drawn(|x, y, place| {
            let tile = self.tile(grid, x, y);
            if self.index[tile] == 0 {
                self.tops.push(Tops::NONE);
                self.index[tile] = self.tops.len() as u32;
            }
            let tops = &mut self.tops[self.index[tile] as usize - 1];
            for (piece, island) in islands.of(grid, place) {
                let column = columns[island as usize];
                let top = Top { column, z_mm };
                if tops.covers == piece.places && tops.newest.column == column {
                    tops.newest = top;
                    continue;
                }
                let mut left = piece.places;
                if tops.newest.column == column {
                    left &= !tops.covers;
                }
                while left != 0 {
                    let before = tops.at(left.trailing_zeros()).column;
                    left &= left - 1;
                    if before == column {
                        continue;
                    }
                    if before != NOTHING {
                        let root = self.sets.root(before);
                        self.columns[root as usize].top -= 1;
                    }
                    self.columns[column as usize].top += 1;
                }
                if piece.places != 0 {
                    tops.cover(piece.places, top);
                }
            }
        });
    }
}
