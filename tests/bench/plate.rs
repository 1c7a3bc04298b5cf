//! Plates as wide as a bed, of moves 10 mm long: many cells to a move, where [`super::ring`] has few.

use std::fmt::Write;

/// How a plate is filled.
#[derive(Clone, Copy)]
pub enum Fill {
    /// Lines side by side, along x and along y from layer to layer.
    Solid,
    /// A grid of lines along x and y on each layer, which covers 15 % of it.
    Sparse,
}

const SIDE_MM: f64 = 350.0;
const MOVE_MM: f64 = 10.0;
const WIDTH_MM: f64 = 0.45;
const SHARE: f64 = 0.15;
/// Filament for a millimetre of a bead 0.45 mm wide and 0.2 mm high, mm.
const E_A_MM: f64 = 0.0338;

/// A layer, from 1: two loops around, then what fills them; `shifted`: it is like no layer before.
pub fn layer(layer: u32, fill: Fill, shifted: bool) -> String {
    let mut pen = Pen::new(layer);
    for inset in [0.0, WIDTH_MM] {
        let (low, high) = (inset, SIDE_MM - inset);
        pen.travel([low, low]);
        for corner in [[high, low], [high, high], [low, high], [low, low]] {
            pen.line(corner);
        }
    }
    let shift = if shifted {
        f64::from(layer) * 0.137
    } else {
        0.0
    };
    match fill {
        Fill::Solid => pen.rows(layer.is_multiple_of(2), WIDTH_MM, shift),
        Fill::Sparse => {
            let apart_mm = 2.0 * WIDTH_MM / SHARE;
            pen.rows(false, apart_mm, shift);
            pen.rows(true, apart_mm, shift);
        }
    }
    pen.text
}

struct Pen {
    at: [f64; 2],
    text: String,
}

impl Pen {
    fn new(layer: u32) -> Self {
        Pen {
            at: [0.0; 2],
            text: format!("G0 Z{:.2}\n", f64::from(layer) * 0.2),
        }
    }

    fn travel(&mut self, to: [f64; 2]) {
        writeln!(self.text, "G0 X{:.3} Y{:.3}", to[0], to[1]).unwrap();
        self.at = to;
    }

    fn line(&mut self, to: [f64; 2]) {
        let from = self.at;
        let long_mm = (to[0] - from[0]).abs() + (to[1] - from[1]).abs();
        let moves = (long_mm / MOVE_MM).ceil();
        for k in 1..=moves as u32 {
            let [x, y] = [0, 1].map(|i| from[i] + (to[i] - from[i]) * f64::from(k) / moves);
            let e = E_A_MM * long_mm / moves;
            writeln!(self.text, "G1 X{x:.3} Y{y:.3} E{e:.5}").unwrap();
        }
        self.at = to;
    }

    /// Lines to and fro, along y if `turned`; `shift_mm`: how far from the edge the first may be, mm.
    fn rows(&mut self, turned: bool, apart_mm: f64, shift_mm: f64) {
        let (low, high) = (2.0 * WIDTH_MM, SIDE_MM - 2.0 * WIDTH_MM);
        let turn = |[along, aside]: [f64; 2]| {
            if turned {
                [aside, along]
            } else {
                [along, aside]
            }
        };
        let mut ends = [low, high];
        let mut aside = low + shift_mm % apart_mm;
        self.travel(turn([low, aside]));
        while aside <= high {
            self.line(turn([ends[0], aside]));
            self.line(turn([ends[1], aside]));
            ends.swap(0, 1);
            aside += apart_mm;
        }
    }
}
