//! Runs of short moves become fewer, longer ones that run between corners of the old path.

use crate::job::state::{Circle, Move};
use crate::motion::path::Path;

use super::arcs;
use super::space::{distance_mm, dot, length_mm, span, xyz};

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

/// A printed straight move that may become part of another.
#[derive(Clone, Copy, Debug)]
pub struct Chord {
    /// The move.
    pub mv: Move,
    /// Whether nothing that must stay stands between it and the one before.
    pub joins: bool,
    /// The speed that the head should keep where it begins, mm/s.
    pub needed_mm_s: f64,
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

/// How moves are joined.
#[derive(Clone, Copy, Debug)]
pub struct Joining {
    /// How far the path may move, mm.
    pub within_mm: f64,
    /// The share of the needed speed that a new corner must allow: 0 lets corners get as sharp as the tolerance allows.
    pub corner_share: f64,
    /// Whether arcs may be used, and the length of the chords that the board cuts them into, mm.
    pub arc_chord_mm: Option<f64>,
}

/// How far the path moves where one straight move stands for these, mm; `None` beyond `within_mm`, or where one of them runs back.
///
/// Path and move run between the same ends, and each point of the move is the foot of one of the path's, so that the farthest
/// corner bounds the distance both ways (Hausdorff). Where none runs back it is the Fréchet distance too.
pub fn straight(chords: &[Move], within_mm: f64) -> Option<f64> {
    let (a, b) = (
        xyz(&chords[0].from_mm),
        xyz(&chords[chords.len() - 1].to_mm),
    );
    let along: [f64; 3] = std::array::from_fn(|k| b[k] - a[k]);
    let mut farthest_mm: f64 = 0.0;
    for (k, chord) in chords.iter().enumerate() {
        if dot(span(chord), along) < 0.0 {
            return None;
        }
        if k + 1 < chords.len() {
            farthest_mm = farthest_mm.max(distance_mm(xyz(&chord.to_mm), a, b));
        }
        if farthest_mm > within_mm {
            return None;
        }
    }
    Some(farthest_mm)
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

/// The speed that the corner rule allows at the start of a move behind what `path` has seen, mm/s.
fn corner_mm_s(path: &mut Path, m: &Move) -> f64 {
    path.blocks(m)
        .next()
        .map_or(0.0, |(block, _)| block.corner_mm_s.min(block.speed_mm_s))
}

/// Cuts moves into groups, greedily: each as long as it can be. `path` has seen the move before them.
pub fn groups(chords: &[Chord], path: &mut Path, how: &Joining) -> Vec<Group> {
    let moves: Vec<Move> = chords.iter().map(|c| c.mv).collect();
    let mut groups = Vec::new();
    let mut at = 0;
    while at < chords.len() {
        let group = longest(chords, &moves, at, path, how);
        let m = joined(&moves[at..group.to], group.circle);
        path.blocks(&m).for_each(drop);
        groups.push(group);
        at = group.to;
    }
    groups
}

/// The longest group that begins at `at`.
fn longest(chords: &[Chord], moves: &[Move], at: usize, path: &Path, how: &Joining) -> Group {
    let mut best = Group {
        from: at,
        to: at + 1,
        circle: None,
    };
    let Some(mut flow) = Flow::ANY.with(&moves[at]) else {
        return best;
    };
    let (mut is_straight, mut misfits) = (true, 0);
    let last = chords.len().min(at + JOINED_MAX);
    for to in at + 2..=last {
        let new = &chords[to - 1];
        let alike = new.joins
            && new.mv.feed_mm_s == moves[at].feed_mm_s
            && !turns(&moves[to - 2], &new.mv, how.within_mm);
        let Some(with) = flow.with(&new.mv).filter(|_| alike) else {
            break;
        };
        flow = with;
        is_straight = is_straight && straight(&moves[at..to], how.within_mm).is_some();
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
        let mut behind = path.clone();
        let m = joined(&moves[at..to], circle);
        let entry_mm_s = corner_mm_s(&mut behind.clone(), &m);
        if entry_mm_s < how.corner_share * new_need(chords[at].needed_mm_s) {
            break;
        }
        let leaves = to == chords.len() || {
            behind.blocks(&m).for_each(drop);
            corner_mm_s(&mut behind, &moves[to]) >= how.corner_share * chords[to].needed_mm_s
        };
        if leaves {
            best = Group {
                from: at,
                to,
                circle,
            };
        }
    }
    best
}

/// A need that rounding does not miss.
fn new_need(mm_s: f64) -> f64 {
    mm_s * (1.0 - 1e-9)
}
