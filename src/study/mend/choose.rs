//! The cheapest mix of means that leaves no visible bump: print time first, deviation second.
//!
//! Every candidate is judged by replaying the job as it would be written.

use std::io::{self, Read};
use std::sync::Arc;

use crate::board::types::Board;

use super::counts::Counts;
use super::mark::{self, Earlier};
use super::pace::Service;
use super::pass::Pass;
use super::plan::{Allow, Class, Plan, Treat};
use super::runs::{MendError, Open, Runs, Terms, WITHIN_MM, runs, seeds};
use super::search::{SAMPLE_BYTES, Search, Strips, everywhere_s, strained};
use super::shelf::Shelf;

/// What was chosen.
#[derive(Clone, Debug)]
pub struct Choice {
    /// The job as it is, under the seeds of the proof.
    pub before: Runs,
    /// What is done to it.
    pub plan: Plan,
    /// What the survey of the job saw.
    pub survey: Counts,
    /// The mark of an earlier mending, if the job has one.
    pub earlier: Option<Earlier>,
    /// Whether that was under the same settings.
    pub same_settings: bool,
    /// Candidates that were replayed.
    pub tried: usize,
    /// On so many bytes from the job's beginning.
    pub searched_bytes: u64,
    /// What became of the job's stretches, if they are few enough to be kept.
    pub shelf: Option<Arc<Shelf>>,
}

/// From this share of a line's time on bytes are among what starves the board.
const BYTE_SHARE: f64 = 0.15;

/// Finds out what is to be done to a job. `progress` hears how many replays of how many are done.
///
/// # Errors
/// Where the job or the board cannot be used.
pub fn choose(
    open: &Open,
    board: &Board,
    terms: &Terms,
    progress: &(dyn Fn(u64, u64) + Sync),
) -> Result<Choice, MendError> {
    let raw = || -> io::Result<Box<dyn Read>> { Ok(open()?) };
    let before = runs(&raw, board, &seeds(terms), terms)?;
    let marks = bumps_on(&raw, &before, board, terms)?;
    let earlier = mark::earlier(open()?)?;
    // Deviations must not add up.
    let moved_mm = earlier.as_ref().map_or(0.0, |e| e.moved_mm);
    let none = Plan::none((terms.within_mm - moved_mm).max(0.0));
    let survey = Pass::new(open()?, open()?, board, &none)
        .with_walls(marks)
        .through()?;
    let mark = terms.mark(board, earlier.as_ref());
    let same_settings = earlier.as_ref().is_some_and(|e| mark.repeats(e));
    let mut allow = terms.allow;
    if none.within_mm < *WITHIN_MM.start() {
        (allow.merge, allow.arcs) = (false, false);
    }
    let mut choice = Choice {
        before,
        plan: none,
        survey,
        earlier,
        same_settings,
        tried: 0,
        searched_bytes: 0,
        shelf: None,
    };
    let touched = choice.survey.walls.iter();
    let classes: Vec<Class> = touched
        .filter(|(_, wall)| wall.bumps + wall.strained_bumps > 0 && wall.risk_s > 0.0)
        .map(|(class, _)| *class)
        .collect();
    let terms = &Terms { allow, ..*terms };
    let everywhere = Treat {
        merge: terms.everywhere && allow.merge,
        block_s: everywhere_s(terms),
        arcs: terms.everywhere && allow.arcs,
        ..Treat::NONE
    };
    // Without printed straight moves there is nothing that could be changed.
    let idle = choice.survey.walls.is_empty();
    if same_settings || idle || (classes.is_empty() && everywhere == Treat::NONE) {
        return Ok(choice);
    }
    let strips = strips(&choice.survey, board, allow);
    let base = Plan {
        walls: classes,
        others: everywhere,
        mark,
        ..choice.plan.clone()
    };
    let all = choice.survey.bytes;
    let search = |bytes: u64| {
        let start = || -> io::Result<Box<dyn Read + Send>> { Ok(Box::new(open()?.take(bytes))) };
        Search::new(&start, board, terms, base.clone(), progress).best(strips)
    };
    let [mut bytes, most] = SAMPLE_BYTES;
    let mut found = search(bytes)?;
    if found.before == 0 && all > bytes {
        // What ails the job comes later.
        bytes = most;
        found = search(bytes)?;
    }
    choice.tried = found.tried;
    choice.searched_bytes = bytes.min(all);
    choice.shelf = (all <= bytes).then_some(found.shelf);
    if found.changes && (found.helps || everywhere != Treat::NONE) {
        choice.plan = found.plan;
    }
    Ok(choice)
}

/// The lines of all bumps, and of those of a replay under strain, which shows where they can be: few replays may miss a
/// wall.
fn bumps_on(
    raw: &(dyn Fn() -> io::Result<Box<dyn Read>> + Sync),
    before: &Runs,
    board: &Board,
    terms: &Terms,
) -> Result<[Vec<u64>; 2], MendError> {
    let more = match before.bumps() {
        0 => Runs::default(),
        _ => runs(raw, &strained(board), &seeds(terms)[..1], terms)?,
    };
    Ok([before, &more].map(|runs| {
        let mut lines: Vec<u64> = runs.0.iter().flat_map(|h| h.lines.clone()).collect();
        lines.sort_unstable();
        lines
    }))
}

/// What stripping can do for a job.
fn strips(survey: &Counts, board: &Board, allow: Allow) -> Strips {
    let joins = survey.commented_moves > 0 && (allow.merge || allow.arcs);
    let line_bytes = survey.bytes as f64 / survey.lines.max(1) as f64;
    match allow.strip {
        true if joins => Strips::Joins,
        true if Service::new(board).byte_share(line_bytes) >= BYTE_SHARE => Strips::Shortens,
        _ => Strips::Not,
    }
}
