//! How far moves are joined and slowed so that the queue bridges a hold: prices go up where it does not, step by step,
//! until it does.
//!
//! A block of the planner queue has a price in seconds. Where the queue may run low (`pace`), the blocks over
//! which it does become dearer and their feed a little lower, and moves are joined anew at these prices (`merge`). What
//! never was at risk stays as it is. So each place gets what it needs, and the time that this costs is spent where it
//! buys most.

use std::ops::Range;

use crate::job::state::Move;
use crate::motion::path::Path;

use super::merge::{self, Chord, Group, Joining};
use super::pace::Service;
use super::plan::Treat;
use super::reach::Reach;
use super::run::{Around, Run};
use super::timed::{self, Timed};

/// Prices of a block, s: the first one, and the last, beyond which only a lower feed helps.
const PRICES_S: [f64; 2] = [0.001, 0.016];
/// From round to round prices go up by this factor, and feeds go down by that.
const PRICE_STEP: f64 = 1.06;
const PACE_STEP: f64 = 0.983;
/// The lowest share of its feed that a move is slowed to.
const PACE_MIN: f64 = 0.1;
/// Rounds at most.
const ROUNDS: usize = 160;
/// The share of its speed that the head is to keep while a hold lasts.
const DIP: f64 = 0.5;
/// Bytes that moves around a run are taken to have.
const OTHER_BYTES: f64 = 30.0;

/// What becomes of a stretch of a run.
#[derive(Debug)]
pub struct Fitted {
    /// Which moves become one, by their numbers in the run.
    pub groups: Vec<Group>,
    /// The share of its feed that each move of the stretch keeps.
    pub pace: Vec<f64>,
}

impl Fitted {
    /// The share of its feed that a group keeps.
    pub fn pace_of(&self, group: &Group) -> f64 {
        self.pace[group.from - self.groups[0].from]
    }

    /// The last moves that a stretch has become, so many at most.
    pub fn last_moves<'a>(&'a self, run: &'a Run, most: usize) -> impl Iterator<Item = Move> + 'a {
        let from = self.groups.len().saturating_sub(most);
        self.groups[from..].iter().map(|group| {
            let old = run.moves(group.from..group.to);
            merge::joined(&old, group.circle, self.pace_of(group))
        })
    }
}

/// A stretch under way.
pub(super) struct Fit<'a> {
    run: &'a Run,
    stretch: Range<usize>,
    around: &'a Around<'a>,
    pub(super) treat: &'a Treat,
    joining: &'a Joining,
    reach: &'a Reach,
    pub(super) service: &'a Service,
    /// The path behind the move before the stretch.
    pub(super) path: Path,
    /// The moves, and the bytes of their lines as they will be.
    pub(super) moves: Vec<Move>,
    bytes: Vec<f64>,
    /// By move: the speed that the head has by the ideal where it begins, mm/s.
    needed_mm_s: Vec<f64>,
    price_s: Vec<f64>,
    pub(super) pace: Vec<f64>,
    pub(super) groups: Vec<Group>,
}

/// Which moves of a stretch one may stand for.
pub fn reach(run: &Run, stretch: &Range<usize>, joining: &Joining) -> Reach {
    let moves = run.moves(stretch.clone());
    let Joining {
        within_mm,
        straights,
        arc_chord_mm,
        ..
    } = *joining;
    Reach::of(&moves, within_mm, straights, arc_chord_mm)
}

/// Joins and slows the moves of a stretch as far as `treat` asks for; `reach` says what may be joined.
pub fn fitted(
    run: &Run,
    stretch: &Range<usize>,
    around: &Around,
    treat: &Treat,
    joining: &Joining,
    service: &Service,
    reach: &Reach,
) -> Fitted {
    let mut path = around.path.clone();
    let before = match stretch.start {
        0 => around.before.last(),
        k => Some(&run.held[k - 1].mv),
    };
    if let Some(before) = before {
        path.blocks(before).for_each(drop);
    }
    let count = stretch.len();
    debug_assert_eq!(reach.move_count(), count, "the reach of another stretch");
    let held = &run.held[stretch.clone()];
    let moves = run.moves(stretch.clone());
    let bytes = held.iter().map(|h| run.bytes_of(h, treat.strip)).collect();
    let mut fit = Fit {
        run,
        stretch: stretch.clone(),
        around,
        treat,
        joining,
        service,
        reach,
        path,
        moves,
        bytes,
        needed_mm_s: vec![f64::INFINITY; count],
        price_s: vec![treat.block_s; count],
        pace: vec![treat.pace; count],
        groups: (0..count).map(Group::alone).collect(),
    };
    fit.need();
    fit.join();
    if treat.bridge > 0.0 {
        let rounds = fit.settle();
        if rounds > 0 {
            fit.trim();
        }
    }
    debug_assert!(
        fit.groups
            .iter()
            .all(|g| g.circle.is_some() || fit.may_join(g.from..g.to)),
        "a move stands for others that it may not stand for"
    );
    for group in &mut fit.groups {
        group.from += stretch.start;
        group.to += stretch.start;
    }
    Fitted {
        groups: fit.groups,
        pace: fit.pace,
    }
}

impl Fit<'_> {
    /// The ideal of the run with what lies around it, its moves joined and slowed as they are by now.
    fn blocks(&self) -> Vec<Timed> {
        let held = &self.run.held;
        let others = |m: &Move| (*m, OTHER_BYTES);
        let as_they_are = |range: Range<usize>| held[range].iter().map(|h| (h.mv, h.command_bytes));
        let own = self.groups.iter();
        let own = own.map(|g| (self.one(g, self.pace[g.from]), self.bytes[g.from]));
        let all = self.around.before.iter().map(others);
        let all = all.chain(as_they_are(0..self.stretch.start)).chain(own);
        let all = all.chain(as_they_are(self.stretch.end..held.len()));
        let all = all.chain(self.around.next.map(others));
        timed::timed(&mut self.around.path.clone(), all)
    }

    /// The move that stands for a group, at this share of its feed.
    fn one(&self, group: &Group, pace: f64) -> Move {
        merge::joined(&self.moves[group.from..group.to], group.circle, pace)
    }

    /// The group to which a block belongs.
    fn group_of(&self, block: &Timed) -> Option<&Group> {
        let lead = self.around.before.len() + self.stretch.start;
        let own = block.piece.checked_sub(lead)?;
        self.groups.get(own)
    }

    /// Notes which speeds the head has before anything is joined.
    fn need(&mut self) {
        let blocks = self.blocks();
        // The first block of a move is the one whose entry counts.
        for block in blocks.iter().rev() {
            if let Some(at) = self.group_of(block).map(|g| g.from) {
                self.needed_mm_s[at] = block.entry_mm_s;
            }
        }
    }

    /// By move: whether it belongs to a place where the queue may run low.
    fn risky(&self) -> Vec<bool> {
        let blocks = self.blocks();
        let risks = self.service.at_risk(&blocks, self.treat.bridge, DIP);
        let mut risky = vec![false; self.stretch.len()];
        for (block, _) in blocks.iter().zip(risks).filter(|(_, risk)| *risk) {
            if let Some(group) = self.group_of(block) {
                risky[group.from..group.to].fill(true);
            }
        }
        risky
    }

    /// Raises prices where that is needed until it is needed nowhere; tells in how many rounds.
    ///
    /// As long as the same moves are at risk, rounds are made without a look between them, twice as many each time. Where
    /// others are at risk behind such rounds, they are taken back, and half as many are made.
    fn settle(&mut self) -> usize {
        let mut risky = self.risky();
        let (mut rounds, mut step, mut doubles) = (0, 1, true);
        loop {
            let before = (self.price_s.clone(), self.pace.clone());
            let most = step.min(ROUNDS - rounds);
            let made = (0..most).take_while(|_| self.raise(&risky)).count();
            if made == 0 {
                return rounds;
            }
            self.join();
            let now = self.risky();
            if now != risky && made > 1 {
                (self.price_s, self.pace) = before;
                (step, doubles) = (made / 2, false);
                continue;
            }
            rounds += made;
            (step, doubles) = match now == risky {
                true if doubles => (2 * made, true),
                true => ((made / 2).max(1), false),
                false => (1, true),
            };
            risky = now;
        }
    }

    /// Makes blocks dearer and moves slower where that is needed; tells whether anything was left to be done.
    fn raise(&mut self, risky: &[bool]) -> bool {
        let mut changed = false;
        for k in (0..risky.len()).filter(|k| risky[*k]) {
            if (self.treat.merge || self.treat.arcs) && self.price_s[k] < PRICES_S[1] {
                self.price_s[k] = (self.price_s[k] * PRICE_STEP).max(PRICES_S[0]);
                changed = true;
            }
            if self.treat.slows && self.pace[k] > PACE_MIN {
                self.pace[k] *= PACE_STEP;
                changed = true;
            }
        }
        changed
    }

    /// Joins the moves anew at the prices of now.
    fn join(&mut self) {
        if !self.treat.merge && !self.treat.arcs {
            return;
        }
        let chords: Vec<Chord> = (0..self.moves.len())
            .map(|k| {
                let feed_mm_s = self.moves[k].feed_mm_s * self.pace[k];
                Chord {
                    mv: Move {
                        feed_mm_s,
                        ..self.moves[k]
                    },
                    joins: k > 0
                        && self.run.joins(self.stretch.start + k, self.treat.strip)
                        && (self.price_s[k] > 0.0 || self.price_s[k - 1] > 0.0),
                    needed_mm_s: self.needed_mm_s[k].min(feed_mm_s),
                    block_s: self.price_s[k],
                }
            })
            .collect();
        self.groups = merge::groups(&chords, &self.path, self.joining, self.reach);
    }

    /// Groups as blocks that are not planned yet, behind `path`; `pace_of`: the share of its feed that a move keeps.
    pub(super) fn blocks_of<'b>(
        &self,
        path: &mut Path,
        groups: impl IntoIterator<Item = &'b Group>,
        pace_of: impl Fn(usize) -> f64,
    ) -> Vec<Timed> {
        let one = |g: &Group| (g.from, self.one(g, pace_of(g.from)), self.bytes[g.from]);
        timed::blocks(path, groups.into_iter().map(one))
    }

    /// How many of some planned blocks are at risk.
    pub(super) fn risks(&self, blocks: &[Timed]) -> usize {
        let risks = self.service.at_risk(blocks, self.treat.bridge, DIP);
        risks.iter().filter(|r| **r).count()
    }

    /// Whether one straight move may stand for these.
    pub(super) fn may_join(&self, moves: Range<usize>) -> bool {
        let first = self.stretch.start;
        let joins = |k| self.run.joins(first + k, self.treat.strip);
        (moves.start + 1..moves.end).all(joins) && self.reach.is_straight(&moves)
    }
}
