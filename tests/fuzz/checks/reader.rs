//! Bytes into the job reader: no panic, no more steps than bytes, numbers that are numbers.
use headstall::job::reader::JobReader;
use headstall::job::state::Act;

/// The check.
pub fn check(job: &[u8]) {
    let mut reader = JobReader::new(job);
    let mut steps = 0;
    while let Ok(Some(step)) = reader.next_step() {
        steps += 1;
        assert!(steps <= job.len());
        if let Act::Move(m) = step.act {
            assert!(m.to_mm.iter().all(|v| v.is_finite()) && m.feed_mm_s.is_finite());
        }
    }
}
