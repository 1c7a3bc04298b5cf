//! All pictures of one replay, and the page that holds them.

use crate::answer::replay::{Drawing, ReplayAnswer};

use super::advice;
use super::map::{self, MapText};
use super::page::{self, Page};
use super::summary::Summary;
use super::wall::{Across, Bump, Caption};
use super::{part, queue, speed, wall};

/// A picture: its file's name without the ending, and its SVG.
pub type Picture = (&'static str, String);

/// Draws all pictures of an answer; none where what they are drawn from was not asked for.
pub fn pictures(answer: &ReplayAnswer, summary: &Summary, across: Across) -> Vec<Picture> {
    let Some(drawing) = &answer.drawing else {
        return Vec::new();
    };
    let text = MapText {
        verdict: summary.verdict.clone(),
        job: summary.job.clone(),
        board: summary.board.clone(),
        layers: summary.layers,
    };
    let caption = Caption {
        verdict: summary.verdict.clone(),
        job: summary.job.clone(),
        board: summary.board.clone(),
        visible_mm: answer.visible_mm,
        across,
    };
    let bumps: Vec<Bump> = answer.visible_bumps().map(Bump::from).collect();
    let lost_s: Vec<f64> = answer.layers.iter().map(|l| l.lost_s).collect();
    let exposure = &drawing.exposure;
    let (walls, patches) = (&exposure.walls, &exposure.patches);
    let worst = drawing.strips.iter();
    let worst = worst.filter_map(|s| Some((answer.stalls.of(s.stall)?, s)));
    let room = answer.board.queue.blocks;
    vec![
        ("map", map::svg(&drawing.trace, &text)),
        ("wall", wall::svg(walls, patches, &bumps, &caption)),
        ("part", part::svg(walls, &bumps, &caption)),
        (
            "queue",
            queue::svg(worst.take(1).next(), room, &summary.job, &summary.board),
        ),
        ("speed", speed::svg(&exposure.wall_mm, &lost_s, &caption)),
    ]
}

/// `report.html` around these pictures. `comparison`: the chart of a comparison in the same folder, as SVG.
pub fn page(
    answer: &ReplayAnswer,
    summary: &Summary,
    drawing: &Drawing,
    pictures: &[Picture],
    board_text: &str,
    comparison: Option<&str>,
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
    let (layers, within_mm) = drawing.paths.clone().finish(page::paths_fit);
    page::html(&Page {
        summary,
        answer,
        ideas: &advice::ideas(answer),
        board_text,
        drawing,
        layers: &layers,
        within_mm,
        pictures: &shown,
        comparison,
    })
}
