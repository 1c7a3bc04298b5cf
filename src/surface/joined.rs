//! What hangs together: within a layer, and from layer to layer.

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
