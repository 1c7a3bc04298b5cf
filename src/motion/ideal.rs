//! The ideal: the same blocks with every line known in advance ([model section 8](crate::model#8-ideal-replay-lost-time-stalls)).

use super::extremes::lesser;
use super::lookahead::{Course, Joint, Window};
use super::path::Block;

/// Plans blocks as they come; gives each back, with what it was given along, once nothing that follows
/// can change it.
#[derive(Clone, Debug)]
pub struct Ideal<T> {
    window: Window<T>,
    /// The head comes to rest behind the newest block.
    rests: bool,
    is_cut: bool,
}

/// Blocks held at most while they wait for those behind them: more than any planner queue has (board/profile.rs),
/// so that no replay looks farther ahead than its ideal.
pub const BLOCKS_MAX: usize = 1 << 20;

impl<T> Default for Ideal<T> {
    fn default() -> Self {
        Ideal {
            window: Window::default(),
            rests: true,
            is_cut: false,
        }
    }
}

impl<T: Copy> Ideal<T> {
    /// Takes the next block.
    #[inline(always)]
    pub fn push(&mut self, block: &Block, load: T) {
        let before_mm_s = match self.window.newest_nominal_mm_s() {
            Some(nominal_mm_s) if !self.rests => nominal_mm_s,
            _ => 0.0,
        };
        self.rests = false;
        let slower_mm_s = lesser(before_mm_s, block.speed_mm_s);
        let joint = Joint {
            length_mm: block.length_mm,
            nominal_mm_s: block.speed_mm_s,
            accel_mm_s2: block.accel_mm_s2,
            cap_mm_s: lesser(slower_mm_s, block.corner_mm_s),
        };
        self.window.push(joint, load);
    }

    /// Takes the oldest block, if it is final.
    #[inline(always)]
    pub fn pop(&mut self) -> Option<(Course, T)> {
        if self.rests || self.window.is_settled() {
            return self.window.pop();
        }
        if self.window.len() < BLOCKS_MAX {
            return None;
        }
        self.is_cut = true;
        self.window.pop()
    }

    /// Whether more blocks depended on each other than are held: then the oldest was given back as if the head
    /// came to rest behind the newest.
    pub fn is_cut(&self) -> bool {
        self.is_cut
    }

    /// What was given along with the `k`-th of the blocks that were not given back yet.
    pub fn load(&self, k: usize) -> Option<&T> {
        self.window.load(k)
    }

    /// Blocks that were not given back yet.
    pub fn held(&self) -> usize {
        self.window.len()
    }

    /// The head comes to rest here: at a commanded stop, or at the end of the job.
    pub fn rest(&mut self) {
        self.rests = true;
    }
}
