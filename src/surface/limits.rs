//! Limits on the work and the memory that the surface may take.

/// Tiles that one layer's grid may span: a square of 2 m with a nozzle of 0.4 mm.
pub const TILES_MAX: f64 = 1e6;
/// Tiles that all layers together may span.
pub const GROUND_TILES_MAX: f64 = 4e6;
/// Beads that one layer may hold.
pub const BEADS_MAX: usize = 4_000_000;
/// Beads that are held back while the first layers show what stands on what.
pub const HELD_BEADS_MAX: usize = 2_000_000;
/// Tiles with plastic that one layer's grid may have, and those that may be held back.
pub const DRAWN_TILES_MAX: usize = 300_000;
/// See [`DRAWN_TILES_MAX`].
pub const HELD_TILES_MAX: usize = 150_000;
/// Tiles with plastic of a layer that is kept in case it comes again.
pub const KEPT_TILES_MAX: usize = 50_000;
/// Points of the path of such a layer.
pub const KEPT_BEADS_MAX: usize = 200_000;
/// Work that any job may ask for.
const WORK: f64 = 2e8;
/// Work that each bead adds to it: that of a bead 15 mm long.
const WORK_A_BEAD: f64 = 400.0;

/// What is left of the work that the surface may do. One unit takes some 50 ns: a row of cells that is drawn, or a
/// free tile that is looked at; a tile with plastic is many.
#[derive(Clone, Copy, Debug)]
pub struct Budget {
    left: f64,
}

impl Default for Budget {
    fn default() -> Self {
        Budget { left: WORK }
    }
}

impl Budget {
    /// Adds what a number of beads pays for.
    pub(super) fn earn(&mut self, beads: usize) {
        self.left += WORK_A_BEAD * beads as f64;
    }

    /// Takes `work` off; false, and nothing taken, where less is left.
    pub(super) fn spend(&mut self, work: f64) -> bool {
        let enough = work <= self.left;
        if enough {
            self.left -= work;
        }
        enough
    }
}
