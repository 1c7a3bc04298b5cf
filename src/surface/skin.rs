//! Which stalled blocks lie on a surface that can be seen, layer by layer.

use crate::board::types::Nozzle;
use crate::replay::stream::Done;

use super::grid::{Bead, Grid, Label, OUTSIDE, SOLID};

/// Where a piece of bead lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Surface {
    /// On the outside of the part.
    Outer,
    /// On a hole that is open above: the inside of a vase.
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

/// Wall points are about this far apart, mm.
const WALL_STEP_MM: f64 = 0.7;
/// Wall points that are kept; with more, layers are left out.
const WALL_POINTS_MAX: usize = 400_000;

/// Blocks that lose more than this are asked about, s.
const LOST_MIN_S: f64 = 1e-4;

/// Follows the printed path, layer by layer.
#[derive(Debug)]
pub struct Skin {
    filament_mm2: f64,
    nozzle_mm: f64,
    layer: u32,
    z_mm: f64,
    beads: Vec<Bead>,
    /// Stalled blocks of the layer: number, place, width.
    asked: Vec<(u64, [f64; 2], f64)>,
    below: Option<(Grid, Vec<u32>, f64)>,
    /// Voids of all layers so far, joined where they lie over each other; 0 is outside.
    parents: Vec<u32>,
    walls: Vec<WallPoint>,
    /// Each how many-th layer's walls are kept.
    wall_layers: u32,
    /// Stalled blocks, in order, with the void that they face; `u32::MAX`: none.
    faced: Vec<(u64, u32)>,
}

impl Skin {
    /// Nothing printed.
    pub fn new(nozzle: &Nozzle) -> Self {
        Skin {
            filament_mm2: std::f64::consts::PI * nozzle.filament_mm * nozzle.filament_mm / 4.0,
            nozzle_mm: nozzle.nozzle_mm,
            layer: 0,
            z_mm: 0.0,
            beads: Vec::new(),
            asked: Vec::new(),
            below: None,
            parents: vec![0],
            walls: Vec::new(),
            wall_layers: 1,
            faced: Vec::new(),
        }
    }

    /// The next block.
    pub fn block(&mut self, done: &Done) {
        if done.layer != self.layer {
            self.end_layer();
            self.layer = done.layer;
        }
        let (from, to) = (done.place.from_mm, done.place.to_mm);
        let plane = (to[0] - from[0]).hypot(to[1] - from[1]);
        if done.place.e_mm > 0.0 && plane > 0.0 {
            let width_mm = self.width_mm(done, plane);
            self.z_mm = to[2];
            self.beads.push(Bead {
                from_mm: [from[0], from[1]],
                to_mm: [to[0], to[1]],
                width_mm,
            });
        }
        if done.lost_s() > LOST_MIN_S {
            let width_mm = self.beads.last().map_or(self.nozzle_mm, |b| b.width_mm);
            self.asked
                .push((done.ran.block, [from[0], from[1]], width_mm));
        }
    }

    /// Width of a bead with round ends: its section is (w - h) h + π h²/4.
    fn width_mm(&self, done: &Done, plane_mm: f64) -> f64 {
        let section_mm2 = self.filament_mm2 * done.place.e_mm / plane_mm;
        let h = done.layer_height_mm;
        let width = if h > 0.0 {
            section_mm2 / h + h * (1.0 - std::f64::consts::FRAC_PI_4)
        } else {
            self.nozzle_mm
        };
        width.clamp(0.5 * self.nozzle_mm, 3.0 * self.nozzle_mm)
    }

    fn root(&mut self, mut void: u32) -> u32 {
        while self.parents[void as usize] != void {
            let above = self.parents[self.parents[void as usize] as usize];
            self.parents[void as usize] = above;
            void = above;
        }
        void
    }

    /// Joins two voids; outside (0) stays its own root.
    fn join(&mut self, a: u32, b: u32) {
        let (a, b) = (self.root(a), self.root(b));
        self.parents[a.max(b) as usize] = a.min(b);
    }

    fn open_below(&mut self) {
        if let Some((_, voids, _)) = self.below.take() {
            for void in voids.into_iter().filter(|v| *v != u32::MAX) {
                self.join(void, 0);
            }
        }
    }

    fn end_layer(&mut self) {
        let asked = std::mem::take(&mut self.asked);
        if self.beads.is_empty() {
            self.faced
                .extend(asked.iter().map(|(block, ..)| (*block, u32::MAX)));
            return;
        }
        let beads = std::mem::take(&mut self.beads);
        let grid = Grid::new(&beads, 0.3 * self.nozzle_mm);
        self.keep_walls(&beads, &grid);
        // The voids' numbers over all layers, by label.
        let mut voids = vec![u32::MAX; grid.labels_end as usize];
        voids[OUTSIDE as usize] = 0;
        for void in &mut voids[OUTSIDE as usize + 1..] {
            *void = self.parents.len() as u32;
            self.parents.push(*void);
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
            for (own, under) in grid.over(&below, self.nozzle_mm * self.nozzle_mm) {
                self.join(voids[own as usize], below_voids[under as usize]);
            }
        }
        for (block, at_mm, width_mm) in asked {
            let faced: Label = grid.faces(at_mm, width_mm);
            let void = if faced == SOLID {
                u32::MAX
            } else {
                voids[faced as usize]
            };
            self.faced.push((block, void));
        }
        self.below = Some((grid, voids, self.z_mm));
    }

    fn keep_walls(&mut self, beads: &[Bead], grid: &Grid) {
        if !self.layer.is_multiple_of(self.wall_layers) {
            return;
        }
        let apart = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
        // Where the wall has got to, and whether that point is kept already.
        let mut end: Option<([f64; 2], bool)> = None;
        for bead in beads {
            let (from, to) = (bead.from_mm, bead.to_mm);
            let joined = end.is_some_and(|(p, _)| apart(p, from) < WALL_STEP_MM);
            if !joined {
                self.end_wall(&mut end);
            }
            let steps = (apart(from, to) / WALL_STEP_MM).floor().max(1.0);
            for step in usize::from(joined)..=steps as usize {
                let along = step as f64 / steps;
                let at = [0, 1].map(|k| from[k] + (to[k] - from[k]) * along);
                let near = self.walls.last().is_some_and(|w| {
                    apart(at, [f64::from(w.x_mm), f64::from(w.y_mm)]) < WALL_STEP_MM
                });
                if end.is_some() && near {
                    end = Some((at, false));
                } else if grid.faces(at, bead.width_mm) == OUTSIDE {
                    self.keep(at, end.is_none());
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
        self.end_layer();
        self.open_below();
        let faced = std::mem::take(&mut self.faced);
        let blocks = faced
            .into_iter()
            .map(|(block, void)| {
                let surface = match void {
                    0 => Surface::Outer,
                    u32::MAX => Surface::Inner,
                    void if self.root(void) == 0 => Surface::Hole,
                    _ => Surface::Inner,
                };
                (block, surface)
            })
            .collect();
        Exposure {
            blocks,
            walls: self.walls,
        }
    }
}

/// Where stalled blocks lie.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Exposure {
    blocks: Vec<(u64, Surface)>,
    /// The walls that are seen from outside, thinned, in the order of the path.
    pub walls: Vec<WallPoint>,
}

impl Exposure {
    /// Where this block lies, if it was asked about.
    pub fn of(&self, block: u64) -> Option<Surface> {
        let at = self.blocks.binary_search_by_key(&block, |b| b.0).ok()?;
        Some(self.blocks[at].1)
    }
}
