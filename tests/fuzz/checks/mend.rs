//! Jobs written anew: every means on every wall, and the mended job is the same print within the allowance.

use std::io::Read;

use headstall::study::mend::mark::{self, Mark};
use headstall::study::mend::pass::Pass;
use headstall::study::mend::plan::{Allow, Plan, Treat};
use headstall::study::mend::proof::{Differs, sameness};
use headstall::study::mend::runs::Terms;

use super::shared;

/// How far the path may move, mm.
const WITHIN_MM: f64 = 0.05;
/// What rounding may add to it, mm: half a step of 0.001 mm on two axes.
const ROUNDING_MM: f64 = 0.75e-3;
/// What a layer's filament may differ by, mm.
const FILAMENT_MM: f64 = 1e-4;
/// The terms that the mark names.
const TERMS: Terms = Terms {
    within_mm: WITHIN_MM,
    allow: Allow::USUAL,
    everywhere: true,
    visible_mm: 0.1,
    runs: 1,
    seed: 0,
    threads: 1,
};
/// Longer jobs say no more and take longer.
const JOB_BYTES_MAX: usize = 1 << 14;

/// The check. The first byte chooses the means, five more the board, the rest is the job.
pub fn check(bytes: &[u8]) {
    let Some((means, bytes)) = bytes.split_first() else {
        return;
    };
    let Some((board, job)) = shared::board(bytes) else {
        return;
    };
    if job.len() > JOB_BYTES_MAX {
        return;
    }
    let has = |bit: u8| means & bit != 0;
    let plan = Plan {
        others: Treat {
            merge: has(1),
            block_s: if has(2) { 1.0 } else { 0.5 },
            arcs: has(4),
            strip: has(8),
            pace: if has(16) { 0.7 } else { 1.0 },
            bridge: if has(64) { 1.0 } else { 0.0 },
            slows: has(128),
        },
        mark: if has(32) {
            TERMS.mark(&board, None)
        } else {
            Mark::default()
        },
        ..Plan::none(WITHIN_MM)
    };
    let mut mended = Vec::new();
    let read = Pass::new(job, job, &board, &plan).read_to_end(&mut mended);
    if read.is_err() {
        return;
    }
    if has(32) {
        let earlier = mark::earlier(mended.as_slice()).expect("bytes in memory can be read");
        let earlier = earlier.expect("a mended job has a mark");
        assert!(plan.mark.repeats(&earlier), "the seal is broken");
    }
    let same = match sameness(job, mended.as_slice(), &board) {
        Ok(same) => same,
        // Without its comments a job may have too large a share of odd bytes.
        Err(Differs::Job(_)) => return,
        Err(e) => panic!("{e}\n{}", String::from_utf8_lossy(&mended)),
    };
    assert!(
        same.deviation_mm <= WITHIN_MM + ROUNDING_MM && same.filament_mm <= FILAMENT_MM,
        "{same:?}\n{}",
        String::from_utf8_lossy(&mended)
    );
}
