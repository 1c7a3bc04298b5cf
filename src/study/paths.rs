//! The whole job's path, layer by layer, in as few points as an error bound allows.

use crate::replay::stream::Done;

use super::thin::kept;

/// Classes of speed that a path is told in.
pub const LEVELS: usize = 12;

/// Where a piece of path ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Knot {
    /// x, mm.
    pub x_mm: f32,
    /// y, mm.
    pub y_mm: f32,
    /// The file's line that leads here.
    pub line: u32,
    /// How: the class of replayed over ideal speed, from stopped to full speed; `None`: without
    /// printing, or by no path at all.
    pub level: Option<u8>,
}

/// One layer's path.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LayerPath {
    /// The layer, from 0.
    pub layer: u32,
    /// Height of its last printed block, mm.
    pub z_mm: f64,
    /// Lost time of its blocks, s.
    pub lost_s: f64,
    /// Its knots, in order.
    pub knots: Vec<Knot>,
}

/// Knots kept at most; with more, the error bound doubles.
const KNOTS_MAX: usize = 600_000;
/// The first error bound, mm.
const FINE_MM: f64 = 0.02;
/// The largest error bound that is tried, mm; beyond it whole layers are left out.
const COARSE_MM: f64 = 5.0;

/// Follows the path.
#[derive(Clone, Debug)]
pub struct Paths {
    layers: Vec<LayerPath>,
    current: LayerPath,
    /// Whether the current layer has too many knots however coarse it is.
    is_left_out: bool,
    knots: usize,
    knots_max: usize,
    /// No point of the path is farther than this from what is kept, mm.
    pub within_mm: f64,
}

impl Default for Paths {
    fn default() -> Self {
        Paths::with_room(KNOTS_MAX)
    }
}

impl Paths {
    /// A follower that keeps at most this many knots (those of the current layer apart).
    pub fn with_room(knots_max: usize) -> Self {
        Paths {
            layers: Vec::new(),
            current: LayerPath::default(),
            is_left_out: false,
            knots: 0,
            knots_max,
            within_mm: FINE_MM,
        }
    }

    /// The next block.
    pub fn block(&mut self, done: &Done) {
        if done.layer != self.current.layer {
            self.end_layer(done.layer);
        }
        self.current.lost_s += done.lost_s();
        let (from, to) = (done.place.from_mm, done.place.to_mm);
        if self.is_left_out || from[0] == to[0] && from[1] == to[1] {
            return;
        }
        let line = u32::try_from(done.line).unwrap_or(u32::MAX);
        let knot = |at: [f64; 3], level| Knot {
            x_mm: at[0] as f32,
            y_mm: at[1] as f32,
            line,
            level,
        };
        if self.current.knots.is_empty() {
            self.current.knots.push(knot(from, None));
        }
        let printed = done.place.e_mm > 0.0;
        if printed {
            self.current.z_mm = to[2];
        }
        let level = (done.speed_ratio() * (LEVELS - 1) as f64).round() as u8;
        self.current.knots.push(knot(to, printed.then_some(level)));
        if self.current.knots.len() > 2 * self.knots_max {
            self.current.knots = thinned(&self.current.knots, self.within_mm);
            if self.current.knots.len() > self.knots_max {
                self.is_left_out = self.within_mm >= COARSE_MM;
                self.within_mm = (2.0 * self.within_mm).min(COARSE_MM);
            }
            if self.is_left_out {
                self.current.knots = Vec::new();
            }
        }
    }

    fn end_layer(&mut self, next: u32) {
        let fresh = LayerPath {
            layer: next,
            ..LayerPath::default()
        };
        let mut ended = std::mem::replace(&mut self.current, fresh);
        self.is_left_out = false;
        if !ended.knots.iter().any(|k| k.level.is_some()) {
            return;
        }
        ended.knots = thinned(&ended.knots, self.within_mm);
        self.knots += ended.knots.len();
        self.layers.push(ended);
        while self.knots > self.knots_max {
            self.coarser();
        }
    }

    fn coarser(&mut self) {
        if self.within_mm < COARSE_MM {
            self.within_mm *= 2.0;
            for layer in &mut self.layers {
                layer.knots = thinned(&layer.knots, self.within_mm / 2.0);
            }
        } else {
            // Of one layer, none.
            let mut keeps = self.layers.len() == 1;
            self.layers.retain(|_| {
                keeps = !keeps;
                keeps
            });
        }
        self.knots = self.layers.iter().map(|l| l.knots.len()).sum();
    }

    /// All layers' paths, in order, and their error bound, mm; coarser until they fit.
    pub fn finish(mut self, fits: impl Fn(&[LayerPath]) -> bool) -> (Vec<LayerPath>, f64) {
        self.end_layer(0);
        while self.layers.len() > 1 && !fits(&self.layers) {
            self.coarser();
        }
        (self.layers, self.within_mm)
    }
}

/// Neighbours shorter than the grain in one; the slower one's level stays.
fn joined(knots: &[Knot], grain_mm: f64) -> Vec<Knot> {
    let mut out: Vec<Knot> = Vec::with_capacity(knots.len());
    for knot in knots {
        if let [.., before, last] = out.as_mut_slice()
            && let (Some(a), Some(b)) = (last.level, knot.level)
            && f64::from((last.x_mm - before.x_mm).hypot(last.y_mm - before.y_mm)) < grain_mm
        {
            *last = Knot {
                level: Some(a.min(b)),
                ..*knot
            };
        } else {
            out.push(*knot);
        }
    }
    out
}

/// Fewer knots for the same path, run by run of one level.
fn thinned(knots: &[Knot], within_mm: f64) -> Vec<Knot> {
    let knots = joined(knots, within_mm);
    let mut out: Vec<Knot> = Vec::with_capacity(knots.len() / 2 + 1);
    out.extend(knots.first());
    let mut from = 1;
    for run in knots
        .get(1..)
        .unwrap_or(&[])
        .chunk_by(|a, b| a.level == b.level)
    {
        // From the knot before the run on.
        let all = &knots[from - 1..from + run.len()];
        from += run.len();
        let points: Vec<(f64, f64)> = all
            .iter()
            .map(|k| (f64::from(k.x_mm), f64::from(k.y_mm)))
            .collect();
        out.extend(kept(&points, within_mm).into_iter().skip(1).map(|k| all[k]));
    }
    out
}
