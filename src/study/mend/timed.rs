//! Moves in time, by the ideal: with every line known in advance, from rest to rest.
//!
//! All blocks are there at once, so that the two passes of the look-ahead are made in full (`motion::lookahead`, whose exact
//! squares make the result the same bit for bit). Where a few blocks are replaced, only those around them are planned anew.

use std::ops::Range;

use crate::job::state::Move;
use crate::motion::extremes::lesser;
use crate::motion::lookahead::Square;
use crate::motion::path::{Block, Path};
use crate::motion::trapezoid::Trapezoid;

/// A block of the ideal, in time.
#[derive(Clone, Copy, Debug)]
pub struct Timed {
    /// The number of its move among those that were given.
    pub piece: usize,
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Speed at its start, mm/s.
    pub entry_mm_s: f64,
    /// Length, mm.
    pub length_mm: f64,
    /// Acceleration, mm/s².
    pub accel_mm_s2: f64,
    /// Its share of the bytes of its line.
    pub bytes: f64,
    /// Its length over its nominal speed, s.
    pub nominal_s: f64,
    /// Step events of the busiest motor.
    pub steps: f64,
    /// Whether it is a chord of an arc.
    pub arc: bool,
    nominal_mm_s: f64,
    took_s: f64,
    /// The speed at its start by the corner and the speeds of the two blocks, and that squared.
    cap_mm_s: f64,
    cap: Square,
    /// What the square of its speed changes by at most.
    gain: Square,
    /// The square of the speed at its start from which the head can still slow down for all that follows.
    most: Square,
}

impl Timed {
    /// A block behind one of this nominal speed, mm/s, not planned yet.
    pub(super) fn new(
        piece: usize,
        block: &Block,
        bytes: f64,
        arc: bool,
        before_mm_s: f64,
    ) -> Self {
        let cap_mm_s = lesser(lesser(before_mm_s, block.speed_mm_s), block.corner_mm_s);
        Timed {
            piece,
            start_s: 0.0,
            end_s: 0.0,
            entry_mm_s: 0.0,
            length_mm: block.length_mm,
            accel_mm_s2: block.accel_mm_s2,
            bytes,
            nominal_s: block.length_mm / block.speed_mm_s,
            steps: block.steps,
            arc,
            nominal_mm_s: block.speed_mm_s,
            took_s: 0.0,
            cap_mm_s,
            cap: Square::new(cap_mm_s * cap_mm_s),
            gain: Square::new(2.0 * block.accel_mm_s2 * block.length_mm),
            most: Square::default(),
        }
    }

    /// The speed at its end, where `next` follows, mm/s.
    fn exit_mm_s(&self, entry_mm_s: f64, next: Option<&Timed>) -> f64 {
        let Some(next) = next else { return 0.0 };
        let forward_mm2_s2 = entry_mm_s * entry_mm_s + 2.0 * self.accel_mm_s2 * self.length_mm;
        if next.most == next.cap && next.cap_mm_s * next.cap_mm_s <= forward_mm2_s2 {
            return next.cap_mm_s;
        }
        lesser(next.most.mm2_s2(), forward_mm2_s2).max(0.0).sqrt()
    }

    fn took_s(&self, entry_mm_s: f64, exit_mm_s: f64) -> f64 {
        let (length_mm, accel_mm_s2) = (self.length_mm, self.accel_mm_s2);
        let nominal_mm_s = self.nominal_mm_s;
        Trapezoid::fit(length_mm, nominal_mm_s, accel_mm_s2, entry_mm_s, exit_mm_s).duration_s()
    }
}

/// Moves, each with its number and the bytes of its line, under the limits of `path`, as blocks that are not planned yet.
pub fn blocks(path: &mut Path, moves: impl Iterator<Item = (usize, Move, f64)>) -> Vec<Timed> {
    let mut all: Vec<Timed> = Vec::with_capacity(moves.size_hint().0);
    let mut before_mm_s = path.end().speed_mm_s();
    for (piece, m, bytes) in moves {
        let blocks = path.blocks(&m);
        let share = bytes / f64::from(blocks.pieces);
        for (block, _) in blocks {
            let arc = m.circle.is_some();
            all.push(Timed::new(piece, &block, share, arc, before_mm_s));
            before_mm_s = block.speed_mm_s;
        }
    }
    all
}

/// Plans all of these blocks: the head rests before the first and after the last.
pub fn plan(blocks: &mut [Timed]) {
    brake(blocks, Square::default());
    run(blocks, (0.0, 0.0), None);
}

/// Moves, each with the bytes of its line, under the limits of `path`, planned.
pub fn timed(path: &mut Path, moves: impl Iterator<Item = (Move, f64)>) -> Vec<Timed> {
    let numbered = moves.enumerate().map(|(k, (m, bytes))| (k, m, bytes));
    let mut all = blocks(path, numbered);
    plan(&mut all);
    all
}

/// When planned blocks end if those in `range` are replaced by others, which need not be planned, s.
pub fn end_with_s(old: &[Timed], range: Range<usize>, new: &[Timed]) -> f64 {
    let next = old.get(range.end);
    let after = next.map_or(Square::default(), |b| b.most);
    let mut changed = new.to_vec();
    brake(&mut changed, after);
    // Before them, up to where the head need not brake otherwise than before.
    let mut most = changed.first().map_or(after, |b| b.most);
    let mut start = range.start;
    while start > 0 {
        start -= 1;
        let block = &old[start];
        let new = block.cap.min(most.plus(block.gain));
        if new == block.most {
            break;
        }
        most = new;
    }
    changed.splice(0..0, old[start..range.start].iter().copied());
    brake(&mut changed, after);
    let from = (old[start].entry_mm_s, old[start].start_s);
    let (mut entry_mm_s, mut at_s) = run(&mut changed, from, next);
    // Behind them, up to where it is as fast as before.
    for (k, block) in old.iter().enumerate().skip(range.end) {
        if entry_mm_s == block.entry_mm_s {
            return old[k..].iter().fold(at_s, |at_s, b| at_s + b.took_s);
        }
        let exit_mm_s = block.exit_mm_s(entry_mm_s, old.get(k + 1));
        at_s += block.took_s(entry_mm_s, exit_mm_s);
        entry_mm_s = exit_mm_s;
    }
    at_s
}

/// The look-ahead's pass from the last block to the first; `after`: the same of the block behind them.
fn brake(blocks: &mut [Timed], mut after: Square) {
    for block in blocks.iter_mut().rev() {
        block.most = block.cap.min(after.plus(block.gain));
        after = block.most;
    }
}

/// The pass from the first to the last, from this speed and time to those at the end, mm/s and s.
fn run(blocks: &mut [Timed], from: (f64, f64), next: Option<&Timed>) -> (f64, f64) {
    let (mut entry_mm_s, mut at_s) = from;
    for k in 0..blocks.len() {
        let exit_mm_s = blocks[k].exit_mm_s(entry_mm_s, blocks.get(k + 1).or(next));
        let block = &mut blocks[k];
        block.took_s = block.took_s(entry_mm_s, exit_mm_s);
        block.start_s = at_s;
        block.entry_mm_s = entry_mm_s;
        at_s += block.took_s;
        block.end_s = at_s;
        entry_mm_s = exit_mm_s;
    }
    (entry_mm_s, at_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board::profile;
    use crate::demo::lantern::STUTTERS;
    use crate::motion::ideal::Ideal;
    use proptest::prelude::*;

    fn moves(ends: &[(f64, f64, f64)]) -> Vec<(usize, Move, f64)> {
        let mut at_mm = [0.0; 4];
        let step = |(k, (x, y, feed_mm_s)): (usize, &(f64, f64, f64))| {
            let from_mm = at_mm;
            at_mm = [at_mm[0] + x, at_mm[1] + y, 0.0, 0.0];
            let m = Move {
                from_mm,
                to_mm: at_mm,
                e_mm: 0.05,
                feed_mm_s: *feed_mm_s,
                circle: None,
            };
            (k, m, 30.0)
        };
        ends.iter().enumerate().map(step).collect()
    }

    proptest! {
        /// Planned at once it is the ideal of the replay, block by block, bit for bit; and where some blocks are
        /// replaced, the end is that of all blocks planned anew.
        #[test]
        fn it_is_the_ideal_however_it_is_planned(
            ends in prop::collection::vec((0.01f64..2.0, -1.0f64..1.0, 5.0f64..120.0), 4..60),
            first in 0usize..59,
            count in 1usize..4,
            factor in 0.2f64..3.0,
        ) {
            let board = profile::parse(STUTTERS, "stutters.toml", &[]).unwrap();
            let mut moves = moves(&ends);
            let all = |moves: &[(usize, Move, f64)]| {
                let mut all = blocks(&mut Path::new(&board), moves.iter().copied());
                plan(&mut all);
                all
            };
            let old = all(&moves);
            let (mut ideal, mut path) = (Ideal::default(), Path::new(&board));
            for (_, m, _) in &moves {
                path.blocks(m).for_each(|(block, _)| ideal.push(&block, ()));
            }
            ideal.rest();
            let mut at_s = 0.0;
            for block in &old {
                let (course, ()) = ideal.pop().unwrap();
                prop_assert_eq!(course.entry_mm_s, block.entry_mm_s);
                at_s += course.profile().duration_s();
                prop_assert_eq!(at_s, block.end_s);
            }
            let first = first % (moves.len() - 3);
            let range = first..first + count;
            for (_, m, _) in &mut moves[range.clone()] {
                m.feed_mm_s *= factor;
            }
            let new = all(&moves);
            // The block behind is entered otherwise too.
            let range = first..range.end + 1;
            let end_s = end_with_s(&old, range.clone(), &new[range]);
            prop_assert_eq!(end_s, new[new.len() - 1].end_s);
        }
    }
}
