//! Bumps, stall by stall, in the order of the path ([model section 10](crate::model#10-plastic)).
//!
//! A stall's bumps depend on the height of the layer it begins on. That of layer 0 is known for good only
//! when layer 1 begins, as a primer line may come first; stalls that begin on it are held until then, up to
//! [`HELD_MAX`] of them. Of a stored job the height is known beforehand, and nothing is held.

use std::collections::VecDeque;

use crate::board::types::Nozzle;
use crate::replay::stream::Done;
use crate::surface::bump::{Bump, Surplus};
use crate::surface::flow::{Excess, Flow};

use super::stalls::Stall;

/// What was found, in order: a stall's bumps, then the stall.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Found {
    /// A bump.
    Bump(Bump),
    /// A stall that has ended, with the number of its bumps and the highest.
    Stall(Stall),
}

/// Stalls that are held until the height of layer 0 is known; with more the height as it is by then is taken for
/// good.
pub const HELD_MAX: usize = 1 << 18;

/// What that limit, or the one of bumps in a stall, has cut.
pub const BUMPS_CUT: &str = "there are so many stalls on layer 0, or so many bumps in one stall, that their heights \
     were worked out before the layer's height and the bead's width were known for good";

/// The surplus of a stall, and its bumps so far.
#[derive(Clone, Debug)]
struct Open {
    surplus: Surplus,
    /// The height of the layer it begins on, mm; `None`: that of layer 0.
    layer_height_mm: Option<f64>,
    bumps: u64,
    highest_mm: f64,
}

/// Finds the bumps of each stall.
#[derive(Clone, Debug)]
pub struct BumpFinder {
    nozzle: Nozzle,
    /// Height of layer 0 as far as is known, mm.
    first_layer_mm: f64,
    /// Whether that may change.
    on_first_layer: bool,
    open: Option<Box<Open>>,
    held: VecDeque<(Stall, Option<Box<Open>>)>,
    /// Whether so many were held that layer 0's height was taken as it was.
    frozen: bool,
    /// The line of the first stall of which a limit has changed a bump.
    cut_line: Option<u64>,
    /// Samples taken for all stalls so far.
    samples: u64,
    /// Bumps, and stalls of which all bumps are known.
    bumps: u64,
    stalls: u64,
    found: VecDeque<Found>,
}

impl BumpFinder {
    /// Nothing found.
    pub fn new(nozzle: &Nozzle) -> Self {
        BumpFinder {
            nozzle: *nozzle,
            first_layer_mm: 0.0,
            on_first_layer: true,
            open: None,
            held: VecDeque::new(),
            frozen: false,
            cut_line: None,
            samples: 0,
            bumps: 0,
            stalls: 0,
            found: VecDeque::new(),
        }
    }

    /// Nothing found, on a job of which the height of layer 0 is known for good, mm.
    pub fn with_first_layer(nozzle: &Nozzle, first_layer_mm: f64) -> Self {
        BumpFinder {
            first_layer_mm,
            on_first_layer: false,
            ..BumpFinder::new(nozzle)
        }
    }

    /// Samples taken so far: what the search takes of the computer.
    pub fn samples(&self) -> u64 {
        self.samples
    }

    /// The line of the first stall of which a limit has changed a bump.
    pub fn cut_line(&self) -> Option<u64> {
        self.cut_line
    }

    /// Hears of every block of the job, before [`BumpFinder::block`] does.
    #[inline]
    pub fn layer(&mut self, done: &Done) {
        if self.on_first_layer {
            self.first_layer(done);
        }
    }

    fn first_layer(&mut self, done: &Done) {
        if done.layer == 0 {
            if self.frozen && done.layer_height_mm != self.first_layer_mm {
                self.cut_line.get_or_insert(done.line);
            }
            if !self.frozen {
                self.first_layer_mm = done.layer_height_mm;
            }
        } else {
            self.release();
        }
    }

    /// Layer 0's height is known for good.
    fn release(&mut self) {
        self.on_first_layer = false;
        self.settle_held();
    }

    fn settle_held(&mut self) {
        for (stall, open) in std::mem::take(&mut self.held) {
            self.settle(stall, open);
        }
    }

    /// Takes the next block of the stall that is open; `flow` has just taken it, and `excess` is what it said.
    pub fn block(&mut self, done: &Done, excess: &Excess, flow: &Flow) {
        if self.nozzle.lag_s == 0.0 {
            return;
        }
        let open = self.open.get_or_insert_with(|| {
            let layer_height_mm = if done.layer > 0 {
                Some(done.layer_height_mm)
            } else {
                (!self.on_first_layer || self.frozen).then_some(self.first_layer_mm)
            };
            Box::new(Open {
                surplus: Surplus::new(&self.nozzle, layer_height_mm),
                layer_height_mm,
                bumps: 0,
                highest_mm: 0.0,
            })
        });
        open.surplus.block(done, excess, flow);
        if open.surplus.is_full() {
            self.settle_early(done.line);
        }
    }

    /// The stall that is open has so many pairs that may be bumps that the oldest are settled, with the height of
    /// layer 0 and the width as they are by now.
    #[cold]
    fn settle_early(&mut self, line: u64) {
        self.cut_line.get_or_insert(line);
        if self.on_first_layer {
            self.frozen = true;
            self.settle_held();
        }
        if let Some(open) = &mut self.open {
            let height_mm = open.layer_height_mm.unwrap_or(self.first_layer_mm);
            let mut told = Vec::new();
            open.surplus.settle(height_mm, |bump| told.push(bump));
            for bump in told {
                self.tell(bump);
            }
        }
    }

    /// Tells a bump of the stall that is open.
    fn tell(&mut self, mut bump: Bump) {
        let Some(open) = &mut self.open else { return };
        open.bumps += 1;
        open.highest_mm = open.highest_mm.max(bump.height_mm);
        bump.bump = self.bumps;
        bump.stall = self.stalls;
        self.bumps += 1;
        self.found.push_back(Found::Bump(bump));
    }

    /// The stall that was open has ended.
    pub fn end(&mut self, stall: Stall) {
        let mut open = self.open.take();
        if let Some(open) = &mut open {
            open.surplus.end();
            self.samples += open.surplus.samples();
        }
        if self.on_first_layer && !self.frozen {
            let open = open.filter(|open| !open.surplus.is_flat());
            self.held.push_back((stall, open));
            if self.held.len() >= HELD_MAX {
                self.frozen = true;
                self.settle_held();
            }
        } else {
            self.settle(stall, open);
        }
    }

    /// Tells the bumps that are left of a stall, and the stall.
    fn settle(&mut self, mut stall: Stall, open: Option<Box<Open>>) {
        let going_on = std::mem::replace(&mut self.open, open);
        if let Some(open) = &mut self.open {
            let height_mm = open.layer_height_mm.unwrap_or(self.first_layer_mm);
            let mut told = Vec::new();
            open.surplus.settle(height_mm, |bump| told.push(bump));
            told.extend(open.surplus.take_last());
            for bump in told {
                self.tell(bump);
            }
        }
        if let Some(open) = std::mem::replace(&mut self.open, going_on)
            && open.bumps > 0
        {
            stall.bumps = open.bumps;
            stall.bump_mm = Some(open.highest_mm);
        }
        self.stalls += 1;
        self.found.push_back(Found::Stall(stall));
    }

    /// The job has ended.
    pub fn finish(&mut self) {
        self.release();
    }

    /// The next of what was found.
    #[inline]
    pub fn take(&mut self) -> Option<Found> {
        self.found.pop_front()
    }
}
