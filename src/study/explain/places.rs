//! Explanations by place: where on the wall each would put its bumps.

use std::collections::BTreeMap;

use super::numbers::weighted_quantile;
use super::view::{View, search};
use super::wall::{AROUND, Cell};

/// A run with fewer cells than this on a layer has no seam.
const SEAM_CELLS_MIN: usize = 30;
/// A corner turns at least this much, rad/mm.
const CORNER_MIN_PER_MM: f64 = 0.25;
/// And this many times as much as half the wall.
const CORNER_TIMES: f64 = 2.0;
/// Corners on more than this share of the wall are none.
const CORNER_SHARE_MAX: f64 = 0.5;
/// Moves are of unlike length where the 95 % quantile of the demand is this many times the 5 % quantile.
const UNLIKE: f64 = 1.5;

/// A bump that a replay predicts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Predicted {
    /// Its layer, from 0.
    pub layer: u32,
    /// x and y, mm.
    pub place_mm: [f64; 2],
}

/// The cell of each predicted bump that lies on the wall.
pub fn predicted_cells(view: &View, predicted: &[Predicted]) -> Vec<usize> {
    let wall = view.wall;
    let cell = |p: &Predicted| {
        let layer = p.layer as usize;
        let degree = wall.angle_deg(p.place_mm[0], p.place_mm[1]).floor() as i64;
        let near = || search(degree, layer, |cell| wall.cells[cell].is_some());
        (layer < wall.layers()).then(near).flatten()
    };
    predicted.iter().filter_map(cell).collect()
}

/// Stalls: 1 for each predicted bump.
pub fn stalls(view: &View, predicted: &[Predicted]) -> Vec<f64> {
    let mut map = vec![0.0; view.wall.cells.len()];
    for cell in predicted_cells(view, predicted) {
        map[cell] += 1.0;
    }
    map
}

/// The seam: ½ where each long run on a layer begins on the wall, ½ where it ends.
pub fn seam(view: &View) -> Vec<f64> {
    let mut map = vec![0.0; view.wall.cells.len()];
    for (layer, cells) in view.wall.cells.chunks(AROUND).enumerate() {
        let mut runs: BTreeMap<u32, Vec<(f64, usize)>> = BTreeMap::new();
        for (b, cell) in cells.iter().enumerate() {
            if let Some(cell) = cell {
                runs.entry(cell.run).or_default().push((cell.along[0], b));
            }
        }
        for mut cells in runs.into_values().filter(|c| c.len() >= SEAM_CELLS_MIN) {
            cells.sort_by(|a, b| a.0.total_cmp(&b.0));
            for end in [cells.first(), cells.last()].into_iter().flatten() {
                map[layer * AROUND + end.1] += 0.5;
            }
        }
    }
    map
}

/// Values of the window's cells with their lengths of wall.
fn weighed(view: &View, of: impl Fn(&Cell) -> f64) -> Vec<(f64, f64)> {
    let cells = view.cells.iter();
    cells
        .map(|c| (of(view.at(*c)), view.wall.length_mm[*c]))
        .collect()
}

/// The wall's lengths where a cell fulfils a condition.
fn lengths_where(view: &View, is: impl Fn(&Cell) -> bool) -> Vec<f64> {
    let cells = view.wall.cells.iter().zip(&view.wall.length_mm);
    cells
        .map(|(cell, mm)| {
            if cell.as_ref().is_some_and(&is) {
                *mm
            } else {
                0.0
            }
        })
        .collect()
}

/// Corners: where the path turns far more than on most of the wall; `None` where there are none.
pub fn corners(view: &View) -> Option<Vec<f64>> {
    let turns = weighed(view, |c| c.curvature_per_mm);
    let whole: f64 = turns.iter().map(|t| t.1).sum();
    let usual = weighted_quantile(turns.clone(), 0.5)?;
    let least = CORNER_MIN_PER_MM.max(CORNER_TIMES * usual);
    let sharp: f64 = turns.iter().filter(|t| t.0 >= least).map(|t| t.1).sum();
    let some = sharp > 0.0 && sharp <= CORNER_SHARE_MAX * whole;
    some.then(|| lengths_where(view, |c| c.curvature_per_mm >= least))
}

/// Short moves: where the path asks for most moves a second; `None` where it asks for much the same
/// everywhere.
pub fn short_moves(view: &View) -> Option<Vec<f64>> {
    let demands = weighed(view, |c| c.demand_per_s);
    let low = weighted_quantile(demands.clone(), 0.05)?;
    let high = weighted_quantile(demands, 0.95)?;
    let least = (low * high).sqrt();
    let unlike = high >= UNLIKE * low && least > 0.0;
    unlike.then(|| lengths_where(view, |c| c.demand_per_s >= least))
}
