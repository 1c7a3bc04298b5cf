//! What a job prints that does not count as part, and why.

/// Why something is no part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Why {
    /// Islands of the first layers that nothing stands on: a skirt, a purge line.
    NothingStandsOn,
    /// Loops of the first layer that nothing stands on, around something that stands: a brim.
    Brim,
    /// Columns of open lines that end below a roof: supports, rafts.
    BelowRoof,
    /// Columns of open lines beside closed loops, on islands of their own.
    OpenColumn,
    /// Open lines beside closed loops, on an island with loops: they are no wall.
    OpenLine,
}

/// Some of what was left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// Why.
    pub why: Why,
    /// How many islands, loops, columns or lines, as [`Why`] has it; lines are counted on each layer.
    pub count: u64,
    /// The first layer where there are any, from 0.
    pub first_layer: u32,
    /// The last one.
    pub last_layer: u32,
}

/// Adds to what was left out.
pub(super) fn leave_out(all: &mut Vec<LeftOut>, why: Why, count: u64, layers: [u32; 2]) {
    match all.iter_mut().find(|l| l.why == why) {
        Some(own) => {
            own.count += count;
            own.first_layer = own.first_layer.min(layers[0]);
            own.last_layer = own.last_layer.max(layers[1]);
        }
        None => all.push(LeftOut {
            why,
            count,
            first_layer: layers[0],
            last_layer: layers[1],
        }),
    }
}
