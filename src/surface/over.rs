//! Which free regions of a layer lie over which free regions of the layer below, so that one can see from one into
//! the other.

use std::collections::BTreeMap;
use std::ops::Range;

use super::cells::{Cells, Piece, SIDE};
use super::grid::{Grid, Label, OUTSIDE, SOLID};
use super::patterns::FREE;

/// The number of cells with room around them that it takes for a passage between two regions.
const CLEAR_MIN: u32 = 4;

/// Keeps account of which regions hang together.
pub trait Join {
    /// Whether a label of this layer and one of the layer below are known to hang together.
    fn joined(&mut self, own: Label, under: Label) -> bool;
    /// They hang together.
    fn join(&mut self, own: Label, under: Label);
    /// A number that is the same for all labels that are known to hang together; `below`: the label is one of the
    /// layer below. `u32::MAX` for a label of which nothing is known yet.
    fn set(&mut self, label: Label, below: bool) -> u32;
}

/// The passages from region to region: their clear cells are counted until there are enough.
struct Ways<'a, J> {
    counts: BTreeMap<(Label, Label), u32>,
    joins: &'a mut J,
    /// The last pair that was found to hang together. Neighbouring cells mostly ask about the same pair.
    last: Option<(Label, Label)>,
}

impl<J: Join> Ways<'_, J> {
    /// Whether these two labels are known to hang together.
    #[inline]
    fn joined(&mut self, pair: (Label, Label)) -> bool {
        if self.last == Some(pair) {
            return true;
        }
        let joined = self.joins.joined(pair.0, pair.1);
        if joined {
            self.last = Some(pair);
        }
        joined
    }

    /// Counts clear cells of a pair, and joins the pair when there are enough.
    fn note(&mut self, pair: (Label, Label), cells: u32) {
        let count = self.counts.entry(pair).or_insert(0);
        if *count < CLEAR_MIN && *count + cells >= CLEAR_MIN {
            self.joins.join(pair.0, pair.1);
        }
        *count += cells;
    }
}

/// Two grids with the same cells.
struct Pair<'a> {
    own: &'a Grid,
    below: &'a Grid,
    /// How far on each side a clear cell needs the same pair of labels, cells.
    reach: i64,
}

impl Grid {
    /// Joins the labels of this layer with those of the one below where they lie over each other so that a
    /// disc of `width_mm` would pass; plastic left out. Both have cells of one size.
    pub fn over(&self, below: &Grid, width_mm: f64, joins: &mut impl Join) {
        let pair = Pair {
            own: self,
            below,
            reach: (width_mm / 2.0 / self.cell_mm).floor() as i64,
        };
        let mut ways = Ways {
            counts: BTreeMap::new(),
            joins,
            last: None,
        };
        // What is free as a whole shows most ways, and quickly; the rest is mostly joined by then.
        let (own_whole, under_whole) = (self.whole(), below.whole());
        let mut last = (SOLID, SOLID);
        pair.each_row(|_, own, under| {
            // Where there is but one of them, the other is outside.
            let count = own.len().max(under.len());
            let own = own_whole[own].iter().chain(std::iter::repeat(&OUTSIDE));
            let under = under_whole[under].iter().chain(std::iter::repeat(&OUTSIDE));
            for pair in own
                .zip(under)
                .take(count)
                .map(|(own, under)| (*own, *under))
            {
                if pair.0 != SOLID && pair.1 != SOLID && pair != last {
                    last = pair;
                    if !ways.joined(pair) {
                        ways.note(pair, CLEAR_MIN);
                    }
                }
            }
        });
        // What does not hang together with the outside by now: all the rest is joined.
        let open = ways.joins.set(OUTSIDE, false);
        let mut is_apart = |label, below| label < OUTSIDE || ways.joins.set(label, below) != open;
        let own_apart = self.places_of(|label| is_apart(label, false));
        let under_apart = below.places_of(|label| is_apart(label, true));
        pair.each_row(|at, own, under| {
            let count = own.len().max(under.len());
            let is_own = own_apart[own.clone()]
                .iter()
                .chain(std::iter::repeat(&false));
            let is_under = under_apart[under.clone()]
                .iter()
                .chain(std::iter::repeat(&false));
            for (k, (is_own, is_under)) in is_own.zip(is_under).take(count).enumerate() {
                if *is_own || *is_under {
                    let place = |places: &Range<usize>| places.clone().nth(k);
                    let at = [at[0] + k as i64, at[1]];
                    pair.tile(at, [place(&own), place(&under)], &mut ways);
                }
            }
        });
    }

    /// By place: the label of a tile that no plastic touches, else that of plastic.
    fn whole(&self) -> Vec<Label> {
        let tiles = self.tiles.iter().zip(&self.least);
        let label =
            |(pattern, least): (&u32, &Label)| if *pattern == FREE { *least } else { SOLID };
        tiles.map(label).collect()
    }

    /// By place: whether a tile has any of some labels.
    fn places_of(&self, is_one: impl FnMut(Label) -> bool) -> Vec<bool> {
        let some: Vec<bool> = (0..self.labels_end).map(is_one).collect();
        let mut has = vec![false; self.tiles.len()];
        self.labels
            .each_place(|label| some[label as usize], |place| has[place] = true);
        has
    }

    /// What is free of it, with its labels.
    #[inline]
    fn free_of(&self, place: Option<usize>) -> (&[Piece], &[Label]) {
        place.map_or((&[Piece::ALL], &[OUTSIDE]), |place| self.free(place))
    }

    fn ends(&self) -> [Range<i64>; 2] {
        let size = [self.wide as i64, self.high as i64];
        [0, 1].map(|k| self.first[k]..self.first[k] + size[k])
    }
}

impl Pair<'_> {
    /// Tiles side by side that both have, or that one of them has alone: where the first lies in the lattice of all tiles,
    /// and their places on this layer and below.
    fn each_row(&self, mut each: impl FnMut([i64; 2], Range<usize>, Range<usize>)) {
        let ([x, y], [below_x, below_y]) = (self.own.ends(), self.below.ends());
        let places = |grid: &Grid, columns: &Range<i64>, row: i64| {
            let first = (row - grid.first[1]) * grid.wide as i64 - grid.first[0];
            (first + columns.start) as usize..(first + columns.end) as usize
        };
        // What one has on either side of the other.
        let beside = |one: &Range<i64>, other: &Range<i64>| match other.is_empty() {
            true => [one.clone(), 0..0],
            false => [
                one.start..other.start.min(one.end),
                other.end.max(one.start)..one.end,
            ],
        };
        for row in y.start.min(below_y.start)..y.end.max(below_y.end) {
            let x = if y.contains(&row) { x.clone() } else { 0..0 };
            let below_x = if below_y.contains(&row) {
                below_x.clone()
            } else {
                0..0
            };
            let both = x.start.max(below_x.start)..x.end.min(below_x.end);
            if !both.is_empty() {
                let [own, under] = [self.own, self.below].map(|grid| places(grid, &both, row));
                each([both.start, row], own, under);
            }
            for columns in beside(&x, &below_x)
                .iter()
                .filter(|columns| !columns.is_empty())
            {
                each([columns.start, row], places(self.own, columns, row), 0..0);
            }
            for columns in beside(&below_x, &x)
                .iter()
                .filter(|columns| !columns.is_empty())
            {
                each([columns.start, row], 0..0, places(self.below, columns, row));
            }
        }
    }

    /// Joins what lies over each other in a tile.
    fn tile<J: Join>(&self, at: [i64; 2], [own, under]: [Option<usize>; 2], ways: &mut Ways<J>) {
        let (own, own_labels) = self.own.free_of(own);
        let (under, under_labels) = self.below.free_of(under);
        for (piece, label) in own.iter().zip(own_labels) {
            for (other, other_label) in under.iter().zip(under_labels) {
                let both = piece.cells.both(&other.cells);
                let labels = (*label, *other_label);
                if !both.is_empty() && !ways.joined(labels) {
                    self.piece(&both, labels, at, ways);
                }
            }
        }
    }

    /// Counts the clear cells where pieces lie over each other. `both`: the cells that they share.
    fn piece<J: Join>(
        &self,
        both: &Cells,
        labels: (Label, Label),
        place: [i64; 2],
        ways: &mut Ways<J>,
    ) {
        for line in 0..SIDE {
            let at = [place[0] * SIDE as i64, place[1] * SIDE as i64 + line as i64];
            let mut left = both.row(line);
            while left != 0 {
                let run = left & !left.wrapping_add(left & left.wrapping_neg());
                left &= !run;
                self.run(run, labels, at, ways);
                if ways.joined(labels) {
                    return;
                }
            }
        }
    }

    /// Counts the clear cells where a run of this layer lies over a run of the layer below. `both`: the cells that they
    /// share; `at`: the first cell of the row in their tile.
    fn run<J: Join>(&self, both: u16, labels: (Label, Label), at: [i64; 2], ways: &mut Ways<J>) {
        // Cells with enough of the run on both sides. A run that reaches the edge of the tile may go on beyond it.
        let reach = self.reach.min(SIDE as i64 - 1) as u32;
        let wide = u64::from(both) << SIDE
            | if both & 1 != 0 {
                u64::from(u16::MAX)
            } else {
                0
            }
            | if both >> (SIDE - 1) != 0 {
                u64::from(u16::MAX) << (2 * SIDE)
            } else {
                0
            };
        let mut left = both & ((wide & wide << reach & wide >> reach) >> SIDE) as u16;
        let is_pair = |x: i64, y: i64| {
            self.own.lattice(x, y) == labels.0 && self.below.lattice(x, y) == labels.1
        };
        while left != 0 {
            let (x, y) = (at[0] + i64::from(left.trailing_zeros()), at[1]);
            left &= left - 1;
            let clear = is_pair(x, y - self.reach)
                && is_pair(x, y + self.reach)
                && is_pair(x - self.reach, y)
                && is_pair(x + self.reach, y);
            if clear {
                ways.note(labels, 1);
                if ways.joined(labels) {
                    return;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::grid::Bead;
    use super::super::joined::Sets;
    use super::super::limits::Budget;
    use super::*;

    /// Labels of this layer, then those below.
    struct Plain {
        sets: Sets,
        own: u32,
    }

    impl Plain {
        fn new(own: &Grid, below: &Grid) -> Self {
            let mut sets = Sets::default();
            (0..own.labels_end + below.labels_end).for_each(|_| {
                sets.node();
            });
            sets.join(OUTSIDE, own.labels_end + OUTSIDE);
            let own = own.labels_end;
            Plain { sets, own }
        }
    }

    impl Join for Plain {
        fn joined(&mut self, own: Label, under: Label) -> bool {
            self.set(own, false) == self.set(under, true)
        }

        fn join(&mut self, own: Label, under: Label) {
            self.sets.join(own, self.own + under);
        }

        fn set(&mut self, label: Label, below: bool) -> u32 {
            self.sets.root(label + if below { self.own } else { 0 })
        }
    }

    /// Cell by cell.
    fn plainly(own: &Grid, below: &Grid, reach: i64) -> Plain {
        let mut plain = Plain::new(own, below);
        let mut counts: BTreeMap<(Label, Label), u32> = BTreeMap::new();
        let side = SIDE as i64;
        let ends = |k: usize, size: [usize; 2]| {
            let to = (own.first[k] + size[0] as i64).max(below.first[k] + size[1] as i64);
            own.first[k].min(below.first[k]) * side..to * side
        };
        for y in ends(1, [own.high, below.high]) {
            for x in ends(0, [own.wide, below.wide]) {
                let pair = |x, y| (own.lattice(x, y), below.lattice(x, y));
                let here = pair(x, y);
                let around = [(reach, 0), (-reach, 0), (0, reach), (0, -reach)];
                if here.0 != SOLID
                    && here.1 != SOLID
                    && around.iter().all(|(dx, dy)| pair(x + dx, y + dy) == here)
                {
                    *counts.entry(here).or_default() += 1;
                }
            }
        }
        for ((own, under), count) in counts {
            if count >= CLEAR_MIN {
                plain.join(own, under);
            }
        }
        plain
    }

    #[test]
    fn ways_are_those_found_cell_by_cell() {
        let mut state = 1u64;
        let mut random = |most: f64| {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (state >> 33) as f64 / f64::from(1u32 << 31) * most
        };
        let mut joined = 0;
        for round in 0..90 {
            // Many lie on each other, some beside each other or apart.
            let aside = f64::from(round % 6 / 5) * random(20.0);
            let mut layer = |aside: f64| {
                let beads: Vec<Bead> = (0..24)
                    .map(|_| Bead {
                        from_mm: [aside + random(16.0), random(16.0)],
                        to_mm: [aside + random(16.0), aside / 2.0 + random(16.0)],
                        width_mm: 0.45,
                    })
                    .collect();
                Grid::new(beads.into_iter(), 0.12, &mut Budget::default()).unwrap()
            };
            let (own, below) = if round % 2 == 0 {
                (layer(0.0), layer(aside))
            } else {
                (layer(aside), layer(0.0))
            };
            let mut fast = Plain::new(&own, &below);
            own.over(&below, 1.0, &mut fast);
            let mut plain = plainly(&own, &below, 4);
            for node in 0..own.labels_end + below.labels_end {
                assert_eq!(fast.sets.root(node), plain.sets.root(node));
                joined += u32::from(plain.sets.root(node) != node);
            }
        }
        assert!(joined > 150, "{joined}");
    }
}
