//! The look-ahead over blocks that wait to be executed ([model section 3](crate::model#3-look-ahead-and-execution)).
//!
//! Over a block v² changes by at most its gain 2 a L. So the model's backward pass, from the newest
//! block on `entry² = min(cap², exit² + gain)`, says of block k: its entry² is the least of
//! `cap_j²` plus the gains of blocks k to j-1, over all blocks j from k on, the rest behind the newest
//! being one more j, with a cap of 0. With `P_j` the sum of all gains before block j, that is the
//! least of `cap_j² + P_j`, less `P_k`: the least of a window that slides along the job.
//!
//! Such a least costs a few steps a block, however deep the queue: a sweep from the newest block to the
//! oldest leaves with each the least from it on; the least of those that come later is one number;
//! the next sweep is due when all that were swept are gone.
//!
//! A sum must not depend on its order for this, so squares of speeds are added as whole numbers, as
//! [`Square`]s. The result is bit for bit that of the two passes in full (`tests/suite/exactness.rs`).
//!
//! The model's forward pass is only ever asked for the first two blocks, and is made as a block starts.

use std::collections::VecDeque;

use super::extremes::lesser;
use super::trapezoid::Trapezoid;

/// A speed squared, in whole 2^-62 mm²/s²: sums of it are exact in any order.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Square(i128);

/// Binary digits behind the point.
const SQUARE_BITS: i32 = 62;
const SQUARE_ONE: f64 = (1u64 << SQUARE_BITS) as f64;
/// More is taken for this, which no cap reaches: twice 1e6 mm/s, squared, is less.
const MOST_MM2_S2: f64 = (1u64 << 43) as f64;

impl Square {
    /// More than any other.
    const MOST: Square = Square(i128::MAX);
    /// A sum that leaves room for a million more of the largest.
    const LARGE: Square = Square(1 << 125);

    /// Of a value in mm²/s², not negative.
    #[inline]
    pub fn new(mm2_s2: f64) -> Self {
        // A double is a whole number of 53 bits and a power of two.
        let bits = lesser(mm2_s2, MOST_MM2_S2).to_bits() & (u64::MAX >> 1);
        let mantissa = bits & ((1 << 52) - 1) | 1 << 52;
        let shift = (bits >> 52) as i32 - 1075 + SQUARE_BITS;
        // A product, since it is one instruction and a shift of 128 bits is not.
        Square(if shift >= 0 {
            i128::from(mantissa as i64) * i128::from(1i64 << shift)
        } else {
            i128::from(mantissa >> (-shift).min(63))
        })
    }

    /// The value, mm²/s².
    #[inline]
    pub fn mm2_s2(self) -> f64 {
        self.0 as f64 / SQUARE_ONE
    }

    /// The sum.
    #[inline]
    pub fn plus(self, other: Square) -> Square {
        Square(self.0.wrapping_add(other.0))
    }

    #[inline]
    fn minus(self, other: Square) -> Square {
        Square(self.0.wrapping_sub(other.0))
    }
}

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

impl Joint {
    /// What v² changes by over it at most, mm²/s².
    #[inline]
    pub fn gain_mm2_s2(&self) -> f64 {
        2.0 * self.accel_mm_s2 * self.length_mm
    }
}

/// A block whose ends are fixed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Course {
    /// Length, mm.
    pub length_mm: f64,
    /// Nominal speed, mm/s.
    pub nominal_mm_s: f64,
    /// Acceleration, mm/s².
    pub accel_mm_s2: f64,
    /// Entry speed, mm/s.
    pub entry_mm_s: f64,
    /// Exit speed, mm/s.
    pub exit_mm_s: f64,
}

impl Course {
    /// Its speed over time.
    #[inline]
    pub fn profile(&self) -> Trapezoid {
        Trapezoid::fit(
            self.length_mm,
            self.nominal_mm_s,
            self.accel_mm_s2,
            self.entry_mm_s,
            self.exit_mm_s,
        )
    }
}

#[derive(Clone, Copy, Debug)]
struct Waiting<T> {
    joint: Joint,
    /// Its cap squared plus the gains of all blocks before it.
    sum: Square,
    /// The least sum of it and of those behind it that the last sweep met.
    low: Square,
    load: T,
}

/// Blocks that wait, oldest first, each with what its owner wants back.
#[derive(Clone, Debug)]
pub struct Window<T> {
    blocks: VecDeque<Waiting<T>>,
    /// Sum of the gains of all blocks so far.
    end: Square,
    /// How many of the oldest blocks the last sweep met.
    swept: usize,
    /// The least sum of the others.
    fresh_low: Square,
    /// Entry speed of the oldest block, mm/s: fixed when the block before it started.
    entry_mm_s: f64,
}

impl<T> Default for Window<T> {
    fn default() -> Self {
        Window {
            blocks: VecDeque::new(),
            end: Square::default(),
            swept: 0,
            fresh_low: Square::MOST,
            entry_mm_s: 0.0,
        }
    }
}

impl<T: Copy> Window<T> {
    /// How many blocks wait.
    #[inline]
    pub fn len(&self) -> usize {
        self.blocks.len()
    }

    /// Whether none waits.
    #[inline]
    pub fn is_empty(&self) -> bool {
        self.blocks.is_empty()
    }

    /// Nominal speed of the newest block that waits, mm/s.
    #[inline]
    pub fn newest_nominal_mm_s(&self) -> Option<f64> {
        self.blocks.back().map(|w| w.joint.nominal_mm_s)
    }

    /// Adds a block behind the others. Where none waits, it is entered from rest: either the head
    /// rests, or the executing block started with nothing behind it and so ends at rest.
    #[inline(always)]
    pub fn push(&mut self, joint: Joint, load: T) {
        if self.is_empty() {
            self.entry_mm_s = 0.0;
        }
        let sum = Square::new(joint.cap_mm_s * joint.cap_mm_s).plus(self.end);
        self.fresh_low = self.fresh_low.min(sum);
        self.end = self.end.plus(Square::new(joint.gain_mm2_s2()));
        self.blocks.push_back(Waiting {
            joint,
            sum,
            low: sum,
            load,
        });
    }

    /// Takes the oldest block and fixes its ends: its exit is the next block's entry, or rest.
    #[inline(always)]
    pub fn pop(&mut self) -> Option<(Course, T)> {
        let Waiting { joint, load, .. } = self.blocks.pop_front()?;
        self.swept = self.swept.saturating_sub(1);
        let exit_mm_s = self.exit_mm_s(&joint);
        let course = Course {
            length_mm: joint.length_mm,
            nominal_mm_s: joint.nominal_mm_s,
            accel_mm_s2: joint.accel_mm_s2,
            entry_mm_s: self.entry_mm_s,
            exit_mm_s,
        };
        self.entry_mm_s = exit_mm_s;
        Some((course, load))
    }

    /// Exit speed of the block that has just been taken, mm/s.
    #[inline(always)]
    fn exit_mm_s(&mut self, taken: &Joint) -> f64 {
        if self.swept == 0 {
            self.sweep();
        }
        let Some(next) = self.blocks.front() else {
            return 0.0;
        };
        let forward_mm2_s2 = self.entry_mm_s * self.entry_mm_s + taken.gain_mm2_s2();
        let cap_mm_s = next.joint.cap_mm_s;
        let low = next.low.min(self.fresh_low).min(self.end);
        if next.sum == low && cap_mm_s * cap_mm_s <= forward_mm2_s2 {
            return cap_mm_s;
        }
        // Never negative but where absurd gains overflow.
        let back = low.minus(next.before());
        lesser(back.mm2_s2(), forward_mm2_s2).max(0.0).sqrt()
    }

    /// What the owner of the `k`-th waiting block wants back.
    pub fn load(&self, k: usize) -> Option<&T> {
        self.blocks.get(k).map(|waiting| &waiting.load)
    }

    #[inline(never)]
    fn sweep(&mut self) {
        if self.end > Square::LARGE {
            self.forget();
        }
        let mut low = Square::MOST;
        for block in self.blocks.iter_mut().rev() {
            low = low.min(block.sum);
            block.low = low;
        }
        self.swept = self.blocks.len();
        self.fresh_low = Square::MOST;
    }

    /// Takes the gains of blocks that are gone out of the sums.
    #[cold]
    fn forget(&mut self) {
        let gone = self.blocks.front().map_or(self.end, Waiting::before);
        for block in &mut self.blocks {
            block.sum = block.sum.minus(gone);
        }
        self.end = self.end.minus(gone);
    }

    /// Whether nothing that may still come can change the oldest block's ends.
    #[inline]
    pub fn is_settled(&mut self) -> bool {
        if self.swept < 2 {
            self.sweep();
        }
        let Some(next) = self.blocks.get(1) else {
            return false;
        };
        // No block that comes later has a sum below the end.
        next.low.min(self.fresh_low) <= self.end || {
            let gain_mm2_s2 = self.blocks[0].joint.gain_mm2_s2();
            let forward_mm2_s2 = self.entry_mm_s * self.entry_mm_s + gain_mm2_s2;
            forward_mm2_s2 <= self.end.minus(next.before()).mm2_s2()
        }
    }
}

impl<T> Waiting<T> {
    /// Sum of the gains of all blocks before it.
    #[inline]
    fn before(&self) -> Square {
        let cap_mm_s = self.joint.cap_mm_s;
        self.sum.minus(Square::new(cap_mm_s * cap_mm_s))
    }
}
