//! What one replay of a job does to the print.

use std::io::Read;

use crate::board::types::Board;
use crate::job::reader::JobReader;
use crate::replay::source::Planned;
use crate::replay::stream::{Done, ReplayError, Watcher, replay_source};
use crate::study::bumps::Found;
use crate::study::watch::Watch;
use crate::surface::bump::Bump;
use crate::surface::skin::{Surface, Wanted};

/// Bumps that are held until it is known where they lie; where there are more, all that are held count as seen.
const BUMPS_MAX: usize = 200_000;

/// What a replay came to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Harm {
    /// Lines of the bumps that can be seen, in order.
    pub lines: Vec<u64>,
    /// Their layers, in the order of the path.
    pub layers: Vec<u32>,
    /// Time on each layer, rests included, s.
    pub layer_s: Vec<f64>,
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

/// A watch that also adds up the time of each layer.
struct Timed<W> {
    watch: W,
    layer_s: Vec<f64>,
}

impl<W: Watcher> Watcher for Timed<W> {
    fn block(&mut self, done: &Done) {
        let layer = done.layer as usize;
        if self.layer_s.len() <= layer {
            self.layer_s.resize(layer + 1, 0.0);
        }
        self.layer_s[layer] += done.ran.profile.duration_s() + done.ran.gap_s;
        self.watch.block(done);
    }

    fn stop(&mut self, start_s: f64, end_s: f64) {
        self.watch.stop(start_s, end_s);
    }
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
    let mut bumps: Vec<Bump> = Vec::new();
    let wanted = Wanted {
        walls: false,
        whole: false,
        aside: false,
    };
    let mut more = false;
    let each = |found: &Found| {
        if let Found::Bump(bump) = found
            && bump.height_mm >= visible_mm
        {
            if bumps.len() < BUMPS_MAX {
                bumps.push(*bump);
            } else {
                more = true;
            }
        }
    };
    let mut timed = Timed {
        watch: Watch::new(&board.nozzle, each).with_surface(&board.nozzle, &wanted),
        layer_s: Vec::new(),
    };
    let source = Planned::new(JobReader::new(input), board);
    let done = replay_source(source, board, seed, &mut timed, 0)?;
    let Timed { watch, layer_s } = timed;
    let found = watch.found();
    let mut harm = Harm {
        stalls: found.seen.stalls(),
        lost_s: done.lost_s,
        replay_s: done.totals.replay_s,
        bytes: done.source.steps.byte_count(),
        layer_s,
        ..Harm::default()
    };
    for bump in bumps {
        let surface = found
            .exposure
            .as_ref()
            .and_then(|e| e.of(bump.block))
            .filter(|_| !bump.travels);
        if more || matches!(surface, Some(Surface::Outer | Surface::Hole)) {
            harm.lines.push(bump.line);
            harm.layers.push(bump.layer);
            harm.largest_mm = harm.largest_mm.max(bump.height_mm);
        }
    }
    harm.lines.sort_unstable();
    Ok(harm)
}
