//! The parts on a plate, found by what touches seen from above.

use std::collections::BTreeMap;

use super::moves::{Move, Outline};

/// Side of the squares in which places are gathered, mm: places in neighbouring squares touch.
const SQUARE_MM: f64 = 1.5;
/// Squares that are kept, some 1.1 m² of them; with more their sides are doubled.
const SQUARES_MAX: usize = 1 << 19;
/// Pieces that long moves may be cut into, all together; with more the sides are doubled: some seconds of work.
const PIECES_MAX: u64 = 1 << 26;
/// Of each move so many pieces do not count.
const PIECES_FREE: u32 = 128;
/// Piles that are told apart; with more the sides are doubled.
const PILES_MAX: usize = 1000;
/// What is lower than this share of the tallest part is no part: a primer line, a skirt.
const LOW_SHARE: f64 = 0.1;

/// What stands in a square.
#[derive(Clone, Copy, Debug)]
struct Pile {
    outline: Outline,
    top_mm: f64,
}

/// Gathers what a job prints.
#[derive(Clone, Debug, Default)]
pub struct Survey {
    squares: BTreeMap<(i32, i32), Pile>,
    whole: Option<Outline>,
    /// How often the sides of the squares were doubled.
    doubled: i32,
    /// Pieces that long moves were cut into since then.
    pieces: u64,
}

/// What a plate holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Plate {
    /// The parts, by the x of their middles.
    pub parts: Vec<Outline>,
    /// The greatest z of each part, mm.
    pub tops_mm: Vec<f64>,
    /// All that is printed.
    pub whole: Outline,
    /// Whether something low stands apart from the parts.
    pub low_ones: bool,
    /// What stands closer together than this counts as one part, where that is more than usual, mm: the plate was
    /// too large, or had too many pieces, to be looked at more closely.
    pub coarse_mm: Option<f64>,
}

impl Plate {
    /// Where bumps lie that no part is named for: on the only part, if something low stands apart from it; `None`:
    /// anywhere on the plate.
    pub fn only(&self) -> Option<Outline> {
        let lone = self.low_ones && self.parts.len() == 1;
        lone.then(|| self.parts[0])
    }
}

impl Survey {
    /// Takes a move.
    pub fn push(&mut self, step: &Move) {
        if !step.extrudes() {
            return;
        }
        let side_mm = self.side_mm();
        let pieces = (step.plane_mm() / (side_mm / 2.0)).ceil().clamp(1.0, 1e5) as u32;
        // What lies in one square is put there at once.
        let mut last: Option<((i32, i32), Pile)> = None;
        for piece in 0..=pieces {
            let f = f64::from(piece) / f64::from(pieces);
            let at = [0, 1, 2].map(|k| step.from_mm[k] + f * (step.to_mm[k] - step.from_mm[k]));
            let [x, y] = [0, 1].map(|k| (at[k] / side_mm).floor() as i32);
            let own = Pile {
                outline: Outline::of(at),
                top_mm: at[2],
            };
            last = Some(match last {
                Some((square, pile)) if square == (x, y) => (square, pile.joined(own)),
                Some((square, pile)) => {
                    self.put(square, pile);
                    ((x, y), own)
                }
                None => ((x, y), own),
            });
        }
        if let Some((square, pile)) = last {
            self.put(square, pile);
        }
        let ends = Outline::of(step.from_mm).with(&Outline::of(step.to_mm));
        self.whole = Some(self.whole.map_or(ends, |w| w.with(&ends)));
        self.pieces += u64::from(pieces.saturating_sub(PIECES_FREE));
        if self.squares.len() > SQUARES_MAX || self.pieces > PIECES_MAX {
            self.coarsen();
        }
    }

    fn put(&mut self, square: (i32, i32), pile: Pile) {
        let there = self.squares.entry(square).or_insert(pile);
        *there = there.joined(pile);
    }

    fn side_mm(&self) -> f64 {
        SQUARE_MM * 2f64.powi(self.doubled)
    }

    /// Doubles the sides of the squares: four become one.
    #[cold]
    fn coarsen(&mut self) {
        self.doubled += 1;
        self.pieces = 0;
        for ((x, y), pile) in std::mem::take(&mut self.squares) {
            let square = (x.div_euclid(2), y.div_euclid(2));
            let joined = self.squares.get(&square).map_or(pile, |p| p.joined(pile));
            self.squares.insert(square, joined);
        }
    }

    /// The plate; `None` where nothing is printed.
    pub fn plate(mut self) -> Option<Plate> {
        let mut touching = self.touching();
        while touching.len() > PILES_MAX {
            self.coarsen();
            touching = self.touching();
        }
        let tallest = touching.iter().map(|p| p.top_mm).fold(0.0, f64::max);
        let is_part = |p: &&Pile| p.top_mm >= LOW_SHARE * tallest;
        // A ring within a ring, or a part whose halves don't touch, is one part.
        let mut parts: Vec<Pile> = Vec::new();
        for pile in touching.iter().filter(is_part) {
            let mut own = *pile;
            while let Some(met) = parts.iter().position(|p| p.outline.meets(&own.outline)) {
                own = own.joined(parts.swap_remove(met));
            }
            parts.push(own);
        }
        let middle = |p: &Pile| p.outline.middle_mm()[0];
        parts.sort_by(|a, b| middle(a).total_cmp(&middle(b)));
        let apart = |p: &Pile| !parts.iter().any(|part| part.outline.meets(&p.outline));
        Some(Plate {
            low_ones: touching.iter().any(apart),
            tops_mm: parts.iter().map(|p| p.top_mm).collect(),
            parts: parts.iter().map(|p| p.outline).collect(),
            whole: self.whole?,
            coarse_mm: (self.doubled > 0).then(|| self.side_mm()),
        })
    }

    /// Piles of squares that touch.
    fn touching(&self) -> Vec<Pile> {
        let mut left = self.squares.clone();
        let mut piles = Vec::new();
        while let Some((start, mut pile)) = left.pop_first() {
            let mut open = vec![start];
            while let Some((x, y)) = open.pop() {
                for next in (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| (x + dx, y + dy))) {
                    if let Some(other) = left.remove(&next) {
                        pile = pile.joined(other);
                        open.push(next);
                    }
                }
            }
            piles.push(pile);
        }
        piles
    }
}

impl Pile {
    fn joined(self, other: Pile) -> Pile {
        Pile {
            outline: self.outline.with(&other.outline),
            top_mm: self.top_mm.max(other.top_mm),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(from: [f64; 3], to: [f64; 3]) -> Move {
        Move {
            start_s: 0.0,
            end_s: 1.0,
            from_mm: from,
            to_mm: to,
            e_mm: 1.0,
            line: 1,
            layer: 0,
            ideal_s: 1.0,
        }
    }

    #[test]
    fn two_parts_and_a_primer_line() {
        let mut survey = Survey::default();
        for z in [0.2, 20.0] {
            for x in [50.0, 10.0] {
                survey.push(&line([x, 0.0, z], [x + 8.0, 0.0, z]));
                survey.push(&line([x + 8.0, 0.0, z], [x + 8.0, 9.0, z]));
            }
        }
        survey.push(&line([0.0, -20.0, 0.2], [90.0, -20.0, 0.2]));
        let plate = survey.plate().unwrap();
        let middles: Vec<[f64; 2]> = plate.parts.iter().map(Outline::middle_mm).collect();
        assert_eq!(middles, [[14.0, 4.5], [54.0, 4.5]]);
        assert_eq!(plate.tops_mm, [20.0, 20.0]);
        assert!(plate.low_ones && plate.coarse_mm.is_none());
        assert_eq!(plate.whole.low_mm, [0.0, -20.0]);
    }

    /// Lines of kilometres, or crumbs all over: larger squares, few of them.
    #[test]
    fn a_plate_of_any_size_is_surveyed_in_bounded_memory() {
        let far = |k: u32| f64::from(k * 7919 % 2001) * 1e3 - 1e6;
        let mut survey = Survey::default();
        for k in 0..3000 {
            survey.push(&line(
                [far(k), far(k + 7), 0.2],
                [far(k + 1), far(k + 8), 0.2],
            ));
            assert!(survey.squares.len() <= SQUARES_MAX);
        }
        let plate = survey.plate().unwrap();
        assert!(plate.coarse_mm.is_some_and(|mm| mm > 100.0) && plate.parts.len() == 1);
        let mut survey = Survey::default();
        for k in 0..90_000 {
            let at = [f64::from(k % 300) * 5.0, f64::from(k / 300) * 5.0, 0.2];
            survey.push(&line(at, [at[0] + 1.0, at[1], 0.2]));
        }
        let plate = survey.plate().unwrap();
        assert!(plate.coarse_mm.is_some() && plate.parts.len() <= PILES_MAX);
    }
}
