//! All pictures of one replay, and the page that holds them.

use headstall::board::types::Board;
use headstall::report::advice::Idea;
use headstall::report::look::png::png;
use headstall::report::map::{self, MapText};
use headstall::report::page::{self, Page};
use headstall::report::summary::Summary;
use headstall::report::wall::{Across, Bump, Caption};
use headstall::report::{part, queue, speed, wall};
use headstall::study::stalls::Stall;
use headstall::study::watch::Seen;
use headstall::study::{paths::Paths, trace::LayerTrace};
use headstall::surface::skin::Exposure;

use super::args::{By, Replay};
use super::failure::Failure;
use super::folder::{Folder, save};

/// What they are made from.
pub struct Material<'a> {
    pub args: &'a Replay,
    pub board: &'a Board,
    pub board_text: &'a str,
    pub summary: &'a Summary,
    pub seen: &'a Seen,
    pub trace: &'a LayerTrace,
    pub exposure: &'a Exposure,
    pub stalls: &'a [Stall],
    pub visible: &'a [(f64, Stall)],
    pub ideas: &'a [Idea],
    /// A comparison's chart that lies in the same folder.
    pub comparison: Option<String>,
}

/// Draws all and puts them in the folder.
pub fn draw(m: &Material, paths: Paths, folder: &mut Folder) -> Result<(), Failure> {
    let s = m.summary;
    let text = MapText {
        verdict: s.verdict.clone(),
        job: s.job.clone(),
        board: s.board.clone(),
        layers: s.layers,
    };
    let caption = Caption {
        verdict: s.verdict.clone(),
        job: s.job.clone(),
        board: s.board.clone(),
        visible_mm: m.args.visible,
        across: match m.args.by {
            By::Angle => Across::Angle,
            By::Length => Across::Length,
        },
    };
    let bumps: Vec<Bump> = m
        .visible
        .iter()
        .map(|(bump_mm, stall)| Bump::new(stall, *bump_mm))
        .collect();
    let lost_s: Vec<f64> = m.seen.layers.iter().map(|l| l.lost_s).collect();
    let walls = &m.exposure.walls;
    let room = m.board.queue.blocks;
    let pictures = [
        ("map", map::svg(m.trace, &text)),
        (
            "wall",
            wall::svg(walls, &m.exposure.patches, &bumps, &caption),
        ),
        ("part", part::svg(walls, &bumps, &caption)),
        (
            "queue",
            queue::svg(m.seen.strips.first(), room, &s.job, &s.board),
        ),
        ("speed", speed::svg(&m.exposure.wall_mm, &lost_s, &caption)),
    ];
    for (name, svg) in &pictures {
        picture(folder, name, svg, m.args.png)?;
    }
    let (layers, within_mm) = paths.finish(page::paths_fit);
    let [_, (_, wall), (_, part), _, (_, speed)] = pictures;
    let html = page::html(&Page {
        summary: s,
        ideas: m.ideas,
        board_text: m.board_text,
        queue_blocks: room,
        stalls: m.stalls,
        strips: &m.seen.strips,
        layers: &layers,
        within_mm,
        pictures: &[
            (part, "The part seen from a corner, with its visible bumps"),
            (wall, "The outer wall unrolled, with its visible bumps"),
            (
                speed,
                "Share of the outer wall by speed, and lost time by layer",
            ),
        ],
        comparison: m.comparison.as_deref(),
    });
    save(folder, "report.html", html.as_bytes())
}

/// Puts a picture in the folder, as SVG and, if that is wanted, as PNG.
pub fn picture(folder: &mut Folder, name: &str, svg: &str, as_png: bool) -> Result<(), Failure> {
    save(folder, &format!("{name}.svg"), svg.as_bytes())?;
    if as_png {
        let bytes = png(svg).map_err(|e| Failure::Other(format!("{name}.png: {e}")))?;
        save(folder, &format!("{name}.png"), &bytes)?;
    }
    Ok(())
}
