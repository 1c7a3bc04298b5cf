//! A layer worked out plainly, cell by cell: what grids, islands and faces are checked against.

use super::beads::{STRAIGHT_MAX, reach, straight};
use super::cells::SIDE;
use super::grid::{Bead, Grid, Label, OUTSIDE, SOLID};
use super::ground::{Ground, Laid};
use super::islands::Islands;
use super::layer::Layer;
use super::limits::Budget;
use super::look::{Looks, ask};

/// Closer to an edge than this, rounding decides on which side a cell's middle lies.
const NEAR_CELLS: f64 = 1e-6;
const CELL_MM: f64 = 0.12;
const WIDTH_MM: f64 = 0.45;

struct Plain<'a> {
    grid: &'a Grid,
    wide: usize,
    high: usize,
    /// By cell, row by row.
    labels: Vec<Label>,
    islands: Vec<Label>,
}

/// How far a point is from the line between two others.
fn far([a, b]: [[f64; 2]; 2], at: [f64; 2]) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let long_sq = dx * dx + dy * dy;
    let along = ((at[0] - a[0]) * dx + (at[1] - a[1]) * dy) / long_sq.max(1e-300);
    let along = along.clamp(0.0, 1.0);
    (at[0] - a[0] - along * dx).hypot(at[1] - a[1] - along * dy)
}

fn middle(column: usize, row: usize) -> [f64; 2] {
    [column as f64 + 0.5, row as f64 + 0.5]
}

impl<'a> Plain<'a> {
    fn new(beads: &[Bead], grid: &'a Grid) -> Self {
        let (wide, high) = (grid.wide * SIDE, grid.high * SIDE);
        let mut plain = Plain {
            grid,
            wide,
            high,
            labels: vec![Label::MAX; wide * high],
            islands: vec![Label::MAX; wide * high],
        };
        // Cells in the order of drawing.
        let mut drawn = Vec::new();
        let mut left = beads;
        while !left.is_empty() {
            let count = straight(&left[..left.len().min(STRAIGHT_MAX)], CELL_MM);
            let ends = [left[0].from_mm, left[count - 1].to_mm].map(|at_mm| grid.cell(at_mm));
            plain.draw(ends, reach(left[0].width_mm) / CELL_MM, &mut drawn);
            left = &left[count..];
        }
        plain.name_islands(&drawn);
        plain.name_voids();
        plain
    }

    fn draw(&mut self, ends: [[f64; 2]; 2], radius: f64, drawn: &mut Vec<usize>) {
        for row in 0..self.high {
            for column in 0..self.wide {
                let off = far(ends, middle(column, row)) - radius;
                let edge = off.abs() < NEAR_CELLS && self.grid_label(column, row) == SOLID;
                if off < -NEAR_CELLS || edge {
                    self.labels[row * self.wide + column] = SOLID;
                    drawn.push(row * self.wide + column);
                }
            }
        }
    }

    fn grid_label(&self, column: usize, row: usize) -> Label {
        let [x, y] = [0, 1].map(|k| self.grid.first[k] * SIDE as i64);
        self.grid.lattice(x + column as i64, y + row as i64)
    }

    /// Gives a name to all cells that are like one and hang together with it.
    fn fill(names: &mut [Label], wide: usize, begin: usize, from: Label, name: Label) {
        let mut next = vec![begin];
        while let Some(cell) = next.pop() {
            if names[cell] != from {
                continue;
            }
            names[cell] = name;
            let (column, row) = (cell % wide, cell / wide);
            next.extend((column > 0).then(|| cell - 1));
            next.extend((column + 1 < wide).then_some(cell + 1));
            next.extend((row > 0).then(|| cell - wide));
            next.extend((cell + wide < names.len()).then_some(cell + wide));
        }
    }

    /// A tile's cells, row by row.
    fn tile(&self, tile: usize) -> impl Iterator<Item = usize> + use<> {
        let (wide, tiles) = (self.wide, self.wide / SIDE);
        let (column, row) = (tile % tiles * SIDE, tile / tiles * SIDE);
        (0..SIDE * SIDE).map(move |k| (row + k / SIDE) * wide + column + k % SIDE)
    }

    /// In the order in which tiles were first drawn on, then of their cells.
    fn name_islands(&mut self, drawn: &[usize]) {
        const PLASTIC: Label = Label::MAX - 1;
        for cell in 0..self.labels.len() {
            if self.labels[cell] == SOLID {
                self.islands[cell] = PLASTIC;
            }
        }
        let mut seen = vec![false; self.labels.len()];
        let mut count = 0;
        for cell in drawn {
            let (column, row) = (cell % self.wide / SIDE, cell / self.wide / SIDE);
            let tile = row * (self.wide / SIDE) + column;
            if std::mem::replace(&mut seen[tile], true) {
                continue;
            }
            for cell in self.tile(tile) {
                if self.islands[cell] == PLASTIC {
                    Self::fill(&mut self.islands, self.wide, cell, PLASTIC, count);
                    count += 1;
                }
            }
        }
    }

    /// In the order of the tiles, row by row, then of their cells.
    fn name_voids(&mut self) {
        let mut next = OUTSIDE;
        for tile in 0..self.labels.len() / (SIDE * SIDE) {
            for cell in self.tile(tile) {
                if self.labels[cell] == Label::MAX {
                    Self::fill(&mut self.labels, self.wide, cell, Label::MAX, next);
                    next += 1;
                }
            }
        }
    }

    /// The least label around a point; `None` where rounding decides.
    fn faces(&self, at_mm: [f64; 2], width_mm: f64) -> Option<Label> {
        let (at, radius) = (self.grid.cell(at_mm), reach(width_mm) / CELL_MM + 1.5);
        let mut least = Label::MAX;
        let around = |at: f64, end: usize| {
            (at - radius - 1.0).max(0.0) as usize..((at + radius + 1.0).max(0.0) as usize).min(end)
        };
        for row in around(at[1], self.high) {
            for column in around(at[0], self.wide) {
                let off = far([at; 2], middle(column, row)) - radius;
                let label = self.labels[row * self.wide + column];
                if off.abs() < NEAR_CELLS && label != SOLID {
                    return None;
                }
                if off < 0.0 && label != SOLID {
                    least = least.min(label);
                }
            }
        }
        Some(if least == Label::MAX { SOLID } else { least })
    }

    /// What a bead faces at most of its points, and the share of them that are outside: all points looked at.
    fn ask(&self, bead: &Bead) -> Option<(Label, f64)> {
        let pieces = far([bead.from_mm; 2], bead.to_mm) / (12.0 * bead.width_mm);
        let half = (pieces.min(33.0) / 2.0).ceil() as usize;
        let points = 2 * half + 1;
        let (mut outside, mut void, mut last) = (0, 0, SOLID);
        for k in 0..points {
            let along = (k as f64 + 0.5) / points as f64;
            let at = [0, 1].map(|i| bead.from_mm[i] + along * (bead.to_mm[i] - bead.from_mm[i]));
            match self.faces(at, bead.width_mm)? {
                OUTSIDE => outside += 1,
                SOLID => {}
                label => (void, last) = (void + 1, label),
            }
        }
        let label = if outside > half {
            OUTSIDE
        } else if outside + void > half {
            last
        } else {
            SOLID
        };
        Some((label, outside as f64 / points as f64))
    }
}

/// Numbers that look random, from 0 up to a greatest one.
struct Random(u64);

impl Random {
    fn up_to(&mut self, most: f64) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        (self.0 >> 33) as f64 / f64::from(1u32 << 31) * most
    }

    fn below(&mut self, end: usize) -> usize {
        (self.up_to(1.0) * end as f64) as usize
    }
}

/// Rows of beads across a square about a point, turned, each bead at most so long; none in a disc around `hole`.
fn rows(
    turn: f64,
    [half_mm, apart_mm, long_mm]: [f64; 3],
    shift_mm: f64,
    hole: ([f64; 2], f64),
) -> Vec<Bead> {
    let place = |x: f64, y: f64| {
        let at = [
            x * turn.cos() - y * turn.sin(),
            x * turn.sin() + y * turn.cos(),
        ];
        // As jobs have it: thousandths, in single precision.
        at.map(|mm| f64::from(((50.0 + mm) * 1e3).round() as f32 / 1e3))
    };
    let mut beads = Vec::new();
    let count = (2.0 * half_mm / long_mm).ceil() as usize;
    let mut y = -half_mm + shift_mm;
    while y <= half_mm {
        for k in 0..count {
            let [from, to] = [k, k + 1].map(|k| -half_mm + 2.0 * half_mm * k as f64 / count as f64);
            let amid = [(from + to) / 2.0, y];
            if (amid[0] - hole.0[0]).hypot(amid[1] - hole.0[1]) > hole.1 {
                beads.push(Bead {
                    from_mm: place(from, y),
                    to_mm: place(to, y),
                    width_mm: WIDTH_MM,
                });
            }
        }
        y += apart_mm;
    }
    beads
}

/// A small plate: solid, sparse or two of them apart; straight or turned, with or without a hole.
fn plate(kind: usize, random: &mut Random) -> Vec<Bead> {
    let turn = [0.0, std::f64::consts::FRAC_PI_2, 0.7, random.up_to(7.0)][random.below(4)];
    let across = turn + std::f64::consts::FRAC_PI_2;
    let half_mm = 5.0 + random.up_to(2.0);
    let long_mm = [1.0, 3.0, 6.0, 20.0][random.below(4)];
    let shift_mm = random.up_to(1.0);
    let hole = match random.below(2) {
        0 => ([0.0; 2], 0.0),
        _ => (
            [random.up_to(4.0), random.up_to(4.0)],
            1.0 + random.up_to(2.0),
        ),
    };
    let apart_mm = 1.5 + random.up_to(3.0);
    match kind {
        0 => rows(turn, [half_mm, WIDTH_MM, long_mm], shift_mm, hole),
        1 => [turn, across]
            .map(|turn| rows(turn, [half_mm, apart_mm, long_mm], shift_mm, hole))
            .concat(),
        2 => rows(turn, [half_mm, apart_mm, long_mm], shift_mm, hole),
        3 => {
            let mut two = rows(turn, [2.0, WIDTH_MM, long_mm], 0.0, hole);
            let away_mm = 4.0 + random.up_to(4.0);
            two.extend(two.clone().iter().map(|bead| Bead {
                from_mm: [bead.from_mm[0] + away_mm, bead.from_mm[1]],
                to_mm: [bead.to_mm[0] + away_mm, bead.to_mm[1]],
                ..*bead
            }));
            two
        }
        _ => (0..1 + random.below(30))
            .map(|_| Bead {
                from_mm: [random.up_to(12.0), random.up_to(12.0)],
                to_mm: [random.up_to(12.0), random.up_to(12.0)],
                width_mm: [0.2, WIDTH_MM, 1.2][random.below(3)],
            })
            .collect(),
    }
}

#[test]
fn grids_islands_and_faces_are_those_found_cell_by_cell() {
    let mut random = Random(7);
    // Labels, islands and what beads face, as often as they occur.
    let (mut voids, mut islands, mut faced) = (0, 0, [0; 3]);
    for round in 0..60 {
        let beads = plate(round % 5, &mut random);
        let grid = Grid::new(beads.iter().copied(), CELL_MM, &mut Budget::default()).unwrap();
        let plain = Plain::new(&beads, &grid);
        let own = Islands::new(&grid);
        let mut cells = vec![0; own.cells.len()];
        for row in 0..plain.high {
            for column in 0..plain.wide {
                let cell = row * plain.wide + column;
                assert_eq!(plain.grid_label(column, row), plain.labels[cell]);
                let at_mm = [0, 1].map(|k| {
                    let corner = (grid.first[k] * SIDE as i64) as f64;
                    (corner + middle(column, row)[k]) * CELL_MM
                });
                let island = own.at(&grid, at_mm);
                assert_eq!(island.unwrap_or(Label::MAX), plain.islands[cell]);
                if let Some(island) = island {
                    cells[island as usize] += 1;
                }
            }
        }
        assert_eq!(own.cells, cells);
        let (mut seen, mut again) = (None, None);
        for bead in &beads {
            if let Some((label, outer)) = plain.ask(bead) {
                let own = ask(&grid, bead, &mut seen);
                assert_eq!((own.label, own.outer()), (label, outer), "{bead:?}");
                faced[label.min(2) as usize] += 1;
            }
            let at_mm = [0, 1].map(|k| bead.from_mm[k] + random.up_to(2.0) - 1.0);
            let width_mm = WIDTH_MM + random.up_to(0.4);
            if let Some(label) = plain.faces(at_mm, width_mm) {
                assert_eq!(grid.faces(at_mm, width_mm, &mut again), label);
                assert_eq!(grid.is_seen(at_mm, width_mm, &mut again), label != SOLID);
            }
        }
        voids += grid.labels_end - 2;
        islands += own.cells.len();
    }
    assert!(voids > 200 && islands > 100, "{voids} {islands}");
    assert!(faced.iter().all(|count| *count > 300), "{faced:?}");
}

/// What stands on what is the same whether or not a layer is one island over one column, which is told by a look at a tile.
#[test]
fn islands_stand_on_all_that_they_touch() {
    let laid = |number: u32| Laid {
        number,
        z_mm: 0.2 * f64::from(number + 1),
        height_mm: 0.2,
        bed: number == 0,
        whole: false,
    };
    // Squares with a loop around, or single lines; each at its x, with its length.
    let lay = |ground: &mut Ground, number: u32, squares: &[(f32, f32)], loops: bool| {
        let mut layer = Layer::new(number, laid(number).z_mm);
        let mut line = |from: [f32; 2], to: [f32; 2]| {
            layer.blocks += 1;
            layer.bead(from, to, WIDTH_MM as f32);
        };
        for (x, side) in squares {
            let (low, high) = (*x, x + side);
            if loops {
                line([low, 0.0], [high, 0.0]);
                line([high, 0.0], [high, *side]);
                line([high, *side], [low, *side]);
                line([low, *side], [low, 0.0]);
            }
            for k in 0..if loops { (side / 0.45) as u32 } else { 1 } {
                let y = k as f32 * 0.45;
                line([low, y], [high, y]);
            }
        }
        let mut budget = Budget::default();
        let (look, _) = Looks::keeping(0).at(&layer, CELL_MM, &mut budget).unwrap();
        assert!(ground.fits(&look.grid));
        let laid = laid(number);
        ground.lay(&look.grid, &look.islands, &look.shapes, &laid)
    };
    // One island over two columns joins them; two over one stand on it.
    let mut ground = Ground::default();
    let two = lay(&mut ground, 0, &[(0.0, 5.0), (10.0, 5.0)], true);
    assert_eq!((two.len(), ground.roots().len()), (2, 2));
    assert_eq!(lay(&mut ground, 1, &[(0.0, 15.0)], true).len(), 1);
    assert_eq!(ground.roots().len(), 1);
    assert_eq!(
        lay(&mut ground, 2, &[(0.0, 5.0), (10.0, 5.0)], true),
        [0, 0]
    );
    assert_eq!(
        lay(&mut ground, 3, &[(30.0, 5.0)], true),
        [ground.roots()[1]]
    );
    // A roof over a support covers all its places; a wall upon a like wall is one column with it.
    let mut ground = Ground::default();
    let support = lay(&mut ground, 0, &[(10.0, 6.0)], false)[0];
    let roof = lay(&mut ground, 1, &[(0.0, 25.0)], true)[0];
    assert_ne!(ground.root(support), ground.root(roof));
    // Places are 0.48 mm wide, and the line is 6.7 mm long and 0.7 mm wide.
    let roofed = ground.column(support).roofed;
    assert!((13..=30).contains(&roofed), "{roofed}");
    assert_eq!(lay(&mut ground, 2, &[(0.0, 25.0)], true)[0], roof);
}
