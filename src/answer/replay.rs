//! The question of `replay`: does this job stutter on this board, where, and why?

use std::cell::RefCell;

use crate::board::types::Board;
use crate::replay::cause::PerCause;
use crate::replay::source::Planned;
use crate::replay::store::StoredJob;
use crate::replay::stream::{self, ReplayError, Replayed};
use crate::replay::world::Totals;
use crate::study::bumps::Found as Event;
use crate::study::causes::{self, Shares};
use crate::study::explain::plate::{Plate, Survey};
use crate::study::paths::Paths;
use crate::study::sample::{Sight, has_draws, samples_work};
use crate::study::strips::{Strip, Strips};
use crate::study::trace::LayerTrace;
use crate::study::watch::{Found, LayerSum, Need, Watch};
use crate::surface::bump::Bump;
use crate::surface::left_out::LeftOut;
use crate::surface::skin::{Exposure, Wanted};

use super::bumps::{self, BumpBook};
use super::hearers::Hearers;
use super::job::{Job, JobSteps};
use super::layer_trace;
use super::luck::Luck;
use super::progress::{Listener, Progress, Task};
use super::stall_book::{self, StallBook};
use super::trouble::Trouble;
use super::warnings::{Warning, bumps_cut, few_runs, warnings};

pub use super::effort::Effort;
pub use super::job::JobRead;
pub use super::shape::Shape;

/// Causes are worked out unasked up to this many lines and chores, counted over all replays: some seconds of work.
pub(super) const UNASKED_WORK: usize = 16_000_000;
/// How many blocks are kept for the causes if the job's length is not known: a few MB.
const STREAM_BLOCKS_MAX: usize = 50_000;
/// How many blocks of a file are kept for runs with other seeds: some 90 MB.
const LUCK_BLOCKS_MAX: usize = 1_500_000;
/// Lines, saves and runs of chores that all runs with other seeds may have together: some ten seconds of work.
/// Twenty runs of the longest job that is kept have half as many lines.
const LUCK_WORK: usize = 60_000_000;
/// How many stalls are held if the job's length is not known.
const STREAM_STALLS_MAX: usize = 15_000;
/// How many stalls keep a strip of time: those that lose most.
const STRIPS_MAX: usize = 200;

/// What is asked.
#[derive(Clone, Debug)]
pub struct ReplayQuestion<'a> {
    /// The board.
    pub board: &'a Board,
    /// Seed of all draws.
    pub seed: u64,
    /// How much work the answer is worth.
    pub effort: Effort,
    /// Whether what pictures are drawn from is wanted.
    pub pictures: bool,
    /// The layer to draw, from 0; `None`: the worst.
    pub layer: Option<u32>,
    /// The stall whose strip of time alone is wanted; `None`: those of the stalls that lose most.
    pub strip: Option<u64>,
    /// Whether pictures are drawn anew with each answer: then no layer is traced, walls are not kept, and there is no
    /// strip but one that is asked for.
    pub live: bool,
    /// What an earlier answer knows of the same job, with the same `whole`, on a board with the same blocks: then it is
    /// not worked out again.
    pub shape: Option<&'a Shape>,
    /// Height from which a bump counts as visible, mm: an assumption, no source.
    pub visible_mm: f64,
    /// Whether all that is printed counts as part: skirts, purge lines and supports too.
    pub whole: bool,
    /// Runs with other seeds where the board has draws and the job can be kept, the shown run included.
    pub runs: usize,
    /// Threads that may be used.
    pub threads: usize,
}

impl<'a> ReplayQuestion<'a> {
    /// The usual question about a board: seed 0, 20 runs, no pictures, bumps visible from 0.1 mm, one thread.
    pub fn of(board: &'a Board) -> Self {
        ReplayQuestion {
            board,
            seed: 0,
            effort: Effort::Usual,
            pictures: false,
            layer: None,
            strip: None,
            live: false,
            shape: None,
            visible_mm: 0.1,
            whole: false,
            runs: 20,
            threads: 1,
        }
    }
}

/// How lost time was attributed to causes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Attribution {
    /// Shapley values: exact.
    Shapley,
    /// By what the main loop mostly did meanwhile: an approximation.
    MainLoop,
}

/// What the pictures of a replay are drawn from.
#[derive(Clone, Debug)]
pub struct Drawing {
    /// The path of the layer asked for, or of the one that suffers most; of a job that can be read only once, of the
    /// one that seemed to while it ran.
    pub trace: LayerTrace,
    /// The path of all layers.
    pub paths: Paths,
    /// Outer walls, and what is too much on them.
    pub exposure: Exposure,
    /// The time around the stalls that lose most, the largest first.
    pub strips: Vec<Strip>,
    /// Where the parts stand; `None` where nothing is printed.
    pub plate: Option<Plate>,
}

impl Drawing {
    /// What can be given to the next question about the same job.
    pub fn shape(&self) -> Shape {
        Shape {
            exposure: self.exposure.clone(),
            plate: self.plate.clone(),
        }
    }
}

/// The answer. Times in s, lengths in mm, plastic in mm³.
#[derive(Clone, Debug)]
pub struct ReplayAnswer {
    /// The job.
    pub job: JobRead,
    /// The board.
    pub board: Board,
    /// Seed of all draws.
    pub seed: u64,
    /// Height from which a bump counts as visible, mm.
    pub visible_mm: f64,
    /// Sums of the replay.
    pub totals: Totals,
    /// The ideal's duration, commanded stops included, s.
    pub ideal_s: f64,
    /// Sum of the blocks' lost time, s.
    pub lost_s: f64,
    /// Stalls by kind: dwells, dips, drags.
    pub kinds: [u64; 3],
    /// The stalls.
    pub stalls: StallBook,
    /// Lost time by cause, s.
    pub by_cause_s: PerCause<f64>,
    /// How it was attributed.
    pub attribution: Attribution,
    /// Surplus of plastic, of all stalls, mm³.
    pub excess_mm3: f64,
    /// Lack of plastic, of all stalls, mm³.
    pub deficit_mm3: f64,
    /// Stalls on the outside, in open holes, inside; where worked out.
    pub surfaces: Option<[u64; 3]>,
    /// Outer wall of all parts, mm²; where worked out.
    pub outer_mm2: Option<f64>,
    /// What was printed and is no part.
    pub left_out: Vec<LeftOut>,
    /// The bumps; which of them can be seen is known where `outer_mm2` is.
    pub bumps: BumpBook,
    /// The runs with other seeds; `None` where there were none: the board has no draws, or the job is too long
    /// to be kept.
    pub luck: Option<Luck>,
    /// Whether another seed could give another answer.
    pub has_draws: bool,
    /// Stalls on moves that print nothing.
    pub idle_stalls: u64,
    /// Sums by layer.
    pub layers: Vec<LayerSum>,
    /// The stretch that loses most.
    pub need: Need,
    /// What gives cause to doubt.
    pub warnings: Vec<Warning>,
    /// What the pictures are drawn from, if that was wanted.
    pub drawing: Option<Drawing>,
}

impl ReplayAnswer {
    /// All stalls.
    pub fn stall_count(&self) -> u64 {
        self.kinds.iter().sum()
    }

    /// How many bumps will be seen; `None` where that was not worked out.
    pub fn visible_count(&self) -> Option<u64> {
        self.outer_mm2.map(|_| self.bumps.visible())
    }

    /// Bumps that will be seen, the highest first; where there are very many, the highest of them.
    pub fn visible_bumps(&self) -> impl Iterator<Item = &Bump> {
        self.bumps
            .ranked()
            .take_while(|b| b.height_mm >= self.visible_mm)
    }

    /// The layer that suffers most: the one with most visible bumps; where there are none, the one that loses
    /// most time.
    pub fn worst_layer(&self) -> Option<u32> {
        if let Some(layer) = self.bumps.worst_layer() {
            return Some(layer);
        }
        let layers = self.layers.iter().enumerate();
        let most = layers.max_by(|a, b| a.1.lost_s.total_cmp(&b.1.lost_s).then(b.0.cmp(&a.0)))?;
        (most.1.lost_s > 0.0).then_some(most.0 as u32)
    }
}

/// One pass over the job, and what it left.
struct Pass {
    replayed: Replayed<Planned<JobSteps>>,
    found: Found,
    stalls: StallBook,
    bumps: BumpBook,
    plate: Option<Plate>,
}

/// Answers the question: one pass over the job, in memory that does not grow with it beyond some limits, then
/// the causes from what was kept.
pub fn replay(
    job: &mut Job,
    question: &ReplayQuestion,
    progress: &dyn Progress,
    listener: &mut dyn Listener,
) -> Result<ReplayAnswer, Trouble> {
    let pass = pass(job, question, progress, listener)?;
    let layers = pass.replayed.source.steps.reader().layers().count().max(1);
    if let Some(layer) = question.layer
        && layer >= layers
    {
        return Err(Trouble::Layer { layer, layers });
    }
    let shares = shares(&job.name, &pass, question, progress)?;
    let luck = luck(&job.name, &pass, question, progress)?;
    let mut answer = ReplayAnswer {
        luck,
        ..answered(job, question, pass, shares)
    };
    let made = answer.luck.as_ref().map_or(1, |luck| luck.runs.len());
    if made < question.runs && Luck::is_wanted(question.effort, question.board) {
        answer.warnings.push(few_runs(made, question.runs));
    }
    // Which layer suffers most is known only now; the first pass drew the one that seemed to.
    if question.layer.is_none()
        && !question.live
        && let Some(worst) = answer.worst_layer()
        && let Some(drawing) = &mut answer.drawing
        && drawing.trace.layer != worst
        && let Some(trace) = layer_trace::again(
            job,
            (question.board, question.seed, question.threads),
            worst,
            progress,
        )
    {
        drawing.trace = trace;
    }
    Ok(answer)
}

fn pass<'l>(
    job: &mut Job,
    question: &ReplayQuestion,
    progress: &'l dyn Progress,
    listener: &'l mut dyn Listener,
) -> Result<Pass, Trouble> {
    let board = question.board;
    let keep_blocks_max = keep_blocks_max(question, job.bytes);
    let held_max = match (question.effort, job.bytes) {
        (Effort::Usual | Effort::Bumps, None) => unasked_max(board).min(STREAM_STALLS_MAX),
        (Effort::Usual | Effort::Bumps, Some(_)) => unasked_max(board),
        (Effort::Quick | Effort::Full, _) => keep_blocks_max,
    };
    let wants_blocks = listener.wants_blocks();
    // Blocks and stalls come from two places.
    let listener: RefCell<&mut dyn Listener> = RefCell::new(listener);
    let mut stalls = stall_book::Collecting::new(held_max, &listener);
    let mut bumps = bumps::Collecting::new(held_max, &listener);
    let mut watch = Watch::new(&board.nozzle, |event: &Event| match event {
        Event::Stall(stall) => stalls.take(stall),
        Event::Bump(bump) => bumps.take(bump),
    });
    let draws = question.pictures && question.effort != Effort::Quick;
    if draws {
        watch = watch.with_paths(Paths::default());
        if !question.live {
            watch = watch.with_trace(question.layer);
        }
        watch = match question.strip {
            Some(stall) => watch.with_strips(Strips::only(stall)),
            None if question.live => watch,
            None => watch.with_strips(Strips::new(STRIPS_MAX)),
        };
    }
    if question.effort != Effort::Quick && question.shape.is_none() {
        let wanted = Wanted {
            walls: draws && !question.live,
            whole: question.whole,
            aside: question.threads > 1,
        };
        watch = watch.with_surface(&board.nozzle, &wanted);
    }
    let mut hearers = Hearers {
        watch,
        survey: (draws && question.shape.is_none()).then(Survey::default),
        listener: &listener,
        wants_blocks,
        progress,
        bytes: job.bytes,
    };
    let source = Planned::new(job.steps()?, board);
    let replay = if question.threads > 1 {
        stream::replay_ahead
    } else {
        stream::replay_source
    };
    let replayed = replay(source, board, question.seed, &mut hearers, keep_blocks_max);
    let replayed = replayed.map_err(|e| match e {
        ReplayError::Job(e) => Trouble::job(&job.name, &e),
        ReplayError::Board(e) => Trouble::no_progress(&job.name, &e),
    })?;
    let Hearers { watch, survey, .. } = hearers;
    let mut found = watch.found();
    let mut plate = survey.and_then(|s| s.plate());
    if let Some(shape) = question.shape.filter(|_| question.effort != Effort::Quick) {
        found.exposure = Some(shape.exposure.clone());
        plate.clone_from(&shape.plate);
    }
    Ok(Pass {
        replayed,
        stalls: stalls.finish(),
        plate,
        bumps: bumps.finish(found.exposure.as_ref(), question.visible_mm),
        found,
    })
}

/// Lines and chores of a replay up to which the causes are worked out unasked.
fn unasked_max(board: &Board) -> usize {
    UNASKED_WORK / causes::replay_count(board)
}

/// Blocks and lines up to which the job is kept for the causes.
fn keep_blocks_max(question: &ReplayQuestion, bytes: Option<u64>) -> usize {
    let most = match question.runs {
        0 | 1 => unasked_max(question.board),
        _ => unasked_max(question.board).max(LUCK_BLOCKS_MAX),
    };
    match (question.effort, bytes) {
        (Effort::Full, _) => usize::MAX,
        (Effort::Quick | Effort::Bumps, _) => 0,
        (Effort::Usual, Some(_)) => most,
        (Effort::Usual, None) => most.min(STREAM_BLOCKS_MAX),
    }
}

/// What a replay of the job takes: its lines, saves and runs of chores.
fn work(pass: &Pass, kept: &StoredJob) -> usize {
    let totals = &pass.replayed.totals;
    let duties = usize::try_from(totals.chores + totals.saves).unwrap_or(usize::MAX);
    kept.line_count().saturating_add(duties)
}

/// The causes' shares, where they are asked for or quickly had.
fn shares(
    name: &str,
    pass: &Pass,
    question: &ReplayQuestion,
    progress: &dyn Progress,
) -> Result<Option<Shares>, Trouble> {
    let Some(kept) = &pass.replayed.kept else {
        return Ok(None);
    };
    let board = question.board;
    let is_short = work(pass, kept) <= unasked_max(board);
    if pass.found.seen.stalls() == 0 || (question.effort != Effort::Full && !is_short) {
        return Ok(None);
    }
    let total = causes::replay_count(board) as u64;
    let each = |done: usize| progress.at(Task::Causes, done as u64, Some(total));
    let spans = pass.stalls.spans();
    let (seed, threads) = (question.seed, question.threads);
    let shares = causes::shares(kept, board, seed, &spans, threads, &each);
    shares.map(Some).map_err(|e| Trouble::no_progress(name, &e))
}

/// Runs with other seeds, where those could differ and the job was kept.
fn luck(
    name: &str,
    pass: &Pass,
    question: &ReplayQuestion,
    progress: &dyn Progress,
) -> Result<Option<Luck>, Trouble> {
    let (Some(kept), Some(exposure)) = (&pass.replayed.kept, &pass.found.exposure) else {
        return Ok(None);
    };
    let work = work(pass, kept).saturating_add(samples_work(pass.found.seen.samples));
    let runs = question.runs.min(LUCK_WORK / work.max(1));
    if runs < 2 || !has_draws(question.board) {
        return Ok(None);
    }
    let seed = |k: usize| question.seed.wrapping_add(k as u64);
    let seeds: Vec<u64> = (0..runs).map(seed).collect();
    let sight = Sight {
        facing: &|block| exposure.of(block),
        visible_mm: question.visible_mm,
    };
    let (board, threads) = (question.board, question.threads);
    Luck::of(name, kept, board, &seeds, sight, threads, progress).map(Some)
}

fn answered(
    job: &Job,
    question: &ReplayQuestion,
    pass: Pass,
    shares: Option<Shares>,
) -> ReplayAnswer {
    let Pass {
        replayed,
        found,
        mut stalls,
        bumps,
        plate,
    } = pass;
    let Found {
        seen,
        trace,
        exposure,
        paths,
    } = found;
    if let Some(shares) = &shares
        && stalls.is_complete()
    {
        stalls.share(shares);
    }
    let mut surfaces = None;
    if let Some(exposure) = exposure.as_ref().filter(|_| stalls.is_complete()) {
        let mut counts = [0; 3];
        stalls.each(|stall| {
            stall.surface = exposure.of(stall.block);
            if let Some(surface) = stall.surface {
                counts[surface as usize] += 1;
            }
        });
        surfaces = Some(counts);
    }
    let reader = replayed.source.steps.reader();
    let mut warnings = warnings(question.board, reader, exposure.as_ref(), &bumps);
    warnings.extend(seen.cut_line.map(bumps_cut));
    ReplayAnswer {
        job: JobRead::of(&job.name, reader),
        board: question.board.clone(),
        seed: question.seed,
        visible_mm: question.visible_mm,
        totals: replayed.totals,
        ideal_s: replayed.ideal_s,
        lost_s: replayed.lost_s,
        kinds: seen.kinds,
        by_cause_s: shares.as_ref().map_or(seen.by_cause_s, |s| s.total_s),
        attribution: match shares {
            Some(_) => Attribution::Shapley,
            None => Attribution::MainLoop,
        },
        excess_mm3: seen.excess_mm3,
        deficit_mm3: seen.deficit_mm3,
        surfaces,
        outer_mm2: exposure.as_ref().map(|e| e.outer_mm2),
        left_out: exposure.as_ref().map_or(Vec::new(), |e| e.left_out.clone()),
        bumps,
        luck: None,
        has_draws: has_draws(question.board),
        idle_stalls: seen.idle,
        need: seen.need,
        warnings,
        stalls,
        drawing: exposure.zip(paths).map(|(exposure, paths)| Drawing {
            trace,
            paths,
            exposure,
            strips: seen.strips,
            plate,
        }),
        layers: seen.layers,
    }
}
