//! Replays of a job under several seeds, and what is asked of them.

use std::fmt;
use std::io::{self, Read};
use std::ops::RangeInclusive;

use crate::board::types::Board;
use crate::replay::stream::ReplayError;
use crate::study::fit::fitting::of_run;
use crate::study::parallel;
use crate::study::sample::has_draws;

use super::harm::{Harm, harm};
use super::mark::{Earlier, Mark};
use super::plan::Allow;

/// What may be asked of how far a path may move, mm: from a step of a coordinate's last decimal on.
pub const WITHIN_MM: RangeInclusive<f64> = 0.001..=1.0;

/// Work that the replays of one job under several seeds may take, and for each of its lines.
const RUNS_WORK: usize = 20_000_000;
const RUNS_WORK_A_LINE: usize = 80;

/// Opens a job again from its first byte.
pub type Open<'a> = dyn Fn() -> io::Result<Box<dyn Read + Send>> + Sync + 'a;

/// What is wanted.
#[derive(Clone, Copy, Debug)]
pub struct Terms {
    /// How far the path may move, mm.
    pub within_mm: f64,
    /// The means that may be used.
    pub allow: Allow,
    /// Moves are joined wherever they may be, needed or not.
    pub everywhere: bool,
    /// Height from which a bump is visible, mm.
    pub visible_mm: f64,
    /// Seeds of the proof: this many from `seed` on.
    pub runs: u64,
    /// The first of them.
    pub seed: u64,
    /// Threads.
    pub threads: usize,
}

impl Terms {
    /// The mark of a job that is mended on these terms for `board`.
    pub fn mark(&self, board: &Board, earlier: Option<&Earlier>) -> Mark {
        let means = self.allow.names().join(",");
        let places = if self.everywhere { " everywhere" } else { "" };
        let moves = self.allow.merge || self.allow.arcs;
        let own_mm = if moves { self.within_mm } else { 0.0 };
        let moved_mm = earlier.map_or(0.0, |e| e.moved_mm).max(own_mm);
        let settings = format!(
            "{board:?} {means}{places} {} {} {} {}",
            self.within_mm, self.visible_mm, self.runs, self.seed
        );
        Mark::new(&format!("{means}{places}"), moved_mm, &settings, earlier)
    }
}

/// Why a job was not mended.
#[derive(Debug)]
pub enum MendError {
    /// The job or the board cannot be used.
    Replay(ReplayError),
    /// The job cannot be read.
    Io(io::Error),
}

impl fmt::Display for MendError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            MendError::Replay(ReplayError::Job(e)) => write!(f, "{e}"),
            MendError::Replay(ReplayError::Board(e)) => write!(f, "{e}"),
            MendError::Io(e) => write!(f, "cannot be read: {e}"),
        }
    }
}

impl std::error::Error for MendError {}

impl From<io::Error> for MendError {
    fn from(error: io::Error) -> Self {
        MendError::Io(error)
    }
}

/// What several replays came to, by seed.
#[derive(Clone, Debug, Default)]
pub struct Runs(pub Vec<Harm>);

impl Runs {
    /// Visible bumps of all runs together.
    pub fn bumps(&self) -> u64 {
        self.0.iter().map(|h| h.lines.len() as u64).sum()
    }

    /// Visible bumps of a run, the mean.
    pub fn mean_bumps(&self) -> f64 {
        self.mean(|h| h.lines.len() as f64)
    }

    /// Print time, the mean, s.
    pub fn replay_s(&self) -> f64 {
        self.mean(|h| h.replay_s)
    }

    /// Lost time, the mean, s.
    pub fn lost_s(&self) -> f64 {
        self.mean(|h| h.lost_s)
    }

    /// The mean of something.
    pub fn mean(&self, of: impl Fn(&Harm) -> f64) -> f64 {
        self.0.iter().map(of).sum::<f64>() / self.0.len().max(1) as f64
    }

    /// Where limits of this program have cut something in any run, each once: line (0: none), what was done about
    /// it.
    pub fn cuts(&self) -> Vec<(u64, String)> {
        let mut all: Vec<(u64, String)> = self.0.iter().flat_map(|h| h.cuts.clone()).collect();
        all.sort_unstable();
        all.dedup();
        all
    }

    /// How many replays like the first may be made so that they take no more than a short time; 1 at least.
    pub fn affordable(&self) -> usize {
        self.0.first().map_or(1, |harm| {
            let most = RUNS_WORK.saturating_add(RUNS_WORK_A_LINE.saturating_mul(harm.job_lines));
            (most / harm.work.max(1)).max(1)
        })
    }

    /// Runs with a visible bump.
    pub fn bumped(&self) -> u64 {
        self.0.iter().filter(|h| !h.lines.is_empty()).count() as u64
    }
}

/// Replays what `open` gives under these seeds, each with its draw of a fitted board; under the first ones alone, where
/// all of them would take too long.
///
/// # Errors
/// Where the job or the board cannot be used.
pub fn runs(
    open: &(dyn Fn() -> io::Result<Box<dyn Read>> + Sync),
    board: &Board,
    seeds: &[u64],
    terms: &Terms,
) -> Result<Runs, MendError> {
    let one = |k: usize| {
        let board = of_run(board, k);
        harm(open()?, &board, seeds[k], terms.visible_mm).map_err(MendError::Replay)
    };
    let mut runs = Runs(vec![one(0)?]);
    if has_draws(board) {
        let more = seeds.len().min(runs.affordable()) - 1;
        let more = parallel::map(more, terms.threads, &|_| {}, &|k| one(k + 1));
        runs.0
            .extend(more.into_iter().collect::<Result<Vec<_>, _>>()?);
    }
    Ok(runs)
}

/// The seeds of the proof.
pub fn seeds(terms: &Terms) -> Vec<u64> {
    seeds_from(terms.seed, terms.runs.max(1))
}

/// So many seeds from this one on.
pub fn seeds_from(first: u64, count: u64) -> Vec<u64> {
    (0..count).map(|k| first.wrapping_add(k)).collect()
}
