//! Lists of bumps, and jobs, into `explain`: a refusal in one line, or shares and p-values that are numbers.

use headstall::answer::explain::{ExplainQuestion, explain};
use headstall::answer::job::Job;
use headstall::board::{builtin, profile};
use headstall::report::explain::ExplainTable;
use headstall::report::folded;
use headstall::study::explain::seen;
use headstall::study::explain::view::{Errors, Window};

/// What stands between the list and a job of the fuzzer's own.
const JOB: &[u8] = b"\nJOB\n";
/// Errors of angles and heights to choose from.
const ERRORS: [f64; 8] = [0.0, 1e-9, 0.3, 3.0, 45.0, 180.0, 1e6, 1e-300];

/// Three layers of a square, for lists that come without a job.
fn square() -> Vec<u8> {
    let layer = |k: usize| {
        let z = 0.2 * (k + 1) as f64;
        format!("G1 Z{z:.1} F3000\nG1 X30 E1\nG1 Y30 E1\nG1 X10 E1\nG1 Y10 E1\n")
    };
    let layers: String = (0..3).map(layer).collect();
    format!("M83\nG28\nG1 X10 Y10 F6000\n{layers}").into_bytes()
}

/// The check. Three bytes choose the errors and the window.
pub fn check(bytes: &[u8]) {
    let Some((head, rest)) = bytes.split_at_checked(3) else {
        return;
    };
    let cut = rest.windows(JOB.len()).position(|w| w == JOB);
    let (list, text) = match cut {
        Some(at) => (&rest[..at], rest[at + JOB.len()..].to_vec()),
        None => (rest, square()),
    };
    let Ok(list) = std::str::from_utf8(list) else {
        return;
    };
    let marks = match seen::read(list) {
        Ok(marks) => marks,
        Err(why) => {
            assert!(why.lines().count() == 1, "{why}");
            return;
        }
    };
    let name = builtin::DEFAULT;
    let text_of_board = builtin::text(name).unwrap();
    let board = profile::parse(text_of_board, name, &[]).unwrap();
    let window = (head[2] < 128).then_some(Window {
        from_deg: f64::from(head[2]) - 64.0,
        to_deg: f64::from(head[2]) + 100.0,
        low_mm: 0.0,
        high_mm: f64::from(head[2]),
    });
    let question = ExplainQuestion {
        board: &board,
        marks: &marks,
        window,
        errors: Errors {
            angle_deg: ERRORS[usize::from(head[0]) % ERRORS.len()],
            z_mm: ERRORS[usize::from(head[1]) % ERRORS.len()],
        },
        visible_mm: 0.1,
        seed: 3,
        draws: 19,
        threads: 1,
    };
    match explain(&mut Job::in_memory("fuzz", text), &question, &()) {
        Ok(answer) => {
            let table = ExplainTable::new(&answer, "headstall remedies");
            // Numbers that are none would be written as null.
            serde_json::to_string(&table).unwrap();
            let svg = folded::svg(&answer, &table);
            assert!(!svg.contains("NaN") && svg.len() < 2_000_000);
        }
        Err(why) => assert!(why.to_string().lines().count() == 1, "{why}"),
    }
}
