//! Labels what hangs together on a grid, be it free or plastic.

use super::cells::Edges;
use super::grid::{Grid, Label, OUTSIDE};
use super::joined::Sets;
use super::patterns::{Kind, Labels};

/// Sets of nodes, for joins of which most follow one that was the same.
#[derive(Default)]
struct Nodes {
    sets: Sets,
    last: (u32, u32),
}

impl Nodes {
    /// What has a node meets another; without one it takes the other's.
    #[inline]
    fn meet(&mut self, own: Option<u32>, other: u32) -> u32 {
        let own = own.unwrap_or(other);
        if own != other && self.last != (own, other) {
            self.last = (own, other);
            self.sets.join(own, other);
        }
        own
    }
}

/// The labels of the pieces of a kind, and what of these hangs together. Labels are nodes, in the order of their tiles and of
/// the first cells of their pieces: each piece has the node of what it meets in the tile on its left or in the one above, or
/// its own.
pub(super) fn joined(grid: &Grid, kind: Kind) -> (Labels, Sets) {
    let mut starts = Vec::with_capacity(grid.tiles.len() + 1);
    let mut all: Vec<u32> = Vec::with_capacity(grid.tiles.len() + grid.drawn.len());
    let mut nodes = Nodes::default();
    let patterns = grid.patterns.pieces(kind);
    for (row, tiles) in grid.tiles.chunks_exact(grid.wide).enumerate() {
        // The pieces of the tile on the left, and where their nodes begin.
        let mut left: (&[Edges], usize) = (&[], 0);
        for (column, pattern) in tiles.iter().enumerate() {
            let start = all.len();
            starts.push(start as u32);
            let pieces = patterns.edges(*pattern);
            let up: (&[Edges], usize) = if row > 0 && !pieces.is_empty() {
                let up = (row - 1) * grid.wide + column;
                (patterns.edges(grid.tiles[up]), starts[up] as usize)
            } else {
                (&[], 0)
            };
            // What is whole, among others that are.
            if let ([Edges::ALL], [Edges::ALL], [Edges::ALL]) = (pieces, left.0, up.0) {
                let node = nodes.meet(Some(all[left.1]), all[up.1]);
                all.push(node);
                left = (pieces, start);
                continue;
            }
            for piece in pieces {
                let mut own = None;
                let mut node = left.1;
                for other in left.0 {
                    if other.meets_right(piece) {
                        own = Some(nodes.meet(own, all[node]));
                    }
                    node += 1;
                }
                node = up.1;
                for other in up.0 {
                    if other.meets_below(piece) {
                        own = Some(nodes.meet(own, all[node]));
                    }
                    node += 1;
                }
                all.push(own.unwrap_or_else(|| nodes.sets.node()));
            }
            left = (pieces, start);
        }
    }
    starts.push(all.len() as u32);
    (Labels { starts, all }, nodes.sets)
}

impl Grid {
    /// Labels what is free: what hangs together with the rim is outside, all else are voids.
    pub(super) fn label(&mut self) {
        let (mut nodes, mut sets) = joined(self, Kind::Free);
        // Each set's first node comes in the order of the sets' first pieces; the rim's is the first of all.
        let count = sets.parents.len();
        let mut labels: Vec<Label> = Vec::with_capacity(count);
        let mut end = OUTSIDE;
        for node in 0..count as u32 {
            let root = sets.root(node);
            if root == node {
                labels.push(end);
                end += 1;
            } else {
                labels.push(labels[root as usize]);
            }
        }
        for label in &mut nodes.all {
            *label = labels[*label as usize];
        }
        self.labels = nodes;
        let labels = (0..self.tiles.len()).map(|place| self.labels.of(place..place + 1));
        let least = labels.map(|labels| labels.iter().fold(Label::MAX, |least, l| least.min(*l)));
        self.least = least.collect();
        self.labels_end = end;
    }
}
