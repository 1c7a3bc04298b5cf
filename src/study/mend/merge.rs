//! Runs of short moves become fewer, longer ones that run between corners of the old path.

use crate::job::state::{Circle, Move};
use crate::motion::path::{Block, Path};

use super::arcs;
use super::space::{dot, length_mm, span};
use super::straight::{Growing, straight};

/// Moves that one may stand for.
pub const JOINED_MAX: usize = 400;
/// Filament for each millimetre may differ by this share within a joined move: half of it to either side.
const FLOW_SHARE: f64 = 0.01;
/// What rounding to 0.001 mm at both ends can do to a length, and to 1e-5 mm to filament, mm.
const LENGTH_ROUNDING_MM: f64 = 1e-3;
const FILAMENT_ROUNDING_MM: f64 = 5e-6;
/// A turn by more than 20° between moves that the eye can tell apart is a corner, and stays: cos 20°.
const CORNER_COS: f64 = 0.94;
/// Moves shorter than this many tolerances cannot be told apart.
const CORNER_LEGS: f64 = 4.0;

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

/// One move for several.
pub fn joined(chords: &[Move], circle: Option<Circle>) -> Move {
    let last = &chords[chords.len() - 1];
    Move {
        from_mm: chords[0].from_mm,
        e_mm: chords.iter().map(|c| c.e_mm).sum(),
        circle,
        ..*last
    }
}

/// Filament for each millimetre that moves have in common, least and most.
#[derive(Clone, Copy, Debug)]
struct Flow {
    low: f64,
    high: f64,
}

impl Flow {
    const ANY: Flow = Flow {
        low: 0.0,
        high: f64::INFINITY,
    };

    /// With another move; `None` where they have no flow in common.
    fn with(self, m: &Move) -> Option<Flow> {
        let length = length_mm(m);
        let half = FLOW_SHARE / 2.0;
        let low = (m.e_mm - FILAMENT_ROUNDING_MM) / (length + LENGTH_ROUNDING_MM) * (1.0 - half);
        let short = length - LENGTH_ROUNDING_MM;
        let high = if short > 0.0 {
            (m.e_mm + FILAMENT_ROUNDING_MM) / short * (1.0 + half)
        } else {
            f64::INFINITY
        };
        let flow = Flow {
            low: self.low.max(low),
            high: self.high.min(high),
        };
        (flow.low <= flow.high).then_some(flow)
    }
}

/// Whether the path turns sharply from one move to the next.
fn turns(before: &Move, after: &Move, within_mm: f64) -> bool {
    let (a, b) = (length_mm(before), length_mm(after));
    let legs_mm = CORNER_LEGS * within_mm;
    dot(span(before), span(after)) < CORNER_COS * a * b && a > legs_mm && b > legs_mm
}

/// Whether one straight move may stand for these.
pub fn may_join(moves: &[Move], within_mm: f64) -> bool {
    let mut flow = Some(Flow::ANY);
    for m in moves {
        flow = flow.and_then(|f| f.with(m));
    }
    let alike = |w: &[Move]| w[0].feed_mm_s == w[1].feed_mm_s && !turns(&w[0], &w[1], within_mm);
    flow.is_some() && moves.windows(2).all(alike) && straight(moves, within_mm).is_some()
}

/// What a group costs that ends at some move, and how it came about.
#[derive(Clone, Debug)]
struct Leg {
    group: Group,
    /// Time that corners lose and blocks cost up to its end, s.
    cost_s: f64,
    /// The leg before it, among those that end where it begins.
    before: usize,
    /// The path behind it.
    behind: Path,
    length_mm: f64,
}

/// Cuts moves into groups: the cheapest way through the graph of all moves that may stand for several (Imai and Iri,
/// 1988, with costs). A way costs their `block_s` for each block and the time that its corners lose. `path` has seen
/// the move before them.
pub fn groups(chords: &[Chord], path: &Path, how: &Joining) -> Vec<Group> {
    let moves: Vec<Move> = chords.iter().map(|c| c.mv).collect();
    let mut ends: Vec<Vec<Leg>> = vec![Vec::new(); chords.len() + 1];
    for from in 0..chords.len() {
        if from > 0 && ends[from].is_empty() {
            continue;
        }
        for group in options(chords, &moves, from, how) {
            let mv = joined(&moves[from..group.to], group.circle);
            let leg = best_leg(&ends[from], group, &mv, path, &chords[from], how);
            ends[group.to].push(leg);
        }
    }
    let cheapest = |legs: &[Leg]| {
        let all = legs.iter().enumerate();
        all.min_by(|a, b| a.1.cost_s.total_cmp(&b.1.cost_s))
            .map(|(k, _)| k)
    };
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

/// The cheapest way that ends with this group.
fn best_leg(
    before: &[Leg],
    group: Group,
    mv: &Move,
    path: &Path,
    first: &Chord,
    how: &Joining,
) -> Leg {
    let length_mm = length_mm(mv);
    let mut best: Option<Leg> = None;
    let start = (0.0, path, length_mm, 0);
    let ways = before.iter().enumerate();
    let ways = ways.map(|(k, leg)| (leg.cost_s, &leg.behind, leg.length_mm, k));
    for (so_far_s, path, other_mm, k) in ways.chain((group.from == 0).then_some(start)) {
        if best.as_ref().is_some_and(|b| b.cost_s <= so_far_s) {
            continue;
        }
        let mut behind = path.clone();
        let mut blocks = behind.blocks(mv);
        let mut cost_s = so_far_s;
        if let Some((block, _)) = blocks.next() {
            let allowed_mm_s = block.corner_mm_s.min(block.speed_mm_s);
            let spacing_mm = 0.5 * (length_mm + other_mm);
            let slowed = how.slowed(&block, first.needed_mm_s);
            cost_s += first.block_s * (1.0 + STRETCH_COST * slowed * slowed);
            if group.from > 0 {
                cost_s += dip_s(
                    first.needed_mm_s,
                    allowed_mm_s,
                    block.accel_mm_s2,
                    spacing_mm,
                );
            }
        }
        // The chords of an arc need no lines of their own.
        cost_s += CHORD_COST * first.block_s * blocks.count() as f64;
        if best.as_ref().is_none_or(|b| cost_s < b.cost_s) {
            best = Some(Leg {
                group,
                cost_s,
                before: k,
                behind,
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

/// The groups that may begin at `at`: the move alone, then longer and longer ones; of many, only some.
fn options(chords: &[Chord], moves: &[Move], at: usize, how: &Joining) -> Vec<Group> {
    let mut all = vec![Group::alone(at)];
    let Some(mut flow) = Flow::ANY.with(&moves[at]) else {
        return all;
    };
    let (mut is_straight, mut misfits) = (true, 0);
    let mut growing = Growing::default();
    for to in at + 2..=chords.len().min(at + JOINED_MAX) {
        let new = &chords[to - 1];
        let alike = new.joins
            && new.mv.feed_mm_s == moves[at].feed_mm_s
            && !turns(&moves[to - 2], &new.mv, how.within_mm);
        let Some(with) = flow.with(&new.mv).filter(|_| alike) else {
            break;
        };
        flow = with;
        is_straight = is_straight && growing.may(&moves[at..to], how.within_mm);
        let circle = if is_straight {
            None
        } else {
            // An arc may need some more moves to begin with.
            let arc = how
                .arc_chord_mm
                .and_then(|chord_mm| arcs::printable(&moves[at..to], how.within_mm, chord_mm));
            misfits += usize::from(arc.is_none());
            if how.arc_chord_mm.is_none() || misfits > arcs::MOVES_MIN {
                break;
            }
            match arc {
                Some(arc) => Some(arc),
                None => continue,
            }
        };
        if circle.is_some() || how.straights {
            all.push(Group {
                from: at,
                to,
                circle,
            });
        }
    }
    if all.len() > OPTIONS_MAX {
        let last = all.len() - 1;
        let kept = (0..OPTIONS_MAX).map(|k| match k {
            0..NEAR_OPTIONS => k,
            _ => {
                last - (last - NEAR_OPTIONS) * (OPTIONS_MAX - 1 - k) / (OPTIONS_MAX - NEAR_OPTIONS)
            }
        });
        all = kept.map(|k| all[k]).collect();
    }
    all
}
