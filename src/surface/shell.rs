//! What is seen of a part, worked out layer by layer: its walls, the voids behind them, and which surface
//! each stalled block faces.

use super::grid::{Bead, Grid, Label, OUTSIDE, SOLID};
use super::joined::Sets;

/// Where a piece of bead lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Surface {
    /// On the outside of the part.
    Outer,
    /// On a hole that is open above or below: the inside of a vase or a bell.
    Hole,
    /// Buried.
    Inner,
}

impl Surface {
    /// Its name in tables.
    pub fn name(self) -> &'static str {
        ["outer", "hole", "inner"][self as usize]
    }
}

/// A point of a wall that can be seen from outside, in the order of the path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WallPoint {
    /// x, mm.
    pub x_mm: f32,
    /// y, mm.
    pub y_mm: f32,
    /// z, mm.
    pub z_mm: f32,
    /// Whether no wall leads here from the point before.
    pub starts: bool,
}

/// Too much plastic on a wall that is seen from outside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Patch {
    /// x, mm.
    pub x_mm: f32,
    /// y, mm.
    pub y_mm: f32,
    /// z, mm.
    pub z_mm: f32,
    /// Plastic too much, mm³.
    pub excess_mm3: f32,
    /// Height of the layer, mm.
    pub layer_height_mm: f32,
}

/// Where stalled blocks lie.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Exposure {
    blocks: Vec<(u64, Surface)>,
    /// The walls that are seen from outside, thinned, in the order of the path.
    pub walls: Vec<WallPoint>,
    /// Too much plastic on those walls, neighbours in one.
    pub patches: Vec<Patch>,
    /// Length of outer wall by replayed over ideal speed, from 0 to 1, mm; of the layers whose
    /// walls are kept.
    pub wall_mm: [f64; SPEED_BINS],
}

impl Exposure {
    /// Where this block lies, if it was asked about.
    pub fn of(&self, block: u64) -> Option<Surface> {
        let at = self.blocks.binary_search_by_key(&block, |b| b.0).ok()?;
        Some(self.blocks[at].1)
    }
}

/// A stalled block of the layer.
#[derive(Clone, Copy, Debug)]
pub(super) struct Asked {
    /// Counted from the layer's first.
    pub block: u32,
    pub at_mm: [f32; 2],
    pub width_mm: f32,
    pub excess_mm3: f32,
    pub layer_height_mm: f32,
}

/// A point of the path, in single precision: a micron at 10 m.
#[derive(Clone, Copy, Debug)]
struct Point {
    at_mm: [f32; 2],
    /// Width of the bead that leads here; 0: none does.
    width_mm: f32,
}

/// A layer's beads, and its blocks that stalled.
#[derive(Debug, Default)]
pub(super) struct Layer {
    /// Its number, from 0.
    pub number: u32,
    pub z_mm: f64,
    pub first_block: u64,
    path: Vec<Point>,
    /// The class of replayed over ideal speed of each bead, where walls are wanted.
    pub speeds: Vec<u8>,
    pub asked: Vec<Asked>,
    /// Blocks at which stalls are placed, in order; others among them are no harm.
    pub places: Vec<u64>,
}

impl Layer {
    /// Nothing printed on it yet.
    pub fn new(number: u32, z_mm: f64, first_block: u64) -> Self {
        Layer {
            number,
            z_mm,
            first_block,
            ..Layer::default()
        }
    }

    /// Adds a bead.
    pub fn bead(&mut self, from_mm: [f32; 2], to_mm: [f32; 2], width_mm: f32) {
        if self.path.last().is_none_or(|p| p.at_mm != from_mm) {
            self.path.push(Point {
                at_mm: from_mm,
                width_mm: 0.0,
            });
        }
        self.path.push(Point {
            at_mm: to_mm,
            width_mm,
        });
    }

    /// Width of the last bead, mm.
    pub fn last_width_mm(&self) -> Option<f32> {
        self.path.last().map(|p| p.width_mm)
    }

    fn beads(&self) -> impl Iterator<Item = Bead> + Clone {
        let pairs = self.path.windows(2).filter(|pair| pair[1].width_mm > 0.0);
        pairs.map(|pair| Bead {
            from_mm: pair[0].at_mm.map(f64::from),
            to_mm: pair[1].at_mm.map(f64::from),
            width_mm: f64::from(pair[1].width_mm),
        })
    }
}

/// Width of a cell, nozzle widths.
const CELL_NOZZLES: f64 = 0.3;
/// Patches of one layer closer than this are one, mm.
const PATCH_MM: f32 = 0.8;
/// Patches that are kept.
const PATCHES_MAX: usize = 400_000;
/// A hole is seen into where a disc this wide passes from layer to layer, nozzle widths.
const WAY_NOZZLES: f64 = 2.5;

/// Wall points are about this far apart, mm.
const WALL_STEP_MM: f64 = 0.7;
/// Wall points that are kept; with more, layers are left out.
const WALL_POINTS_MAX: usize = 400_000;

/// Classes of speed ratio.
pub const SPEED_BINS: usize = 10;

/// All that is known of the layers so far.
#[derive(Debug)]
pub(super) struct Shell {
    nozzle_mm: f64,
    walls_wanted: bool,
    /// Of the layer that is worked on.
    z_mm: f64,
    /// Length of outer wall by speed ratio, mm.
    wall_mm: [f64; SPEED_BINS],
    patches: Vec<Patch>,
    patch_mm: f32,
    /// Too much plastic on the outside of the layer that is worked on, mm³.
    outer_mm3: f64,
    below: Option<(Grid, Vec<u32>, f64)>,
    /// Voids of all layers so far, joined where they lie over each other; 0 is outside.
    voids: Sets,
    walls: Vec<WallPoint>,
    /// Each how many-th layer's walls are kept.
    wall_layers: u32,
    /// Blocks at which stalls are placed, in order, with the void that they face; `u32::MAX`: none.
    faced: Vec<(u64, u32)>,
}

impl Shell {
    /// Nothing printed.
    pub fn new(nozzle_mm: f64, walls_wanted: bool) -> Self {
        Shell {
            nozzle_mm,
            walls_wanted,
            z_mm: 0.0,
            wall_mm: [0.0; SPEED_BINS],
            patches: Vec::new(),
            patch_mm: PATCH_MM,
            outer_mm3: 0.0,
            below: None,
            voids: Sets::with_first(),
            walls: Vec::new(),
            wall_layers: 1,
            faced: Vec::new(),
        }
    }

    fn open_below(&mut self) {
        if let Some((_, voids, _)) = self.below.take() {
            for void in voids.into_iter().filter(|v| *v != u32::MAX) {
                self.voids.join(void, 0);
            }
        }
    }

    /// Works off the next layer; returns what is too much on its outside, mm³.
    pub fn layer(&mut self, layer: &Layer) -> f64 {
        self.outer_mm3 = 0.0;
        self.z_mm = layer.z_mm;
        if layer.path.is_empty() {
            self.face(layer, |_, _| u32::MAX);
            return 0.0;
        }
        let grid = Grid::new(layer.beads(), CELL_NOZZLES * self.nozzle_mm);
        if self.walls_wanted {
            self.keep_walls(layer, &grid);
        }
        // The voids' numbers over all layers, by label.
        let mut voids = vec![u32::MAX; grid.labels_end as usize];
        voids[OUTSIDE as usize] = 0;
        for void in &mut voids[OUTSIDE as usize + 1..] {
            *void = self.voids.node();
        }
        // Another part begins lower: nothing more comes over the one before.
        if self
            .below
            .as_ref()
            .is_some_and(|(_, _, z_mm)| self.z_mm < *z_mm)
        {
            self.open_below();
        }
        if let Some((below, below_voids, _)) = self.below.take() {
            for (own, under) in grid.over(&below, WAY_NOZZLES * self.nozzle_mm) {
                self.voids
                    .join(voids[own as usize], below_voids[under as usize]);
            }
        } else {
            // On the bed: what is open below is seen when the part is taken off.
            for void in &voids[OUTSIDE as usize + 1..] {
                self.voids.join(*void, 0);
            }
        }
        let mut seen = None;
        self.face(layer, |shell, asked| {
            let at_mm = asked.at_mm.map(f64::from);
            let faced: Label = grid.faces(at_mm, f64::from(asked.width_mm), &mut seen);
            if faced == OUTSIDE {
                shell.patch(asked);
            }
            if faced == SOLID {
                u32::MAX
            } else {
                voids[faced as usize]
            }
        });
        self.below = Some((grid, voids, self.z_mm));
        self.outer_mm3
    }

    /// Finds the void that each stalled block faces, and keeps it where a stall is placed.
    fn face(&mut self, layer: &Layer, mut void: impl FnMut(&mut Self, &Asked) -> u32) {
        let mut places = layer.places.iter().peekable();
        for asked in &layer.asked {
            let void = void(self, asked);
            let block = layer.first_block + u64::from(asked.block);
            while places.next_if(|p| **p < block).is_some() {}
            if places.peek() == Some(&&block) {
                self.faced.push((block, void));
            }
        }
    }

    fn keep_walls(&mut self, layer: &Layer, grid: &Grid) {
        if !layer.number.is_multiple_of(self.wall_layers) {
            return;
        }
        let apart = |a: [f64; 2], b: [f64; 2]| {
            let (dx, dy) = (a[0] - b[0], a[1] - b[1]);
            (dx * dx + dy * dy).sqrt()
        };
        // Where the wall has got to, and whether that point is kept already.
        let mut end: Option<([f64; 2], bool)> = None;
        let mut seen = None;
        for (bead, speed) in layer.beads().zip(&layer.speeds) {
            let bin = usize::from(*speed);
            let (from, to) = (bead.from_mm, bead.to_mm);
            let joined = end.is_some_and(|(p, _)| apart(p, from) < WALL_STEP_MM);
            if !joined {
                self.end_wall(&mut end);
            }
            let steps = (apart(from, to) / WALL_STEP_MM).floor().max(1.0);
            let step_mm = apart(from, to) / steps;
            for step in usize::from(joined)..=steps as usize {
                let along = step as f64 / steps;
                let at = [0, 1].map(|k| from[k] + (to[k] - from[k]) * along);
                let near = self.walls.last().is_some_and(|w| {
                    apart(at, [f64::from(w.x_mm), f64::from(w.y_mm)]) < WALL_STEP_MM
                });
                if end.is_some() && near {
                    end = Some((at, false));
                    self.wall_mm[bin] += step_mm;
                } else if grid.faces(at, bead.width_mm, &mut seen) == OUTSIDE {
                    self.keep(at, end.is_none());
                    if end.is_some() {
                        self.wall_mm[bin] += step_mm;
                    }
                    end = Some((at, true));
                } else {
                    self.end_wall(&mut end);
                }
            }
        }
        self.end_wall(&mut end);
        if self.walls.len() > WALL_POINTS_MAX {
            // Every other layer of those kept.
            self.wall_layers *= 2;
            let mut keeps = false;
            let mut z_mm = f32::NAN;
            self.walls.retain(|w| {
                if w.z_mm != z_mm {
                    z_mm = w.z_mm;
                    keeps = !keeps;
                }
                keeps
            });
        }
    }

    /// Keeps what is too much on the outside; neighbours in one.
    fn patch(&mut self, asked: &Asked) {
        self.outer_mm3 += f64::from(asked.excess_mm3);
        if asked.excess_mm3 <= 0.0 || !self.walls_wanted {
            return;
        }
        let patch = Patch {
            x_mm: asked.at_mm[0],
            y_mm: asked.at_mm[1],
            z_mm: self.z_mm as f32,
            excess_mm3: asked.excess_mm3,
            layer_height_mm: asked.layer_height_mm,
        };
        self.add(patch);
        if self.patches.len() > PATCHES_MAX {
            self.patch_mm *= 2.0;
            for patch in std::mem::take(&mut self.patches) {
                self.add(patch);
            }
        }
    }

    fn add(&mut self, patch: Patch) {
        match self.patches.last_mut() {
            Some(last)
                if last.z_mm == patch.z_mm
                    && (last.x_mm - patch.x_mm).hypot(last.y_mm - patch.y_mm) < self.patch_mm =>
            {
                last.excess_mm3 += patch.excess_mm3;
            }
            _ => self.patches.push(patch),
        }
    }

    fn keep(&mut self, [x_mm, y_mm]: [f64; 2], starts: bool) {
        self.walls.push(WallPoint {
            x_mm: x_mm as f32,
            y_mm: y_mm as f32,
            z_mm: self.z_mm as f32,
            starts,
        });
    }

    /// Ends a wall where it has got to.
    fn end_wall(&mut self, end: &mut Option<([f64; 2], bool)>) {
        if let Some((at, false)) = end.take() {
            self.keep(at, false);
        }
    }

    /// Ends the job: what is open above is seen.
    pub fn finish(mut self) -> Exposure {
        self.open_below();
        let faced = std::mem::take(&mut self.faced);
        let blocks = faced
            .into_iter()
            .map(|(block, void)| {
                let surface = match void {
                    0 => Surface::Outer,
                    u32::MAX => Surface::Inner,
                    void if self.voids.root(void) == 0 => Surface::Hole,
                    _ => Surface::Inner,
                };
                (block, surface)
            })
            .collect();
        Exposure {
            blocks,
            walls: self.walls,
            patches: self.patches,
            wall_mm: self.wall_mm,
        }
    }
}
