//! Layers, found from geometry alone (model section 1).

/// Follows the job's extruding lines and says which layer each line bears.
#[derive(Clone, Debug, Default)]
pub struct Layers {
    begun: bool,
    /// The current layer, from 0.
    pub layer: u32,
    z_mm: f64,
    pitch_mm: f64,
    height_mm: f64,
}

/// Two heights closer than this are one (a flat line), mm.
const FLAT_MM: f64 = 1e-6;
/// A flat line this far from the layer's height begins another, mm.
const APART_MM: f64 = 1e-3;
/// A rise above this sets the pitch of spirals, mm.
const PITCH_MIN_MM: f64 = 0.05;

impl Layers {
    /// How many layers have begun.
    pub fn count(&self) -> u32 {
        if self.begun { self.layer + 1 } else { 0 }
    }

    /// Height of the current layer's Z, mm.
    pub fn z_mm(&self) -> f64 {
        self.z_mm
    }

    /// Rise of the current layer over the one below, mm (the last positive one where it falls).
    pub fn height_mm(&self) -> f64 {
        self.height_mm
    }

    /// Takes a line that extrudes while moving in XY, from Z to Z in mm.
    pub fn extrude(&mut self, from_z_mm: f64, to_z_mm: f64) {
        if !self.begun {
            self.begun = true;
            self.z_mm = to_z_mm;
            self.pitch_mm = to_z_mm;
            self.height_mm = to_z_mm;
            return;
        }
        let flat = (to_z_mm - from_z_mm).abs() <= FLAT_MM;
        let rise = to_z_mm - self.z_mm;
        let begins = if flat {
            rise.abs() > APART_MM
        } else {
            to_z_mm > from_z_mm && rise >= self.pitch_mm - FLAT_MM
        };
        if !begins {
            return;
        }
        self.layer += 1;
        if flat && rise > PITCH_MIN_MM {
            self.pitch_mm = rise;
        }
        if rise > 0.0 {
            self.height_mm = rise;
        }
        self.z_mm = to_z_mm;
    }
}
