//! The question of `fit`: which numbers has a board on which a coupon took these times?

use std::io::Read;

use crate::board::types::Board;
use crate::job::notices::NoticeKind;
use crate::job::reader::{JobReader, Step};
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

/// Most command lines of a coupon: it is replayed some thousand times, and those of `headstall coupon` have some
/// tens of thousands.
const COUPON_LINES_MAX: usize = 300_000;
/// Most work of one replay of a coupon ([`forward::Took::work`]): a fit makes up to some 1300 of them. A coupon of
/// `headstall coupon` has up to 100 000 on the boards that come with the program.
const COUPON_WORK_MAX: u64 = 1_000_000;
/// Most command lines of a job whose lost time is told: they are in memory, and replayed forty times.
const JOB_LINES_MAX: usize = 2_000_000;

/// A coupon that was read.
pub struct CouponRead {
    /// The coupon.
    pub coupon: Coupon,
    /// Names of its sections.
    pub names: Vec<String>,
    /// What limits of this program have cut, in words.
    pub warnings: Vec<String>,
}

/// The coupon in a file of this name, to be run on this board.
///
/// # Errors
/// In words, where it is none.
pub fn coupon(bytes: &[u8], name: &str, board: &Board) -> Result<CouponRead, String> {
    let mut reader = JobReader::new(bytes);
    let (steps, warnings) = read(&mut reader, name, board, COUPON_LINES_MAX)?;
    let coupon = Coupon::new(steps);
    let count = coupon.count();
    if count < times::SECTIONS_MIN {
        return Err(format!(
            "{name}: has {count} sections between pauses of {} s and more, and a coupon has at least {}; `headstall coupon` makes one",
            forward::PAUSE_MIN_S,
            times::SECTIONS_MIN
        ));
    }
    if count > times::SECTIONS_MAX {
        return Err(format!(
            "{name}: has {count} sections between pauses of {} s and more; a fit takes at most {}, and a coupon of `headstall coupon` has about 20",
            forward::PAUSE_MIN_S,
            times::SECTIONS_MAX
        ));
    }
    // What is wrong with the board is told by the fit.
    if let Some(work) = coupon.replay(board, 0).ok().map(|took| took.work)
        && work > COUPON_WORK_MAX
    {
        return Err(format!(
            "{name}: is too long to fit a board to: one replay takes {work} command lines, moves and runs of chores together, and at most {COUPON_WORK_MAX} are taken; leave out moves that are many or slow, or use a coupon of `headstall coupon`, which takes about 100000"
        ));
    }
    let names = forward::names(&String::from_utf8_lossy(bytes), count);
    Ok(CouponRead {
        coupon,
        names,
        warnings,
    })
}

/// Steps, and what limits of this program have cut of them.
fn read<R: Read>(
    reader: &mut JobReader<R>,
    name: &str,
    board: &Board,
    most: usize,
) -> Result<(Vec<Step>, Vec<String>), String> {
    let steps = forward::read(reader, most).map_err(|e| format!("{name}: {e}"))?;
    let steps = steps.ok_or_else(|| {
        format!("{name}: has more than {most} command lines; no more are taken here")
    })?;
    let mut cuts = reader.notices().cuts();
    if let Some(line) = forward::coarse_arc(&steps, board) {
        cuts.push((line, NoticeKind::ArcChords.message().to_string()));
    }
    let words = |(line, what)| format!("{name}: line {line}: {what}");
    Ok((steps, cuts.into_iter().map(words).collect()))
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

/// The steps of a job whose lost time on this board or one like it is to be told, and what limits of this program
/// have cut of them.
///
/// # Errors
/// In words, where it cannot be used.
pub fn steps(job: &Job, board: &Board) -> Result<(Vec<Step>, Vec<String>), String> {
    let mut reader = job.read().map_err(|trouble| trouble.to_string())?;
    read(&mut reader, &job.name, board, JOB_LINES_MAX)
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
