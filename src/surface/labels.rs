//! Labels what is free on a grid: what hangs together with the rim is outside, all else is a void.

use super::grid::{FEW, Grid, Label, OUTSIDE, Rows, Run, SIDE, SOLID, Tile};
use super::joined::Sets;

/// Sets of nodes, for joins of which most follow one that was the same.
#[derive(Default)]
struct Nodes {
    sets: Sets,
    last: Option<(Label, Label)>,
}

impl Nodes {
    #[inline]
    fn join(&mut self, a: Label, b: Label) {
        if a != b && self.last != Some((a, b)) {
            self.last = Some((a, b));
            self.sets.join(a, b);
        }
    }
}

impl Grid {
    /// Finds what hangs together: a free tile and a run of free cells is a node, joined with those beside
    /// and above it; what hangs together with the rim is outside.
    pub(super) fn label(&mut self) {
        let mut nodes = Nodes::default();
        // Nodes as labels for now.
        for place in 0..self.tiles.len() {
            let left = (!place.is_multiple_of(self.wide)).then(|| place - 1);
            let up = place.checked_sub(self.wide);
            match self.tiles[place] {
                Tile::Whole(_) => self.label_whole(place, left, up, &mut nodes),
                Tile::Cells(at) => {
                    self.find_runs(at, &mut nodes);
                    if let Some(left) = left {
                        self.join_left(at, left, &mut nodes);
                    }
                    if let Some(up) = up {
                        for run in self.row(at, 0) {
                            self.join_over(up, run, &mut nodes);
                        }
                    }
                }
            }
        }
        self.name(nodes.sets);
    }

    /// A free tile: it has the node of the free tile beside it, or its own.
    fn label_whole(
        &mut self,
        place: usize,
        left: Option<usize>,
        up: Option<usize>,
        nodes: &mut Nodes,
    ) {
        let beside = left.map(|left| self.tiles[left]);
        let label = match beside {
            Some(Tile::Whole(label)) => label,
            _ => nodes.sets.node(),
        };
        self.tiles[place] = Tile::Whole(label);
        if let Some(Tile::Cells(left)) = beside {
            for row in 0..SIDE {
                if let Some(run) = self.row(left, row).last()
                    && run.cells >> (SIDE - 1) != 0
                {
                    nodes.join(label, run.label);
                }
            }
        }
        if let Some(up) = up {
            let all = Run {
                cells: u16::MAX,
                label,
            };
            self.join_over(up, &all, nodes);
        }
    }

    /// Finds the runs of free cells of a tile; those that touch within it share a node. Rows that are like the
    /// one above share its runs.
    fn find_runs(&mut self, at: u32, nodes: &mut Nodes) {
        let solid = self.solid[at as usize];
        let first = self.runs.len();
        let mut rows = Rows {
            first: first as u32,
            ..Rows::default()
        };
        let mut above = first..first;
        for (row, solid_row) in solid.into_iter().enumerate() {
            if row == 0 || solid_row != solid[row - 1] {
                let begin = self.runs.len();
                let mut free = !solid_row;
                while free != 0 {
                    let from = free.trailing_zeros();
                    let long = (free >> from).trailing_ones();
                    let cells = ((1u32 << (from + long)) - (1u32 << from)) as u16;
                    free &= !cells;
                    // The node of what it touches above, if there is any.
                    let mut label = None;
                    for run in &self.runs[above.clone()] {
                        if run.cells & cells != 0 {
                            match label {
                                None => label = Some(run.label),
                                Some(label) => nodes.join(label, run.label),
                            }
                        }
                    }
                    let label = label.unwrap_or_else(|| nodes.sets.node());
                    self.runs.push(Run { cells, label });
                }
                above = begin..self.runs.len();
            }
            rows.spans[row] = [above.start, above.end].map(|run| (run - first) as u8);
        }
        self.rows[at as usize] = rows;
    }

    /// Joins the runs of a tile with what is free beside it, on its left.
    fn join_left(&self, at: u32, left: usize, nodes: &mut Nodes) {
        let left = self.tiles[left];
        for row in 0..SIDE {
            let Some(run) = self.row(at, row).first().filter(|r| r.cells & 1 != 0) else {
                continue;
            };
            match left {
                Tile::Whole(label) => nodes.join(run.label, label),
                Tile::Cells(left) => {
                    if let Some(other) = self.row(left, row).last()
                        && other.cells >> (SIDE - 1) != 0
                    {
                        nodes.join(run.label, other.label);
                    }
                }
            }
        }
    }

    /// Joins a run of a tile's first row with what is free over it, in the last row of a tile.
    fn join_over(&self, up: usize, run: &Run, nodes: &mut Nodes) {
        match self.tiles[up] {
            Tile::Whole(label) => nodes.join(run.label, label),
            Tile::Cells(up) => {
                for other in self.row(up, SIDE - 1) {
                    if other.cells & run.cells != 0 {
                        nodes.join(run.label, other.label);
                    }
                }
            }
        }
    }

    /// Gives each set of nodes its label.
    fn name(&mut self, mut sets: Sets) {
        // The first tile lies on the rim.
        let mut labels = vec![SOLID; sets.parents.len()];
        if let Some(Tile::Whole(rim)) = self.tiles.first() {
            labels[sets.root(*rim) as usize] = OUTSIDE;
        }
        let mut end = OUTSIDE + 1;
        // Nodes of one void mostly follow each other.
        let mut last = (Label::MAX, SOLID);
        let mut name = |node: &mut Label| {
            if *node != last.0 {
                let label = &mut labels[sets.root(*node) as usize];
                if *label == SOLID {
                    *label = end;
                    end += 1;
                }
                last = (*node, *label);
            }
            *node = last.1;
        };
        for tile in &mut self.tiles {
            match tile {
                Tile::Whole(node) => name(node),
                Tile::Cells(at) => {
                    let rows = &mut self.rows[*at as usize];
                    let mut few = [SOLID; FEW];
                    let mut count = 0;
                    for run in &mut self.runs[rows.all()] {
                        name(&mut run.label);
                        if !few[..count.min(FEW)].contains(&run.label) {
                            if let Some(place) = few.get_mut(count) {
                                *place = run.label;
                            }
                            count += 1;
                        }
                        rows.least = rows.least.min(run.label);
                    }
                    rows.few = (count <= FEW).then_some((few, count as u8));
                }
            }
        }
        self.labels_end = end;
    }
}
