//! Islands: the plastic of one layer that hangs together.

use super::cells::{Piece, SIDE};
use super::grid::{Grid, Label};
use super::labels::joined;
use super::patterns::{Kind, Labels};

/// The islands of a grid.
#[derive(Clone, Debug, Default)]
pub(super) struct Islands {
    /// By piece: its island, from 0; `None`: there is but one.
    labels: Option<Labels>,
    /// By island: how many cells it has.
    pub cells: Vec<u32>,
}

impl Islands {
    /// The islands of this grid, in the order of drawing.
    pub fn new(grid: &Grid) -> Self {
        if grid.is_one && !grid.drawn.is_empty() {
            let places = grid.drawn.iter().map(|place| *place as usize);
            let pieces = places.flat_map(|place| grid.pieces(place, Kind::Solid));
            let cells = pieces.map(|piece| u32::from(piece.count)).sum();
            return Islands {
                labels: None,
                cells: vec![cells],
            };
        }
        let (mut labels, mut sets) = joined(grid, Kind::Solid);
        let mut names = vec![Label::MAX; sets.parents.len()];
        let mut cells = Vec::new();
        for place in grid.drawn.iter().map(|place| *place as usize) {
            let pieces = grid.pieces(place, Kind::Solid);
            for (piece, label) in pieces.iter().zip(labels.of_mut(place)) {
                let name = &mut names[sets.root(*label) as usize];
                if *name == Label::MAX {
                    *name = cells.len() as Label;
                    cells.push(0);
                }
                cells[*name as usize] += u32::from(piece.count);
                *label = *name;
            }
        }
        let labels = Some(labels);
        Islands { labels, cells }
    }

    /// The pieces of plastic of a tile, and the island of each.
    #[inline]
    pub fn of<'a>(
        &'a self,
        grid: &'a Grid,
        place: usize,
    ) -> impl Iterator<Item = (&'a Piece, Label)> {
        let pieces = grid.pieces(place, Kind::Solid).iter();
        let labels = self
            .labels
            .as_ref()
            .map_or(&[][..], |l| l.of(place..place + 1));
        pieces.zip(labels.iter().copied().chain(std::iter::repeat(0)))
    }

    /// The island at a point, if plastic lies there.
    pub fn at(&self, grid: &Grid, at_mm: [f64; 2]) -> Option<Label> {
        let [x, y] = grid.cell(at_mm).map(|v| v.max(0.0) as usize);
        let place = y / SIDE * grid.wide + x / SIDE;
        if place >= grid.tiles.len() {
            return None;
        }
        let mut pieces = self.of(grid, place);
        let there = pieces.find(|(piece, _)| piece.cells.has(x % SIDE, y % SIDE));
        there.map(|(_, island)| island)
    }
}
