//! Time won back: where joined moves bridge the hold, joints are moved, set and taken away one at a time, and feeds raised
//! again, as long as that saves time and puts no block at risk (a local search: at each place the best change is taken).

use std::ops::Range;

use crate::motion::path::Path;

use super::fit::Fit;
use super::merge::Group;
use super::timed::{self, Timed};

/// Groups on either side of a change that are planned anew to judge it, for each block of the planner queue.
const AROUND: usize = 2;
/// Times over the stretch.
const PASSES: usize = 3;
/// Feeds are raised by this factor, over so many groups.
const RAISES: [(usize, f64); 3] = [(1, 1.03), (4, 1.017), (16, 1.017)];
/// What is won must be more than this, s.
const WON_S: f64 = 1e-6;

/// A change: groups that take the place of some others, and the share of its feed that each of their moves keeps.
struct Change {
    taken: Range<usize>,
    groups: Vec<Group>,
    pace: Vec<f64>,
}

impl Change {
    /// The moves that it is about.
    fn moves(&self) -> Range<usize> {
        let last = self.groups[self.groups.len() - 1];
        self.groups[0].from..last.to
    }
}

/// The blocks of some moves as they would be.
struct New {
    moves: Range<usize>,
    blocks: Vec<Timed>,
}

/// Which of some blocks are those of these moves.
fn of_moves(blocks: &[Timed], moves: &Range<usize>) -> Range<usize> {
    let first = |at: usize| blocks.partition_point(|b| b.piece < at);
    first(moves.start)..first(moves.end)
}

impl Fit<'_> {
    /// Wins time back.
    pub(super) fn trim(&mut self) {
        let mut path = self.path.clone();
        let mut blocks = self.blocks_of(&mut path, &self.groups, |from| self.pace[from]);
        // By the first move of a group: nothing is to be had there, as everything around it is now.
        let mut done = vec![false; self.moves.len()];
        let around = AROUND * self.service.depth() + 1;
        for _ in 0..PASSES {
            let mut changed = false;
            let mut k = 0;
            while k < self.groups.len() {
                let from = self.groups[k].from;
                if !done[from] {
                    done[from] = true;
                    if let Some(upto) = self.trim_at(k, &mut blocks) {
                        changed = true;
                        let first = self.groups[k.saturating_sub(around)];
                        let last = self.groups[(upto + around).min(self.groups.len() - 1)];
                        done[first.from..last.to].fill(false);
                    }
                }
                k += 1;
            }
            if !changed {
                break;
            }
        }
    }

    /// Tries what can be done to one group and the next, and takes the best; tells up to which group, if there was
    /// anything. `blocks`: those of all groups, not planned.
    fn trim_at(&mut self, k: usize, blocks: &mut Vec<Timed>) -> Option<usize> {
        if self.is_as_it_was(k) && self.is_as_it_was(k + 1) {
            return None;
        }
        let around = AROUND * self.service.depth();
        let window = k.saturating_sub(around)..(k + around).min(self.groups.len());
        let moves = self.groups[window.start].from..self.groups[window.end - 1].to;
        let mut old = blocks[of_moves(blocks, &moves)].to_vec();
        timed::plan(&mut old);
        let old_s = old.last().map_or(0.0, |b| b.end_s);
        let mut path = self.path.clone();
        if k > 0 {
            self.blocks_of(&mut path, &self.groups[k - 1..k], |from| self.pace[from]);
        }
        let before = path.end();
        let mut better = Vec::new();
        for change in self.changes(k, window.end) {
            path.go_on(before);
            let new = self.replaced(&mut path, &change, window.end);
            let end_s = timed::end_with_s(&old, of_moves(&old, &new.moves), &new.blocks);
            if end_s < old_s - WON_S {
                better.push((end_s, change, new));
            }
        }
        if better.is_empty() {
            return None;
        }
        better.sort_by(|a, b| a.0.total_cmp(&b.0));
        let old_risks = self.risks(&old);
        let is_sound = |(_, _, new): &(f64, Change, New)| {
            let mut all = old.clone();
            all.splice(of_moves(&old, &new.moves), new.blocks.iter().copied());
            timed::plan(&mut all);
            self.risks(&all) <= old_risks
        };
        let (_, change, _) = better.into_iter().find(is_sound)?;
        path.go_on(before);
        let new = self.replaced(&mut path, &change, self.groups.len());
        blocks.splice(of_moves(blocks, &new.moves), new.blocks);
        self.pace[change.moves()].copy_from_slice(&change.pace);
        let upto = k + change.groups.len();
        self.groups.splice(change.taken, change.groups);
        Some(upto)
    }

    /// The blocks of a change and of the group behind it, whose first corner is another now. `path` has seen what is
    /// before; groups from `end` on are not looked at.
    fn replaced(&self, path: &mut Path, change: &Change, end: usize) -> New {
        let changed = change.moves();
        let next = self.groups[..end].get(change.taken.end);
        let pace_of = |from: usize| match changed.contains(&from) {
            true => change.pace[from - changed.start],
            false => self.pace[from],
        };
        let groups = change.groups.iter().chain(next);
        New {
            blocks: self.blocks_of(path, groups, pace_of),
            moves: changed.start..next.map_or(changed.end, |g| g.to),
        }
    }

    /// Whether a group is a move of the job, at its feed.
    fn is_as_it_was(&self, k: usize) -> bool {
        let group = self.groups.get(k);
        group.is_none_or(|g| g.to - g.from == 1 && self.pace[g.from] == self.treat.pace)
    }

    /// What can be done to a group: its end moves by one, it is joined with the next, it is cut in two, or its feed goes
    /// up; groups from `end` on are not looked at.
    fn changes(&self, k: usize, end: usize) -> Vec<Change> {
        let groups = &self.groups[..end];
        let group = groups[k];
        let mut all = Vec::new();
        if group.circle.is_none() && self.treat.merge {
            let Group { from, to, .. } = group;
            if let Some(next) = groups.get(k + 1).filter(|n| n.circle.is_none()) {
                for cut in [to - 1, to + 1] {
                    let inside = cut > from && cut < next.to;
                    if inside && self.may_join(from..cut) && self.may_join(cut..next.to) {
                        all.push(self.straight(k..k + 2, &[from, cut, next.to]));
                    }
                }
                if self.may_join(from..next.to) {
                    let mut joined = self.straight(k..k + 2, &[from, next.to]);
                    joined.pace.fill(self.pace[from].max(self.pace[next.from]));
                    all.push(joined);
                }
            }
            let cuts = (from + 1..to).filter(|cut| self.may_join(*cut..to));
            all.extend(cuts.map(|cut| self.straight(k..k + 1, &[from, cut, to])));
        }
        for (count, factor) in RAISES {
            let taken = k..end.min(k + count);
            let moves = group.from..groups[taken.end - 1].to;
            let faster = |share: &f64| (share * factor).min(self.treat.pace);
            let pace: Vec<f64> = self.pace[moves.clone()].iter().map(faster).collect();
            if pace != self.pace[moves] {
                let groups = groups[taken.clone()].to_vec();
                all.push(Change {
                    taken,
                    groups,
                    pace,
                });
            }
        }
        all
    }

    /// Straight groups between these joints in place of some; feeds stay.
    fn straight(&self, taken: Range<usize>, joints: &[usize]) -> Change {
        let group = |ends: &[usize]| Group {
            from: ends[0],
            to: ends[1],
            circle: None,
        };
        Change {
            taken,
            groups: joints.windows(2).map(group).collect(),
            pace: self.pace[joints[0]..joints[joints.len() - 1]].to_vec(),
        }
    }
}
