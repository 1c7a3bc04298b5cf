//! Which free regions of a layer lie over which free regions of the layer below, so that one can see from one into
//! the other.

use std::collections::BTreeMap;
use std::ops::Range;

use super::grid::{Grid, Label, OUTSIDE, Run, SIDE, Tile};

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
        for whole in [true, false] {
            pair.each_tile(|at, own, under| match (own, under) {
                (Tile::Whole(own), Tile::Whole(under)) => {
                    if whole && !ways.joined((own, under)) {
                        ways.note((own, under), CLEAR_MIN);
                    }
                }
                _ if whole => {}
                _ => pair.tile(at, own, under, &mut ways),
            });
        }
    }

    fn ends(&self) -> [Range<i64>; 2] {
        let size = [self.wide as i64, self.high as i64];
        [0, 1].map(|k| self.first[k]..self.first[k] + size[k])
    }
}

impl Pair<'_> {
    /// Each tile's place, and what it is on either: the grid, then what the layer below has beyond it.
    fn each_tile(&self, mut each: impl FnMut([i64; 2], Tile, Tile)) {
        let [x, y] = self.own.ends();
        let tiles = self.own.tiles.chunks_exact(self.own.wide);
        for (row, tiles) in y.clone().zip(tiles) {
            for (column, own) in x.clone().zip(tiles) {
                each([column, row], *own, self.below.tile(column, row));
            }
        }
        let [below_x, below_y] = self.below.ends();
        for row in below_y {
            for column in below_x.clone() {
                if !(x.contains(&column) && y.contains(&row)) {
                    let under = self.below.tile(column, row);
                    each([column, row], Tile::Whole(OUTSIDE), under);
                }
            }
        }
    }

    /// Joins what lies over each other in a tile that has plastic on either.
    fn tile<J: Join>(&self, place: [i64; 2], own: Tile, under: Tile, ways: &mut Ways<J>) {
        // In most tiles everything that is free hangs together already.
        let mut set = None;
        let joins = &mut *ways.joins;
        let mut same = |mark: u32| *set.get_or_insert(mark) == mark && mark != u32::MAX;
        if self.own.all_labels(own, |l| same(joins.set(l, false)))
            && self.below.all_labels(under, |l| same(joins.set(l, true)))
        {
            return;
        }
        for line in 0..SIDE {
            let all = |tile: Tile| {
                [Run {
                    cells: u16::MAX,
                    label: tile.label(),
                }]
            };
            let (own_all, under_all) = (all(own), all(under));
            let own_runs = match own {
                Tile::Whole(_) => &own_all[..],
                Tile::Cells(at) => self.own.row(at, line),
            };
            let under_runs = match under {
                Tile::Whole(_) => &under_all[..],
                Tile::Cells(at) => self.below.row(at, line),
            };
            let at = [place[0] * SIDE as i64, place[1] * SIDE as i64 + line as i64];
            for run in own_runs {
                for other in under_runs {
                    let both = run.cells & other.cells;
                    let labels = (run.label, other.label);
                    if both != 0 && !ways.joined(labels) {
                        self.run(both, labels, at, ways);
                    }
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
                if here.0 != SOLID_CELL
                    && here.1 != SOLID_CELL
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

    const SOLID_CELL: Label = super::super::grid::SOLID;

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
        for _ in 0..60 {
            let mut layer = || {
                let beads: Vec<Bead> = (0..24)
                    .map(|_| Bead {
                        from_mm: [random(16.0), random(16.0)],
                        to_mm: [random(16.0), random(16.0)],
                        width_mm: 0.45,
                    })
                    .collect();
                Grid::new(beads.into_iter(), 0.12, &mut Budget::default()).unwrap()
            };
            let (own, below) = (layer(), layer());
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
