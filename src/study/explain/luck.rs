//! Bumps that the same job would leave on the same board in another run: with other luck, on another board that the
//! fit allows, and with its clock a little off.

use crate::board::types::{Board, SaveWhen, Span};
use crate::replay::store::StoredJob;
use crate::study::fit::fitting::of_run;
use crate::study::parallel;
use crate::study::sample::{Sight, bumps};
use crate::surface::skin::Surface;

use super::draws::{Draws, Purpose};
use super::numbers::normal_pair;
use super::view::View;
use super::wall::Cell;

/// How far the model's clock is off that of the printer, as a share (standard deviation): an assumption, no source.
const CLOCK_OFF: f64 = 0.005;
/// Neighbours on the wall farther apart than this are none, mm.
const APART_MM: f64 = 5.0;

/// A job to be replayed, and where its blocks lie along the filament.
#[derive(Clone, Copy, Debug)]
pub struct Replayed<'a> {
    /// The job.
    pub job: &'a StoredJob,
    /// Filament moved before each block and, at the end, in all; mm.
    pub before_mm: &'a [f64],
    /// The board.
    pub board: &'a Board,
    /// Height from which a bump is visible, mm.
    pub visible_mm: f64,
}

/// Where along the filament `count` other runs leave visible bumps, mm. A run that cannot be made leaves none.
pub fn other_runs(replayed: &Replayed, count: usize, seed: u64, threads: usize) -> Vec<Vec<f64>> {
    let numbers = Draws::new(seed, Purpose::OtherLuck);
    let sight = Sight {
        // Whether a bump lies on the wall is seen by its place on it.
        facing: &|_| Some(Surface::Outer),
        visible_mm: replayed.visible_mm,
    };
    let one = |k: usize| -> Vec<f64> {
        let off = normal_pair(numbers.uniform(k, 0), numbers.uniform(k, 1))[0];
        let run = k + 1;
        let board = slower(&of_run(replayed.board, run), 1.0 + CLOCK_OFF * off);
        let left = bumps(replayed.job, &board, run as u64, sight).unwrap_or_default();
        let along = left.iter().filter_map(|bump| {
            let block = usize::try_from(bump.block).ok()?;
            let &[from, to] = replayed.before_mm.get(block..block + 2)? else {
                return None;
            };
            let length_mm = replayed.job.read().block(bump.block)?.length_mm;
            Some(from + (to - from) * bump.place_mm[0] / length_mm.max(1e-9))
        });
        along.collect()
    };
    parallel::map(count, threads, &|_| {}, &one)
}

/// The board with all that goes by the clock this many times as far apart.
fn slower(board: &Board, times: f64) -> Board {
    let mut board = board.clone();
    if let SaveWhen::Seconds(every_s) = &mut board.save.when {
        *every_s *= times;
    }
    for chore in &mut board.chores {
        chore.every_s *= times;
    }
    board
}

/// From the start of a save to that of the next, s, where the board saves by time: the next is due some time after
/// the last has ended.
pub fn save_period_s(board: &Board) -> Option<f64> {
    let SaveWhen::Seconds(every_s) = board.save.when else {
        return None;
    };
    Some(every_s + usual_s(&board.save.hold))
}

/// The middle of a duration.
fn usual_s(span: &Span) -> f64 {
    match *span {
        Span::Fixed(s) => s,
        Span::Uniform { min, max } => (min + max) / 2.0,
        Span::Exponential { mean } => mean,
        Span::Lognormal { median, .. } => median,
    }
}

/// The window's cells in which bumps at these places along the filament lie; those that lie elsewhere are left out.
pub fn cells_at(view: &View, filament_mm: &[f64]) -> Vec<usize> {
    let along = |cell: usize| view.at(cell).along[2];
    let mut order: Vec<usize> = view.cells.clone();
    order.sort_by(|a, b| along(*a).total_cmp(&along(*b)));
    let next_to = |a: &Cell, b: &Cell| {
        let [x, y] = [0, 1].map(|k| a.place_mm[k] - b.place_mm[k]);
        a.run == b.run && x.hypot(y) <= APART_MM
    };
    let cell = |at: &f64| {
        let next = order.partition_point(|c| along(*c) < *at);
        let (before, after) = (*order.get(next.checked_sub(1)?)?, *order.get(next)?);
        let nearer = if at - along(before) <= along(after) - at {
            before
        } else {
            after
        };
        next_to(view.at(before), view.at(after)).then_some(nearer)
    };
    filament_mm.iter().filter_map(cell).collect()
}
