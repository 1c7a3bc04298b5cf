//! The part of `report.html` in which somebody notes the bumps that are seen on a print, for `explain`.

use std::fmt::Write;

use serde::Serialize;

use crate::answer::replay::{Drawing, ReplayAnswer};
use crate::study::explain::moves::Outline;

use super::look::picture::escape;
use super::text::shell_word;

/// The walls, for the script. The middles are those that `explain` takes angles from.
#[derive(Serialize)]
pub struct SeenWalls {
    parts: Vec<SeenWall>,
    /// The top of each layer, mm.
    tops: Vec<f64>,
}

/// The unrolled wall of one part.
#[derive(Serialize)]
struct SeenWall {
    /// x and y about which its angles run, mm.
    middle: [f64; 2],
    /// The box around it: least and greatest x and y, mm.
    low: [f64; 2],
    high: [f64; 2],
    /// Its height, mm.
    top: f64,
}

impl SeenWalls {
    /// The walls of an answer; `None` where nothing is printed.
    pub fn of(answer: &ReplayAnswer, drawing: &Drawing) -> Option<Self> {
        let plate = drawing.plate.as_ref()?;
        let round = |v: f64| (v * 1e4).round() / 1e4;
        let wall = |outline: &Outline, top_mm: f64| SeenWall {
            middle: outline.middle_mm().map(round),
            low: outline.low_mm.map(round),
            high: outline.high_mm.map(round),
            top: round(top_mm),
        };
        let parts: Vec<SeenWall> = if plate.parts.len() > 1 {
            let parts = plate.parts.iter().zip(&plate.tops_mm);
            parts.map(|(outline, top)| wall(outline, *top)).collect()
        } else {
            let outline = plate.only().unwrap_or(plate.whole);
            let top_mm = plate.tops_mm.iter().copied().fold(0.0, f64::max);
            vec![wall(&outline, top_mm)]
        };
        let is_flat = parts.iter().any(|p| p.top <= 0.0);
        (!is_flat).then(|| SeenWalls {
            parts,
            tops: answer.layers.iter().map(|l| round(l.z_mm)).collect(),
        })
    }
}

/// The section; the script fills it.
pub fn section(body: &mut String, walls: Option<&SeenWalls>, job: &str) {
    if walls.is_none() {
        return;
    }
    let _ = writeln!(
        body,
        "<section id=\"seen\"><h2>Bumps that you see</h2>\n\
         <p>Hold the print beside this unrolled wall and click where you see a bump, the faint ones too. \
         0° points right on the bed, 90° to the back. Then save the list and run \
         <code>headstall explain {} seen.csv</code> with the same board: it says whether the controller made them.</p>\n\
         <div class=\"view\"></div></section>",
        escape(&shell_word(job))
    );
}
