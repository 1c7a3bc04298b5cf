//! What the maker's errors do to a map of the wall.

use super::view::{Errors, View};
use super::wall::{AROUND, Wall};

/// Weights of heights below this count as 0.
const FAINT: f64 = 3.4e-4;
/// Weights of angles below this add nothing to a sum.
const NOTHING: f64 = 1e-24;

/// The kernel of the errors: normal in height and in angle.
#[derive(Clone, Debug)]
pub struct Blur {
    /// For each layer the layers near it and their weights, not yet scaled.
    pub near: Vec<Vec<(usize, f64)>>,
    /// Weights of whole degrees from 0 on, on either side; sum 1 around the circle.
    around: Vec<f64>,
}

impl Blur {
    /// The kernel for a wall.
    pub fn new(wall: &Wall, errors: Errors) -> Self {
        let middle = &wall.middle_mm;
        let reach_mm = errors.z_mm * (-2.0 * FAINT.ln()).sqrt() * 1.001;
        let mut order: Vec<usize> = (0..middle.len()).collect();
        order.sort_by(|a, b| middle[*a].total_cmp(&middle[*b]));
        let near = |layer: usize| {
            let from = order.partition_point(|l| middle[*l] < middle[layer] - reach_mm);
            let to = order.partition_point(|l| middle[*l] <= middle[layer] + reach_mm);
            let weight = |l: usize| {
                let z = (middle[l] - middle[layer]) / errors.z_mm;
                (-0.5 * z * z).exp()
            };
            let mut row: Vec<(usize, f64)> = order[from..to]
                .iter()
                .map(|l| (*l, weight(*l)))
                .filter(|(_, w)| *w >= FAINT)
                .collect();
            row.sort_by_key(|(l, _)| *l);
            row
        };
        let weight = |d: usize| {
            let z = d as f64 / errors.angle_deg;
            (-0.5 * z * z).exp()
        };
        let half = AROUND / 2;
        let sides = |d: usize| if d == 0 || d == half { 1.0 } else { 2.0 };
        let whole: f64 = (0..=half).map(|d| sides(d) * weight(d)).sum();
        Blur {
            near: (0..middle.len()).map(near).collect(),
            around: (0..=half)
                .map(|d| weight(d) / whole)
                .take_while(|w| *w > NOTHING)
                .collect(),
        }
    }

    /// A map as it would be noted: each value is spread over layers and degrees. The sum stays.
    pub fn spread(&self, map: &[f64]) -> Vec<f64> {
        let mut tall = vec![0.0; map.len()];
        for (layer, row) in self.near.iter().enumerate() {
            let own = &map[layer * AROUND..(layer + 1) * AROUND];
            if own.iter().all(|m| *m == 0.0) {
                continue;
            }
            let whole: f64 = row.iter().map(|(_, w)| w).sum();
            for (to, w) in row {
                let to = &mut tall[to * AROUND..(to + 1) * AROUND];
                for (t, m) in to.iter_mut().zip(own) {
                    *t += w / whole * m;
                }
            }
        }
        let mut out = vec![0.0; map.len()];
        let mut wide = [0.0; 3 * AROUND];
        for (from, to) in tall.chunks(AROUND).zip(out.chunks_mut(AROUND)) {
            if from.iter().all(|m| *m == 0.0) {
                continue;
            }
            for third in wide.chunks_mut(AROUND) {
                third.copy_from_slice(from);
            }
            for (d, w) in self.around.iter().enumerate() {
                let (left, right) = (&wide[AROUND - d..2 * AROUND - d], &wide[AROUND + d..]);
                for (b, t) in to.iter_mut().enumerate() {
                    let both = if d == 0 || d == AROUND / 2 {
                        left[b]
                    } else {
                        left[b] + right[b]
                    };
                    *t += w * both;
                }
            }
        }
        out
    }

    /// A map as it would be noted within the window, scaled to the sum 1; 0 elsewhere. `None` where
    /// nothing of it falls into the window.
    pub fn noted(&self, map: &[f64], view: &View) -> Option<Vec<f64>> {
        let spread = self.spread(map);
        let whole: f64 = view.cells.iter().map(|c| spread[*c]).sum();
        let all: f64 = map.iter().sum();
        if whole.is_nan() || whole <= LEAST * all {
            return None;
        }
        let mut out = vec![0.0; map.len()];
        for &cell in &view.cells {
            out[cell] = spread[cell] / whole;
        }
        Some(out)
    }
}

/// A map of which less than this falls into the window is empty there.
const LEAST: f64 = 1e-9;
