//! Voids over all layers, and which of them are open above or below.

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
    grid: Grid,
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
}

impl Voids {
    pub fn new(nozzle_mm: f64) -> Self {
        Voids {
            sets: Sets::with_first(),
            way_mm: WAY_NOZZLES * nozzle_mm,
            below: None,
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

    /// The voids of the next layer, by label; those below the first void are nothing.
    pub fn layer(&mut self, grid: &Grid, z_mm: f64) -> Vec<u32> {
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
        grid.over(&below.grid, self.way_mm, &mut joins);
        for void in &mut voids[OUTSIDE as usize + 1..] {
            if *void == u32::MAX {
                *void = self.sets.node();
            }
        }
        voids
    }

    /// What the next layer lies on.
    pub fn lies_below(&mut self, grid: Grid, voids: Vec<u32>, z_mm: f64) {
        self.below = Some(Below { grid, voids, z_mm });
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
