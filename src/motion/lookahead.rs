//! The look-ahead over blocks that wait to be executed (model section 3).
//!
//! A [`Window`] holds the blocks that are planned but not yet started, with the square of the
//! speed at which each may be entered if the head is to rest behind the last one. Squares, since
//! v² changes by 2 a L over a block.
//!
//! Three facts make it fast and leave its results bit for bit those of the plain two passes:
//! adding a block never lowers an entry (rounding included: min, + and sqrt are monotone), so the
//! backward pass may stop at the first entry that it doesn't change, and an entry at its cap, with
//! all before it, is settled for good; the forward pass is only ever asked for the first two blocks,
//! so it is left until a block starts; and so is the backward pass, which then does for several new
//! blocks at once.

use super::trapezoid::Trapezoid;

/// A block as the look-ahead needs it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Joint {
    /// Length, mm.
    pub length_mm: f64,
    /// Nominal speed, mm/s.
    pub nominal_mm_s: f64,
    /// Acceleration, mm/s².
    pub accel_mm_s2: f64,
    /// Highest entry speed, mm/s: the corner cap.
    pub cap_mm_s: f64,
}

#[derive(Clone, Copy, Debug)]
struct Waiting {
    joint: Joint,
    /// 2 a L, mm²/s².
    gain: f64,
    cap_sq: f64,
    /// Square of the entry speed that the blocks behind allow.
    reach_sq: f64,
}

/// Blocks that wait, oldest first.
#[derive(Clone, Debug, Default)]
pub struct Window {
    /// Those before `first` are gone.
    all: Vec<Waiting>,
    first: usize,
    /// Entry speed of the oldest block, mm/s: fixed when the block before it started.
    entry_mm_s: f64,
    /// How many of the oldest blocks have reached what nothing behind them can raise: all up to
    /// the newest one whose reach is its cap.
    settled: usize,
    /// How many of the newest blocks no backward pass has seen.
    fresh: usize,
}

/// Blocks gone at which their room is used again.
const GONE_MAX: usize = 256;

impl Window {
    /// How many blocks wait.
    #[inline]
    pub fn len(&self) -> usize {
        self.all.len() - self.first
    }

    /// Whether none waits.
    #[inline]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Nominal speed of the newest block that waits, mm/s.
    #[inline]
    pub fn newest_nominal_mm_s(&self) -> Option<f64> {
        self.all[self.first..].last().map(|w| w.joint.nominal_mm_s)
    }

    /// Adds a block behind the others. Where none waits, it is entered from rest: either the head
    /// rests, or the executing block started with nothing behind it and so ends at rest.
    #[inline]
    pub fn push(&mut self, joint: Joint) {
        let gain = 2.0 * joint.accel_mm_s2 * joint.length_mm;
        let cap_sq = joint.cap_mm_s * joint.cap_mm_s;
        if self.is_empty() {
            self.entry_mm_s = 0.0;
        }
        if self.first >= GONE_MAX && 2 * self.first >= self.all.len() {
            self.all.drain(..self.first);
            self.first = 0;
        }
        self.fresh += 1;
        self.all.push(Waiting {
            joint,
            gain,
            cap_sq,
            reach_sq: cap_sq.min(gain),
        });
    }

    /// The backward pass over the blocks that are new, and over those that they raise.
    #[inline]
    pub fn plan(&mut self) {
        let blocks = &mut self.all[self.first..];
        let fresh = std::mem::take(&mut self.fresh).min(blocks.len());
        if fresh == 0 {
            return;
        }
        let seen = blocks.len() - fresh;
        // The first block's entry is fixed.
        let from = self.settled.max(1).min(blocks.len());
        let mut at_cap = 0;
        let mut reach_sq = 0.0;
        for (k, block) in blocks.iter_mut().enumerate().skip(from).rev() {
            let better = block.cap_sq.min(reach_sq + block.gain);
            if k < seen && better == block.reach_sq {
                break;
            }
            if better == block.cap_sq {
                at_cap = at_cap.max(k + 1);
            }
            block.reach_sq = better;
            reach_sq = better;
        }
        self.settled = self.settled.max(at_cap);
    }

    /// Takes the oldest block and fixes its profile: its exit is the next block's entry, or rest.
    #[inline]
    pub fn pop(&mut self) -> Option<Trapezoid> {
        self.plan();
        self.pop_planned()
    }

    #[inline]
    fn pop_planned(&mut self) -> Option<Trapezoid> {
        let [oldest, rest @ ..] = &self.all[self.first..] else {
            return None;
        };
        let exit_mm_s = match rest.first() {
            Some(next) => next
                .reach_sq
                .min(self.entry_mm_s * self.entry_mm_s + oldest.gain)
                .sqrt(),
            None => 0.0,
        };
        let joint = oldest.joint;
        self.first += 1;
        self.settled = self.settled.saturating_sub(1);
        let profile = Trapezoid::fit(
            joint.length_mm,
            joint.nominal_mm_s,
            joint.accel_mm_s2,
            self.entry_mm_s,
            exit_mm_s,
        );
        self.entry_mm_s = exit_mm_s;
        Some(profile)
    }

    /// Takes the oldest block if nothing that may still come can change its profile, as far as the
    /// last backward pass tells.
    #[inline]
    pub fn pop_final(&mut self) -> Option<Trapezoid> {
        let [oldest, next, ..] = &self.all[self.first..] else {
            return None;
        };
        let forward_sq = self.entry_mm_s * self.entry_mm_s + oldest.gain;
        let planned = self.len() - self.fresh >= 2;
        (planned && (self.settled >= 2 || forward_sq <= next.reach_sq))
            .then(|| self.pop_planned())?
    }
}
