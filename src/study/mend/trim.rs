//! Time won back: where joined moves bridge the hold, joints are moved, set and taken away one at a time, and feeds raised
//! again, as long as that saves time and puts no block at risk (a local search: the first improvement is taken).

use super::fit::Fit;
use super::merge::Group;

/// Groups on either side of a change that are planned anew to judge it, for each block of the planner queue.
const AROUND: usize = 2;
/// Times over the stretch.
const PASSES: usize = 3;
/// Feeds are raised by this factor, over so many groups.
const RAISES: [(usize, f64); 3] = [(1, 1.03), (4, 1.017), (16, 1.017)];
/// What is won must be more than this, s.
const WON_S: f64 = 1e-6;

/// A change: groups that take the place of others, and the share of its feed that each keeps.
struct Change {
    groups: Vec<Group>,
    pace: Vec<f64>,
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
        let around = AROUND * self.service.depth();
        let window = k.saturating_sub(around)..(k + around).min(self.groups.len());
        let own = k - window.start;
        let old = &self.groups[window.clone()];
        let (old_s, old_risks) = self.judged(old, &self.pace);
        let mut best: Option<(f64, Change)> = None;
        for change in self.changes(old, own) {
            let (new_s, risks) = self.judged(&change.groups, &change.pace);
            let least_s = best.as_ref().map_or(old_s - WON_S, |b| b.0);
            if risks <= old_risks && new_s < least_s {
                best = Some((new_s, change));
            }
        }
        let Some((_, change)) = best else {
            return false;
        };
        self.groups.splice(window, change.groups);
        self.pace = change.pace;
        true
    }

    /// What can be done to one of some groups: its end moves by one, it is joined with the next, it is cut in two, or
    /// its feed goes up.
    fn changes(&self, old: &[Group], own: usize) -> Vec<Change> {
        let group = old[own];
        let mut all = Vec::new();
        let mut push = |groups: &[Group], taken: usize, pace: Option<Vec<f64>>| {
            let mut new = old[..own].to_vec();
            new.extend(groups);
            new.extend(&old[own + taken..]);
            all.push(Change {
                groups: new,
                pace: pace.unwrap_or_else(|| self.pace.clone()),
            });
        };
        let straight = |from, to| Group {
            from,
            to,
            circle: None,
        };
        if group.circle.is_none() && self.treat.merge.is_some() {
            if let Some(next) = old.get(own + 1).filter(|n| n.circle.is_none()) {
                for cut in [group.to - 1, group.to + 1] {
                    let inside = cut > group.from && cut < next.to;
                    if inside && self.may_join(group.from..cut) && self.may_join(cut..next.to) {
                        push(
                            &[straight(group.from, cut), straight(cut, next.to)],
                            2,
                            None,
                        );
                    }
                }
                if self.may_join(group.from..next.to) {
                    let mut pace = self.pace.clone();
                    let most = pace[group.from].max(pace[next.from]);
                    pace[group.from..next.to].fill(most);
                    push(&[straight(group.from, next.to)], 2, Some(pace));
                }
            }
            for cut in group.from + 1..group.to {
                push(
                    &[straight(group.from, cut), straight(cut, group.to)],
                    1,
                    None,
                );
            }
        }
        for (count, factor) in RAISES {
            let last = old[(own + count - 1).min(old.len() - 1)];
            let mut pace = self.pace.clone();
            for share in &mut pace[group.from..last.to] {
                *share = (*share * factor).min(self.treat.pace);
            }
            if pace != self.pace {
                push(&[group], 1, Some(pace));
            }
        }
        all
    }
}
