//! Text into the board reader; what it takes must be fit for a replay.
use headstall::board::profile;
use headstall::replay::stream::replay;
use headstall::study::watch::Watch;

const JOB: &[u8] = b"M83\nG28\nG1 F3000 Z.2\nG1 X9 E.3\nG2 X9 Y9 J4.5 E.5\nG4 P5\nG1 X.1 Y.2 E.4\n";

/// The check.
pub fn check(text: &str) {
    match profile::parse(text, "fuzz.toml", &[]) {
        Ok(board) => {
            let mut watch = Watch::new(&board.nozzle, |_| {});
            if let Ok(done) = replay(JOB, &board, 7, &mut watch) {
                assert!(done.totals.replay_s.is_finite());
            }
        }
        Err(error) => {
            let error = error.to_string();
            assert!(
                error.starts_with("fuzz.toml") && error.lines().count() == 1,
                "{error}"
            );
        }
    }
}
