//! Beads, and the cells under them.

use std::ops::Range;

use crate::motion::extremes::{greater, lesser};

use super::cells::SIDE;

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

/// A side of a bead: where it begins, and between which rows it runs.
type Side = ([f64; 2], [f64; 2]);

/// What lies within a distance of the line between two points, all in cells.
struct Stripe {
    ends: [[f64; 2]; 2],
    radius: f64,
    /// How far aside it goes a row.
    slope: f64,
    /// Its two sides. None of a stripe along the rows.
    sides: Option<[Side; 2]>,
}

impl Stripe {
    fn new([a, b]: [[f64; 2]; 2], radius: f64) -> Self {
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let long = (dx * dx + dy * dy).sqrt();
        let aside = if long > 0.0 {
            [-dy / long * radius, dx / long * radius]
        } else {
            [0.0; 2]
        };
        let sides = [1.0, -1.0].map(|sign| {
            let from = [a[0] + sign * aside[0], a[1] + sign * aside[1]];
            let ends = [from[1], from[1] + dy];
            (from, [ends[0].min(ends[1]), ends[0].max(ends[1])])
        });
        Stripe {
            ends: [a, b],
            radius,
            slope: dx / dy,
            sides: (dy != 0.0).then_some(sides),
        }
    }

    /// The rows that it may cover, the last excluded.
    fn rows(&self) -> Range<usize> {
        let [a, b] = self.ends;
        let (low, high) = (a[1].min(b[1]) - self.radius, a[1].max(b[1]) + self.radius);
        first_cell(low)..end_cell(high)
    }

    /// Where a row crosses a side.
    #[inline]
    fn cross(&self, (from, _): &Side, y: f64) -> f64 {
        from[0] + (y - from[1]) * self.slope
    }

    /// Whether it has nothing but its two sides on a row between its ends. A row between two such rows is one too.
    fn is_middle(&self, row: usize) -> bool {
        let (y, [a, b]) = (row as f64 + 0.5, self.ends);
        let clear = |end: [f64; 2]| (y - end[1]) * (y - end[1]) > self.radius * self.radius;
        let runs = |(_, [top, bottom]): &Side| y >= *top && y <= *bottom;
        y > a[1].min(b[1])
            && y < a[1].max(b[1])
            && clear(a)
            && clear(b)
            && self.sides.iter().all(|sides| sides.iter().all(runs))
    }

    /// The rows on which it has nothing but its two sides.
    fn middle(&self, rows: &Range<usize>) -> Range<usize> {
        let Some(sides) = &self.sides else {
            return rows.start..rows.start;
        };
        let [a, b] = self.ends;
        let (low, high) = (a[1].min(b[1]) + self.radius, a[1].max(b[1]) - self.radius);
        let low = sides.iter().fold(low, |low, (_, [top, _])| low.max(*top));
        let high = sides
            .iter()
            .fold(high, |high, (_, [_, bottom])| high.min(*bottom));
        // One more on either side, where rounding decides.
        let (mut first, mut end) = (first_cell(low - 1.0), end_cell(high + 1.0));
        (first, end) = (first.max(rows.start), end.min(rows.end));
        while first < end && !self.is_middle(first) {
            first += 1;
        }
        while first < end && !self.is_middle(end - 1) {
            end -= 1;
        }
        if first < end {
            first..end
        } else {
            rows.start..rows.start
        }
    }

    /// The sides on the left and on the right.
    fn ordered(&self) -> Option<[Side; 2]> {
        let [one, other] = self.sides?;
        let y = self.ends[0][1];
        // They run side by side, a bead apart.
        let crossed = self.cross(&one, y) > self.cross(&other, y);
        Some(if crossed { [other, one] } else { [one, other] })
    }

    /// The columns that it covers of a row of the middle. Those of a row between two lie between theirs.
    #[inline]
    fn between(&self, [left, right]: &[Side; 2], row: usize) -> [usize; 2] {
        let y = row as f64 + 0.5;
        [
            first_cell(self.cross(left, y)),
            end_cell(self.cross(right, y)),
        ]
    }

    /// The columns that it covers of any row: what has round ends is convex, so that they are one span.
    fn columns(&self, row: usize) -> Option<[usize; 2]> {
        let y = row as f64 + 0.5;
        let (mut left, mut right) = (f64::MAX, f64::MIN);
        let mut widen = |x: f64| {
            left = lesser(left, x);
            right = greater(right, x);
        };
        for end in self.ends {
            let reach = self.radius * self.radius - (y - end[1]) * (y - end[1]);
            if reach >= 0.0 {
                let reach = reach.sqrt();
                widen(end[0] - reach);
                widen(end[0] + reach);
            }
        }
        for side in self.sides.iter().flatten() {
            let [top, bottom] = side.1;
            if y >= top && y <= bottom {
                widen(self.cross(side, y));
            }
        }
        (left <= right).then(|| [first_cell(left), end_cell(right)])
    }
}

/// The cells whose middles lie within `radius` of the line between two points, all in cells: some rows, and the columns that
/// are covered of each, from the first to the one behind the last; or, for rows that are all alike, of the first. Rows that
/// are not alike lie in one row of tiles.
#[inline]
pub fn each_span(
    ends: [[f64; 2]; 2],
    radius: f64,
    mut each: impl FnMut(Range<usize>, &[[usize; 2]]),
) {
    let stripe = Stripe::new(ends, radius);
    let rows = stripe.rows();
    let middle = stripe.middle(&rows);
    let sides = stripe.ordered();
    let mut spans = [[0; 2]; SIDE];
    for part in [
        rows.start..middle.start,
        middle.clone(),
        middle.end..rows.end,
    ] {
        if part.is_empty() {
            continue;
        }
        let sides = sides.as_ref().filter(|_| part == middle);
        let alike = |rows: &Range<usize>| {
            let [first, last] =
                [rows.start, rows.end - 1].map(|row| Some(stripe.between(sides?, row)));
            first.filter(|_| first == last)
        };
        if let Some(columns) = alike(&part) {
            each(part, &[columns]);
            continue;
        }
        let mut next = part.start;
        while next < part.end {
            let rows = next..(next / SIDE * SIDE + SIDE).min(part.end);
            next = rows.end;
            if let Some(columns) = alike(&rows) {
                each(rows, &[columns]);
                continue;
            }
            let spans = &mut spans[..rows.len()];
            for (span, row) in spans.iter_mut().zip(rows.clone()) {
                *span = match sides {
                    Some(sides) => stripe.between(sides, row),
                    None => stripe.columns(row).unwrap_or_default(),
                };
            }
            each(rows, spans);
        }
    }
}

/// The first cell whose middle lies at `from` or beyond. Cells are counted in 32 bits, which takes fewer instructions.
#[inline]
pub fn first_cell(from: f64) -> usize {
    let at = (from - 0.5).max(0.0);
    let whole = at as u32;
    whole as usize + usize::from(f64::from(whole) < at)
}

/// The first cell whose middle lies beyond `to`.
#[inline]
pub fn end_cell(to: f64) -> usize {
    let at = to - 0.5;
    if at < 0.0 { 0 } else { at as u32 as usize + 1 }
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
