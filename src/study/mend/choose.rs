//! The cheapest mix of means that leaves no visible bump: print time first, deviation second.
//!
//! Every candidate is judged by replaying the job as it would be written.

use std::io::{self, Read};
use std::sync::Arc;

use crate::board::types::Board;

use super::counts::Counts;
use super::mark;
use super::pace::Service;
use super::pass::Pass;
use super::plan::{Class, Plan, Treat};
use super::runs::{MendError, Open, Runs, Terms, runs, seeds};
use super::search::{EVERYWHERE_S, KEPT_BYTES, Search};
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
    /// The line of an earlier mending at the job's end.
    pub earlier: Option<String>,
    /// Whether that was under the same settings.
    pub same_settings: bool,
    /// Candidates that were replayed.
    pub tried: usize,
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
    let mut lines: Vec<u64> = before.0.iter().flat_map(|h| h.lines.clone()).collect();
    lines.sort_unstable();
    let none = Plan::none(terms.within_mm);
    let survey = Pass::new(open()?, open()?, board, &none)
        .with_walls(lines)
        .through()?;
    let others = format!("{} {} {}", terms.visible_mm, terms.runs, terms.seed);
    let mark = mark::line(
        board,
        terms.within_mm,
        terms.allow,
        terms.everywhere,
        &others,
    );
    let earlier = mark::found(&survey.tail);
    let same_settings = earlier.as_deref() == Some(mark.as_str());
    let mut allow = terms.allow;
    if earlier.is_some() {
        // Deviations must not add up.
        (allow.merge, allow.arcs) = (false, false);
    }
    let mut choice = Choice {
        before,
        plan: none,
        survey,
        earlier,
        same_settings,
        tried: 0,
        shelf: None,
    };
    let touched = choice.survey.walls.iter();
    let classes: Vec<Class> = touched
        .filter(|(_, wall)| wall.bumps > 0 && wall.risk_s > 0.0)
        .map(|(class, _)| *class)
        .collect();
    let everywhere = Treat {
        merge: (terms.everywhere && allow.merge).then_some(EVERYWHERE_S),
        arcs: terms.everywhere && allow.arcs,
        ..Treat::NONE
    };
    if same_settings || (classes.is_empty() && everywhere == Treat::NONE) {
        return Ok(choice);
    }
    let terms = &Terms { allow, ..*terms };
    let line_bytes = choice.survey.bytes as f64 / choice.survey.lines.max(1) as f64;
    let strips = allow.strip && Service::new(board).byte_share(line_bytes) >= BYTE_SHARE;
    let base = Plan {
        walls: classes,
        others: everywhere,
        mark,
        ..choice.plan.clone()
    };
    choice.shelf = (choice.survey.bytes <= KEPT_BYTES).then(Arc::default);
    let shelf = choice.shelf.clone();
    let bytes = choice.survey.bytes;
    let mut search = Search::new(open, board, terms, base, bytes, shelf, progress);
    let (plan, bumps) = search.best(strips)?;
    choice.tried = search.tried;
    if bumps < choice.before.mean_bumps() || everywhere != Treat::NONE {
        choice.plan = plan;
    }
    Ok(choice)
}
