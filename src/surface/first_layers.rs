//! The first layers of a part: an island that nothing stands on is no part.

use std::sync::Arc;

use super::grid::{Bead, Grid, OUTSIDE, SOLID};
use super::ground::{Column, Ground};
use super::layer::Layer;
use super::left_out::{LeftOut, Why, leave_out};
use super::lines::{Line, length_mm};
use super::look::Look;

/// Printed layers that are held back until they show what stands on what.
pub(super) const HELD_MAX: usize = 4;
/// A loop over which less than this share is printed has nothing on it.
const BARE_SHARE: f64 = 0.2;
/// A brim is all loops: open lines are at most this share of what is bare.
const BARE_OPEN_SHARE: f64 = 0.1;
/// Columns among which a skirt of some layers is looked for; where there are more, there is none.
const COLUMNS_MAX: usize = 1000;
/// Pairs of loops that are compared at most; a first layer with more has no brim.
const LOOPS_MAX: usize = 1_000_000;
/// A loop is looked at about this far apart, mm.
const LOOK_MM: f64 = 2.0;

/// A layer that is held back.
#[derive(Debug)]
pub(super) struct Held {
    pub layer: Layer,
    pub lines: Vec<Line>,
    /// By island: its column.
    pub columns: Vec<u32>,
    /// All of it drawn; `None` where nothing is printed, or a limit cuts it.
    pub look: Option<Arc<Look>>,
    /// Whether a layer with the same path came not long before.
    pub again: bool,
}

impl Held {
    pub fn new(layer: Layer, look: Arc<Look>, again: bool, columns: Vec<u32>) -> Self {
        Held {
            layer,
            lines: look.lines.clone(),
            columns,
            look: Some(look),
            again,
        }
    }

    /// A layer of which nothing is known but its blocks.
    pub fn blank(layer: Layer) -> Self {
        Held {
            layer,
            lines: Vec::new(),
            columns: Vec::new(),
            look: None,
            again: false,
        }
    }

    /// All of it drawn.
    pub fn grid(&self) -> Option<&Grid> {
        self.look.as_ref().map(|look| look.grid.as_ref())
    }

    /// Excess plastic on the outside of all that is drawn, mm³.
    pub fn outer_mm3(&self) -> f64 {
        let Some(grid) = self.grid() else { return 0.0 };
        let mut seen = None;
        let mut outer = |at_mm: [f32; 2], width_mm: f32| {
            grid.faces(at_mm.map(f64::from), f64::from(width_mm), &mut seen) == OUTSIDE
        };
        let asked = self.layer.asked.iter();
        let outer = asked.filter(|a| outer(a.at_mm, a.width_mm));
        outer.map(|a| f64::from(a.excess_mm3)).sum()
    }
}

/// Marks the lines of the first layers that are no part.
pub(super) fn sift(held: &mut [Held], ground: &mut Ground, left_out: &mut Vec<LeftOut>) {
    let mut drawn = held.iter_mut().filter(|h| h.look.is_some());
    let (Some(first), second) = (drawn.next(), drawn.next()) else {
        return;
    };
    let mut roots: Vec<u32> = first.columns.iter().map(|c| ground.root(*c)).collect();
    roots.sort_unstable();
    roots.dedup();
    let columns: Vec<(u32, Column)> = roots.iter().map(|c| (*c, *ground.column(*c))).collect();
    let bare: Vec<u32> = columns
        .iter()
        .filter(|(_, c)| is_bare(c, &columns))
        .map(|c| c.0)
        .collect();
    for root in bare {
        let column = ground.column(root);
        column.left_out = Some(Why::NothingStandsOn);
        let layers = [column.first_layer, column.last_layer];
        leave_out(left_out, Why::NothingStandsOn, 1, layers);
    }
    let over = second.and_then(|s| s.grid());
    if let Some(over) = over {
        let brims = brim(first, over, ground);
        if brims > 0 {
            let layers = [first.layer.number; 2];
            leave_out(left_out, Why::Brim, brims, layers);
        }
    }
}

/// Whether nothing stands on a column, while something stands on another: one layer, or loops of a few layers
/// around something taller.
fn is_bare(column: &Column, all: &[(u32, Column)]) -> bool {
    let tallest = all.iter().map(|(_, c)| c.layers).max().unwrap_or(0);
    if column.layers >= tallest || column.roofed > 0 {
        return false;
    }
    let around = |c: &Column| {
        c.layers > column.layers
            && (0..2).all(|k| c.low_mm[k] > column.low_mm[k] && c.high_mm[k] < column.high_mm[k])
    };
    let few = all.len() <= COLUMNS_MAX;
    let skirt = || few && column.loops && all.iter().any(|(_, c)| around(c));
    column.layers == 1 || (column.layers < HELD_MAX as u32 && skirt())
}

/// Marks the loops of the first layer that nothing stands on, around loops on which something stands; tells how
/// many.
fn brim(first: &mut Held, over: &Grid, ground: &mut Ground) -> u64 {
    // By island: length of what is bare, mm, of loops and of open lines.
    let mut bare_mm = vec![[0.0; 2]; first.columns.len()];
    let (mut brims, mut walls) = (Vec::new(), Vec::new());
    for (k, line) in first.lines.iter().enumerate() {
        let (bare, all) = bare(&first.layer, line, over);
        bare_mm[line.island as usize][usize::from(!line.closed)] += bare;
        if line.closed {
            let loops = if bare > (1.0 - BARE_SHARE) * all {
                &mut brims
            } else {
                &mut walls
            };
            loops.push((k, Extent::of(&first.layer, line)));
        }
    }
    if brims.len().saturating_mul(walls.len()) > LOOPS_MAX {
        return 0;
    }
    let island = |k: usize| first.lines[k].island;
    brims.retain(|(k, extent)| {
        let [loops, open] = bare_mm[island(*k) as usize];
        let mut own = walls.iter().filter(|w| island(w.0) == island(*k));
        open <= BARE_OPEN_SHARE * (loops + open)
            && own.clone().any(|(_, wall)| extent.holds(wall))
            && !own.any(|(_, wall)| wall.holds(extent))
            && ground
                .column(first.columns[island(*k) as usize])
                .left_out
                .is_none()
    });
    for (k, _) in &brims {
        first.lines[*k].out = Some(Why::Brim);
    }
    brims.len() as u64
}

/// How far a line reaches, mm.
#[derive(Clone, Copy, Debug)]
struct Extent {
    low: [f32; 2],
    high: [f32; 2],
}

impl Extent {
    fn of(layer: &Layer, line: &Line) -> Self {
        let mut extent = Extent {
            low: [f32::MAX; 2],
            high: [f32::MIN; 2],
        };
        for point in &layer.path[line.chain.points[0]..=line.chain.points[1]] {
            for k in 0..2 {
                extent.low[k] = extent.low[k].min(point.at_mm[k]);
                extent.high[k] = extent.high[k].max(point.at_mm[k]);
            }
        }
        extent
    }

    fn holds(&self, other: &Extent) -> bool {
        (0..2).all(|k| self.low[k] < other.low[k] && self.high[k] > other.high[k])
    }
}

/// Length of a line over which nothing is printed, and all of it, mm.
fn bare(layer: &Layer, line: &Line, over: &Grid) -> (f64, f64) {
    let (mut bare, mut all) = (0.0, 0.0);
    for bead in layer.beads_of(&line.chain) {
        let long = length_mm(&bead);
        let count = (long / LOOK_MM).ceil().clamp(1.0, 1000.0);
        for k in 0..count as u32 {
            let along = (f64::from(k) + 0.5) / count;
            if !is_under(&bead, along, over) {
                bare += long / count;
            }
        }
        all += long;
    }
    (bare, all)
}

/// Whether plastic lies over a point of a bead.
fn is_under(bead: &Bead, along: f64, over: &Grid) -> bool {
    let at = [0, 1].map(|k| {
        let at_mm = bead.from_mm[k] + along * (bead.to_mm[k] - bead.from_mm[k]);
        (at_mm / over.cell_mm).floor() as i64
    });
    over.lattice(at[0], at[1]) == SOLID
}
