//! Time strips: for the stalls that lose most, what the planner queue, the main loop and the head did in the time
//! around them.

use std::collections::VecDeque;

use crate::motion::trapezoid::Trapezoid;
use crate::replay::stream::Done;
use crate::replay::world::Cause;

use super::stalls::{LOST_MIN_S, Stall};

/// A span of time in which something held the main loop up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    /// What held it up; [`Cause::Depth`] means that it waited for room in the planner queue.
    pub by: Cause,
    /// From, s.
    pub from_s: f64,
    /// To, s.
    pub to_s: f64,
}

/// A block on a strip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// The head's speed as it was replayed.
    pub real: Trapezoid,
    /// The head's speed in the ideal replay.
    pub ideal: Trapezoid,
    /// The number of blocks in the planner queue when it started, itself included.
    pub queued: u32,
    /// Whether the head rested before it.
    pub from_rest: bool,
}

/// The time around one stall.
#[derive(Clone, Debug, PartialEq)]
pub struct Strip {
    /// The stall's number.
    pub stall: u64,
    /// What the stall lost, s.
    pub lost_s: f64,
    /// When the head was at the stall's place, s.
    pub t_s: f64,
    /// Begin, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// What held the main loop, in order.
    pub held: Vec<Held>,
    /// The times at which blocks came into the planner queue, s.
    pub inserted_s: Vec<f64>,
    /// The blocks, in order.
    pub pieces: Vec<Piece>,
}

impl Strip {
    /// The fill of the planner queue as steps: (time in s, number of blocks from then on).
    pub fn queue(&self) -> Vec<(f64, i64)> {
        let Some(first) = self.pieces.first() else {
            return Vec::new();
        };
        let inserted = self.inserted_s.iter().map(|t| (*t, 1));
        let ended = self
            .pieces
            .iter()
            .map(|p| (p.end_s, -1))
            .filter(|e| e.0 < self.to_s);
        let mut events: Vec<(f64, i64)> = inserted.chain(ended).collect();
        events.sort_by(|a, b| a.0.total_cmp(&b.0));
        // Events at the same instant have an order: a block ends and the next one starts, then blocks are inserted,
        // then the head starts from rest.
        let comes_first = |e: &&(f64, i64)| {
            e.0 < first.start_s || e.0 == first.start_s && (e.1 < 0 || first.from_rest)
        };
        let before: i64 = events.iter().filter(comes_first).map(|e| e.1).sum();
        let mut level = i64::from(first.queued) - before;
        let mut steps = vec![(self.from_s, level)];
        for (t_s, change) in events {
            level += change;
            steps.push((t_s, level));
        }
        steps
    }
}

/// A strip begins this long before the worst moment of its stall, s.
const LEAD_S: f64 = 0.6;
/// A strip ends this long after the worst block of its stall, s.
const TAIL_S: f64 = 0.4;
/// The greatest number of blocks that a strip shows before, and after, its worst moment.
const PIECES_MAX: usize = 160;
/// The greatest number of spans remembered in which the main loop was held up.
const HELD_MAX: usize = 200_000;
/// The greatest number of such spans that a strip shows before, and after, its worst moment; a strip with more is
/// made shorter.
const HELD_SHOWN_MAX: usize = 2_000;
/// A strip with more insertions than this is not kept.
const INSERTED_MAX: usize = 20_000;
/// A stall replaces the least one that is kept only if it loses at least this many times as much.
const WORTH: f64 = 1.05;

/// Keeps the strips of the stalls that lose most.
#[derive(Clone, Debug, Default)]
pub struct Strips {
    most: usize,
    /// The one stall whose strip is kept.
    only: Option<u64>,
    held: VecDeque<Held>,
    inserted_s: VecDeque<f64>,
    pieces: VecDeque<Piece>,
    /// When the block before ended, s.
    ended_s: Option<f64>,
    open: Option<Moment>,
    ended: Option<(Stall, Moment)>,
    kept: Vec<Strip>,
    /// Spans that ended before this time were forgotten because there were too many, s.
    forgot_s: f64,
}

/// The worst moment of a stall.
#[derive(Clone, Debug)]
struct Moment {
    lost_s: f64,
    worst_s: f64,
    until_s: f64,
    strip: Option<Cut>,
}

#[derive(Clone, Debug)]
struct Cut {
    from_s: f64,
    to_s: f64,
    held: Vec<Held>,
    inserted_s: Vec<f64>,
    pieces: Vec<Piece>,
    /// Whether everything that happened in that time was still remembered.
    whole: bool,
}

impl Strips {
    /// Keeps at most this many.
    pub fn new(most: usize) -> Self {
        Strips {
            most,
            ..Strips::default()
        }
    }

    /// Keeps that of this stall.
    pub fn only(stall: u64) -> Self {
        Strips {
            most: 1,
            only: Some(stall),
            ..Strips::default()
        }
    }

    /// Something held the main loop up.
    #[inline]
    pub fn spent(&mut self, by: Cause, from_s: f64, to_s: f64) {
        if to_s <= from_s {
            return;
        }
        match self.held.back_mut() {
            Some(last) if last.by == by && last.to_s >= from_s => last.to_s = to_s,
            _ => self.held.push_back(Held { by, from_s, to_s }),
        }
        if self.held.len() > HELD_MAX
            && let Some(oldest) = self.held.pop_front()
        {
            self.forgot_s = oldest.to_s;
        }
    }

    /// A block came into the planner queue.
    #[inline]
    pub fn inserted(&mut self, at_s: f64) {
        self.inserted_s.push_back(at_s);
    }

    /// The next block.
    pub fn block(&mut self, done: &Done) {
        let ran = &done.ran;
        let ended_s = self.ended_s.replace(ran.end_s);
        self.pieces.push_back(Piece {
            start_s: ran.start_s,
            end_s: ran.end_s,
            real: ran.profile,
            ideal: done.ideal,
            queued: ran.queued,
            from_rest: ended_s.is_none_or(|end_s| end_s < ran.start_s),
        });
        let lost_s = done.lost_s();
        if lost_s > LOST_MIN_S && self.open.as_ref().is_none_or(|m| lost_s > 1.2 * m.lost_s) {
            self.open = Some(Moment {
                lost_s,
                worst_s: ran.start_s - ran.gap_s,
                until_s: ran.end_s + TAIL_S,
                strip: None,
            });
        }
        let passed = |m: &Moment| ran.start_s >= m.until_s;
        if self
            .open
            .as_ref()
            .is_some_and(|m| m.strip.is_none() && passed(m))
        {
            let mut open = self.open.take();
            if let Some(m) = &mut open {
                m.strip = Some(self.cut(m.worst_s, m.until_s));
            }
            self.open = open;
        }
        if self.ended.as_ref().is_some_and(|(_, m)| passed(m)) {
            self.close();
        }
        let wanted = |m: &Moment| match m.strip {
            Some(_) => f64::INFINITY,
            None => m.worst_s,
        };
        let open_s = self.open.as_ref().map_or(f64::INFINITY, wanted);
        let ended_s = self
            .ended
            .as_ref()
            .map_or(f64::INFINITY, |(_, m)| wanted(m));
        self.forget((ran.start_s - ran.gap_s).min(open_s).min(ended_s) - LEAD_S);
    }

    fn forget(&mut self, before_s: f64) {
        while self.pieces.front().is_some_and(|p| p.end_s < before_s) {
            self.pieces.pop_front();
        }
        while self.held.front().is_some_and(|h| h.to_s < before_s) {
            self.held.pop_front();
        }
        // Insertions are kept as far back as blocks are, so that the fill of the queue can be counted.
        let counted_s = self.pieces.front().map_or(before_s, |p| p.start_s);
        while self.inserted_s.front().is_some_and(|t| *t < counted_s) {
            self.inserted_s.pop_front();
        }
    }

    /// A stall has ended.
    pub fn stall(&mut self, stall: &Stall) {
        self.close();
        self.ended = self.open.take().map(|m| (*stall, m));
    }

    fn cut(&self, worst_s: f64, until_s: f64) -> Cut {
        let middle = self.pieces.partition_point(|p| p.start_s < worst_s);
        let first = middle.saturating_sub(PIECES_MAX);
        let end = self
            .pieces
            .partition_point(|p| p.start_s < until_s)
            .min(middle + PIECES_MAX);
        let pieces: Vec<Piece> = self.pieces.range(first..end.max(first)).copied().collect();
        let begin_s = pieces.first().map_or(worst_s, |p| p.start_s);
        let from_s = begin_s.max(worst_s - LEAD_S).min(worst_s);
        let to_s = pieces.last().map_or(until_s, |p| p.end_s).min(until_s);
        let worst = self.held.partition_point(|h| h.from_s < worst_s);
        let first = self.held.get(worst.saturating_sub(HELD_SHOWN_MAX));
        let last = self.held.get(worst + HELD_SHOWN_MAX);
        let from_s = first.map_or(from_s, |h| from_s.max(h.from_s.min(worst_s)));
        let to_s = last.map_or(to_s, |h| to_s.min(h.from_s));
        let inserted_s: Vec<f64> = self
            .inserted_s
            .iter()
            .filter(|t| **t >= begin_s && **t < to_s)
            .copied()
            .collect();
        Cut {
            from_s,
            to_s,
            whole: inserted_s.len() <= INSERTED_MAX && from_s >= self.forgot_s,
            held: self
                .held
                .iter()
                .filter(|h| h.to_s > from_s && h.from_s < to_s)
                .copied()
                .collect(),
            inserted_s,
            pieces,
        }
    }

    /// Keeps the strip of the stall that ended, if there is room or the stall loses enough more than another.
    fn close(&mut self) {
        let Some((stall, moment)) = self.ended.take() else {
            return;
        };
        if self.only.is_some_and(|only| only != stall.stall) {
            return;
        }
        let cut = match moment.strip {
            Some(cut) => cut,
            None => self.cut(moment.worst_s, moment.until_s),
        };
        if !cut.whole {
            return;
        }
        if self.kept.len() >= self.most {
            let least = self
                .kept
                .iter()
                .enumerate()
                .min_by(|a, b| a.1.lost_s.total_cmp(&b.1.lost_s));
            match least {
                Some((at, strip)) if stall.lost_s > WORTH * strip.lost_s => {
                    self.kept.swap_remove(at);
                }
                _ => return,
            }
        }
        self.kept.push(Strip {
            stall: stall.stall,
            lost_s: stall.lost_s,
            t_s: stall.t_s,
            from_s: cut.from_s,
            to_s: cut.to_s,
            held: cut.held,
            inserted_s: cut.inserted_s,
            pieces: cut.pieces,
        });
    }

    /// Ends the replay; returns the strips that were kept, the stall that loses most first.
    pub fn finish(mut self) -> Vec<Strip> {
        self.close();
        self.kept
            .sort_by(|a, b| b.lost_s.total_cmp(&a.lost_s).then(a.stall.cmp(&b.stall)));
        self.kept
    }
}
