//! The bumps of a replay on surfaces that can be seen, ranked once for everybody.

use std::collections::BTreeMap;

use crate::board::types::Nozzle;
use crate::study::watch::LayerSum;
use crate::surface::flow::Flow;
use crate::surface::skin::Surface;

use super::stall_book::StallBook;

/// A bump on a surface that can be seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bump {
    /// The stall that left it.
    pub stall: u64,
    /// The layer at its place, from 0.
    pub layer: u32,
    /// Its place: x, y, z; mm.
    pub place_mm: [f64; 3],
    /// How far it stands proud, mm.
    pub height_mm: f64,
    /// What it lies on.
    pub surface: Surface,
}

/// The bumps of these stalls on surfaces that can be seen, the highest first.
pub(super) fn seen_bumps(stalls: &StallBook, nozzle: &Nozzle) -> Vec<Bump> {
    let flow = Flow::new(nozzle);
    let mut all: Vec<Bump> = stalls
        .list()
        .iter()
        .filter_map(|s| {
            let surface = s.surface.filter(|s| *s != Surface::Inner)?;
            let height_mm = flow.bump_mm(s.excess_mm3, s.layer_height_mm)?;
            (height_mm > 0.0).then_some(Bump {
                stall: s.stall,
                layer: s.layer,
                place_mm: s.place_mm,
                height_mm,
                surface,
            })
        })
        .collect();
    all.sort_by(|a, b| b.height_mm.total_cmp(&a.height_mm));
    all
}

/// The layer that suffers most: the one with most visible bumps, among equals with the highest sum of
/// heights; where there are none, the one that loses most time.
pub(super) fn worst_layer(visible: &[Bump], layers: &[LayerSum]) -> Option<u32> {
    let mut by_layer: BTreeMap<u32, (u64, f64)> = BTreeMap::new();
    for bump in visible {
        let sums = by_layer.entry(bump.layer).or_default();
        *sums = (sums.0 + 1, sums.1 + bump.height_mm);
    }
    let most = by_layer.iter().max_by(|a, b| {
        a.1.0
            .cmp(&b.1.0)
            .then(a.1.1.total_cmp(&b.1.1))
            .then(b.0.cmp(a.0))
    });
    if let Some((layer, _)) = most {
        return Some(*layer);
    }
    let slowest = layers
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.lost_s.total_cmp(&b.1.lost_s).then(b.0.cmp(&a.0)))?;
    (slowest.1.lost_s > 0.0).then_some(slowest.0 as u32)
}
