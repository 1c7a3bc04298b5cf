//! Lines: beads printed without a break, and which of them close a loop.

use std::collections::BTreeMap;

use super::grid::{Bead, Grid, Label, SOLID};
use super::islands::Islands;
use super::joined::Sets;
use super::layer::{Chain, Layer};
use super::left_out::Why;

/// A line is closed if its ends are this close together, in widths of its bead.
const CLOSE_WIDTHS: f64 = 1.5;
/// A loop is at least this long, widths of its bead.
const LOOP_WIDTHS: f64 = 4.0;
/// What a line goes around on its way has at least this share of the area of a circle as long: a line that goes
/// out and comes back beside itself has less.
const ROUND_SHARE: f64 = 0.1;
/// Open lines that are tried as pieces of one loop; a layer with more has none that are.
const PIECES_MAX: usize = 4000;

/// A line of a layer.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    pub chain: Chain,
    /// The island on which it lies.
    pub island: Label,
    /// Whether it is a loop, or a piece of one.
    pub closed: bool,
    /// Its length times its width, mm².
    pub area_mm2: f64,
    /// Why it is no part, where that is known.
    pub out: Option<Why>,
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dx, dy) = (a[0] - b[0], a[1] - b[1]);
    (dx * dx + dy * dy).sqrt()
}

/// Length of a bead, mm.
pub(super) fn length_mm(bead: &Bead) -> f64 {
    apart(bead.from_mm, bead.to_mm)
}

/// A layer's lines.
pub(super) fn lines(layer: &Layer, grid: &Grid, islands: &Islands) -> Vec<Line> {
    let point = |k: usize| layer.path[k].at_mm.map(f64::from);
    let mut lines: Vec<Line> = Vec::new();
    let mut pieces = Vec::new();
    for chain in layer.chains() {
        let (mut length, mut area_mm2) = (0.0, 0.0);
        for bead in layer.beads_of(&chain) {
            length += length_mm(&bead);
            area_mm2 += length_mm(&bead) * bead.width_mm;
        }
        let ends = chain.points.map(point);
        let width_mm = f64::from(layer.path[chain.points[1]].width_mm);
        let own = || {
            let points = &layer.path[chain.points[0]..=chain.points[1]];
            points.iter().map(|p| p.at_mm.map(f64::from))
        };
        let closed = length > LOOP_WIDTHS * width_mm
            && (apart(ends[0], ends[1]) <= CLOSE_WIDTHS * width_mm
                || comes_back(own(), width_mm)
                || comes_back(own().rev(), width_mm));
        if !closed {
            pieces.push((lines.len(), ends, width_mm));
        }
        lines.push(Line {
            chain,
            island: islands.at(grid, ends[0]).unwrap_or(0),
            closed,
            area_mm2,
            out: None,
        });
    }
    // What ends against plastic on all sides closes nothing that is seen.
    let mut seen = None;
    pieces.retain(|(_, ends, width_mm)| {
        let mut free = |at| grid.faces(at, *width_mm, &mut seen) != SOLID;
        free(ends[0]) && free(ends[1])
    });
    if (2..=PIECES_MAX).contains(&pieces.len()) {
        for line in rings(&pieces) {
            lines[line].closed = true;
        }
    }
    lines
}

/// Whether a line comes back to where it began around something, and goes on from there: a wall and, in one
/// go, what lies inside it.
fn comes_back(mut points: impl Iterator<Item = [f64; 2]>, width_mm: f64) -> bool {
    let Some(start) = points.next() else {
        return false;
    };
    let (mut before, mut length, mut twice_area) = (start, 0.0, 0.0);
    for at in points {
        length += apart(before, at);
        let [a, b] = [before, at].map(|p| [p[0] - start[0], p[1] - start[1]]);
        twice_area += a[0] * b[1] - a[1] * b[0];
        before = at;
        if length > LOOP_WIDTHS * width_mm && apart(start, at) <= CLOSE_WIDTHS * width_mm {
            let circle_mm2 = length * length / (4.0 * std::f64::consts::PI);
            if twice_area.abs() / 2.0 >= ROUND_SHARE * circle_mm2 {
                return true;
            }
        }
    }
    false
}

/// Those of some open lines that close a ring with others: what is left when lines with a free end are
/// taken away, again and again.
fn rings(pieces: &[(usize, [[f64; 2]; 2], f64)]) -> Vec<usize> {
    let widest_mm = pieces.iter().map(|p| p.2).fold(0.0, f64::max);
    let reach_mm = CLOSE_WIDTHS * widest_mm;
    // Ends that are one place: two of each line.
    let ends: Vec<[f64; 2]> = pieces.iter().flat_map(|p| p.1).collect();
    let square = |at: [f64; 2]| at.map(|v| (v / reach_mm).floor() as i64);
    let mut squares: BTreeMap<[i64; 2], Vec<u32>> = BTreeMap::new();
    let mut places = Sets::default();
    for (k, end) in ends.iter().enumerate() {
        places.node();
        let [x, y] = square(*end);
        let around = (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| [x + dx, y + dy]));
        for other in around.filter_map(|s| squares.get(&s)).flatten() {
            // The two ends of one short line are two places.
            if *other as usize / 2 != k / 2 && apart(ends[*other as usize], *end) <= reach_mm {
                places.join(k as u32, *other);
            }
        }
        squares.entry([x, y]).or_default().push(k as u32);
    }
    let of = |places: &mut Sets, k: usize| places.root(k as u32) as usize;
    let mut there: Vec<Vec<usize>> = vec![Vec::new(); ends.len()];
    for k in 0..ends.len() {
        there[of(&mut places, k)].push(k / 2);
    }
    let mut left: Vec<usize> = there.iter().map(Vec::len).collect();
    let mut gone = vec![false; pieces.len()];
    let mut free: Vec<usize> = (0..ends.len()).filter(|p| left[*p] == 1).collect();
    while let Some(place) = free.pop() {
        for line in std::mem::take(&mut there[place]) {
            if std::mem::replace(&mut gone[line], true) {
                continue;
            }
            for end in [2 * line, 2 * line + 1] {
                let at = of(&mut places, end);
                left[at] -= 1;
                if left[at] == 1 {
                    free.push(at);
                }
            }
        }
    }
    let kept = pieces.iter().zip(&gone).filter(|(_, gone)| !**gone);
    kept.map(|(p, _)| p.0).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wall_with_its_filling_is_told_from_a_field_of_lines() {
        let wall = [
            [0.0, 0.0],
            [20.0, 0.0],
            [20.0, 20.0],
            [0.0, 20.0],
            [0.0, 0.3],
            [9.0, 9.0],
        ];
        assert!(comes_back(wall.into_iter(), 0.45));
        assert!(!comes_back(wall.into_iter().rev(), 0.45));
        let field = [
            [0.0, 0.0],
            [20.0, 0.0],
            [20.0, 0.45],
            [0.0, 0.45],
            [0.0, 0.9],
            [20.0, 0.9],
        ];
        assert!(!comes_back(field.into_iter(), 0.45));
    }

    #[test]
    fn pieces_of_a_ring_are_told_from_loose_ends() {
        let line = |k, from, to| (k, [from, to], 0.45);
        let (a, b, c, d) = ([0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]);
        let ring = [
            line(0, a, b),
            line(1, [10.3, 0.3], c),
            line(2, d, c),
            line(3, d, a),
            line(4, a, [-5.0, 0.0]),
        ];
        assert_eq!(rings(&ring), [0, 1, 2, 3]);
        assert_eq!(rings(&ring[1..]), Vec::<usize>::new());
    }
}
