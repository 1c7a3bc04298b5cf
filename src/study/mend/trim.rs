//! Time won back: where joined moves bridge the hold, joints are moved, set and taken away one at a time, and feeds raised
//! again, as long as that saves time and puts no block at risk (a local search: the first improvement is taken).

use std::ops::Range;

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

impl Fit<'_> {
    /// Wins time back.
    pub(super) fn trim(&mut self) {
        for _ in 0..PASSES {
            let mut changed = false;
            for k in 0..self.groups.len() {
                if k < self.groups.len() {
                    changed |= self.trim_at(k);
                }
            }
            if !changed {
                break;
            }
        }
    }

    /// Tries what can be done to one group and the next, and takes the best; tells whether there was anything.
    fn trim_at(&mut self, k: usize) -> bool {
        if self.is_as_it_was(k) && self.is_as_it_was(k + 1) {
            return false;
        }
        let around = AROUND * self.service.depth();
        let window = k.saturating_sub(around)..(k + around).min(self.groups.len());
        let mut path = self.path.clone();
        let pace_of = |from: usize| self.pace[from];
        let mut old = self.blocks_of(&mut path, self.groups[window.clone()].iter(), pace_of);
        timed::plan(&mut old);
        let old_s = old.last().map_or(0.0, |b| b.end_s);
        let mut better: Vec<(f64, Change, Vec<Timed>)> = Vec::new();
        for change in self.changes(k, window.end) {
            let (range, new) = self.replaced(&old, &change, window.end);
            let new_s = timed::end_with_s(&old, range.clone(), &new);
            if new_s < old_s - WON_S {
                let mut all = old[..range.start].to_vec();
                all.extend(new);
                all.extend(&old[range.end..]);
                better.push((new_s, change, all));
            }
        }
        if better.is_empty() {
            return false;
        }
        better.sort_by(|a, b| a.0.total_cmp(&b.0));
        let old_risks = self.risks(&old);
        let sound = |(_, _, all): &mut (f64, Change, Vec<Timed>)| {
            timed::plan(all);
            self.risks(all) <= old_risks
        };
        let Some(best) = better.iter_mut().position(|b| sound(b)) else {
            return false;
        };
        let (_, change, _) = better.swap_remove(best);
        self.pace[change.moves()].copy_from_slice(&change.pace);
        self.groups.splice(change.taken, change.groups);
        true
    }

    /// The blocks of a change and of the group behind it, whose first corner is another now, and which blocks they replace.
    fn replaced(&self, old: &[Timed], change: &Change, end: usize) -> (Range<usize>, Vec<Timed>) {
        let moves = change.moves();
        let next = self.groups[..end].get(change.taken.end);
        let upto = next.map_or(moves.end, |g| g.to);
        let range =
            old.partition_point(|b| b.piece < moves.start)..old.partition_point(|b| b.piece < upto);
        let pace_of = |from: usize| match moves.contains(&from) {
            true => change.pace[from - moves.start],
            false => self.pace[from],
        };
        let mut path = self.path.clone();
        if let Some(before) = change.taken.start.checked_sub(1) {
            self.blocks_of(&mut path, self.groups[before..=before].iter(), pace_of);
        }
        let groups = change.groups.iter().chain(next);
        (range, self.blocks_of(&mut path, groups, pace_of))
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
            let cuts = from + 1..to;
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
