//! Boards and jobs into the pictures: valid XML without NaN, small.
#![no_main]

use headstall::replay::stream::{Done, Watcher, replay};
use headstall::report::map::{self, MapText};
use headstall::report::wall::{Across, Bump, Caption};
use headstall::report::{part, wall};
use headstall::study::stalls::Stall;
use headstall::study::watch::Watch;
use headstall::surface::skin::Skin;
use libfuzzer_sys::fuzz_target;

#[path = "shared.rs"]
mod shared;

struct Both<S> {
    watch: Watch<S>,
    skin: Skin,
}

impl<S: FnMut(&Stall)> Watcher for Both<S> {
    fn block(&mut self, done: &Done) {
        self.watch.block(done);
        self.skin.block(done);
    }

    fn stop(&mut self, start_s: f64, end_s: f64) {
        self.watch.stop(start_s, end_s);
    }
}

fuzz_target!(|bytes: &[u8]| {
    let Some((board, job)) = shared::board(bytes) else { return };
    let mut bumps = Vec::new();
    let watch = Watch::new(&board.nozzle, None, |s: &Stall| {
        bumps.push(Bump { place_mm: s.place_mm, bump_mm: s.excess_mm3 });
    });
    let mut both = Both { watch, skin: Skin::new(&board.nozzle) };
    let Ok(done) = replay(job, &board, 3, &mut both) else { return };
    let (_, trace) = both.watch.finish();
    let exposure = both.skin.finish();
    let text = MapText {
        verdict: String::from_utf8_lossy(&job[..job.len().min(200)]).into_owned(),
        job: "j".into(),
        board: board.name.clone(),
        layers: done.source.steps.layers().count(),
    };
    let mut pictures = vec![map::svg(&trace, &text)];
    for across in [Across::Angle, Across::Length] {
        let caption = Caption {
            verdict: text.verdict.clone(),
            job: "j".into(),
            board: "b".into(),
            visible_mm: 0.1,
            across,
        };
        pictures.push(wall::svg(&exposure.walls, &bumps, &caption));
        pictures.push(part::svg(&exposure.walls, &bumps, &caption));
    }
    for svg in pictures {
        assert!(svg.len() < 2_000_000);
        let xml = roxmltree::Document::parse(&svg).unwrap();
        for node in xml.descendants() {
            for attribute in node.attributes() {
                let value = attribute.value();
                assert!(!value.contains("NaN") && !value.contains("inf"), "{value}");
            }
        }
    }
});
