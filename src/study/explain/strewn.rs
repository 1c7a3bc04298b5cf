//! Bumps strewn evenly over the wall: where they would be noted, and draws of them.

use super::blur::Blur;
use super::draws::{Draws, Purpose};
use super::huddle::Groups;
use super::view::View;
use super::wall::AROUND;

/// The density of bumps that lie as chance strews them.
#[derive(Clone, Debug)]
pub struct Strewn {
    /// By cell; sum 1 over the window, 0 elsewhere.
    pub density: Vec<f64>,
    cells: Vec<usize>,
    summed: Vec<f64>,
}

impl Strewn {
    /// Even over the length of wall in the window. `None` where that is nothing.
    pub fn new(view: &View, blur: &Blur) -> Option<Self> {
        let density = blur.noted(&view.wall.length_mm, view)?;
        Some(Strewn::of(view, density))
    }

    /// Draws by another density over the window's cells, sum 1.
    pub fn of(view: &View, density: Vec<f64>) -> Self {
        let mut sum = 0.0;
        let summed = view.cells.iter().map(|c| {
            sum += density[*c];
            sum
        });
        Strewn {
            summed: summed.collect(),
            cells: view.cells.clone(),
            density,
        }
    }

    /// The first cell at which the summed density exceeds `uniform`.
    pub fn cell(&self, uniform: f64) -> usize {
        let at = self.summed.partition_point(|s| *s <= uniform);
        self.cells[at.min(self.cells.len() - 1)]
    }

    /// Draws of as many bumps as were seen, groups kept in shape.
    pub fn draws(&self, view: &View, groups: &Groups, seed: u64, draws: usize) -> Vec<Vec<usize>> {
        let numbers = Draws::new(seed, Purpose::Cells);
        let one = |draw: usize| -> Vec<usize> {
            let moved: Vec<usize> = (0..groups.leaders.len())
                .map(|k| self.cell(numbers.uniform(draw, k)))
                .collect();
            (0..view.bumps.len())
                .map(|i| {
                    let to = moved[groups.of[i]];
                    let (own, lead) = (view.bumps[i], view.bumps[groups.leader(i)]);
                    let by = own.layer as i64 - lead.layer as i64;
                    let layer = view.layer_above(to / AROUND, by);
                    let degree = (to % AROUND + AROUND + own.degree - lead.degree) % AROUND;
                    let cell = layer * AROUND + degree;
                    if view.has(cell) { cell } else { to }
                })
                .collect()
        };
        (0..draws).map(one).collect()
    }
}
