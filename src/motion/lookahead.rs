//! The look-ahead over blocks that wait to be executed (model section 3).
//!
//! A [`Window`] holds the blocks that are planned but not yet started, with the square of the
//! speed at which each may be entered if the head is to rest behind the last one. Squares, since
//! v² changes by 2 a L over a block.
//!
//! Two facts make it fast and leave its results bit for bit those of the plain two passes:
//! adding a block never lowers an entry (rounding included: min, + and sqrt are monotone), so the
//! backward pass may stop at the first entry that it doesn't change, and an entry at its cap, with
//! all before it, is settled for good; and the forward pass is only
//! ever asked for the first two blocks, so it is left until a block starts.

use std::collections::VecDeque;

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
    waiting: VecDeque<Waiting>,
    /// Entry speed of the oldest block, mm/s: fixed when the block before it started.
    entry_mm_s: f64,
    /// How many of the oldest blocks have reached what nothing behind them can raise: all up to
    /// the newest one whose reach is its cap.
    settled: usize,
}

impl Window {
    /// How many blocks wait.
    #[inline]
    pub fn len(&self) -> usize {
        self.waiting.len()
    }

    /// Whether none waits.
    #[inline]
    pub fn is_empty(&self) -> bool {
        self.waiting.is_empty()
    }

    /// Nominal speed of the newest block that waits, mm/s.
    #[inline]
    pub fn newest_nominal_mm_s(&self) -> Option<f64> {
        self.waiting.back().map(|w| w.joint.nominal_mm_s)
    }

    /// Adds a block behind the others. Where none waits, it is entered from rest: either the head
    /// rests, or the executing block started with nothing behind it and so ends at rest.
    #[inline]
    pub fn push(&mut self, joint: Joint) {
        let gain = 2.0 * joint.accel_mm_s2 * joint.length_mm;
        let cap_sq = joint.cap_mm_s * joint.cap_mm_s;
        let mut reach_sq = cap_sq.min(gain);
        if self.waiting.is_empty() {
            self.entry_mm_s = 0.0;
        }
        let newest = Waiting {
            joint,
            gain,
            cap_sq,
            reach_sq,
        };
        let mut settled = if reach_sq == cap_sq {
            self.waiting.len() + 1
        } else {
            self.settled
        };
        let from = self.settled.max(1).min(self.waiting.len());
        for (k, older) in self.waiting.range_mut(from..).enumerate().rev() {
            let better = older.cap_sq.min(reach_sq + older.gain);
            if better == older.reach_sq {
                break;
            }
            if better == older.cap_sq {
                settled = settled.max(from + k + 1);
            }
            older.reach_sq = better;
            reach_sq = better;
        }
        self.settled = settled;
        self.waiting.push_back(newest);
    }

    /// Takes the oldest block and fixes its profile: its exit is the next block's entry, or rest.
    #[inline]
    pub fn pop(&mut self) -> Option<Trapezoid> {
        let oldest = self.waiting.pop_front()?;
        self.settled = self.settled.saturating_sub(1);
        let exit_mm_s = match self.waiting.front() {
            Some(next) => next
                .reach_sq
                .min(self.entry_mm_s * self.entry_mm_s + oldest.gain)
                .sqrt(),
            None => 0.0,
        };
        let joint = oldest.joint;
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

    /// Takes the oldest block if nothing that may still come can change its profile.
    #[inline]
    pub fn pop_final(&mut self) -> Option<Trapezoid> {
        let [oldest, next] = [self.waiting.front()?, self.waiting.get(1)?];
        let forward_sq = self.entry_mm_s * self.entry_mm_s + oldest.gain;
        (self.settled >= 2 || forward_sq <= next.reach_sq).then(|| self.pop())?
    }
}
