//! Another job for the same part: chords merged, arcs for chords, slower walls, shorter lines.
//!
//! Points that a run of chords shares with the rest of the job stay, and so does the filament; how
//! far the path moves is measured.

use crate::job::reader::Step;
use crate::job::state::{Act, Circle, Move};

/// What is done to a job.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reshape {
    /// Straight moves joined where the path stays within this, mm.
    Merge(f64),
    /// Straight moves joined to arcs where the path stays within this, mm; the board cuts arcs
    /// into chords of `chord_mm`, which moves the path too.
    Arcs {
        /// How far the arc may lie from the chords, mm.
        within_mm: f64,
        /// Length of the board's chords, mm.
        chord_mm: f64,
    },
    /// Printing moves at most this fast, mm/s.
    Slow(f64),
    /// Comments, blank lines and needless decimals left out.
    Short,
}

/// Chords that one move may stand for.
const CHORDS_MAX: usize = 400;
/// Fewest chords that are worth an arc.
const ARC_CHORDS_MIN: usize = 3;
/// Filament for each millimetre may differ by this share within a run.
const BEAD_SLACK: f64 = 0.05;
/// Bytes by which an arc's line is longer than a straight one's: I, J and their numbers.
const ARC_BYTES: u32 = 16;

/// The job reshaped, and how far its path moved at most, mm.
pub fn reshape(steps: &[Step], how: Reshape) -> (Vec<Step>, f64) {
    let mut shifted_mm: f64 = 0.0;
    let mut out = Vec::with_capacity(steps.len());
    match how {
        Reshape::Slow(most_mm_s) => out.extend(steps.iter().map(|step| slowed(step, most_mm_s))),
        Reshape::Short => out.extend(steps.iter().map(|s| {
            let command_bytes = s.command_bytes - s.spare_bytes.min(s.command_bytes);
            Step {
                raw_bytes: command_bytes,
                command_bytes,
                spare_bytes: 0,
                ..*s
            }
        })),
        Reshape::Merge(tolerance_mm) => {
            shifted_mm = grow(steps, &mut out, |chords| straight(chords, tolerance_mm));
        }
        Reshape::Arcs {
            within_mm,
            chord_mm,
        } => {
            shifted_mm = grow(steps, &mut out, |chords| arc(chords, within_mm));
            shifted_mm += out
                .iter()
                .map(|step| sagitta_mm(step, chord_mm))
                .fold(0.0, f64::max);
        }
    }
    let mut end_byte = 0;
    for step in &mut out {
        end_byte += u64::from(step.raw_bytes);
        step.end_byte = end_byte;
    }
    (out, shifted_mm)
}

fn slowed(step: &Step, most_mm_s: f64) -> Step {
    match step.act {
        Act::Move(m) if m.e_mm > 0.0 => Step {
            act: Act::Move(Move {
                feed_mm_s: m.feed_mm_s.min(most_mm_s),
                ..m
            }),
            ..*step
        },
        _ => *step,
    }
}

/// The highest feed of a printing move, mm/s.
pub fn fastest_mm_s(steps: &[Step]) -> f64 {
    let feed = |s: &Step| match s.act {
        Act::Move(m) if m.e_mm > 0.0 => m.feed_mm_s,
        _ => 0.0,
    };
    steps.iter().map(feed).fold(0.0, f64::max)
}

/// How far the middle of a chord of an arc's lies from it, mm: r - sqrt(r² - (c/2)²).
fn sagitta_mm(step: &Step, chord_mm: f64) -> f64 {
    match step.act {
        Act::Move(Move {
            circle: Some(circle),
            from_mm,
            ..
        }) => {
            let [u, v] = circle.plane;
            let (dx, dy) = (
                from_mm[u] - circle.centre_mm[0],
                from_mm[v] - circle.centre_mm[1],
            );
            let radius = dx.hypot(dy);
            let half = (chord_mm / 2.0).min(radius);
            radius - (radius * radius - half * half).sqrt()
        }
        _ => 0.0,
    }
}

/// One move for several, and how far the path moves, mm; `None` if they can't be one.
type Joined = Option<(Option<Circle>, f64)>;

/// Joins runs of chords as far as `join` allows; returns the largest shift, mm.
fn grow(steps: &[Step], out: &mut Vec<Step>, join: impl Fn(&[Move]) -> Joined) -> f64 {
    let mut shifted_mm: f64 = 0.0;
    let mut at = 0;
    let mut chords: Vec<Move> = Vec::new();
    while at < steps.len() {
        chords.clear();
        let mut best: Option<(usize, Option<Circle>, f64)> = None;
        for step in &steps[at..] {
            let Some(chord) = chord(step) else { break };
            let first = chords.first().copied().unwrap_or(chord);
            if chords.len() >= CHORDS_MAX || !alike(&steps[at], step, &first, &chord) {
                break;
            }
            chords.push(chord);
            match join(&chords) {
                Some((circle, shift_mm)) => best = Some((chords.len(), circle, shift_mm)),
                // An arc may need some more chords to begin with.
                None if chords.len() > ARC_CHORDS_MIN => break,
                None => {}
            }
        }
        match best {
            Some((count, circle, shift_mm)) if count > 1 => {
                shifted_mm = shifted_mm.max(shift_mm);
                let last = &steps[at + count - 1];
                let e_mm = chords[..count].iter().map(|c| c.e_mm).sum();
                let joined = Move {
                    from_mm: chords[0].from_mm,
                    e_mm,
                    circle,
                    ..chords[count - 1]
                };
                let longer = if circle.is_some() { ARC_BYTES } else { 0 };
                out.push(Step {
                    act: Act::Move(joined),
                    raw_bytes: last.raw_bytes + longer,
                    command_bytes: last.command_bytes + longer,
                    ..*last
                });
                at += count;
            }
            _ => {
                out.push(steps[at]);
                at += 1;
            }
        }
    }
    shifted_mm
}

/// The step's move, if it is a printed straight one.
fn chord(step: &Step) -> Option<Move> {
    match step.act {
        Act::Move(m) if m.circle.is_none() && m.e_mm > 0.0 && length_mm(&m) > 0.0 => Some(m),
        _ => None,
    }
}

fn length_mm(m: &Move) -> f64 {
    (0..3)
        .map(|k| (m.to_mm[k] - m.from_mm[k]).powi(2))
        .sum::<f64>()
        .sqrt()
}

/// Whether two chords may be part of one move: same layer, speed and bead.
fn alike(first_step: &Step, step: &Step, first: &Move, chord: &Move) -> bool {
    let bead = |m: &Move| m.e_mm / length_mm(m);
    first_step.layer == step.layer
        && first.feed_mm_s == chord.feed_mm_s
        && (bead(chord) / bead(first) - 1.0).abs() <= BEAD_SLACK
}

fn xyz(point: &[f64; 4]) -> [f64; 3] {
    [point[0], point[1], point[2]]
}

/// Distance of a point from a straight piece, mm.
fn distance_mm(p: [f64; 3], a: [f64; 3], b: [f64; 3]) -> f64 {
    let along: [f64; 3] = std::array::from_fn(|k| b[k] - a[k]);
    let off: [f64; 3] = std::array::from_fn(|k| p[k] - a[k]);
    let dot = |u: [f64; 3], v: [f64; 3]| u[0] * v[0] + u[1] * v[1] + u[2] * v[2];
    let long = dot(along, along);
    let t = if long > 0.0 {
        (dot(off, along) / long).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let d: [f64; 3] = std::array::from_fn(|k| off[k] - t * along[k]);
    dot(d, d).sqrt()
}

/// One straight move. The path and its chord run between the same ends, so that the farthest
/// corner bounds the distance both ways (Hausdorff).
fn straight(chords: &[Move], tolerance_mm: f64) -> Joined {
    let (a, b) = (
        xyz(&chords[0].from_mm),
        xyz(&chords[chords.len() - 1].to_mm),
    );
    let mut farthest_mm: f64 = 0.0;
    for chord in &chords[..chords.len() - 1] {
        farthest_mm = farthest_mm.max(distance_mm(xyz(&chord.to_mm), a, b));
        if farthest_mm > tolerance_mm {
            return None;
        }
    }
    Some((None, farthest_mm))
}

/// One arc in the plane of the layer, through the first, middle and last corner; all corners and
/// all chords' middles lie within the tolerance of it, and it turns one way, by less than a full
/// circle.
fn arc(chords: &[Move], tolerance_mm: f64) -> Joined {
    let n = chords.len();
    if n < ARC_CHORDS_MIN
        || chords
            .iter()
            .any(|c| (c.to_mm[2] - chords[0].from_mm[2]).abs() > 1e-9)
    {
        return None;
    }
    let corner = |k: usize| {
        if k == 0 {
            &chords[0].from_mm
        } else {
            &chords[k - 1].to_mm
        }
    };
    let (a, b, c) = (corner(0), corner(n / 2), corner(n));
    let (bx, by) = (b[0] - a[0], b[1] - a[1]);
    let (cx, cy) = (c[0] - a[0], c[1] - a[1]);
    let twice = 2.0 * (bx * cy - by * cx);
    if twice.abs() < 1e-9 {
        return None;
    }
    let (b2, c2) = (bx * bx + by * by, cx * cx + cy * cy);
    let centre = [
        a[0] + (cy * b2 - by * c2) / twice,
        a[1] + (bx * c2 - cx * b2) / twice,
    ];
    let radius = (a[0] - centre[0]).hypot(a[1] - centre[1]);
    if !radius.is_finite() || radius > 1e4 {
        return None;
    }
    let mut farthest_mm: f64 = 0.0;
    let mut turned = 0.0;
    for k in 0..n {
        let (p, q) = (corner(k), corner(k + 1));
        let middle = [(p[0] + q[0]) / 2.0, (p[1] + q[1]) / 2.0];
        for at in [[q[0], q[1]], middle] {
            farthest_mm =
                farthest_mm.max(((at[0] - centre[0]).hypot(at[1] - centre[1]) - radius).abs());
        }
        if farthest_mm > tolerance_mm {
            return None;
        }
        let (u, v) = (
            [p[0] - centre[0], p[1] - centre[1]],
            [q[0] - centre[0], q[1] - centre[1]],
        );
        let turn = (u[0] * v[1] - u[1] * v[0]).atan2(u[0] * v[0] + u[1] * v[1]);
        if turn == 0.0 || (turned != 0.0 && (turn > 0.0) != (turned > 0.0)) {
            return None;
        }
        turned += turn;
    }
    let most = std::f64::consts::TAU * 0.97;
    (turned.abs() < most).then(|| {
        let circle = Circle {
            plane: [0, 1],
            centre_mm: centre,
            clockwise: turned < 0.0,
            full: false,
        };
        (Some(circle), farthest_mm)
    })
}
