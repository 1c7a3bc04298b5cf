//! The ideal: the same blocks with every line known in advance (model section 8).

use std::collections::VecDeque;

use super::lookahead::{Joint, Window};
use super::path::Block;
use super::trapezoid::Trapezoid;

/// Blocks between two backward passes: nobody waits for the ideal.
const PASS_BLOCKS: usize = 32;

/// Plans blocks as they come; hands on each profile once nothing that follows can change it.
#[derive(Clone, Debug, Default)]
pub struct Ideal {
    window: Window,
    unplanned: usize,
    /// Profiles that are final, oldest first.
    pub settled: VecDeque<Trapezoid>,
}

impl Ideal {
    /// Takes the next block.
    #[inline]
    pub fn push(&mut self, block: &Block) {
        let before_mm_s = self.window.newest_nominal_mm_s().unwrap_or(0.0);
        self.window.push(Joint {
            length_mm: block.length_mm,
            nominal_mm_s: block.speed_mm_s,
            accel_mm_s2: block.accel_mm_s2,
            cap_mm_s: before_mm_s.min(block.speed_mm_s).min(block.corner_mm_s),
        });
        self.unplanned += 1;
        if self.unplanned >= PASS_BLOCKS {
            self.unplanned = 0;
            self.window.plan();
            while let Some(profile) = self.window.pop_final() {
                self.settled.push_back(profile);
            }
        }
    }

    /// Blocks that are not settled yet.
    pub fn held(&self) -> usize {
        self.window.len()
    }

    /// The head comes to rest here: at a commanded stop, or at the end of the job.
    pub fn rest(&mut self) {
        while let Some(profile) = self.window.pop() {
            self.settled.push_back(profile);
        }
    }
}
