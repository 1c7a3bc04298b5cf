//! Boards and jobs into the search for remedies: every change ends, and all sums are numbers.

use std::io::Cursor;

use headstall::job::reader::JobReader;
use headstall::replay::source::Planned;
use headstall::study::cures::{Trial, cures};
use headstall::study::sample::sample;

use super::shared;

/// Of a dearer replay all the changes take too long for a fuzzer.
const WORK_MAX: usize = 20_000;

/// The check.
pub fn check(bytes: &[u8]) {
    let Some((board, job)) = shared::board(bytes) else {
        return;
    };
    let Ok(kept) = Planned::new(JobReader::new(job), &board).store() else {
        return;
    };
    match sample(&kept, &board, 3, None) {
        Ok(run) if run.cost.work <= WORK_MAX => {}
        _ => return,
    }
    let open = || -> std::io::Result<Box<dyn std::io::Read + Send>> {
        Ok(Box::new(Cursor::new(job.to_vec())))
    };
    let trial = Trial {
        open: &open,
        board: &board,
        seed: 3,
        visible_mm: 0.1,
        threads: 1,
        patience: 0.01,
    };
    let found = cures(&trial, &|_| {}).unwrap();
    for average in found.single.iter().map(|t| &t.after).chain([&found.before]) {
        let all = [
            average.visible,
            average.highest_mm,
            average.stalls,
            average.lost_s,
            average.replay_s,
        ];
        assert!(all.iter().all(|v| v.is_finite()), "{average:?}");
    }
    assert!(found.single.iter().all(|t| t.shift_mm <= 0.0501));
}
