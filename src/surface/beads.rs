//! Beads, and the cells under them.

use crate::motion::extremes::{greater, lesser};

/// A piece of bead, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bead {
    /// Start, x and y.
    pub from_mm: [f64; 2],
    /// End, x and y.
    pub to_mm: [f64; 2],
    /// Width.
    pub width_mm: f64,
}

/// Beads are drawn this much wider on each side, as a share of their width: gaps up to half a
/// bead let nothing in.
const CLOSING: f64 = 0.25;
/// How far from its middle a bead of this width lets nothing in, mm.
pub fn reach(width_mm: f64) -> f64 {
    width_mm * (0.5 + CLOSING)
}

/// The cells whose middles lie within `radius` of the line between two points, all in cells, row
/// by row: what has round ends is convex, so each row is one span, from the first cell to the one
/// behind the last.
pub fn each_row([a, b]: [[f64; 2]; 2], radius: f64, mut each: impl FnMut(usize, usize, usize)) {
    let (low, high) = (a[1].min(b[1]) - radius, a[1].max(b[1]) + radius);
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let long = (dx * dx + dy * dy).sqrt();
    // The two sides: where each begins, between which rows it runs, and how far aside it goes a row.
    let aside = if long > 0.0 {
        [-dy / long * radius, dx / long * radius]
    } else {
        [0.0; 2]
    };
    let slope = dx / dy;
    let sides = [1.0, -1.0].map(|sign| {
        let from = [a[0] + sign * aside[0], a[1] + sign * aside[1]];
        let ends = [from[1], from[1] + dy];
        (from, ends[0].min(ends[1]), ends[0].max(ends[1]))
    });
    // The span of the rows between the ends, where the sides run straight along y.
    let mut between = None;
    for row in first_cell(low)..end_cell(high) {
        let y = row as f64 + 0.5;
        let is_between = slope == 0.0
            && y > a[1].min(b[1])
            && y < a[1].max(b[1])
            && [a, b]
                .iter()
                .all(|e| (y - e[1]) * (y - e[1]) > radius * radius);
        if is_between && let Some((from, to)) = between {
            each(row, from, to);
            continue;
        }
        let (mut left, mut right) = (f64::MAX, f64::MIN);
        let mut widen = |x: f64| {
            left = lesser(left, x);
            right = greater(right, x);
        };
        for end in [a, b] {
            let reach = radius * radius - (y - end[1]) * (y - end[1]);
            if reach >= 0.0 {
                let reach = reach.sqrt();
                widen(end[0] - reach);
                widen(end[0] + reach);
            }
        }
        if dy != 0.0 {
            for (from, top, bottom) in sides {
                // Where the row crosses this side of the bead.
                if y >= top && y <= bottom {
                    widen(from[0] + (y - from[1]) * slope);
                }
            }
        }
        if left <= right {
            let (from, to) = (first_cell(left), end_cell(right));
            if is_between {
                between = Some((from, to));
            }
            each(row, from, to);
        }
    }
}

/// The first cell whose middle lies at `from` or beyond.
#[inline]
pub fn first_cell(from: f64) -> usize {
    let at = (from - 0.5).max(0.0);
    let whole = at as usize;
    whole + usize::from((whole as f64) < at)
}

/// The first cell whose middle lies beyond `to`.
#[inline]
pub fn end_cell(to: f64) -> usize {
    let at = to - 0.5;
    if at < 0.0 { 0 } else { at as usize + 1 }
}

/// How many of these beads, from the first on, are as good as one: end to end, equally wide, and no joint
/// farther from the straight line than a share of a cell.
pub fn straight(beads: &[Bead], cell_mm: f64) -> usize {
    let (from, within_mm) = (beads[0].from_mm, STRAIGHT_CELLS * cell_mm);
    let mut count = 1;
    while count < beads.len() {
        let (last, next) = (&beads[count - 1], &beads[count]);
        if next.from_mm != last.to_mm
            || (next.width_mm - last.width_mm).abs() > 0.02 * last.width_mm
        {
            break;
        }
        let along = [next.to_mm[0] - from[0], next.to_mm[1] - from[1]];
        let long_sq = along[0] * along[0] + along[1] * along[1];
        let near = |p: &[f64; 2]| {
            let off = [p[0] - from[0], p[1] - from[1]];
            let ahead = off[0] * along[0] + off[1] * along[1];
            let aside = off[0] * along[1] - off[1] * along[0];
            ahead >= 0.0 && ahead <= long_sq && aside * aside <= within_mm * within_mm * long_sq
        };
        if !beads[..count].iter().all(|b| near(&b.to_mm)) {
            break;
        }
        count += 1;
    }
    count
}

/// Beads drawn as one at most, and how straight they must be, cells.
pub const STRAIGHT_MAX: usize = 4;
const STRAIGHT_CELLS: f64 = 0.15;
