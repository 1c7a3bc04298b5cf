//! What one replay of a job does to the print.

use std::io::Read;

use crate::board::types::Board;
use crate::job::reader::JobReader;
use crate::replay::source::{Planned, Source};
use crate::replay::store::StoredJob;
use crate::replay::stream::{ReplayError, replay_source};
use crate::study::bumps::{BUMPS_CUT, Found};
use crate::study::sample::samples_work;
use crate::study::watch::Watch;
use crate::surface::bump::Bump;
use crate::surface::faces::{self, Faces};
use crate::surface::skin::{Exposure, Surface, Wanted};

/// Bumps that are held until it is known where they lie; where there are more, all that are held count as seen.
const BUMPS_MAX: usize = 200_000;

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
    /// Lines of the job.
    pub job_lines: usize,
    /// What the replay took: blocks, saves, runs of chores, and samples of surplus in lines
    /// ([`Cost`](crate::study::sample::Cost)).
    pub work: usize,
    /// Where limits of this program have cut something: line (0: none), what was done about it. Only of a job that
    /// is replayed as it is read.
    pub cuts: Vec<(u64, String)>,
}

/// A job in memory, and what its blocks face: to be replayed many times.
pub struct Planted {
    job: StoredJob,
    faces: Faces,
}

impl Planted {
    /// Reads all of a job.
    ///
    /// # Errors
    /// Where it cannot be read.
    pub fn new(input: impl Read, board: &Board) -> Result<Self, ReplayError> {
        let mut source = Planned::new(JobReader::new(input), board);
        let stored = faces::store(&mut source, &board.nozzle, &WANTED);
        let (job, exposure) = stored.map_err(ReplayError::Job)?;
        let faces = exposure.faces;
        Ok(Planted { job, faces })
    }

    /// Replays it and finds the bumps of at least `visible_mm` on surfaces that can be seen.
    ///
    /// # Errors
    /// Where the board makes no headway.
    pub fn harm(&self, board: &Board, seed: u64, visible_mm: f64) -> Result<Harm, ReplayError> {
        let mut bumps = Bumps::default();
        let watch = Watch::new(&board.nozzle, |found: &Found| bumps.take(found, visible_mm));
        let (mut harm, ..) = replayed(self.job.read(), board, seed, watch)?;
        harm.job_lines = self.job.line_count();
        bumps.put(&mut harm, |block| self.faces.of(block));
        Ok(harm)
    }
}

/// Of the surface, only what each block faces.
const WANTED: Wanted = Wanted {
    walls: false,
    whole: false,
    aside: false,
};

/// Visible bumps, held until it is known where they lie.
#[derive(Default)]
struct Bumps {
    held: Vec<Bump>,
    more: bool,
}

impl Bumps {
    fn take(&mut self, found: &Found, visible_mm: f64) {
        if let Found::Bump(bump) = found
            && bump.height_mm >= visible_mm
        {
            if self.held.len() < BUMPS_MAX {
                self.held.push(*bump);
            } else {
                self.more = true;
            }
        }
    }

    /// What a limit has cut.
    fn cut(&self) -> Option<(u64, String)> {
        let what = format!(
            "there are more than {BUMPS_MAX} bumps of a visible height: all of them count as seen, wherever they lie"
        );
        self.more.then_some((0, what))
    }

    /// Counts those that can be seen.
    fn put(&self, harm: &mut Harm, facing: impl Fn(u64) -> Option<Surface>) {
        for bump in &self.held {
            let surface = facing(bump.block).filter(|_| !bump.travels);
            if self.more || matches!(surface, Some(Surface::Outer | Surface::Hole)) {
                harm.lines.push(bump.line);
                harm.largest_mm = harm.largest_mm.max(bump.height_mm);
            }
        }
        harm.lines.sort_unstable();
    }
}

/// Replays a source; all but the bumps is filled in.
fn replayed<T: Source, S: FnMut(&Found)>(
    source: T,
    board: &Board,
    seed: u64,
    mut watch: Watch<S>,
) -> Result<(Harm, Option<Exposure>, T), ReplayError> {
    let done = replay_source(source, board, seed, &mut watch, 0)?;
    let found = watch.found();
    let totals = &done.totals;
    let counted = usize::try_from(totals.blocks + totals.saves + totals.chores);
    let harm = Harm {
        work: counted.unwrap_or(usize::MAX) + samples_work(found.seen.samples),
        stalls: found.seen.stalls(),
        lost_s: done.lost_s,
        replay_s: totals.replay_s,
        cuts: found
            .seen
            .cut_line
            .map(|line| (line, BUMPS_CUT.to_string()))
            .into_iter()
            .collect(),
        ..Harm::default()
    };
    Ok((harm, found.exposure, done.source))
}

/// Reads and replays a job and finds the bumps of at least `visible_mm` on surfaces that can be seen.
///
/// # Errors
/// Where the job or the board cannot be used.
pub fn harm(
    input: impl Read,
    board: &Board,
    seed: u64,
    visible_mm: f64,
) -> Result<Harm, ReplayError> {
    let mut bumps = Bumps::default();
    let watch = Watch::new(&board.nozzle, |found: &Found| bumps.take(found, visible_mm))
        .with_surface(&board.nozzle, &WANTED);
    let source = Planned::new(JobReader::new(input), board);
    let (mut harm, exposure, source) = replayed(source, board, seed, watch)?;
    bumps.put(&mut harm, |block| {
        exposure.as_ref().and_then(|e| e.of(block))
    });
    harm.job_lines = usize::try_from(source.steps.line_count()).unwrap_or(usize::MAX);
    harm.cuts.extend(source.steps.notices().cuts());
    let unknown = exposure.and_then(|e| e.cut());
    harm.cuts.extend(unknown.map(|what| (0, what)));
    harm.cuts.extend(bumps.cut());
    Ok(harm)
}
