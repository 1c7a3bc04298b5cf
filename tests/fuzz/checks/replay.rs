//! Boards and jobs into the replay: time runs forward, sums hold, a stored job replays the same.
use headstall::job::reader::JobReader;
use headstall::replay::source::Planned;
use headstall::replay::stream::{Done, Watcher, replay, replay_source};
use headstall::study::sample::sample;
use headstall::study::watch::Watch;

use super::shared;

struct Check<W> {
    inner: W,
    end_s: f64,
}

impl<W: Watcher> Watcher for Check<W> {
    fn block(&mut self, done: &Done) {
        assert!(
            done.ran.start_s >= self.end_s && done.ran.end_s >= done.ran.start_s,
            "{done:?}"
        );
        assert!(done.lost_s() >= -1e-9 * (1.0 + done.ideal_s()), "{done:?}");
        self.end_s = done.ran.end_s;
        self.inner.block(done);
    }

    fn stop(&mut self, start_s: f64, end_s: f64) {
        assert!(end_s >= start_s && start_s >= self.end_s);
        self.inner.stop(start_s, end_s);
    }
}

/// The check.
pub fn check(bytes: &[u8]) {
    let Some((board, job)) = shared::board(bytes) else {
        return;
    };
    let mut check = Check {
        inner: Watch::new(&board.nozzle, |_| {}),
        end_s: 0.0,
    };
    let source = Planned::new(JobReader::new(job), &board);
    let Ok(done) = replay_source(source, &board, 3, &mut check, 5000) else {
        return;
    };
    let t = done.totals;
    let sum = t.moving_s + t.gap_s + t.start_up_s + t.stop_s + t.stop_wait_s;
    assert!(
        (t.replay_s - sum).abs() <= 1e-9 * (1.0 + t.replay_s),
        "{t:?}"
    );
    if let Some(kept) = &done.kept {
        let again = sample(kept, &board, 3, None).unwrap();
        assert_eq!(again.replay_s, t.replay_s);
    }
    let mut nobody = Watch::new(&board.nozzle, |_| {});
    assert_eq!(
        replay(job, &board, 3, &mut nobody).map(|d| d.totals).ok(),
        Some(t)
    );
}
