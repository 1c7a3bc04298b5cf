//! Runs of chords become arcs.

use crate::job::state::{Circle, Move};

use super::space::{distance_mm, sagitta_mm, xyz};

/// Fewest moves that are worth an arc.
pub const MOVES_MIN: usize = 3;
/// Radii of arcs that are written, mm: below, chords of the board are coarse; above, the rounding of the
/// centre to 0.001 mm moves the path.
const RADIUS_MM: [f64; 2] = [0.5, 500.0];
/// An arc that rises less above the straight line between its ends is rounding, not an arc, mm.
const RISE_MIN_MM: f64 = 5e-3;
/// The largest part of a full circle that one arc may be.
const TURN_SHARE_MAX: f64 = 0.97;
/// Decimals of the centre's offsets: that of a coordinate.
const CENTRE_STEP_MM: f64 = 1e-3;

/// One arc in the plane of the layer for these moves: all corners and all middles of the moves lie within `within_mm`
/// of it, and it turns one way, by less than a full circle. Also tells how far the path moves, mm.
///
/// The circle goes through the first, middle and last corner.
fn arc(chords: &[Move], within_mm: f64) -> Option<(Circle, f64)> {
    let n = chords.len();
    let flat = |c: &Move| (c.to_mm[2] - chords[0].from_mm[2]).abs() <= 1e-9;
    if n < MOVES_MIN || !chords.iter().all(flat) {
        return None;
    }
    let (a, b, c) = (corner(chords, 0), corner(chords, n / 2), corner(chords, n));
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
    fitted(chords, centre, within_mm)
}

fn corner(chords: &[Move], k: usize) -> &[f64; 4] {
    match k {
        0 => &chords[0].from_mm,
        k => &chords[k - 1].to_mm,
    }
}

/// The arc about this centre, from the first corner on, if the moves lie on it.
fn fitted(chords: &[Move], centre: [f64; 2], within_mm: f64) -> Option<(Circle, f64)> {
    let a = corner(chords, 0);
    let radius = (a[0] - centre[0]).hypot(a[1] - centre[1]);
    if !radius.is_finite() || radius > 1e4 {
        return None;
    }
    let mut farthest_mm: f64 = 0.0;
    let mut turned = 0.0;
    for k in 0..chords.len() {
        let (p, q) = (corner(chords, k), corner(chords, k + 1));
        let middle = [(p[0] + q[0]) / 2.0, (p[1] + q[1]) / 2.0];
        for at in [[q[0], q[1]], middle] {
            let off_mm = (at[0] - centre[0]).hypot(at[1] - centre[1]) - radius;
            farthest_mm = farthest_mm.max(off_mm.abs());
        }
        if farthest_mm > within_mm {
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
    let circle = Circle {
        plane: [0, 1],
        centre_mm: centre,
        clockwise: turned < 0.0,
        full: false,
    };
    let turned = turned.abs();
    let rises = radius * (1.0 - (0.5 * turned).cos()) >= RISE_MIN_MM;
    let open = turned < std::f64::consts::TAU * TURN_SHARE_MAX;
    (rises && open).then_some((circle, farthest_mm))
}

/// The arc as it would be written and as the board would print it: its centre rounded, cut into chords of
/// `chord_mm`; `None` where that moves the path by more than `within_mm`. Also tells how far it does, mm.
pub fn printable(chords: &[Move], within_mm: f64, chord_mm: f64) -> Option<(Circle, f64)> {
    let (exact, _) = arc(chords, within_mm)?;
    let from = corner(chords, 0);
    let rounded = |k: usize| {
        let offset_mm = exact.centre_mm[k] - from[k];
        from[k] + (offset_mm / CENTRE_STEP_MM).round() * CENTRE_STEP_MM
    };
    let centre = [rounded(0), rounded(1)];
    let radius = (from[0] - centre[0]).hypot(from[1] - centre[1]);
    let sagitta_mm = sagitta_mm(radius, chord_mm);
    let fits = (RADIUS_MM[0]..=RADIUS_MM[1]).contains(&radius) && sagitta_mm < within_mm;
    let (circle, off_mm) = fitted(chords, centre, within_mm - sagitta_mm).filter(|_| fits)?;
    Some((circle, off_mm + sagitta_mm))
}

/// How far two paths between the same ends lie apart, mm: the corners of each from the other, and points
/// between them no farther apart than `step_mm` (Hausdorff, from below by at most half a step where both turn).
pub fn apart_mm(one: &[[f64; 3]], other: &[[f64; 3]], step_mm: f64) -> f64 {
    farthest_mm(other, one, step_mm, farthest_mm(one, other, step_mm, 0.0))
}

/// How far any point of `a` lies from `b`, but at least `most_mm`. A point is left as soon as it is seen not to be
/// farther than those before; the piece that was near the last one is looked at first.
fn farthest_mm(a: &[[f64; 3]], b: &[[f64; 3]], step_mm: f64, mut most_mm: f64) -> f64 {
    let count = b.len().saturating_sub(1);
    let mut near = 0;
    for piece in a.windows(2) {
        let long = distance_mm(piece[0], piece[1], piece[1]);
        let cuts = (long / step_mm).ceil().clamp(1.0, 1e4) as usize;
        for cut in 0..=cuts {
            let t = cut as f64 / cuts as f64;
            let p = std::array::from_fn(|k| piece[0][k] + t * (piece[1][k] - piece[0][k]));
            let mut least_mm = f64::INFINITY;
            for k in (near..count).chain(0..near) {
                let off_mm = distance_mm(p, b[k], b[k + 1]);
                if off_mm < least_mm {
                    (near, least_mm) = (k, off_mm);
                }
                if least_mm <= most_mm {
                    break;
                }
            }
            most_mm = most_mm.max(least_mm);
        }
    }
    most_mm
}

/// The corners of a path of moves.
pub fn corners(moves: &[Move]) -> Vec<[f64; 3]> {
    let first = moves.first().map(|m| xyz(&m.from_mm));
    let ends = moves.iter().map(|m| xyz(&m.to_mm));
    first.into_iter().chain(ends).collect()
}
