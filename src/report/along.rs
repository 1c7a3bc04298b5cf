//! How far along the outer wall of its layer a place lies.

use std::collections::BTreeMap;

use crate::surface::skin::WallPoint;

/// Width of a square, mm.
const SQUARE_MM: f64 = 1.5;

/// The square, seen from above, in which a place lies.
fn cell(x: f64, y: f64) -> (i32, i32) {
    (
        (x / SQUARE_MM).floor() as i32,
        (y / SQUARE_MM).floor() as i32,
    )
}

/// By square: points of the wall with the length up to them.
type Squares = BTreeMap<(i32, i32), Vec<([f64; 2], f64)>>;

/// Length along the outer wall, by layer.
pub(super) struct Lengths {
    /// By height in micrometres.
    layers: BTreeMap<i64, Squares>,
    /// The longest wall of all layers, mm.
    pub most_mm: f64,
}

/// Squares around a place in which the wall is looked for.
const RINGS_MAX: i32 = 8;

impl Lengths {
    fn key(z_mm: f64) -> i64 {
        (z_mm * 1e3).round() as i64
    }

    /// Of these points, in the order of the path.
    pub fn along<'a>(walls: impl Iterator<Item = &'a WallPoint>) -> Self {
        let mut lengths = Lengths {
            layers: BTreeMap::new(),
            most_mm: 1e-3,
        };
        let mut before: Option<(i64, [f64; 2], f64)> = None;
        for w in walls {
            let (key, at) = (
                Self::key(f64::from(w.z_mm)),
                [f64::from(w.x_mm), f64::from(w.y_mm)],
            );
            let length_mm = match before {
                Some((layer, from, so_far)) if layer == key => {
                    let step = if w.starts {
                        0.0
                    } else {
                        (at[0] - from[0]).hypot(at[1] - from[1])
                    };
                    so_far + step
                }
                _ => 0.0,
            };
            lengths.most_mm = lengths.most_mm.max(length_mm);
            let layer = lengths.layers.entry(key).or_default();
            layer
                .entry(cell(at[0], at[1]))
                .or_default()
                .push((at, length_mm));
            before = Some((key, at, length_mm));
        }
        lengths
    }

    /// Length up to the wall point nearest to this place, in the layer nearest to its height; 0
    /// where none is near.
    pub fn at(&self, place_mm: [f64; 3]) -> f64 {
        let key = Self::key(place_mm[2]);
        let above = self.layers.range(key..).next();
        let below = self.layers.range(..key).next_back();
        let layer = [above, below]
            .into_iter()
            .flatten()
            .min_by_key(|(k, _)| (**k - key).abs());
        let Some((_, squares)) = layer else {
            return 0.0;
        };
        let far = |p: &[f64; 2]| (p[0] - place_mm[0]).hypot(p[1] - place_mm[1]);
        let (cx, cy) = cell(place_mm[0], place_mm[1]);
        let mut found: Option<(f64, f64)> = None;
        for ring in 0..=RINGS_MAX {
            let on_ring = (-ring..=ring)
                .flat_map(|dx| (-ring..=ring).map(move |dy| (dx, dy)))
                .filter(|(dx, dy)| dx.abs().max(dy.abs()) == ring);
            for (dx, dy) in on_ring {
                for (p, length_mm) in squares.get(&(cx + dx, cy + dy)).into_iter().flatten() {
                    if found.is_none_or(|(nearest, _)| far(p) < nearest) {
                        found = Some((far(p), *length_mm));
                    }
                }
            }
            // One ring more than the first with a point holds the nearest.
            if found.is_some_and(|(nearest, _)| nearest <= f64::from(ring) * SQUARE_MM) {
                break;
            }
        }
        found.map_or(0.0, |(_, length_mm)| length_mm)
    }
}
