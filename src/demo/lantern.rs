//! The demo job: a fluted shade for a harbour lantern, printed by a theatre's prop workshop, and the
//! two boards that it is printed on. All of it is invented.
//!
//! The shade is a ring of half-round flutes between two walls, bellied like a barrel, open at the
//! top. Each layer: outer wall, inner wall one bead inside, a plain ring within, and ribs that tie
//! the two together. The flutes are true circular arcs, cut into short chords unless
//! [`Lantern::arcs`] is set: those chords are what starves a slow board. The seam's jitter comes from
//! [`Lantern::seed`], so the same lantern always gives the same bytes.
//!
//! ```
//! use headstall::demo::lantern::{Lantern, STUTTERS};
//!
//! let job = Lantern { layers: 2, ..Lantern::default() }.job();
//! assert!(job.lines().any(|line| line == "; lantern, layer 2 of 2"));
//! assert!(headstall::board::profile::parse(STUTTERS, "stutters.toml", &[]).is_ok());
//! ```

use std::f64::consts::{PI, TAU};
use std::fmt::Write as _;

/// The board file of the old printer, on which the lantern stutters.
pub const STUTTERS: &str = include_str!("../../scenarios/lantern/stutters.toml");
/// The board file of the rebuilt printer, on which it does not.
pub const STEADY: &str = include_str!("../../scenarios/lantern/steady.toml");

const BEAD_MM: f64 = 0.45;
const FILAMENT_MM: f64 = 1.75;
const CENTRE_MM: f64 = 100.0;
const RETRACT_MM: f64 = 0.8;

/// Which lantern.
#[derive(Clone, Debug, PartialEq)]
pub struct Lantern {
    /// Seed of the seam's jitter.
    pub seed: u64,
    /// Layers, at least 1.
    pub layers: u32,
    /// Height of a layer, mm.
    pub layer_height_mm: f64,
    /// Flutes around the shade, at least 6.
    pub flutes: u32,
    /// Radius on which the flutes stand, mm; at least 15.
    pub radius_mm: f64,
    /// Length of the outer wall's chords, mm; the inner wall's are three times as long.
    pub chord_mm: f64,
    /// Flutes as arcs (G2, G3) instead of chords.
    pub arcs: bool,
}

impl Default for Lantern {
    fn default() -> Self {
        Lantern {
            seed: 7,
            layers: 40,
            layer_height_mm: 0.25,
            flutes: 20,
            radius_mm: 20.0,
            chord_mm: 0.25,
            arcs: false,
        }
    }
}

impl Lantern {
    /// The job file.
    pub fn job(&self) -> String {
        make(self)
    }
}

/// A pen that knows where it is and what a bead costs in filament.
struct Pen {
    text: String,
    at: (f64, f64),
    e_per_mm: f64,
}

impl Pen {
    fn line(&mut self, text: &str) {
        self.text.push_str(text);
        self.text.push('\n');
    }

    /// Goes there without printing; farther than a bead's width the filament is drawn back.
    fn travel(&mut self, to: (f64, f64)) {
        let far = distance(self.at, to) > 2.0;
        if far {
            let _ = writeln!(self.text, "G1 E-{RETRACT_MM} F2400");
        }
        let _ = writeln!(self.text, "G0 X{:.3} Y{:.3} F9000", to.0, to.1);
        if far {
            let _ = writeln!(self.text, "G1 E{RETRACT_MM} F2400");
        }
        self.at = to;
    }

    /// Prints a straight bead.
    fn print(&mut self, to: (f64, f64)) {
        let e = distance(self.at, to) * self.e_per_mm;
        let _ = writeln!(self.text, "G1 X{:.3} Y{:.3} E{e:.5}", to.0, to.1);
        self.at = to;
    }

    /// Prints along a circle, counter-clockwise by `turn` rad: one arc, or chords.
    fn sweep(
        &mut self,
        shape: &Lantern,
        chord: f64,
        centre: (f64, f64),
        radius: f64,
        from: f64,
        turn: f64,
    ) {
        let length = radius * turn.abs();
        if !shape.arcs {
            let chords = (length / chord).ceil().max(1.0) as u32;
            for c in 1..=chords {
                let angle = from + turn * f64::from(c) / f64::from(chords);
                self.print(about(centre, radius, angle));
            }
            return;
        }
        let to = about(centre, radius, from + turn);
        let word = if turn > 0.0 { "G3" } else { "G2" };
        let (i, j) = (centre.0 - self.at.0, centre.1 - self.at.1);
        let e = length * self.e_per_mm;
        let _ = writeln!(
            self.text,
            "{word} X{:.3} Y{:.3} I{i:.3} J{j:.3} E{e:.5}",
            to.0, to.1
        );
        self.at = to;
    }
}

fn distance(a: (f64, f64), b: (f64, f64)) -> f64 {
    (a.0 - b.0).hypot(a.1 - b.1)
}

/// The point at `angle` on a circle.
fn about(centre: (f64, f64), radius: f64, angle: f64) -> (f64, f64) {
    (
        centre.0 + radius * angle.cos(),
        centre.1 + radius * angle.sin(),
    )
}

fn polar(radius: f64, angle: f64) -> (f64, f64) {
    about((CENTRE_MM, CENTRE_MM), radius, angle)
}

/// A small generator of jitter (splitmix64, from memory).
fn jitter(state: &mut u64) -> f64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
}

/// One round of flutes, arcs about centres just within the circle of `radius` on which their cusps
/// lie. `inside` mm within, the flutes are smaller and a small arc leads around each cusp.
fn wall(pen: &mut Pen, shape: &Lantern, radius: f64, inside: f64, start: f64) {
    let pitch = TAU / f64::from(shape.flutes);
    let foot = radius * (pitch / 2.0).cos();
    let flute = radius * (pitch / 2.0).sin() - inside;
    let half = PI / 2.0;
    let (chord, speed) = if inside == 0.0 {
        (shape.chord_mm, 4800)
    } else {
        (3.0 * shape.chord_mm, 6000)
    };
    for k in 0..shape.flutes {
        let middle = start + pitch * f64::from(k);
        let centre = polar(foot, middle);
        if k == 0 {
            pen.travel(about(centre, flute, middle - half));
            pen.line(&format!("G1 F{speed}"));
        }
        pen.sweep(shape, chord, centre, flute, middle - half, PI);
        if inside > 0.0 {
            let cusp = polar(radius, middle + pitch / 2.0);
            pen.sweep(shape, chord, cusp, inside, middle - half, pitch - PI);
        }
    }
}

/// A plain ring in chords of about 2 mm.
fn ring(pen: &mut Pen, radius: f64, start: f64) {
    pen.travel(polar(radius, start));
    pen.line("G1 F3000");
    let chords = (TAU * radius / 2.0).ceil() as u32;
    for c in 1..=chords {
        pen.print(polar(
            radius,
            start + TAU * f64::from(c) / f64::from(chords),
        ));
    }
}

/// Ribs between the inner ring and the flutes: a zigzag of straight beads.
fn ribs(pen: &mut Pen, inner: f64, outer: f64, ribs: u32, start: f64) {
    pen.travel(polar(inner, start));
    pen.line("G1 F4800");
    for r in 1..=2 * ribs {
        let angle = start + TAU * f64::from(r) / f64::from(2 * ribs);
        pen.print(polar(if r % 2 == 1 { outer } else { inner }, angle));
    }
}

fn make(shape: &Lantern) -> String {
    let h = shape.layer_height_mm;
    let bead_mm2 = (BEAD_MM - h) * h + PI * h * h / 4.0;
    let filament_mm2 = PI * FILAMENT_MM * FILAMENT_MM / 4.0;
    let mut pen = Pen {
        text: String::new(),
        at: (0.0, 0.0),
        e_per_mm: bead_mm2 / filament_mm2,
    };
    pen.line("; shade of the harbour lantern, act two; prop workshop");
    pen.line("G21\nG90\nM83\nM140 S60\nM104 S205\nM190 S60\nM109 S205\nG28\nG92 E0");
    let mut state = shape.seed;
    let height = h * f64::from(shape.layers);
    for layer in 0..shape.layers {
        let z = h * f64::from(layer + 1);
        pen.line(&format!(
            "; lantern, layer {} of {}",
            layer + 1,
            shape.layers
        ));
        pen.line(&format!("M117 lantern {} of {}", layer + 1, shape.layers));
        if layer == 2 {
            pen.line("M106 S255");
        }
        pen.line(&format!("G0 Z{z:.3} F600"));
        let radius = shape.radius_mm * (1.0 + 0.08 * (PI * z / height).sin());
        let start = (jitter(&mut state) - 0.5) * 0.02;
        let speed = if layer == 0 { 40 } else { 100 };
        pen.line(&format!("M220 S{speed}"));
        wall(&mut pen, shape, radius, BEAD_MM, start);
        wall(&mut pen, shape, radius, 0.0, start);
        // The ribs end one bead within the inner wall where it is narrowest, at the cusps.
        let tip = radius - 2.0 * BEAD_MM;
        let inner = tip - 5.0;
        ring(&mut pen, inner, start + PI / 3.0);
        let count = shape.flutes * if layer < 3 { 4 } else { 1 };
        ribs(&mut pen, inner + BEAD_MM, tip, count, start);
    }
    pen.line("M220 S100\nG1 E-2 F2400");
    pen.line(&format!("G0 Z{:.3} F600", (height + 10.0).max(60.0)));
    pen.line("M107\nM104 S0\nM140 S0\nM84");
    pen.text
}
