//! What lies over what, from layer to layer.

use super::grid::{Grid, Label, OUTSIDE, Run, SIDE, SOLID, Tile};
use super::joined::{CLEAR_MIN, Ways};

impl Grid {
    /// The one label that lies under another grid's tile, if there is but one; `scale`: the other's
    /// cells over this one's.
    fn whole(&self, column: i64, row: i64, scale: f64) -> Option<Label> {
        let span = |at: i64| {
            let (from, to) = (at as f64 * scale, (at + 1) as f64 * scale);
            from.floor() as i64..to.ceil() as i64
        };
        let mut tiles = span(row).flat_map(|y| span(column).map(move |x| self.tile(x, y)));
        let Some(Tile::Whole(label)) = tiles.next() else {
            return None;
        };
        tiles
            .all(|tile| tile == Tile::Whole(label))
            .then_some(label)
    }

    /// Pairs of labels, this layer's and the one's below, that lie over each other so that a disc
    /// of `width_mm` would pass; plastic left out, and outside over outside.
    pub fn over(&self, below: &Grid, width_mm: f64) -> Vec<(Label, Label)> {
        let scale = self.cell_mm / below.cell_mm;
        let under = |column: i64, row: i64| {
            if scale == 1.0 {
                return below.lattice(column, row);
            }
            let at = [column, row].map(|v| ((v as f64 + 0.5) * scale).floor() as i64);
            below.lattice(at[0], at[1])
        };
        let reach = (width_mm / 2.0 / self.cell_mm).floor() as i64;
        let mut ways = Ways::default();
        // The grid, and what the layer below has beyond it.
        let below_tiles = |first: bool, k: usize| {
            let at = below.first[k] as f64 / scale;
            let tiles = [below.wide, below.high][k] as f64 / scale;
            if first {
                at.floor() as i64
            } else {
                (at + tiles).ceil() as i64
            }
        };
        let from = [0, 1].map(|k| self.first[k].min(below_tiles(true, k)));
        let to = [
            (self.first[0] + self.wide as i64).max(below_tiles(false, 0)),
            (self.first[1] + self.high as i64).max(below_tiles(false, 1)),
        ];
        for tile_row in from[1]..to[1] {
            for tile_column in from[0]..to[0] {
                let own = self.tile(tile_column, tile_row);
                let whole = match own {
                    Tile::Whole(own) => below
                        .whole(tile_column, tile_row, scale)
                        .map(|other| (own, other)),
                    Tile::Cells(_) => None,
                };
                if let Some(pair) = whole {
                    if pair != (OUTSIDE, OUTSIDE) {
                        ways.note(pair, CLEAR_MIN);
                    }
                    continue;
                }
                for row in 0..SIDE {
                    let all = [Run {
                        cells: u16::MAX,
                        label: own.label(),
                    }];
                    let runs = match own {
                        Tile::Whole(_) => &all[..],
                        Tile::Cells(at) => self.row(at, row),
                    };
                    let row = tile_row * SIDE as i64 + row as i64;
                    for run in runs {
                        let test = |cells: u16, ways: &mut Ways| {
                            let run = Run { cells, ..*run };
                            self.over_run(run, tile_column, row, reach, &under, ways);
                        };
                        if scale != 1.0 {
                            test(run.cells, &mut ways);
                            continue;
                        }
                        // Run over run: most pairs are open, or outside over outside.
                        let known = |label: Label, ways: &mut Ways| {
                            let pair = (run.label, label);
                            pair == (OUTSIDE, OUTSIDE) || ways.is_open(pair)
                        };
                        match below.tile(tile_column, tile_row) {
                            Tile::Whole(label) if known(label, &mut ways) => {}
                            Tile::Whole(_) => test(run.cells, &mut ways),
                            Tile::Cells(at) => {
                                let row = row.rem_euclid(SIDE as i64) as usize;
                                for other in below.row(at, row) {
                                    let both = run.cells & other.cells;
                                    if both != 0 && !known(other.label, &mut ways) {
                                        test(both, &mut ways);
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
        ways.open
    }

    /// Notes what lies under a run of this layer.
    fn over_run(
        &self,
        run: Run,
        tile_column: i64,
        row: i64,
        reach: i64,
        under: &impl Fn(i64, i64) -> Label,
        ways: &mut Ways,
    ) {
        let mut left = run.cells;
        while left != 0 {
            let column = tile_column * SIDE as i64 + i64::from(left.trailing_zeros());
            left &= left - 1;
            let pair = (run.label, under(column, row));
            if pair.1 == SOLID || pair == (OUTSIDE, OUTSIDE) || ways.is_open(pair) {
                continue;
            }
            let clear = [(reach, 0), (-reach, 0), (0, reach), (0, -reach)]
                .into_iter()
                .all(|(x, y)| {
                    let at = (column + x, row + y);
                    (self.lattice(at.0, at.1), under(at.0, at.1)) == pair
                });
            if clear {
                ways.note(pair, 1);
            }
        }
    }
}
