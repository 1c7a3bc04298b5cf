//! The one histogram that shows an explanation: where bumps lie against it, and where chance would put them.

use super::blur::Blur;
use super::decide::Name;
use super::regular::{Regular, Stripes};
use super::strewn::Strewn;
use super::view::View;
use super::wall::AROUND;

/// Bins of a turn.
const TURN_BINS: usize = 12;
/// Width of a bin of angles, degrees.
const BIN_DEG: f64 = 3.0;
/// Bins of angles.
const ANGLE_BINS: usize = 12;
/// Layers whose weight is at least this are near in height: two errors.
const NEAR_MIN: f64 = 0.13;

/// A histogram of bumps.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// Of which explanation.
    pub name: Name,
    /// The lower end of the first bin: turns, or degrees.
    pub from: f64,
    /// The upper end of the last bin; bumps beyond it are counted in that.
    pub to: f64,
    /// Bumps by bin.
    pub bumps: Vec<usize>,
    /// How many chance would put in each.
    pub by_chance: Vec<f64>,
    /// For a place: the cells of the window that it takes up.
    pub places: Vec<usize>,
}

impl Shown {
    fn new(name: Name, from: f64, to: f64, bins: usize) -> Self {
        Shown {
            name,
            from,
            to,
            bumps: vec![0; bins],
            by_chance: vec![0.0; bins],
            places: Vec::new(),
        }
    }

    fn bin(&self, value: f64) -> usize {
        let bins = self.bumps.len();
        let at = (value - self.from) / (self.to - self.from) * bins as f64;
        (at.max(0.0) as usize).min(bins - 1)
    }

    /// Phases of bumps against those of the bumps near them along the job, turns from -½ to ½.
    pub fn beats(turns: &[f64]) -> Self {
        let mut shown = Shown::new(Name::Clock, -0.5, 0.5, TURN_BINS);
        for turn in turns {
            let bin = shown.bin(*turn);
            shown.bumps[bin] += 1;
        }
        shown.by_chance = vec![turns.len() as f64 / TURN_BINS as f64; TURN_BINS];
        shown
    }

    /// Places of bumps against the stripes of a regular step, turns from -½ to ½.
    pub fn stripes(
        name: Name,
        view: &View,
        strewn: &Strewn,
        regular: &Regular,
        stripes: &Stripes,
    ) -> Self {
        let mut shown = Shown::new(name, -0.5, 0.5, TURN_BINS);
        let turn = |cell: usize| {
            let at = regular.place_mm(stripes.axis, cell) / stripes.period_mm - stripes.phase_turns;
            at - at.round()
        };
        shown.count(view, strewn, turn);
        shown
    }

    /// Angles from bumps to the nearest cell of a map on layers near in height, degrees.
    pub fn near(name: Name, view: &View, blur: &Blur, strewn: &Strewn, map: &[f64]) -> Self {
        let mut shown = Shown::new(name, 0.0, BIN_DEG * ANGLE_BINS as f64, ANGLE_BINS);
        let mut away = vec![f64::INFINITY; map.len()];
        for (layer, row) in blur.near.iter().enumerate() {
            let near = row.iter().filter(|(_, w)| *w >= NEAR_MIN);
            let layers: Vec<usize> = near.map(|(l, _)| *l).collect();
            let has = |b: usize| layers.iter().any(|l| map[l * AROUND + b] > 0.0);
            let degrees: Vec<usize> = (0..AROUND).filter(|b| has(*b)).collect();
            for b in 0..AROUND {
                let apart = |d: &usize| {
                    let turn = d.abs_diff(b);
                    turn.min(AROUND - turn)
                };
                if let Some(least) = degrees.iter().map(apart).min() {
                    away[layer * AROUND + b] = least as f64;
                }
            }
        }
        shown.count(view, strewn, |cell| away[cell]);
        let cells = view.cells.iter().filter(|c| map[**c] > 0.0);
        shown.places = cells.copied().collect();
        shown
    }

    fn count(&mut self, view: &View, strewn: &Strewn, value: impl Fn(usize) -> f64) {
        for bump in &view.bumps {
            let bin = self.bin(value(bump.cell()));
            self.bumps[bin] += 1;
        }
        let n = view.bumps.len() as f64;
        for &cell in &view.cells {
            let bin = self.bin(value(cell));
            self.by_chance[bin] += n * strewn.density[cell];
        }
    }
}
