//! The question of `fit`: which numbers has a board on which a coupon took these times?

use crate::board::types::Board;
use crate::job::reader::Step;
use crate::study::fit::coupon::Plan;
use crate::study::fit::fitting::{self, Fit, NoFit};
use crate::study::fit::forward::{self, Coupon};
use crate::study::fit::problem::Reading;
use crate::study::fit::search::Effort;
use crate::study::fit::times;

use super::job::Job;
use super::progress::{Progress, Task};

/// About how many replays a fit takes.
const REPLAYS: u64 = 1000;

/// What is asked.
#[derive(Clone, Copy)]
pub struct FitQuestion<'a> {
    /// The coupon that was run.
    pub coupon: &'a Coupon,
    /// The board to start from.
    pub board: &'a Board,
    /// That board as it was named.
    pub board_name: &'a str,
    /// Whether the wire's speed is a guess.
    pub rate_is_free: bool,
    /// What was measured.
    pub readings: &'a [Reading],
    /// The file that it comes from.
    pub times_name: &'a str,
    /// Seed of the search.
    pub seed: u64,
    /// Threads that may be used.
    pub threads: usize,
}

/// The coupon in a file of this name, and the names of its sections.
///
/// # Errors
/// In words, where it is none.
pub fn coupon(bytes: &[u8], name: &str) -> Result<(Coupon, Vec<String>), String> {
    let steps = forward::steps(bytes).map_err(|e| format!("{name}: {e}"))?;
    let coupon = Coupon::new(steps);
    let count = coupon.count();
    if count < times::SECTIONS_MIN {
        return Err(format!(
            "{name}: has {count} sections between pauses of {} s and more, and a coupon has at least {}; `headstall coupon` makes one",
            forward::PAUSE_MIN_S,
            times::SECTIONS_MIN
        ));
    }
    let names = forward::names(&String::from_utf8_lossy(bytes), count);
    Ok((coupon, names))
}

/// Answers the question.
///
/// # Errors
/// In words, where the board cannot be used, or the times fit none.
pub fn fit(question: &FitQuestion, progress: &dyn Progress) -> Result<Fit, String> {
    let effort = Effort {
        seed: question.seed,
        threads: question.threads,
        ..Effort::default()
    };
    let each = |done: usize| progress.at(Task::Fitting, done as u64, Some(REPLAYS));
    let FitQuestion {
        coupon,
        board,
        rate_is_free,
        readings,
        ..
    } = *question;
    fitting::fit(coupon, board, rate_is_free, readings, effort, &each).map_err(|no| match no {
        NoFit::Board(e) => format!("--board {}: {e}", question.board_name),
        NoFit::Times { misfit, odd } => format!(
            "{}: the times fit no board (median squared deviation {misfit:.1}, {odd} odd sections): were the sections counted right? is the start board of the right kind, with the printer's own limits under [motion]?",
            question.times_name
        ),
    })
}

/// The steps of a job whose lost time is to be told.
///
/// # Errors
/// In words, where it cannot be used.
pub fn steps(job: &Job) -> Result<Vec<Step>, String> {
    let mut reader = job.read().map_err(|trouble| trouble.to_string())?;
    forward::read(&mut reader).map_err(|e| format!("{}: {e}", job.name))
}

/// What a job of this name loses on a fitted board, s: the median, and the 95 % interval.
///
/// # Errors
/// In words, where it cannot be replayed.
pub fn lost_s(
    name: &str,
    steps: &[Step],
    board: &Board,
    threads: usize,
    progress: &dyn Progress,
) -> Result<[f64; 3], String> {
    let each = |done: usize| progress.at(Task::Luck, done as u64, Some(fitting::DRAWS as u64));
    fitting::lost_s(steps, board, threads, &each)
        .ok_or_else(|| format!("{name}: cannot be replayed on the fitted board"))
}

/// How long a coupon takes on this board, s.
///
/// # Errors
/// In words, where it cannot be replayed.
pub fn duration_s(plan: &Plan, board: &Board, board_name: &str, seed: u64) -> Result<f64, String> {
    let steps = forward::steps(plan.text(&[]).as_bytes());
    let took = Coupon::new(steps.map_err(|e| format!("the coupon {e}"))?).replay(board, seed);
    let took = took.map_err(|e| format!("--board {board_name}: {e}"))?;
    Ok(took.replay_s)
}
