//! Boards and jobs into the replay: no more blocks, calls and memory than the limits allow, in counts, so that an
//! input fails alike on any computer.
use std::cell::Cell;

use headstall::job::reader::JobReader;
use headstall::replay::cause::Cause;
use headstall::replay::source::Planned;
use headstall::replay::stream::{Done, Watcher, replay_source};
use headstall::study::sample::{has_draws, sample};
use headstall::surface::faces;
use headstall::surface::skin::Wanted;

use super::shared;

/// Chores, saves and lines that a replay may come to: the limit of chores, twice.
const CALLS_MAX: u64 = 120_000_000;
/// Blocks that any job may have; each byte may add two.
const BLOCKS_MAX: usize = 1_600_000;
/// Bytes that replays side by side may take.
const HELD_BYTES_MAX: usize = 700 << 20;

#[derive(Default)]
struct Calls(Cell<u64>);

impl Calls {
    fn add(&self) {
        self.0.set(self.0.get() + 1);
        assert!(self.0.get() <= CALLS_MAX, "a replay without end");
    }
}

impl Watcher for Calls {
    fn block(&mut self, _: &Done) {
        self.add();
    }

    fn stop(&mut self, _: f64, _: f64) {
        self.add();
    }

    fn spent(&mut self, _: Cause, _: f64, _: f64) {
        self.add();
    }

    fn inserted(&mut self, _: f64) {
        self.add();
    }
}

/// The check.
pub fn check(bytes: &[u8]) {
    let Some((board, job)) = shared::board(bytes) else {
        return;
    };
    let most = BLOCKS_MAX + 2 * job.len();
    let source = Planned::new(JobReader::new(job), &board);
    if let Ok(done) = replay_source(source, &board, 3, &mut Calls::default(), 0) {
        assert!(
            done.totals.blocks as usize <= most,
            "{} blocks",
            done.totals.blocks
        );
    }
    let wanted = Wanted {
        walls: false,
        whole: false,
        aside: false,
    };
    let mut source = Planned::new(JobReader::new(job), &board);
    let Ok((kept, exposure)) = faces::store(&mut source, &board.nozzle, &wanted) else {
        return;
    };
    let blocks = kept.block_count();
    assert!(blocks <= most, "{blocks} blocks");
    assert!(kept.line_count() <= job.len() + 1);
    assert!(kept.memory_bytes() <= 64 * blocks + 128 * (job.len() + 1));
    assert!(exposure.faces.memory_bytes() <= 2 * blocks + (1 << 16));
    // A replay that the board cannot do is refused the second time too, after as many chores.
    let Ok(run) = sample(&kept, &board, 3, None) else {
        return;
    };
    assert!(run.cost.work >= blocks && run.cost.work as u64 <= CALLS_MAX);
    assert!(run.cost.held_blocks <= blocks);
    let side_by_side = run.cost.threads(2);
    assert!(side_by_side * run.cost.held_blocks * 600 <= HELD_BYTES_MAX);
    if !has_draws(&board) {
        assert_eq!(sample(&kept, &board, 4, None).unwrap().cost, run.cost);
    }
}
