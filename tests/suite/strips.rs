//! Strips of time around stalls, and the path of all layers.

use headstall::board::types::Board;
use headstall::demo::lantern::STUTTERS;
use headstall::replay::stream::{Done, Watcher, replay};
use headstall::replay::world::Cause;
use headstall::study::bumps;
use headstall::study::paths::Paths;
use headstall::study::strips::Strips;
use headstall::study::watch::{Found, Watch};

use super::making::board_from;

/// Chords of a twentieth of a radian on circles, layer by layer.
fn circles(layers: u32, chords: u32) -> String {
    let mut job = String::from("M83\nG1 F4800\n");
    for layer in 1..=layers {
        job += &format!("G0 X62 Y50 Z{:.2}\n", 0.2 * f64::from(layer));
        for k in 1..=chords {
            let a = f64::from(k) * 0.02;
            job += &format!(
                "G1 X{:.3} Y{:.3} E0.01\n",
                50.0 + 12.0 * a.cos(),
                50.0 + 12.0 * a.sin()
            );
        }
    }
    job
}

/// What a watch found, and the most that one stall lost, s.
fn watched(job: &str, board: &Board, strips: Strips) -> (Found, f64) {
    let mut most_s: f64 = 0.0;
    let each = |found: &bumps::Found| {
        if let bumps::Found::Stall(stall) = found {
            most_s = most_s.max(stall.lost_s);
        }
    };
    let mut watch = Watch::new(&board.nozzle, each).with_strips(strips);
    replay(job.as_bytes(), board, 0, &mut watch).unwrap();
    (watch.found(), most_s)
}

#[test]
fn strips_show_what_happened() {
    let board = board_from(STUTTERS, &[]);
    let (found, most_s) = watched(&circles(3, 3000), &board, Strips::new(12));
    let strips = &found.seen.strips;
    assert_eq!(strips.len(), 12);
    assert!(found.seen.stalls() > 20);
    // The worst of all is the first, and they fall from there.
    assert_eq!(strips[0].lost_s, most_s);
    assert!(strips.windows(2).all(|p| p[0].lost_s >= p[1].lost_s));
    for strip in strips {
        assert!(strip.from_s < strip.to_s && strip.to_s - strip.from_s < 3.0);
        assert!(
            strip.t_s >= strip.from_s && strip.t_s <= strip.to_s,
            "{:?}",
            strip.stall
        );
        // The loop does one thing at a time, and its time is accounted for.
        assert!(
            strip
                .held
                .windows(2)
                .all(|h| h[0].to_s <= h[1].from_s + 1e-12)
        );
        let (first, last) = (strip.held[0], strip.held[strip.held.len() - 1]);
        assert!(
            strip
                .held
                .windows(2)
                .all(|h| h[1].from_s - h[0].to_s < 1e-9)
        );
        // What is not over when the strip is cut is not told yet.
        assert!(first.from_s <= strip.from_s + 1e-9 && last.to_s >= strip.to_s - 0.02);
        // The queue, by insertions and ends, is what each block saw at its start.
        let steps = strip.queue();
        assert!(
            steps
                .iter()
                .all(|s| (0..=board.queue.blocks as i64).contains(&s.1)),
            "{steps:?}"
        );
        for piece in &strip.pieces {
            if piece.start_s >= strip.from_s && piece.start_s < strip.to_s {
                let at = steps.iter().rfind(|s| s.0 <= piece.start_s).unwrap();
                assert!(
                    (at.1 - i64::from(piece.queued)).abs() <= 1,
                    "{} {at:?}",
                    piece.queued
                );
            }
        }
    }
    // A save shows in the strip of a stall that it caused.
    let saves = strips.iter().filter(|s| {
        s.held
            .iter()
            .any(|h| h.by == Cause::Save && h.to_s - h.from_s > 0.05)
    });
    assert!(saves.count() >= 6);
}

/// A stall without end, as on a starved line, has a strip of bounded length too.
#[test]
fn strips_of_long_stalls_are_short() {
    let text = headstall::board::builtin::text("8bit-serial-115200").unwrap();
    let (found, most_s) = watched(
        &circles(1, 20_000),
        &board_from(text, &["link.reply_ms=20"]),
        Strips::new(5),
    );
    let first = &found.seen.strips[0];
    assert!(most_s > 60.0);
    assert!(first.to_s - first.from_s < 3.0 && first.pieces.len() <= 400 && !first.held.is_empty());
}

struct Both {
    paths: Paths,
    places: Vec<(u32, [f64; 2])>,
}

impl Watcher for Both {
    fn block(&mut self, done: &Done) {
        self.paths.block(done);
        if done.place.e_mm > 0.0 {
            let to = done.place.to_mm;
            self.places.push((done.layer, [to[0], to[1]]));
        }
    }

    fn stop(&mut self, _start_s: f64, _end_s: f64) {}
}

/// No corner of the path is farther from what is kept than is said, whatever the room.
#[test]
fn paths_stay_within_their_bound() {
    let board = board_from(STUTTERS, &[]);
    for room in [100_000, 600, 400] {
        let mut both = Both {
            paths: Paths::with_room(room),
            places: Vec::new(),
        };
        replay(circles(4, 2000).as_bytes(), &board, 0, &mut both).unwrap();
        let (layers, within_mm) = both.paths.finish(|_| true);
        assert_eq!(layers.len(), 4);
        assert_eq!(within_mm <= 0.02, room == 100_000, "{within_mm}");
        let knots: usize = layers.iter().map(|l| l.knots.len()).sum();
        assert!(knots <= room, "{knots}");
        for (layer, at) in both.places.iter().step_by(7) {
            let knots = &layers[*layer as usize].knots;
            let off = knots
                .windows(2)
                .filter(|w| w[1].level.is_some())
                .map(|w| {
                    let p = [at[0] as f32, at[1] as f32];
                    let (dx, dy) = (w[1].x_mm - w[0].x_mm, w[1].y_mm - w[0].y_mm);
                    let long = dx * dx + dy * dy;
                    let t = ((p[0] - w[0].x_mm) * dx + (p[1] - w[0].y_mm) * dy) / long.max(1e-12);
                    let t = t.clamp(0.0, 1.0);
                    (p[0] - w[0].x_mm - t * dx).hypot(p[1] - w[0].y_mm - t * dy)
                })
                .fold(f32::MAX, f32::min);
            assert!(
                f64::from(off) <= 2.0 * within_mm + 1e-3,
                "{off} of {within_mm}"
            );
        }
        // Layers and lines are told.
        assert!(
            layers
                .windows(2)
                .all(|l| l[0].layer < l[1].layer && l[0].z_mm < l[1].z_mm)
        );
        assert!(
            layers
                .iter()
                .all(|l| l.knots.windows(2).all(|k| k[0].line <= k[1].line))
        );
    }
    // Or by what the reader of it wants.
    let mut both = Both {
        paths: Paths::default(),
        places: Vec::new(),
    };
    replay(circles(4, 2000).as_bytes(), &board, 0, &mut both).unwrap();
    let count = |layers: &[headstall::study::paths::LayerPath]| {
        layers.iter().map(|l| l.knots.len()).sum::<usize>()
    };
    let (layers, within_mm) = both.paths.finish(|layers| count(layers) <= 600);
    assert!(layers.len() == 4 && within_mm > 0.02 && count(&layers) <= 600);
}

/// The strip of any stall can be had, and it is the one that stands among the others.
#[test]
fn the_strip_of_one_stall() {
    let board = board_from(STUTTERS, &[]);
    let job = circles(3, 3000);
    let (found, _) = watched(&job, &board, Strips::new(1000));
    let all = &found.seen.strips;
    assert!(all.len() > 20);
    for strip in [&all[0], &all[all.len() / 2], &all[all.len() - 1]] {
        let (found, _) = watched(&job, &board, Strips::only(strip.stall));
        assert_eq!(found.seen.strips, std::slice::from_ref(strip));
    }
    let (found, _) = watched(&job, &board, Strips::only(1_000_000));
    assert!(found.seen.strips.is_empty());
}
