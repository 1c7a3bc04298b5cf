//! Runs of short moves become fewer, longer ones that run between corners of the old path.

use crate::job::state::{Circle, Move};
use crate::motion::path::{Block, End, Path};

use super::reach::Reach;
use super::space::length_mm;

/// Of the moves that one may stand for, so many choices are looked at: the shortest ones, then some up to the longest.
const OPTIONS_MAX: usize = 10;
const NEAR_OPTIONS: usize = 5;
/// How much dearer a block is that the board would stretch to next to no speed: a short block among long ones is
/// where a board with a low queue slows down.
const STRETCH_COST: f64 = 3.0;
/// What a further chord of an arc costs, as a share of a block's price.
const CHORD_COST: f64 = 0.9;

/// A printed straight move that may become part of another.
#[derive(Clone, Copy, Debug)]
pub struct Chord {
    /// The move.
    pub mv: Move,
    /// Whether nothing that must stay stands between it and the one before.
    pub joins: bool,
    /// The speed that the head should keep where it begins, mm/s.
    pub needed_mm_s: f64,
    /// What a block that begins here is taken to cost, s: moves are joined where their new corners cost less than the
    /// blocks that they save. 0: only where they cost nothing.
    pub block_s: f64,
}

/// Moves `from..to` that become one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Group {
    /// The first.
    pub from: usize,
    /// Behind the last.
    pub to: usize,
    /// The circle, where they become an arc.
    pub circle: Option<Circle>,
}

impl Group {
    /// A move that stays alone.
    pub fn alone(k: usize) -> Self {
        Group {
            from: k,
            to: k + 1,
            circle: None,
        }
    }
}

/// How moves are joined.
#[derive(Clone, Copy, Debug)]
pub struct Joining {
    /// How far the path may move, mm.
    pub within_mm: f64,
    /// Whether straight moves may stand for several.
    pub straights: bool,
    /// Blocks of a shorter nominal duration are stretched by the board while its queue is low, s; 0: none.
    pub stretch_s: f64,
    /// Whether arcs may be used, and the length of the chords that the board cuts them into, mm.
    pub arc_chord_mm: Option<f64>,
}

impl Joining {
    /// The share of the needed speed that the board takes off a block that is planned when its queue is half low.
    fn slowed(&self, block: &Block, needed_mm_s: f64) -> f64 {
        let nominal_s = block.length_mm / block.speed_mm_s;
        let stretched_s = nominal_s + 0.5 * (self.stretch_s - nominal_s).max(0.0);
        let left_mm_s = block.length_mm / stretched_s;
        (1.0 - left_mm_s / needed_mm_s.min(block.speed_mm_s)).max(0.0)
    }
}

/// One move for several, at this share of its feed.
pub fn joined(chords: &[Move], circle: Option<Circle>, pace: f64) -> Move {
    let last = &chords[chords.len() - 1];
    Move {
        from_mm: chords[0].from_mm,
        e_mm: chords.iter().map(|c| c.e_mm).sum(),
        circle,
        feed_mm_s: last.feed_mm_s * pace,
        ..*last
    }
}

/// What a group costs that ends at some move, and how it came about.
#[derive(Clone, Debug)]
struct Leg {
    group: Group,
    /// Time that corners lose and blocks cost up to its end, s.
    cost_s: f64,
    /// The leg before it, among those that end where it begins.
    before: usize,
    /// The path's end behind it.
    behind: End,
    length_mm: f64,
}

/// Cuts moves into groups: the cheapest way through the graph of all moves that may stand for several (Imai and Iri,
/// 1988, with costs). A way costs their `block_s` for each block and the time that its corners lose. `path` has seen
/// the move before them.
pub fn groups(chords: &[Chord], path: &Path, how: &Joining, reach: &Reach) -> Vec<Group> {
    let mut path = path.clone();
    let start = path.end();
    let limits = limits(chords);
    let cheapest = |legs: &[Leg]| {
        let all = legs.iter().enumerate();
        all.min_by(|a, b| a.1.cost_s.total_cmp(&b.1.cost_s))
            .map(|(k, _)| k)
    };
    let none = |_| Vec::with_capacity(OPTIONS_MAX);
    let mut ends: Vec<Vec<Leg>> = (0..=chords.len()).map(none).collect();
    for from in 0..chords.len() {
        // The cheapest way first: the others seldom need a look.
        if let Some(k) = cheapest(&ends[from]) {
            ends[from].swap(0, k);
        }
        let mut upto = Upto::from(chords, from);
        for group in options(reach, from, limits[from]) {
            let mv = upto.joined(&group);
            let first = [(0.0, start, length_mm(&mv))];
            let before = ends[from].iter().map(|l| (l.cost_s, l.behind, l.length_mm));
            let ways = before.chain(first.into_iter().filter(|_| from == 0));
            let leg = best_leg(ways, group, &mv, &mut path, &chords[from], how);
            ends[group.to].push(leg);
        }
    }
    let mut groups = Vec::new();
    let (mut at, mut which) = (chords.len(), cheapest(&ends[chords.len()]));
    while let Some(k) = which.filter(|_| at > 0) {
        let leg = &ends[at][k];
        groups.push(leg.group);
        (at, which) = (leg.group.from, Some(leg.before));
    }
    groups.reverse();
    groups
}

/// For each move: behind which one those end that may be joined with it, as far as feeds and what stands between go.
fn limits(chords: &[Chord]) -> Vec<usize> {
    let mut limits = vec![chords.len(); chords.len()];
    for k in (1..chords.len()).rev() {
        let (before, new) = (&chords[k - 1], &chords[k]);
        limits[k - 1] = if new.joins && new.mv.feed_mm_s == before.mv.feed_mm_s {
            limits[k]
        } else {
            k
        };
    }
    limits
}

/// Filament from a move on, summed up as far as it was asked for.
struct Upto<'a> {
    chords: &'a [Chord],
    from: usize,
    to: usize,
    e_mm: f64,
}

impl<'a> Upto<'a> {
    fn from(chords: &'a [Chord], from: usize) -> Self {
        Upto {
            chords,
            from,
            to: from,
            e_mm: 0.0,
        }
    }

    /// One move for a group that begins here; quick where groups come in the order of their ends.
    fn joined(&mut self, group: &Group) -> Move {
        if group.to < self.to {
            *self = Upto::from(self.chords, self.from);
        }
        let more = self.chords[self.to..group.to].iter().map(|c| c.mv.e_mm);
        self.e_mm = more.fold(self.e_mm, |sum, e| sum + e);
        self.to = group.to;
        Move {
            from_mm: self.chords[self.from].mv.from_mm,
            e_mm: self.e_mm,
            circle: group.circle,
            ..self.chords[group.to - 1].mv
        }
    }
}

/// The cheapest way that ends with this group, of all ways that end where it begins: what they cost, the path behind
/// them, and how long their last moves are; the cheapest of them comes first. `path` has the limits.
fn best_leg(
    ways: impl Iterator<Item = (f64, End, f64)>,
    group: Group,
    mv: &Move,
    path: &mut Path,
    first: &Chord,
    how: &Joining,
) -> Leg {
    let length_mm = length_mm(mv);
    let mut best: Option<Leg> = None;
    // What the blocks cost, whatever corner comes before them.
    let mut own_s = 0.0;
    for (k, (so_far_s, before, other_mm)) in ways.enumerate() {
        if best.as_ref().is_some_and(|b| b.cost_s <= so_far_s + own_s) {
            continue;
        }
        path.go_on(before);
        let mut blocks = path.blocks(mv);
        let mut corner_s = 0.0;
        if let Some((block, _)) = blocks.next() {
            let slowed = how.slowed(&block, first.needed_mm_s);
            own_s = first.block_s * (1.0 + STRETCH_COST * slowed * slowed);
            if group.from > 0 {
                corner_s = dip_s(
                    first.needed_mm_s,
                    block.corner_mm_s.min(block.speed_mm_s),
                    block.accel_mm_s2,
                    0.5 * (length_mm + other_mm),
                );
            }
        }
        // The chords of an arc need no lines of their own.
        own_s += CHORD_COST * first.block_s * blocks.count() as f64;
        let cost_s = so_far_s + own_s + corner_s;
        if best.as_ref().is_none_or(|b| cost_s < b.cost_s) {
            best = Some(Leg {
                group,
                cost_s,
                before: k,
                behind: path.end(),
                length_mm,
            });
        }
    }
    best.expect("a group begins at the start, or where another ends")
}

/// Time lost where a corner allows less than the speed that is needed there, s: by a trapezoid from corner to
/// corner, `spacing_mm` apart, in place of the needed speed all along.
fn dip_s(needed_mm_s: f64, allowed_mm_s: f64, accel_mm_s2: f64, spacing_mm: f64) -> f64 {
    if allowed_mm_s >= needed_mm_s * (1.0 - 1e-9) {
        return 0.0;
    }
    let allowed_mm_s = allowed_mm_s.max(0.01 * needed_mm_s);
    let peak_mm_s = (allowed_mm_s * allowed_mm_s + accel_mm_s2 * spacing_mm).sqrt();
    if peak_mm_s >= needed_mm_s {
        let less_mm_s = needed_mm_s - allowed_mm_s;
        return less_mm_s * less_mm_s / (accel_mm_s2 * needed_mm_s);
    }
    2.0 * (peak_mm_s - allowed_mm_s) / accel_mm_s2 - spacing_mm / needed_mm_s
}

/// The groups that may begin at `at` and end before `limit`: the move alone, then longer and longer straight ones, of many
/// only some, then arcs.
fn options(reach: &Reach, at: usize, limit: usize) -> impl Iterator<Item = Group> {
    let last = reach.straight_to(at).min(limit).max(at + 1) - (at + 1);
    let kept = move |k: usize| match k {
        NEAR_OPTIONS.. if last >= OPTIONS_MAX => {
            last - (last - NEAR_OPTIONS) * (OPTIONS_MAX - 1 - k) / (OPTIONS_MAX - NEAR_OPTIONS)
        }
        _ => k,
    };
    let straights = (0..=last.min(OPTIONS_MAX - 1)).map(move |k| Group {
        from: at,
        to: at + 1 + kept(k),
        circle: None,
    });
    let arcs = reach.arcs(at, limit).map(move |(to, circle)| Group {
        from: at,
        to,
        circle: Some(circle),
    });
    straights.chain(arcs)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// v² = v0² + 2 a s, and t = 2 s / (v0 + v), over both halves of the way from corner to corner (handbook formulas
    /// of uniform acceleration).
    fn by_halves_s(needed_mm_s: f64, allowed_mm_s: f64, accel_mm_s2: f64, spacing_mm: f64) -> f64 {
        let half_mm = 0.5 * spacing_mm;
        let reach_mm = (needed_mm_s.powi(2) - allowed_mm_s.powi(2)) / (2.0 * accel_mm_s2);
        let ramp_mm = reach_mm.min(half_mm);
        let top_mm_s = (allowed_mm_s.powi(2) + 2.0 * accel_mm_s2 * ramp_mm).sqrt();
        let half_s = 2.0 * ramp_mm / (allowed_mm_s + top_mm_s) + (half_mm - ramp_mm) / needed_mm_s;
        2.0 * half_s - spacing_mm / needed_mm_s
    }

    #[test]
    fn a_corner_costs_what_its_ramps_take() {
        for (needed_mm_s, allowed_mm_s, spacing_mm) in [
            (80.0, 60.0, 4.0),
            (80.0, 60.0, 1.0),
            (80.0, 5.0, 0.3),
            (80.0, 79.0, 0.1),
        ] {
            let cost_s = dip_s(needed_mm_s, allowed_mm_s, 1000.0, spacing_mm);
            let wanted_s = by_halves_s(needed_mm_s, allowed_mm_s, 1000.0, spacing_mm);
            assert!(
                wanted_s > 0.0 && (cost_s / wanted_s - 1.0).abs() < 1e-9,
                "{cost_s} {wanted_s}"
            );
        }
        assert_eq!(dip_s(80.0, 80.0, 1000.0, 1.0), 0.0);
        assert_eq!(dip_s(80.0, 90.0, 1000.0, 1.0), 0.0);
    }
}
