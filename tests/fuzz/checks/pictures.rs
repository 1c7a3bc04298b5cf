//! Boards and jobs into the pictures: valid XML without NaN, small.
use headstall::replay::stream::replay;
use headstall::report::advice;
use headstall::report::map::{self, MapText};
use headstall::report::page::{self, Page};
use headstall::report::summary::{Question, Summary};
use headstall::report::wall::{Across, Bump, Caption};
use headstall::report::{part, queue, speed, wall};
use headstall::study::bumps::Found as Finding;
use headstall::study::paths::Paths;
use headstall::study::stalls::Stall;
use headstall::study::watch::Watch;
use headstall::surface::skin::Wanted;

use super::shared;

const WANTED: Wanted = Wanted {
    walls: true,
    stalls_max: 10_000,
    aside: false,
};

/// The check.
pub fn check(bytes: &[u8]) {
    let Some((board, job)) = shared::board(bytes) else {
        return;
    };
    let mut stalls: Vec<Stall> = Vec::new();
    let mut watch = Watch::new(&board.nozzle, |found: &Finding| {
        if let Finding::Stall(stall) = found {
            stalls.push(*stall);
        }
    })
    .with_trace(None)
    .with_surface(&board.nozzle, &WANTED)
    .with_strips(8)
    .with_paths(Paths::with_room(2_000));
    let Ok(done) = replay(job, &board, 3, &mut watch) else {
        return;
    };
    let found = watch.found();
    let (Some(exposure), Some(paths)) = (&found.exposure, found.paths) else {
        return;
    };
    let name = String::from_utf8_lossy(&job[..job.len().min(200)]).into_owned();
    let bumps: Vec<Bump> = stalls.iter().map(|s| Bump::new(s, s.excess_mm3)).collect();
    let question = Question {
        job: &name,
        board: &board,
        board_name: "fuzz",
        set: &[],
        seed: 3,
    };
    let summary = Summary::new(&question, &done, &found.seen, None);
    let text = MapText {
        verdict: summary.verdict.clone(),
        job: name.clone(),
        board: board.name.clone(),
        layers: summary.layers,
    };
    let room = board.queue.blocks;
    let mut pictures = vec![
        map::svg(&found.trace, &text),
        queue::svg(found.seen.strips.first(), room, &name, &board.name),
    ];
    let lost_s: Vec<f64> = found.seen.layers.iter().map(|l| l.lost_s).collect();
    for across in [Across::Angle, Across::Length] {
        let caption = Caption {
            verdict: summary.verdict.clone(),
            job: name.clone(),
            board: "b".into(),
            visible_mm: 0.1,
            across,
        };
        pictures.push(wall::svg(
            &exposure.walls,
            &exposure.patches,
            &bumps,
            &caption,
        ));
        pictures.push(part::svg(&exposure.walls, &bumps, &caption));
        pictures.push(speed::svg(&exposure.wall_mm, &lost_s, &caption));
    }
    for svg in pictures {
        assert!(svg.len() < 2_000_000);
        let xml = roxmltree::Document::parse(&svg).unwrap();
        for node in xml
            .descendants()
            .filter(|n| !n.has_tag_name("title") && !n.has_tag_name("desc"))
        {
            for attribute in node.attributes() {
                let value = attribute.value();
                assert!(!value.contains("NaN") && !value.contains("inf"), "{value}");
            }
        }
    }
    let (layers, within_mm) = paths.finish(page::paths_fit);
    let html = page::html(&Page {
        summary: &summary,
        ideas: &advice::ideas(&summary, &board),
        board_text: "name = \"fuzz\"",
        queue_blocks: room,
        stalls: &stalls,
        strips: &found.seen.strips,
        layers: &layers,
        within_mm,
        pictures: &[],
        comparison: None,
    });
    // Whatever the job says, the page has its own two scripts and no other.
    assert_eq!(html.matches("<script").count(), 2);
    assert!(html.len() < 5_000_000);
}
