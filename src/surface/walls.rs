//! What pictures need of the outer walls: their course.

use super::grid::{Bead, Grid, OUTSIDE};
use super::lines::length_mm;

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
    /// The part to which it belongs, a place in [`super::shell::Exposure::parts`].
    pub part: u32,
}

/// Wall points are about this far apart, mm.
const WALL_STEP_MM: f64 = 0.7;
/// Wall points that are kept; with more, layers are left out.
const WALL_POINTS_MAX: usize = 400_000;
/// Wall points that one layer may add; a layer with more has steps that are longer.
const LAYER_POINTS_MAX: f64 = 200_000.0;

/// Classes of speed ratio.
pub const SPEED_BINS: usize = 10;

/// Walls of all layers so far. A part's number is that of its column until the job ends.
#[derive(Debug)]
pub(super) struct Walls {
    z_mm: f64,
    pub points: Vec<WallPoint>,
    /// Each how many-th layer's walls are kept.
    every: u32,
    /// Length of outer wall by speed ratio, mm.
    pub length_mm: [f64; SPEED_BINS],
}

/// A bead of a wall: with its column and the class of its speed ratio.
pub(super) type WallBead = (Bead, u32, u8);

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dx, dy) = (a[0] - b[0], a[1] - b[1]);
    (dx * dx + dy * dy).sqrt()
}

impl Walls {
    pub fn new() -> Self {
        Walls {
            z_mm: 0.0,
            points: Vec::new(),
            every: 1,
            length_mm: [0.0; SPEED_BINS],
        }
    }

    /// Keeps the walls of a layer.
    pub fn layer(
        &mut self,
        number: u32,
        z_mm: f64,
        beads: impl Iterator<Item = WallBead> + Clone,
        grid: &Grid,
    ) {
        if !number.is_multiple_of(self.every) {
            return;
        }
        self.z_mm = z_mm;
        let whole_mm: f64 = beads.clone().map(|(bead, ..)| length_mm(&bead)).sum();
        let long_mm = WALL_STEP_MM.max(whole_mm / LAYER_POINTS_MAX);
        // Where the wall has got to, and whether that point is kept already.
        let mut end: Option<([f64; 2], u32, bool)> = None;
        let mut seen = None;
        for (bead, column, speed) in beads {
            let bin = usize::from(speed);
            let (from, to) = (bead.from_mm, bead.to_mm);
            let joined = end.is_some_and(|(p, ..)| apart(p, from) < WALL_STEP_MM);
            if !joined {
                self.end_wall(&mut end);
            }
            let steps = (apart(from, to) / long_mm).floor().max(1.0);
            let step_mm = apart(from, to) / steps;
            for step in usize::from(joined)..=steps as usize {
                let along = step as f64 / steps;
                let at = [0, 1].map(|k| from[k] + (to[k] - from[k]) * along);
                let near = self.points.last().is_some_and(|w| {
                    apart(at, [f64::from(w.x_mm), f64::from(w.y_mm)]) < WALL_STEP_MM
                });
                if end.is_some() && near {
                    end = Some((at, column, false));
                    self.length_mm[bin] += step_mm;
                } else if grid.faces(at, bead.width_mm, &mut seen) == OUTSIDE {
                    self.keep(at, end.is_none(), column);
                    if end.is_some() {
                        self.length_mm[bin] += step_mm;
                    }
                    end = Some((at, column, true));
                } else {
                    self.end_wall(&mut end);
                }
            }
        }
        self.end_wall(&mut end);
        while self.points.len() > WALL_POINTS_MAX {
            self.thin();
        }
    }

    /// Leaves out every other layer of those kept, or, where there is but one, every other point.
    fn thin(&mut self) {
        self.every = self.every.saturating_mul(2);
        let (mut keeps, mut k) = (false, 0u32);
        let one = self.points.iter().all(|w| w.z_mm == self.points[0].z_mm);
        let mut z_mm = f32::NAN;
        self.points.retain(|w| {
            k += 1;
            if one {
                return w.starts || k.is_multiple_of(2);
            }
            if w.z_mm != z_mm {
                z_mm = w.z_mm;
                keeps = !keeps;
            }
            keeps
        });
        if one && self.points.len() > WALL_POINTS_MAX {
            self.points.truncate(WALL_POINTS_MAX);
        }
    }

    fn keep(&mut self, [x_mm, y_mm]: [f64; 2], starts: bool, part: u32) {
        self.points.push(WallPoint {
            x_mm: x_mm as f32,
            y_mm: y_mm as f32,
            z_mm: self.z_mm as f32,
            starts,
            part,
        });
    }

    /// Ends a wall where it has got to.
    fn end_wall(&mut self, end: &mut Option<([f64; 2], u32, bool)>) {
        if let Some((at, column, false)) = end.take() {
            self.keep(at, false, column);
        }
    }

    /// Gives walls the parts of their columns; those of no part are left out.
    pub fn finish(&mut self, mut part: impl FnMut(u32) -> Option<u32>) {
        self.points.retain_mut(|w| {
            let part = part(w.part);
            w.part = part.unwrap_or(u32::MAX);
            part.is_some()
        });
    }
}
