//! All pictures of one replay, and the page that holds them.

use crate::answer::replay::{Drawing, ReplayAnswer};
use crate::study::stalls::Stall;
use crate::study::trace::LayerTrace;

use super::advice;
use super::bump_marks::Bumps;
use super::map::{self, MapText};
use super::numbers::time;
use super::page::{self, Earlier, Page};
use super::page_data;
use super::summary::Summary;
use super::wall::{Across, Caption};
use super::{part, queue, speed, verdict, wall};

/// A picture: its file's name without the ending, and its SVG.
pub type Picture = (&'static str, String);

/// Draws all pictures of an answer; none where what they are drawn from was not asked for.
pub fn pictures(answer: &ReplayAnswer, summary: &Summary, across: Across) -> Vec<Picture> {
    let Some(drawing) = &answer.drawing else {
        return Vec::new();
    };
    let caption = Caption {
        verdict: summary.verdict.clone(),
        job: summary.job.clone(),
        board: summary.board.clone(),
        across,
    };
    let exposure = &drawing.exposure;
    let bumps = Bumps::of(answer, exposure);
    let text = map_text(answer, summary, drawing, &bumps);
    let (walls, parts) = (&exposure.walls, &exposure.parts);
    let worst = drawing.strips.iter();
    let worst = worst.filter_map(|s| Some((answer.stalls.of(s.stall)?, s)));
    let room = answer.board.queue.blocks;
    vec![
        ("map", map::svg(&drawing.trace, &text)),
        ("wall", wall::svg(walls, parts, &bumps, &caption)),
        ("part", part::svg(walls, parts, &bumps, &caption)),
        (
            "queue",
            queue::svg(worst.take(1).next(), room, &summary.job, &summary.board),
        ),
        (
            "speed",
            speed::svg(&exposure.wall_mm, &answer.layers, &caption),
        ),
    ]
}

/// The texts around the map, and the bumps on its layer.
fn map_text(answer: &ReplayAnswer, summary: &Summary, drawing: &Drawing, bumps: &Bumps) -> MapText {
    let trace = &drawing.trace;
    let on_layer = answer.bumps.by_layer().get(&trace.layer);
    let own = bumps.visible().filter(|b| b.layer == trace.layer);
    MapText {
        verdict: summary.verdict.clone(),
        job: summary.job.clone(),
        board: summary.board.clone(),
        layers: summary.layers,
        bumps: own.copied().collect(),
        visible: on_layer.map_or(0, |b| b.count),
        notes: map_notes(answer, trace),
    }
}

/// What else is to be said of a layer: stalls that reach into it, and where it is worse.
fn map_notes(answer: &ReplayAnswer, trace: &LayerTrace) -> Vec<String> {
    let mut notes = Vec::new();
    if trace.left_out > 0 {
        notes.push(format!(
            "This layer has too many strokes to draw them all: the shorter one of two that follow each other was left out, {} times.",
            trace.left_out
        ));
    }
    let reaches = |s: &&Stall| {
        let inside = |[first, last]: [u64; 2]| s.first_block <= last && s.last_block >= first;
        s.layer != trace.layer && trace.blocks.is_some_and(inside)
    };
    let lost = time(trace.lost_s);
    let stalls = answer.stalls.list().iter().filter(reaches);
    let longest = stalls.max_by(|a, b| a.lost_s.total_cmp(&b.lost_s));
    match longest {
        Some(stall) => {
            let none = if trace.marks.is_empty() {
                format!("No stall is placed on this layer, but {lost} are lost on it. ")
            } else {
                String::new()
            };
            notes.push(format!(
                "{none}A stall that is placed on {}, line {}, goes on here.",
                verdict::layer(answer, stall.layer),
                stall.line
            ));
        }
        None if trace.marks.is_empty() && trace.lost_s >= 5e-4 => {
            notes.push(format!(
                "No stall is placed on this layer; {lost} are lost on it."
            ));
        }
        None => {}
    }
    if let Some(worst) = answer.worst_layer().filter(|w| *w != trace.layer) {
        let what = if answer.bumps.worst_layer().is_some() {
            "Most visible bumps are"
        } else {
            "Most time is lost"
        };
        notes.push(format!("{what} on {}.", verdict::layer(answer, worst)));
    }
    notes
}

/// `report.html` around these pictures, and around those of earlier runs in the same folder.
pub fn page(
    answer: &ReplayAnswer,
    summary: &Summary,
    drawing: &Drawing,
    pictures: &[Picture],
    board_text: &str,
    earlier: &Earlier,
) -> String {
    let shown = [
        (
            "part",
            "The part seen from a corner, with its visible bumps",
        ),
        ("wall", "The outer wall unrolled, with its visible bumps"),
        (
            "speed",
            "Share of the outer wall by speed, and lost time by layer",
        ),
    ];
    let of = |name: &str| pictures.iter().find(|p| p.0 == name);
    let shown: Vec<(&str, &str)> = shown
        .iter()
        .filter_map(|(name, what)| Some((of(name)?.1.as_str(), *what)))
        .collect();
    let (layers, within_mm) = drawing.paths.clone().finish(page_data::paths_fit);
    page::html(&Page {
        summary,
        answer,
        ideas: &advice::ideas(answer),
        board_text,
        drawing,
        layers: &layers,
        within_mm,
        pictures: &shown,
        earlier,
    })
}
