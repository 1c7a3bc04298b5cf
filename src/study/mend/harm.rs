//! What one replay of a job does to the print.

use std::io::Read;

use crate::board::types::Board;
use crate::job::reader::JobReader;
use crate::replay::source::Planned;
use crate::replay::stream::{ReplayError, replay_source};
use crate::study::stalls::Stall;
use crate::study::watch::Watch;
use crate::surface::flow::Flow;
use crate::surface::skin::{Surface, Wanted};

/// Stalls that are held until it is known where they lie; of more, all count as seen.
const STALLS_MAX: usize = 100_000;

/// What a replay came to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Harm {
    /// Lines of the bumps that can be seen, in order.
    pub lines: Vec<u64>,
    /// Height of the highest of them, mm.
    pub largest_mm: f64,
    /// Stalls, seen or not.
    pub stalls: u64,
    /// Lost time, s.
    pub lost_s: f64,
    /// The replay's duration, s.
    pub replay_s: f64,
    /// Bytes read.
    pub bytes: u64,
}

/// Replays a job and finds the bumps of at least `visible_mm` on surfaces that can be seen.
///
/// # Errors
/// Where the job or the board cannot be used.
pub fn harm(
    input: impl Read,
    board: &Board,
    seed: u64,
    visible_mm: f64,
) -> Result<Harm, ReplayError> {
    let flow = Flow::new(&board.nozzle);
    let mut held: Vec<(f64, Stall)> = Vec::new();
    let wanted = Wanted {
        walls: false,
        stalls_max: STALLS_MAX,
        aside: false,
    };
    let each = |stall: &Stall| {
        if let Some(mm) = flow.bump_mm(stall.excess_mm3, stall.layer_height_mm)
            && mm >= visible_mm
        {
            held.push((mm, *stall));
        }
    };
    let mut watch = Watch::new(&board.nozzle, each).with_surface(&board.nozzle, &wanted);
    let source = Planned::new(JobReader::new(input), board);
    let done = replay_source(source, board, seed, &mut watch, 0)?;
    let found = watch.found();
    let mut harm = Harm {
        stalls: found.seen.stalls(),
        lost_s: done.lost_s,
        replay_s: done.totals.replay_s,
        bytes: done.source.steps.byte_count(),
        ..Harm::default()
    };
    for (mm, stall) in held {
        let surface = found.exposure.as_ref().and_then(|e| e.of(stall.block));
        let asked = stall.stall < STALLS_MAX as u64;
        if matches!(surface, Some(Surface::Outer | Surface::Hole)) || !asked {
            harm.lines.push(stall.line);
            harm.largest_mm = harm.largest_mm.max(mm);
        }
    }
    harm.lines.sort_unstable();
    Ok(harm)
}
