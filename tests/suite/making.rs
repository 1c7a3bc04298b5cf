//! What tests make: boards from a few keys, and replays with all their blocks.

use headstall::board::profile;
use headstall::board::types::Board;
use headstall::replay::stream::{Done, Watcher, replay};
use headstall::replay::world::Totals;
use headstall::study::bumps::Found;
use headstall::study::stalls::Stall;
use headstall::study::watch::Watch;
use headstall::surface::bump::Bump;

/// A card board on which nothing costs time and nothing is limited: what a test is not about.
pub const FREE: &str = r#"name = "free"
[link]
kind = "card"
sector_ms = 0
[queue]
lines = 100000
blocks = 100000
[motion]
speed_max = { x = 100000, y = 100000, z = 100000, e = 100000 }
accel_max = { x = 1e8, y = 1e8, z = 1e8, e = 1e8 }
accel = { print = 1000, travel = 1000, retract = 1000 }
corner = { rule = "deviation", mm = 0.05 }
steps_per_mm = { x = 80, y = 80, z = 400, e = 93 }
"#;

/// [`FREE`] with these keys set.
pub fn board(sets: &[&str]) -> Board {
    board_from(FREE, sets)
}

/// A board file with these keys set.
pub fn board_from(text: &str, sets: &[&str]) -> Board {
    let sets: Vec<_> = sets
        .iter()
        .map(|s| profile::Override::parse(s).expect("a test's key"))
        .collect();
    match profile::parse(text, "test.toml", &sets) {
        Ok(board) => board,
        Err(error) => panic!("{error}"),
    }
}

/// Keeps all blocks.
#[derive(Default)]
pub struct Keep {
    pub blocks: Vec<Done>,
}

impl Watcher for Keep {
    fn block(&mut self, done: &Done) {
        self.blocks.push(*done);
    }

    fn stop(&mut self, _start_s: f64, _end_s: f64) {}
}

/// What a replay came to.
pub struct Run {
    pub blocks: Vec<Done>,
    pub totals: Totals,
    pub ideal_s: f64,
    pub lost_s: f64,
}

/// Replays a job, seed 0.
pub fn run(job: &str, board: &Board) -> Run {
    let mut keep = Keep::default();
    match replay(job.as_bytes(), board, 0, &mut keep) {
        Ok(done) => Run {
            blocks: keep.blocks,
            totals: done.totals,
            ideal_s: done.ideal_s,
            lost_s: done.lost_s,
        },
        Err(error) => panic!("{error:?}"),
    }
}

/// Asserts that two numbers agree to `relative`, or to it absolutely where they are below 1.
#[track_caller]
pub fn close(found: f64, expected: f64, relative: f64) {
    let off = (found - expected).abs();
    assert!(
        off <= relative * expected.abs().max(1.0),
        "{found} against {expected}, off by {off:e}"
    );
}

/// The stalls and bumps of a replay.
pub fn found(job: &str, board: &Board, seed: u64) -> (Vec<Stall>, Vec<Bump>) {
    let (mut stalls, mut bumps) = (Vec::new(), Vec::new());
    let mut watch = Watch::new(&board.nozzle, |found: &Found| match found {
        Found::Stall(stall) => stalls.push(*stall),
        Found::Bump(bump) => bumps.push(*bump),
    });
    let done = replay(job.as_bytes(), board, seed, &mut watch);
    done.unwrap_or_else(|e| panic!("{e:?}"));
    watch.finish();
    (stalls, bumps)
}
