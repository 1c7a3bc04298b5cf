//! Which moves one may stand for, by the shape of the path alone. It is worked out once for a stretch, whatever prices
//! and feeds become of it.

use std::ops::Range;

use crate::job::state::{Circle, Move};

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
/// Where an arc of fewer moves ends, another is looked for from the next move on, not only from its end.
const SURE_MOVES: usize = 8;

/// For each move of a stretch: what may begin with it.
#[derive(Clone, Debug, Default)]
pub struct Reach {
    starts: Vec<Start>,
}

#[derive(Clone, Debug, Default)]
struct Start {
    /// One straight move may stand for those up to any before this one, if for more than one.
    straight_to: usize,
    /// Arcs, and behind which move they end, in that order.
    arcs: Vec<(usize, Circle)>,
}

impl Reach {
    /// Looks at these moves. `arc_chord_mm`: arcs may be used, and the board cuts them into chords of this length.
    pub fn of(moves: &[Move], within_mm: f64, straights: bool, arc_chord_mm: Option<f64>) -> Self {
        let alike = match straights || arc_chord_mm.is_some() {
            true => alike_to(moves, within_mm),
            false => (1..=moves.len()).collect(),
        };
        let starts = alike.iter().enumerate().map(|(from, to)| Start {
            straight_to: match straights {
                true => straight_to(moves, from, *to, within_mm),
                false => from + 1,
            },
            arcs: Vec::new(),
        });
        let mut reach = Reach {
            starts: starts.collect(),
        };
        if let Some(chord_mm) = arc_chord_mm {
            let fits = |from: usize, to: usize| {
                let moves = moves.get(from..to).filter(|_| to <= alike[from])?;
                arcs::printable(moves, within_mm, chord_mm).map(|(circle, _)| circle)
            };
            reach.find_arcs(&fits);
        }
        reach
    }

    /// Of how many moves it is.
    pub fn move_count(&self) -> usize {
        self.starts.len()
    }

    /// Whether one straight move may stand for these.
    pub fn is_straight(&self, moves: &Range<usize>) -> bool {
        moves.len() == 1 || moves.end <= self.starts[moves.start].straight_to
    }

    /// Behind which move those end that one straight move may stand for; the move itself where there are no others.
    pub fn straight_to(&self, from: usize) -> usize {
        self.starts[from].straight_to
    }

    /// The arcs that may begin with a move and end before `limit`, and where they end, in that order.
    pub fn arcs(&self, from: usize, limit: usize) -> impl Iterator<Item = (usize, Circle)> {
        let arcs = self.starts[from].arcs.iter().copied();
        arcs.take_while(move |(to, _)| *to <= limit)
    }

    /// Arcs one behind the other, each as long as it can be, and its halves and quarters, down to a few moves.
    fn find_arcs(&mut self, fits: &impl Fn(usize, usize) -> Option<Circle>) {
        let mut from = 0;
        while from + arcs::MOVES_MIN <= self.starts.len() {
            let to = longest(from, self.starts.len(), fits).unwrap_or(from);
            self.halve(from, to, fits);
            from = if to - from < SURE_MOVES { from + 1 } else { to };
        }
        for start in &mut self.starts {
            start.arcs.sort_by_key(|(to, _)| *to);
        }
    }

    fn halve(&mut self, from: usize, to: usize, fits: &impl Fn(usize, usize) -> Option<Circle>) {
        let start = &mut self.starts[from];
        if to <= start.straight_to {
            return;
        }
        let Some(circle) = fits(from, to) else {
            return;
        };
        start.arcs.push((to, circle));
        if to - from >= 2 * SURE_MOVES {
            let middle = from.midpoint(to);
            self.halve(from, middle, fits);
            self.halve(middle, to, fits);
        }
    }
}

/// Behind which move the longest arc from here ends, or nearly so: by doubling, then by halving what is left.
fn longest(
    from: usize,
    end: usize,
    fits: &impl Fn(usize, usize) -> Option<Circle>,
) -> Option<usize> {
    let most = JOINED_MAX.min(end - from);
    let (mut good, mut bad) = (0, most + 1);
    let mut count = arcs::MOVES_MIN;
    while count <= most {
        if fits(from, from + count).is_some() {
            good = count;
        } else if good > 0 || count > SURE_MOVES {
            bad = count;
            break;
        }
        count = if count == most {
            most + 1
        } else {
            most.min(2 * count)
        };
    }
    while good > 0 && bad - good > 1 {
        let middle = good.midpoint(bad);
        if fits(from, from + middle).is_some() {
            good = middle;
        } else {
            bad = middle;
        }
    }
    (good > 0).then_some(from + good)
}

/// For each move: behind which one those end that print like it, without a corner.
fn alike_to(moves: &[Move], within_mm: f64) -> Vec<usize> {
    let flows: Vec<Flow> = moves.iter().map(Flow::of).collect();
    let corner = |k: usize| turns(&moves[k - 1], &moves[k], within_mm);
    let corners: Vec<bool> = (0..moves.len()).map(|k| k > 0 && corner(k)).collect();
    let to = |from: usize| {
        let end = moves.len().min(from + JOINED_MAX);
        let mut flow = flows[from];
        let ends = |k: &usize| {
            flow = flow.with(&flows[*k]);
            !flow.is_any() || corners[*k]
        };
        match flows[from].is_any() {
            true => (from + 1..end).find(ends).unwrap_or(end),
            false => from + 1,
        }
    };
    (0..moves.len()).map(to).collect()
}

/// Behind which move, at most `end`, those end that one straight move may stand for.
fn straight_to(moves: &[Move], from: usize, end: usize, within_mm: f64) -> usize {
    let mut cone = Cone::of(&moves[from]);
    for to in from + 2..=end {
        let fits = match &mut cone {
            Some(cone) if moves[to - 1].from_mm[2] == moves[to - 1].to_mm[2] => {
                cone.passes(&moves[to - 2].to_mm, within_mm);
                cone.goes_on(&moves[to - 1]);
                cone.holds(&moves[to - 1].to_mm)
            }
            _ => {
                cone = None;
                straight(&moves[from..to], within_mm).is_some()
            }
        };
        if !fits {
            return to - 1;
        }
    }
    end
}

/// The directions in which a straight move may lead that stands for some in one plane: those of [`straight`], each
/// move and corner at a time.
struct Cone {
    from_mm: [f64; 2],
    /// All angles count from this one.
    base: f64,
    low: f64,
    high: f64,
}

impl Cone {
    fn of(first: &Move) -> Option<Self> {
        let flat = first.from_mm[2] == first.to_mm[2] && length_mm(first) > 0.0;
        let quarter = std::f64::consts::FRAC_PI_2;
        flat.then(|| Cone {
            from_mm: [first.from_mm[0], first.from_mm[1]],
            base: (first.to_mm[1] - first.from_mm[1]).atan2(first.to_mm[0] - first.from_mm[0]),
            low: -quarter,
            high: quarter,
        })
    }

    fn angle(&self, x: f64, y: f64) -> f64 {
        let off = y.atan2(x) - self.base;
        let full = std::f64::consts::TAU;
        off - full * (off / full).round()
    }

    fn narrow(&mut self, angle: f64, half: f64) {
        self.low = self.low.max(angle - half);
        self.high = self.high.min(angle + half);
    }

    /// A corner that is to lie within the tolerance.
    fn passes(&mut self, corner: &[f64; 4], within_mm: f64) {
        let (x, y) = (corner[0] - self.from_mm[0], corner[1] - self.from_mm[1]);
        let far_mm = x.hypot(y);
        if far_mm > within_mm {
            self.narrow(self.angle(x, y), (within_mm / far_mm).asin());
        }
    }

    /// A move that must not run back.
    fn goes_on(&mut self, m: &Move) {
        let (x, y) = (m.to_mm[0] - m.from_mm[0], m.to_mm[1] - m.from_mm[1]);
        self.narrow(self.angle(x, y), std::f64::consts::FRAC_PI_2);
    }

    /// Whether the move may end here.
    fn holds(&self, end: &[f64; 4]) -> bool {
        let (x, y) = (end[0] - self.from_mm[0], end[1] - self.from_mm[1]);
        (self.low..=self.high).contains(&self.angle(x, y)) && (x != 0.0 || y != 0.0)
    }
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
    (a != b).then_some(farthest_mm)
}

/// Filament for each millimetre that moves have in common, least and most.
#[derive(Clone, Copy, Debug)]
struct Flow {
    low: f64,
    high: f64,
}

impl Flow {
    fn of(m: &Move) -> Self {
        let length = length_mm(m);
        let half = FLOW_SHARE / 2.0;
        let low = (m.e_mm - FILAMENT_ROUNDING_MM) / (length + LENGTH_ROUNDING_MM) * (1.0 - half);
        let short = length - LENGTH_ROUNDING_MM;
        let high = if short > 0.0 {
            (m.e_mm + FILAMENT_ROUNDING_MM) / short * (1.0 + half)
        } else {
            f64::INFINITY
        };
        Flow {
            low: low.max(0.0),
            high,
        }
    }

    /// What they have in common.
    fn with(self, other: &Flow) -> Flow {
        Flow {
            low: self.low.max(other.low),
            high: self.high.min(other.high),
        }
    }

    /// Whether there is any.
    fn is_any(self) -> bool {
        self.low <= self.high
    }
}

/// Whether the path turns sharply from one move to the next.
fn turns(before: &Move, after: &Move, within_mm: f64) -> bool {
    let (a, b) = (length_mm(before), length_mm(after));
    let legs_mm = CORNER_LEGS * within_mm;
    dot(span(before), span(after)) < CORNER_COS * a * b && a > legs_mm && b > legs_mm
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn path(steps: &[(f64, f64)]) -> Vec<Move> {
        let mut at_mm = [0.0; 4];
        let step = |(x, y): &(f64, f64)| {
            let from_mm = at_mm;
            at_mm = [at_mm[0] + x, at_mm[1] + y, 0.0, 0.0];
            Move {
                from_mm,
                to_mm: at_mm,
                e_mm: 0.05 * x.hypot(*y),
                feed_mm_s: 50.0,
                circle: None,
            }
        };
        steps.iter().map(step).collect()
    }

    proptest! {
        /// Corner by corner it is as all corners at once.
        #[test]
        fn the_cone_is_the_test_of_all_corners(
            steps in prop::collection::vec((-0.02f64..0.3, -0.04f64..0.04), 2..40),
            turn in 0.0f64..6.2,
        ) {
            let (sin, cos) = turn.sin_cos();
            let steps: Vec<_> = steps.iter().map(|(x, y)| (x * cos - y * sin, x * sin + y * cos)).collect();
            let moves = path(&steps);
            for from in 0..moves.len() {
                let end = (from + 2..=moves.len()).find(|to| straight(&moves[from..*to], 0.02).is_none());
                let end = end.map_or(moves.len(), |to| to - 1);
                prop_assert_eq!(straight_to(&moves, from, moves.len(), 0.02), end);
            }
        }
    }

    /// A circle of a thousand chords, rounded to 0.001 mm, behind a straight line: arcs of as many moves as one may
    /// stand for, all with its radius, and none far into the line.
    #[test]
    fn arcs_follow_a_circle_as_far_as_they_may() {
        let round = |mm: f64| (1e3 * mm).round() / 1e3;
        let point = |k: usize| {
            let (sin, cos) = (k as f64 / 1000.0 * std::f64::consts::TAU).sin_cos();
            (round(20.0 * cos), round(20.0 * sin))
        };
        let mut steps = vec![(0.0, 0.5); 20];
        steps.extend((0..900).map(|k| {
            let (a, b) = (point(k), point(k + 1));
            (b.0 - a.0, b.1 - a.1)
        }));
        let reach = Reach::of(&path(&steps), 0.02, true, Some(1.0));
        let mut found = 0;
        for from in 0..steps.len() {
            for (to, circle) in reach.arcs(from, steps.len()) {
                found = found.max(to - from);
                let [x, y] = circle.centre_mm;
                assert!(
                    (x + 20.0).hypot(y - 10.0) < 0.4 || from < 20,
                    "{from} {to} {circle:?}"
                );
                assert!(!circle.clockwise && !circle.full);
            }
        }
        assert_eq!(found, JOINED_MAX);
    }
}
