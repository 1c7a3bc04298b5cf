//! Voids over all layers, and which of them are open above or below.

use std::sync::Arc;

use super::grid::{Grid, Label, OUTSIDE};
use super::joined::Sets;
use super::over::Join;

/// One can see into a hole where a disc this wide passes from layer to layer, in nozzle widths.
const WAY_NOZZLES: f64 = 2.5;
/// What is open: the outside.
const OPEN: u32 = 0;

/// The layer that lies below the next one.
#[derive(Debug)]
struct Below {
    grid: Arc<Grid>,
    /// Whether the very same was drawn not long before.
    again: bool,
    /// By label: its void.
    voids: Vec<u32>,
    z_mm: f64,
}

/// Voids of all layers so far, joined where they lie over each other.
#[derive(Debug)]
pub(super) struct Voids {
    sets: Sets,
    way_mm: f64,
    below: Option<Below>,
    /// Ways between layers that both came again; the newest last.
    kept: Vec<Ways>,
}

/// The ways from a layer to the one below it: labels of the one and the other that hang together.
#[derive(Debug)]
struct Ways {
    own: Arc<Grid>,
    below: Arc<Grid>,
    pairs: Vec<(Label, Label)>,
}

/// Ways that are kept.
const KEPT: usize = 3;

impl Voids {
    pub fn new(nozzle_mm: f64) -> Self {
        Voids {
            sets: Sets::with_first(),
            way_mm: WAY_NOZZLES * nozzle_mm,
            below: None,
            kept: Vec::new(),
        }
    }

    /// Nothing more comes over the last layer: what is open there is open above.
    pub fn end(&mut self) {
        if let Some(below) = self.below.take() {
            for void in below.voids {
                self.sets.join(void, OPEN);
            }
        }
    }

    /// The voids of the next layer, by label; those below the first void are nothing. `again`: the very same was
    /// drawn not long before.
    pub fn layer(&mut self, grid: &Arc<Grid>, again: bool, z_mm: f64) -> Vec<u32> {
        // Another part begins lower.
        if self.below.as_ref().is_some_and(|below| z_mm < below.z_mm) {
            self.end();
        }
        let Some(below) = self.below.take() else {
            // On the bed: what is open below is seen when the part is taken off.
            return vec![OPEN; grid.labels_end as usize];
        };
        let mut voids = vec![u32::MAX; grid.labels_end as usize];
        voids[..=OUTSIDE as usize].fill(OPEN);
        let mut joins = Joins {
            sets: &mut self.sets,
            own: &mut voids,
            below: &below.voids,
        };
        if again && below.again {
            let place = kept_ways(&mut self.kept, grid, &below.grid, self.way_mm);
            for (own, under) in &self.kept[place].pairs {
                joins.join(*own, *under);
            }
        } else {
            grid.over(&below.grid, self.way_mm, &mut joins);
        }
        for void in &mut voids[OUTSIDE as usize + 1..] {
            if *void == u32::MAX {
                *void = self.sets.node();
            }
        }
        voids
    }

    /// What the next layer lies on.
    pub fn lies_below(&mut self, grid: &Arc<Grid>, again: bool, voids: Vec<u32>, z_mm: f64) {
        self.below = Some(Below {
            grid: Arc::clone(grid),
            again,
            voids,
            z_mm,
        });
    }

    /// Whether this void is known to be open.
    pub fn is_open(&mut self, void: u32) -> bool {
        self.sets.root(void) == OPEN
    }

    /// What tells a void from all others that it is not known to hang together with.
    pub fn root(&mut self, void: u32) -> u32 {
        self.sets.root(void)
    }
}

/// The place among the kept ways of those from one layer to another; finds them if they are not there.
fn kept_ways(kept: &mut Vec<Ways>, own: &Arc<Grid>, below: &Arc<Grid>, way_mm: f64) -> usize {
    let same = |ways: &Ways| Arc::ptr_eq(&ways.own, own) && Arc::ptr_eq(&ways.below, below);
    if let Some(place) = kept.iter().position(same) {
        return place;
    }
    if kept.len() == KEPT {
        kept.remove(0);
    }
    let mut pairs = Pairs::new(own, below);
    own.over(below, way_mm, &mut pairs);
    kept.push(Ways {
        own: Arc::clone(own),
        below: Arc::clone(below),
        pairs: pairs.joined,
    });
    kept.len() - 1
}

/// The labels of two layers, whatever else hangs together: those of the layer, then those below.
struct Pairs {
    sets: Sets,
    own: u32,
    joined: Vec<(Label, Label)>,
}

impl Pairs {
    fn new(own: &Grid, below: &Grid) -> Self {
        let mut sets = Sets::default();
        (0..own.labels_end + below.labels_end).for_each(|_| {
            sets.node();
        });
        // What is outside is open, on either.
        sets.join(OUTSIDE, own.labels_end + OUTSIDE);
        Pairs {
            sets,
            own: own.labels_end,
            joined: Vec::new(),
        }
    }
}

impl Join for Pairs {
    #[inline]
    fn joined(&mut self, own: Label, under: Label) -> bool {
        self.set(own, false) == self.set(under, true)
    }

    fn join(&mut self, own: Label, under: Label) {
        self.sets.join(own, self.own + under);
        self.joined.push((own, under));
    }

    #[inline]
    fn set(&mut self, label: Label, below: bool) -> u32 {
        self.sets.root(label + if below { self.own } else { 0 })
    }
}

/// A layer's labels and those below on their way to be one.
struct Joins<'a> {
    sets: &'a mut Sets,
    /// By label; `u32::MAX`: joined with nothing yet.
    own: &'a mut [u32],
    below: &'a [u32],
}

impl Join for Joins<'_> {
    #[inline]
    fn joined(&mut self, own: Label, under: Label) -> bool {
        let own = self.set(own, false);
        own != u32::MAX && own == self.set(under, true)
    }

    fn join(&mut self, own: Label, under: Label) {
        let under = self.below[under as usize];
        let own = &mut self.own[own as usize];
        if *own == u32::MAX {
            *own = self.sets.root(under);
        } else {
            self.sets.join(*own, under);
        }
    }

    #[inline]
    fn set(&mut self, label: Label, below: bool) -> u32 {
        let void = if below {
            self.below[label as usize]
        } else {
            self.own[label as usize]
        };
        if void == u32::MAX {
            void
        } else {
            self.sets.root(void)
        }
    }
}

/// Whether a label is a void's.
pub(super) fn is_void(label: Label) -> bool {
    label > OUTSIDE
}
