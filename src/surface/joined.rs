//! What hangs together: within a layer, and from layer to layer.

use std::collections::BTreeMap;

use super::grid::Label;

/// Sets of nodes that hang together.
#[derive(Debug, Default)]
pub struct Sets {
    /// By node: one nearer to the set's first, or itself.
    pub parents: Vec<u32>,
}

impl Sets {
    /// One node, the first: whatever hangs together with it has it as its root.
    pub fn with_first() -> Self {
        Sets { parents: vec![0] }
    }

    /// A node that hangs together with none.
    pub fn node(&mut self) -> u32 {
        self.parents.push(self.parents.len() as u32);
        self.parents.len() as u32 - 1
    }

    /// The first node of this one's set.
    pub fn root(&mut self, mut node: u32) -> u32 {
        while self.parents[node as usize] != node {
            let above = self.parents[self.parents[node as usize] as usize];
            self.parents[node as usize] = above;
            node = above;
        }
        node
    }

    /// These two hang together.
    pub fn join(&mut self, a: u32, b: u32) {
        let (a, b) = (self.root(a), self.root(b));
        self.parents[a.max(b) as usize] = a.min(b);
    }
}

/// Cells that must be clear all around for a way through.
pub const CLEAR_MIN: u32 = 4;

/// Ways from void to void, counted until they are open.
#[derive(Default)]
pub struct Ways {
    counts: BTreeMap<(Label, Label), u32>,
    /// Those that are open, in the order of their finding.
    pub open: Vec<(Label, Label)>,
    /// The one asked about last that is open: neighbours mostly belong together.
    last: Option<(Label, Label)>,
}

impl Ways {
    #[inline]
    /// Whether this one is known to be open.
    pub fn is_open(&mut self, pair: (Label, Label)) -> bool {
        if self.last == Some(pair) {
            return true;
        }
        let open = self.counts.get(&pair).is_some_and(|n| *n >= CLEAR_MIN);
        if open {
            self.last = Some(pair);
        }
        open
    }

    /// So many more cells are clear.
    pub fn note(&mut self, pair: (Label, Label), cells: u32) {
        let count = self.counts.entry(pair).or_insert(0);
        if *count < CLEAR_MIN && *count + cells >= CLEAR_MIN {
            self.open.push(pair);
        }
        *count += cells;
    }
}
