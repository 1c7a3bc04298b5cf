//! The unrolled wall's tint: how much thicker it is, bin by bin.

use std::collections::BTreeMap;
use std::fmt::Write;

use crate::surface::skin::Patch;

use super::look::palette::TINTS;
use super::look::picture::{Anchor, MARGIN, Picture, Voice, number};

/// How much thicker the wall is, bin by bin.
pub struct Thick {
    /// Left, top, width and height, px.
    frame: [f64; 4],
    bins: BTreeMap<(usize, usize), f64>,
    columns: usize,
    rows: usize,
    /// The most of all bins, mm.
    pub most_mm: f64,
}

/// Bins are at least this wide, more than patches are apart, mm.
const BIN_MM: f64 = 1.2;
/// Bins up.
const ROWS_MAX: usize = 160;
/// What is thicker by less is not tinted, mm.
pub const THIN_MM: f64 = 0.005;

impl Thick {
    /// Plastic too much, spread over the bin that it lies in: mm³ over the bin's width and the
    /// layer's height.
    pub fn spread<'a>(
        patches: impl Iterator<Item = &'a Patch>,
        frame: [f64; 4],
        tall_mm: f64,
        around_mm: f64,
        share: &dyn Fn([f64; 3]) -> f64,
    ) -> Self {
        let columns = (frame[2] / 4.0).min(around_mm / BIN_MM).max(1.0) as usize;
        let bin_mm = (around_mm / columns as f64).max(BIN_MM);
        let mut bins: BTreeMap<(usize, usize), (f64, f64, f32)> = BTreeMap::new();
        let mut rows = ROWS_MAX;
        for p in patches {
            let place = [p.x_mm, p.y_mm, p.z_mm].map(f64::from);
            rows = rows.min((tall_mm / f64::from(p.layer_height_mm).max(1e-3)).round() as usize);
            let column = ((share(place) * columns as f64) as usize).min(columns - 1);
            let row =
                ((1.0 - place[2] / tall_mm) * ROWS_MAX as f64).clamp(0.0, ROWS_MAX as f64 - 1.0);
            let bin = bins
                .entry((row as usize, column))
                .or_insert((0.0, 0.0, p.z_mm));
            // The layers of a bin side by side.
            if bin.2 != p.z_mm {
                *bin = (bin.0.max(bin.1), 0.0, p.z_mm);
            }
            bin.1 += f64::from(p.excess_mm3) / (bin_mm * f64::from(p.layer_height_mm).max(1e-3));
        }
        let bins: BTreeMap<(usize, usize), f64> = bins
            .into_iter()
            .map(|(at, (before, now, _))| (at, before.max(now)))
            .collect();
        let most_mm = bins.values().copied().fold(0.0, f64::max);
        Thick {
            frame,
            bins,
            columns,
            rows: rows.max(1),
            most_mm,
        }
    }

    /// Draws the bins.
    pub fn draw(&self, picture: &mut Picture) {
        let [left, top, wide, high] = self.frame;
        let (bin_wide, bin_high) = (wide / self.columns as f64, high / ROWS_MAX as f64);
        // A layer is as high as it is, where the part has few.
        let layer_high = (high / self.rows as f64).max(bin_high);
        let mut paths = [const { String::new() }; TINTS.len()];
        for ((row, column), mm) in &self.bins {
            if *mm <= THIN_MM {
                continue;
            }
            let tint = ((mm / self.most_mm * TINTS.len() as f64) as usize).min(TINTS.len() - 1);
            let _ = write!(
                paths[tint],
                "M {} {}h{}v{}h-{}z",
                number(left + *column as f64 * bin_wide),
                number(top + *row as f64 * bin_high),
                number(bin_wide),
                number(layer_high.min(high - *row as f64 * bin_high)),
                number(bin_wide)
            );
        }
        for (path, tint) in paths.iter().zip(TINTS).filter(|(path, _)| !path.is_empty()) {
            picture.add(&format!(
                "<path class=\"thick\" d=\"{path}\" fill=\"{tint}\"/>"
            ));
        }
    }
}

/// The key to the tints; returns where what follows may stand.
pub fn tints(picture: &mut Picture, y: f64, most_mm: f64) -> f64 {
    for (k, tint) in TINTS.iter().enumerate() {
        picture.add(&format!(
            "<rect x=\"{}\" y=\"{}\" width=\"34\" height=\"24\" fill=\"{tint}\"/>",
            number(MARGIN + 34.0 * k as f64),
            number(y - 20.0)
        ));
    }
    let label = format!("wall thicker, by up to {most_mm:.2} mm");
    picture.say(MARGIN + 150.0, y, Voice::Body, Anchor::Start, &label);
    y + 44.0
}
