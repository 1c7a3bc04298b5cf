//! One layer on a grid: where plastic lies, what is outside it, and which voids it encloses.
//!
//! A grid and not polygons: beads cross, touch and leave gaps of any size, and a cell of a fraction
//! of a bead takes all of that as it is, in time and memory that go by path length and area.

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

/// Beads are drawn this much wider on each side, as a share of their width: gaps up to half a
/// bead let nothing in.
const CLOSING: f64 = 0.25;
/// Cells that a layer may have; larger layers get larger cells.
const CELLS_MAX: f64 = 4e6;

/// A layer's cells.
#[derive(Clone, Debug)]
pub struct Grid {
    origin_mm: [f64; 2],
    cell_mm: f64,
    wide: usize,
    high: usize,
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
        let rim_mm = widest + 4.0 * cell_mm;
        let size = [
            high[0] - low[0] + 2.0 * rim_mm,
            high[1] - low[1] + 2.0 * rim_mm,
        ];
        let cell_mm = cell_mm
            .max((size[0] * size[1] / CELLS_MAX).sqrt())
            .max(size[0].max(size[1]) / CELLS_MAX);
        let (wide, tall) = (
            (size[0] / cell_mm).ceil() as usize + 1,
            (size[1] / cell_mm).ceil() as usize + 1,
        );
        let mut grid = Grid {
            origin_mm: [low[0] - rim_mm, low[1] - rim_mm],
            cell_mm,
            wide,
            high: tall,
            labels: vec![Label::MAX; wide * tall],
            labels_end: OUTSIDE + 1,
        };
        for bead in beads {
            grid.draw(bead);
        }
        grid.flood(0, OUTSIDE);
        for cell in 0..grid.labels.len() {
            if grid.labels[cell] == Label::MAX {
                grid.flood(cell, grid.labels_end);
                grid.labels_end += 1;
            }
        }
        grid
    }

    fn cell(&self, x_mm: f64, y_mm: f64) -> (f64, f64) {
        (
            (x_mm - self.origin_mm[0]) / self.cell_mm,
            (y_mm - self.origin_mm[1]) / self.cell_mm,
        )
    }

    /// Cells whose middles lie within `radius` cells of a point.
    fn disc(&self, (x, y): (f64, f64), radius: f64, mut each: impl FnMut(usize)) {
        let span = |at: f64, end: usize| {
            let from = (at - radius - 0.5).ceil().max(0.0) as usize;
            let to = (at + radius - 0.5).floor().min(end as f64 - 1.0);
            from..(to + 1.0).max(0.0) as usize
        };
        for row in span(y, self.high) {
            let dy = row as f64 + 0.5 - y;
            for column in span(x, self.wide) {
                let dx = column as f64 + 0.5 - x;
                if dx * dx + dy * dy <= radius * radius {
                    each(row * self.wide + column);
                }
            }
        }
    }

    fn draw(&mut self, bead: &Bead) {
        let (from, to) = (
            self.cell(bead.from_mm[0], bead.from_mm[1]),
            self.cell(bead.to_mm[0], bead.to_mm[1]),
        );
        let radius = bead.width_mm * (0.5 + CLOSING) / self.cell_mm;
        let steps = ((to.0 - from.0).hypot(to.1 - from.1)).ceil().max(1.0);
        for k in 0..=steps as usize {
            let t = k as f64 / steps;
            let at = (from.0 + t * (to.0 - from.0), from.1 + t * (to.1 - from.1));
            let mut cells = Vec::new();
            self.disc(at, radius, |cell| cells.push(cell));
            for cell in cells {
                self.labels[cell] = SOLID;
            }
        }
    }

    fn flood(&mut self, start: usize, label: Label) {
        let mut open = vec![start];
        self.labels[start] = label;
        while let Some(cell) = open.pop() {
            let (row, column) = (cell / self.wide, cell % self.wide);
            let neighbours = [
                (column > 0).then(|| cell - 1),
                (column + 1 < self.wide).then_some(cell + 1),
                (row > 0).then(|| cell - self.wide),
                (row + 1 < self.high).then_some(cell + self.wide),
            ];
            for next in neighbours.into_iter().flatten() {
                if self.labels[next] == Label::MAX {
                    self.labels[next] = label;
                    open.push(next);
                }
            }
        }
    }

    /// What a bead of this width at this point faces: outside before any void, else a void, else
    /// only plastic.
    pub fn faces(&self, at_mm: [f64; 2], width_mm: f64) -> Label {
        let radius = width_mm * (0.5 + CLOSING) / self.cell_mm + 1.5;
        let mut faced = SOLID;
        self.disc(self.cell(at_mm[0], at_mm[1]), radius, |cell| {
            let label = self.labels[cell];
            if label != SOLID && (faced == SOLID || label < faced) {
                faced = label;
            }
        });
        faced
    }

    /// The label at a point; beyond the grid all is outside.
    pub fn label(&self, at_mm: [f64; 2]) -> Label {
        let (x, y) = self.cell(at_mm[0], at_mm[1]);
        if x < 0.0 || y < 0.0 || x >= self.wide as f64 || y >= self.high as f64 {
            return OUTSIDE;
        }
        self.labels[y as usize * self.wide + x as usize]
    }

    /// Pairs of labels, this layer's and the one's below, that lie over each other in at least
    /// `area_mm2`; plastic left out.
    pub fn over(&self, below: &Grid, area_mm2: f64) -> Vec<(Label, Label)> {
        let mut pairs: std::collections::BTreeMap<(Label, Label), u32> =
            std::collections::BTreeMap::new();
        let mut note = |pair: (Label, Label)| {
            if pair.0 != SOLID && pair.1 != SOLID && pair != (OUTSIDE, OUTSIDE) {
                *pairs.entry(pair).or_insert(0) += 1;
            }
        };
        for (cell, label) in self.labels.iter().enumerate() {
            note((*label, below.label(self.middle(cell))));
        }
        // What the layer below has beyond this one's grid lies open.
        for (cell, label) in below.labels.iter().enumerate() {
            if *label > OUTSIDE {
                let (x, y) = self.cell(below.middle(cell)[0], below.middle(cell)[1]);
                if x < 0.0 || y < 0.0 || x >= self.wide as f64 || y >= self.high as f64 {
                    note((OUTSIDE, *label));
                }
            }
        }
        let least = area_mm2 / (self.cell_mm * self.cell_mm);
        pairs
            .into_iter()
            .filter(|(_, n)| f64::from(*n) >= least)
            .map(|(pair, _)| pair)
            .collect()
    }

    fn middle(&self, cell: usize) -> [f64; 2] {
        let (row, column) = (cell / self.wide, cell % self.wide);
        [
            self.origin_mm[0] + (column as f64 + 0.5) * self.cell_mm,
            self.origin_mm[1] + (row as f64 + 0.5) * self.cell_mm,
        ]
    }
}
