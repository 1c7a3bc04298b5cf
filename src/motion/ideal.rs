//! The ideal: the same blocks with every line known in advance (model section 8).

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
}

impl<T> Default for Ideal<T> {
    fn default() -> Self {
        Ideal {
            window: Window::default(),
            rests: true,
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
        (self.rests || self.window.is_settled()).then(|| self.window.pop())?
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
