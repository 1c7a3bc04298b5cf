//! What the head does, move by move, and the box around what it prints.

/// A move extrudes if it moves more filament and more in XY than this, mm.
const NOTHING_MM: f64 = 1e-9;

/// A move of the head, with its times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Move {
    /// When it starts, s.
    pub start_s: f64,
    /// When it ends, s.
    pub end_s: f64,
    /// Where it starts: x, y, z; mm.
    pub from_mm: [f64; 3],
    /// Where it ends, mm.
    pub to_mm: [f64; 3],
    /// Filament, mm.
    pub e_mm: f64,
    /// The file's line, from 1.
    pub line: u64,
    /// The layer, from 0.
    pub layer: u32,
    /// How long it would take with every line known in advance, s.
    pub ideal_s: f64,
}

impl Move {
    /// Its length in XY, mm.
    pub fn plane_mm(&self) -> f64 {
        let (dx, dy) = (
            self.to_mm[0] - self.from_mm[0],
            self.to_mm[1] - self.from_mm[1],
        );
        (dx * dx + dy * dy).sqrt()
    }

    /// Whether it prints.
    pub fn extrudes(&self) -> bool {
        self.e_mm > NOTHING_MM && self.plane_mm() > NOTHING_MM
    }
}

/// A box around a part, seen from above.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outline {
    /// Least x and y, mm.
    pub low_mm: [f64; 2],
    /// Greatest x and y, mm.
    pub high_mm: [f64; 2],
}

impl Outline {
    /// The box of a place.
    pub fn of(at_mm: [f64; 3]) -> Self {
        let flat = [at_mm[0], at_mm[1]];
        Outline {
            low_mm: flat,
            high_mm: flat,
        }
    }

    /// The middle, mm.
    pub fn middle_mm(&self) -> [f64; 2] {
        [0, 1].map(|k| (self.low_mm[k] + self.high_mm[k]) / 2.0)
    }

    /// Both boxes in one.
    pub fn with(&self, other: &Outline) -> Self {
        Outline {
            low_mm: [0, 1].map(|k| self.low_mm[k].min(other.low_mm[k])),
            high_mm: [0, 1].map(|k| self.high_mm[k].max(other.high_mm[k])),
        }
    }

    /// Whether the boxes share any place.
    pub fn meets(&self, other: &Outline) -> bool {
        (0..2).all(|k| self.low_mm[k] <= other.high_mm[k] && other.low_mm[k] <= self.high_mm[k])
    }

    /// Whether a place lies in it.
    pub fn holds(&self, x_mm: f64, y_mm: f64) -> bool {
        let at = Outline::of([x_mm, y_mm, 0.0]);
        self.meets(&at)
    }

    /// Whether a move lies in it.
    pub fn has(&self, step: &Move) -> bool {
        [step.from_mm, step.to_mm]
            .iter()
            .all(|p| self.holds(p[0], p[1]))
    }
}
