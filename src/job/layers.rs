//! Layers, found from geometry alone ([model section 1](crate::model#1-the-parts), third edition).

/// Follows the moves of a job and says which layer each line bears.
#[derive(Clone, Debug, Default)]
pub struct Layers {
    /// Lines that have printed on the current layer since it began; 0 before the first layer.
    printed: u64,
    /// Whether the last line that changed Z printed.
    reached_by_printing: bool,
    /// The current layer, from 0.
    pub layer: u32,
    z_mm: f64,
    /// The last rise with which a flat line began a layer; before there is one, the first layer's Z.
    pitch_mm: f64,
    height_mm: f64,
}

/// Two heights closer than this are one: a flat line, or the bed; mm.
const FLAT_MM: f64 = 1e-6;
/// A flat line this far from the layer's height begins another, mm.
const APART_MM: f64 = 1e-3;
/// A rise above this sets the pitch of spirals, mm.
const PITCH_MIN_MM: f64 = 0.05;

impl Layers {
    /// How many layers have begun.
    pub fn count(&self) -> u32 {
        if self.printed > 0 { self.layer + 1 } else { 0 }
    }

    /// Height of the current layer's Z, mm.
    pub fn z_mm(&self) -> f64 {
        self.z_mm
    }

    /// Rise of the current layer over the one below, mm (the last positive one where it falls). That of
    /// layer 0 is its Z, and is known for good once layer 1 has begun.
    pub fn height_mm(&self) -> f64 {
        self.height_mm
    }

    /// Takes a line that moves from Z to Z, mm; `prints`: it extrudes while it moves in XY.
    #[inline]
    pub fn line(&mut self, from_z_mm: f64, to_z_mm: f64, prints: bool) {
        if prints {
            if self.begins(from_z_mm, to_z_mm) {
                self.begin(from_z_mm, to_z_mm);
            } else if self.printed > 0 {
                self.printed += 1;
            }
        }
        if (to_z_mm - from_z_mm).abs() > FLAT_MM {
            self.reached_by_printing = prints;
        }
    }

    /// Whether a line that prints begins a layer.
    #[inline]
    fn begins(&self, from_z_mm: f64, to_z_mm: f64) -> bool {
        let climb_mm = to_z_mm - from_z_mm;
        if to_z_mm <= FLAT_MM || climb_mm < -FLAT_MM {
            return false;
        }
        let rise_mm = to_z_mm - self.z_mm;
        if self.printed == 0 {
            true
        } else if climb_mm <= FLAT_MM && !self.reached_by_printing {
            rise_mm.abs() > APART_MM
        } else {
            rise_mm >= self.pitch_mm - FLAT_MM
        }
    }

    fn begin(&mut self, from_z_mm: f64, to_z_mm: f64) {
        let rise_mm = to_z_mm - self.z_mm;
        // A primer line makes no layer of its own: what follows it is layer 0.
        let anew = self.layer == 0 && (rise_mm < 0.0 || self.printed <= 1);
        if anew {
            self.pitch_mm = to_z_mm;
            self.height_mm = to_z_mm;
        } else {
            self.layer += 1;
            if rise_mm > PITCH_MIN_MM && to_z_mm - from_z_mm <= FLAT_MM {
                self.pitch_mm = rise_mm;
            }
            if rise_mm > 0.0 {
                self.height_mm = rise_mm;
            }
        }
        self.z_mm = to_z_mm;
        self.printed = 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The layers after each of these lines: from Z, to Z, prints.
    fn after(lines: &[(f64, f64, bool)]) -> (Vec<u32>, Layers) {
        let mut layers = Layers::default();
        let borne = lines.iter().map(|&(from, to, prints)| {
            layers.line(from, to, prints);
            layers.layer
        });
        (borne.collect(), layers)
    }

    /// A layer of two flat lines that a travel move leads to.
    fn flat(from: f64, to: f64) -> [(f64, f64, bool); 3] {
        [(from, to, false), (to, to, true), (to, to, true)]
    }

    #[test]
    fn flat_layers() {
        let lines = [flat(0.0, 0.3), flat(0.3, 0.5), flat(0.5, 0.5009)].concat();
        let (borne, layers) = after(&lines);
        assert_eq!(borne, [0, 0, 0, 0, 1, 1, 1, 1, 1]);
        assert_eq!((layers.count(), layers.z_mm()), (2, 0.5));
        assert!((layers.height_mm() - 0.2).abs() < 1e-12);
        assert_eq!(Layers::default().count(), 0);
    }

    /// Printing at the bed's own height or on the way down begins nothing, nor does what does not print.
    #[test]
    fn what_begins_none() {
        let (borne, layers) = after(&[
            (0.0, 0.0, true),
            (0.0, 0.2, false),
            (0.2, 0.1, true),
            (0.1, 1e-6, false),
            (1e-6, 1e-6, true),
        ]);
        assert_eq!((borne, layers.count()), (vec![0; 5], 0));
        let lines = [
            flat(0.0, 0.2).to_vec(),
            vec![(0.2, 0.6, false), (0.6, 0.5, true)],
        ]
        .concat();
        assert_eq!(after(&lines).1.count(), 1);
    }

    /// Parts printed one after another: the layers go on counting, and the height is the last rise.
    #[test]
    fn a_fall_begins_a_layer() {
        let lines = [flat(0.0, 0.3), flat(0.3, 0.5), flat(0.5, 0.3)].concat();
        let (borne, layers) = after(&lines);
        assert_eq!(borne[6..], [1, 2, 2]);
        assert!((layers.height_mm() - 0.2).abs() < 1e-12);
    }

    /// One line at 0.4, then the part at 0.2: one layer. Likewise where the line is lower.
    #[test]
    fn a_primer_line_makes_no_layer() {
        for (primer, first) in [(0.4, 0.2), (0.2, 0.3)] {
            let lines = [
                vec![(0.0, primer, false), (primer, primer, true)],
                flat(primer, first).to_vec(),
                flat(first, first + 0.25).to_vec(),
            ]
            .concat();
            let (borne, layers) = after(&lines);
            assert_eq!(borne, [0, 0, 0, 0, 0, 0, 1, 1]);
            assert!((layers.height_mm() - 0.25).abs() < 1e-12);
        }
    }

    /// Several primer lines above the part are none either; several below it are layer 0.
    #[test]
    fn primers_of_several_lines() {
        let above = [flat(0.0, 0.4), flat(0.4, 0.2), flat(0.2, 0.4)].concat();
        assert_eq!(after(&above).0, [0, 0, 0, 0, 0, 0, 0, 1, 1]);
        assert_eq!(
            after(&[flat(0.0, 0.2), flat(0.2, 0.4)].concat()).1.count(),
            2
        );
    }

    /// The rise from a primer line to the part is no pitch: a spiral goes by its first layer's height.
    #[test]
    fn a_primer_teaches_no_pitch() {
        let mut lines = vec![(0.0, 0.1, false), (0.1, 0.1, true)];
        lines.extend(flat(0.1, 0.3));
        lines.extend([(0.3, 0.5, true), (0.5, 0.6, true)]);
        assert_eq!(after(&lines).0, [0, 0, 0, 0, 0, 0, 1]);
    }

    /// Turns of climbing and flat pieces: one layer a pitch, however many pieces.
    #[test]
    fn a_spiral_of_flat_and_climbing_pieces() {
        let mut lines = [flat(0.0, 0.2), flat(0.2, 0.4)].concat();
        let mut z = 0.4;
        for _ in 0..10 {
            for piece in 0..8 {
                let to = z + if piece % 2 == 0 { 0.05 } else { 0.0 };
                lines.push((z, to, true));
                z = to;
            }
        }
        let (borne, layers) = after(&lines);
        assert_eq!(borne.last(), Some(&11));
        assert!((layers.height_mm() - 0.2).abs() < 1e-9);
        // A travel move between: the flat line behind it begins a layer at once.
        lines.push((z, z + 0.1, false));
        lines.push((z + 0.1, z + 0.1, true));
        assert_eq!(after(&lines).1.layer, 12);
    }
}
