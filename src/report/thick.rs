//! The unrolled wall's tint: how far it stands out, from the bumps themselves.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::bump_marks::Bump;
use super::look::palette::TINTS;
use super::look::picture::{Anchor, MARGIN, Picture, Voice, number};

/// How far the wall of one panel stands out, bin by bin.
pub struct Thick {
    /// Left, top, width and height, px.
    frame: [f64; 4],
    /// By row and column: the highest bump that reaches into it, mm.
    bins: BTreeMap<(usize, usize), f64>,
    columns: usize,
    rows: usize,
}

/// Bins across are at least this wide, px.
const BIN: f64 = 3.0;
/// Bins up, at most.
const ROWS_MAX: usize = 200;

impl Thick {
    /// A bare wall in this frame (left, top, width and height, px), with a row for each of `layers`, if there is
    /// room.
    pub fn bare(frame: [f64; 4], layers: usize) -> Self {
        Thick {
            frame,
            bins: BTreeMap::new(),
            columns: (frame[2] / BIN).max(1.0) as usize,
            rows: layers.clamp(1, ROWS_MAX),
        }
    }

    /// Adds a bump: `across` and `up`, the share of the frame's width and height at which its middle is (from
    /// the left and from below), and `wide`, the share of the width that its stretch takes.
    pub fn add(&mut self, bump: &Bump, across: f64, up: f64, wide: f64) {
        let columns = self.columns as f64;
        // The layer's own row lies below its height.
        let row = ((1.0 - up) * self.rows as f64 + 1e-6).max(0.0) as usize;
        let row = row.min(self.rows - 1);
        let reach = (wide / 2.0).min(0.5);
        let (from, to) = ((across - reach) * columns, (across + reach) * columns);
        let mut column = from.floor();
        while column < to.max(from + 1e-9) {
            // Around the back.
            let at = column.rem_euclid(columns) as usize;
            let bin = self
                .bins
                .entry((row, at.min(self.columns - 1)))
                .or_insert(0.0);
            *bin = bin.max(bump.bump_mm);
            column += 1.0;
        }
    }

    /// Draws the bins; the darkest tint is that of `most_mm`.
    pub fn draw(&self, picture: &mut Picture, most_mm: f64) {
        let [left, top, wide, high] = self.frame;
        let (bin_wide, bin_high) = (wide / self.columns as f64, high / self.rows as f64);
        let mut paths = [const { String::new() }; TINTS.len()];
        for ((row, column), mm) in &self.bins {
            let tint = (mm / most_mm * TINTS.len() as f64) as usize;
            let _ = write!(
                paths[tint.min(TINTS.len() - 1)],
                "M {} {}h{}v{}h-{}z",
                number(left + *column as f64 * bin_wide),
                number(top + *row as f64 * bin_high),
                number(bin_wide),
                number(bin_high),
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
    let label = format!("the wall stands out, by up to {most_mm:.2} mm");
    picture.say(MARGIN + 150.0, y, Voice::Body, Anchor::Start, &label);
    y + 44.0
}
