//! Bytes into the job reader: no panic, no more steps than bytes, numbers that are numbers.
#![no_main]

use headstall::job::reader::JobReader;
use headstall::job::state::Act;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|job: &[u8]| {
    let mut reader = JobReader::new(job);
    let mut steps = 0;
    while let Ok(Some(step)) = reader.next_step() {
        steps += 1;
        assert!(steps <= job.len());
        if let Act::Move(m) = step.act {
            assert!(m.to_mm.iter().all(|v| v.is_finite()) && m.feed_mm_s.is_finite());
        }
    }
});
