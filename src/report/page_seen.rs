//! The part of `report.html` in which somebody notes the bumps that are seen on a print, for `explain`.

use std::fmt::Write;

use serde::Serialize;

use crate::answer::replay::{Drawing, ReplayAnswer};
use crate::study::explain::moves::Outline;

use super::look::picture::escape;
use super::text::shell_word;

/// What the browser runs for it.
pub const SCRIPT: &str = include_str!("page/seen.js");

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
    let Some(walls) = walls else {
        return;
    };
    let mut choice = String::new();
    if walls.parts.len() > 1 {
        choice += "<label>Part, counted from the left <select id=\"seen-part\">";
        for part in 1..=walls.parts.len() {
            let _ = write!(choice, "<option>{part}</option>");
        }
        choice += "</select></label>";
    }
    let _ = writeln!(
        body,
        "<section id=\"seen\"><h2>Bumps that you see</h2>\n\
         <p>Hold the print beside this unrolled wall and click where you see a bump, the faint ones too. \
         0° points right on the bed, 90° to the back. Then save the list and run \
         <code>headstall explain {} seen.csv</code> with the same board: it says whether the controller made them.</p>\n\
         <p class=\"note\" id=\"seen-keys\">By keyboard: arrow keys move the cross-hair (with Shift ten times as far), \
         Enter sets a bump, Backspace takes the last one back. Nothing is kept when you close this page: save the list.</p>\n\
         <div class=\"controls\">{choice}\
         <button type=\"button\" id=\"seen-undo\">Undo</button><button type=\"button\" id=\"seen-clear\">Clear</button>\
         <button type=\"button\" id=\"seen-save\">Save seen.csv</button>\
         <label>Load a list <input type=\"file\" id=\"seen-load\" accept=\".csv,text/csv\"></label>\
         <label><input type=\"checkbox\" id=\"seen-predicted\"> Show predicted bumps (they bias the eye: mark first)</label></div>\n\
         <div class=\"paper\"><svg id=\"seen-wall\" role=\"application\" tabindex=\"0\" \
         aria-label=\"Unrolled outer wall: angle across, height up\" aria-describedby=\"seen-keys\"></svg></div>\n\
         <p id=\"seen-told\" role=\"status\">No bump is marked yet.</p>\n\
         <label for=\"seen-csv\">The list, to copy</label>\
         <textarea id=\"seen-csv\" readonly rows=\"7\" spellcheck=\"false\"></textarea></section>",
        escape(&shell_word(job))
    );
}
