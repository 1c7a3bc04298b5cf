//! The question of `explain`: which explanation do the bumps seen on a print agree with?

use std::collections::BTreeSet;
use std::fmt;
use std::mem;

use crate::board::types::Board;
use crate::motion::path::Block;
use crate::replay::source::{Footprint, Planned, Sink, Source};
use crate::replay::store::StoredJob;
use crate::replay::stream::Done;
use crate::study::explain::luck::{Replayed, other_runs, save_period_s};
use crate::study::explain::moves::{Move, Outline};
use crate::study::explain::places::Predicted;
use crate::study::explain::plate::{Plate, Survey};
use crate::study::explain::question::{Explanation, Question, Simulated, explain as explained};
use crate::study::explain::seen::{Height, Mark};
use crate::study::explain::view::{Errors, Refusal, Window};
use crate::study::explain::wall::{LAYERS_MAX, Wall, WallBuilder};
use crate::surface::skin::Surface;

use super::hearers::step;
use super::job::Job;
use super::progress::{Listener, Progress};
use super::replay::{Effort, ReplayQuestion, replay};
use super::trouble::Trouble;

/// Period of the clock whose recognition is simulated where the board saves nothing by time, s.
const EXAMPLE_PERIOD_S: f64 = 1.0;
/// Other runs of the job that simulated prints are drawn from.
const OTHER_RUNS: usize = 16;
/// Lines that they may have together: some two seconds of work.
const OTHER_RUNS_WORK: usize = 6_000_000;
/// Blocks of a job that is kept for them: some 100 MB.
const KEPT_BLOCKS_MAX: usize = 1_500_000;

/// What is asked.
#[derive(Clone, Debug)]
pub struct ExplainQuestion<'a> {
    /// The board.
    pub board: &'a Board,
    /// What was seen.
    pub marks: &'a [Mark],
    /// Where the maker looked, if he said so.
    pub window: Option<Window>,
    /// Errors of what he noted.
    pub errors: Errors,
    /// Height from which a predicted bump counts as visible, mm: an assumption, no source.
    pub visible_mm: f64,
    /// Seed of the tests' draws; the replay itself has the seed 0.
    pub seed: u64,
    /// Draws for each p-value.
    pub draws: usize,
    /// Threads that may be used.
    pub threads: usize,
}

/// Standard deviation of a height that is measured, unless another is given, mm.
const Z_ERR_MM: f64 = 0.3;

/// Errors of what was noted: of angles, and of heights, where no other is given 0.3 mm, and nothing for counted
/// layers.
pub fn errors(marks: &[Mark], angle_deg: f64, z_mm: Option<f64>) -> Errors {
    let counted = marks.iter().any(|m| matches!(m.height, Height::Layer(_)));
    let usual_mm = if counted { 0.0 } else { Z_ERR_MM };
    Errors {
        angle_deg,
        z_mm: z_mm.unwrap_or(usual_mm),
    }
}

/// What was found about one part.
#[derive(Clone, Debug)]
pub struct PartAnswer {
    /// Its number from left to right, from 1; `None` where the list of bumps names no parts.
    pub part: Option<u32>,
    /// Its wall.
    pub wall: Wall,
    /// The bumps that the replay predicts on it.
    pub predicted: Vec<Predicted>,
    /// What its bumps agree with.
    pub explanation: Explanation,
}

/// The answer.
#[derive(Clone, Debug)]
pub struct ExplainAnswer {
    /// The job's name.
    pub job: String,
    /// The board's name.
    pub board: String,
    /// How often the board saves its state, from start to start, where it does so by time, s.
    pub save_every_s: Option<f64>,
    /// Parts on the plate.
    pub parts_on_plate: usize,
    /// What stands closer together than this counts as one part, where a limit made that more than usual, mm.
    pub coarse_mm: Option<f64>,
    /// Where limits of this program have cut something: line (0: none), what was done about it.
    pub limits: Vec<(u64, String)>,
    /// Whether predicted bumps are known; there may be too many stalls for that.
    pub predictions_known: bool,
    /// By part.
    pub parts: Vec<PartAnswer>,
}

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq)]
pub enum Unexplained {
    /// The job or the board cannot be used.
    Trouble(Trouble),
    /// The job prints nothing.
    NothingPrinted,
    /// The walls have more layers than are kept.
    TooManyLayers {
        /// Layers of the job.
        layers: u32,
        /// Parts that the list names.
        parts: usize,
    },
    /// The list names a part that the plate doesn't have.
    NoSuchPart {
        /// The list's line, from 1.
        line: usize,
        /// The part, from 1.
        part: u32,
        /// Parts on the plate.
        parts: usize,
    },
    /// The list of bumps, or of those of one part, cannot be explained.
    Refused {
        /// The part, from 1, where the list names parts.
        part: Option<u32>,
        /// Why.
        why: Refusal,
    },
}

impl fmt::Display for Unexplained {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Unexplained::Trouble(trouble) => trouble.fmt(f),
            Unexplained::NothingPrinted => f.write_str("the job prints no wall"),
            Unexplained::TooManyLayers { layers, parts } => write!(
                f,
                "has {layers} layers, of which the walls of {parts} parts are asked for; at most {LAYERS_MAX} layers of \
                 wall are kept: list bumps of fewer parts"
            ),
            Unexplained::NoSuchPart { line, part, parts } => write!(
                f,
                "line {line}: part {part}: there is no such part; they count from 1 to {parts}, from left to right"
            ),
            Unexplained::Refused { part: None, why } => why.fmt(f),
            Unexplained::Refused {
                part: Some(part),
                why,
            } => write!(f, "part {part}: {why}"),
        }
    }
}

/// A wall for each part that the list names.
struct Walls(Vec<WallBuilder>);

impl Listener for Walls {
    fn wants_blocks(&self) -> bool {
        true
    }

    fn block(&mut self, done: &Done) {
        let step = step(done);
        self.0.iter_mut().for_each(|wall| wall.push(&step));
    }
}

/// Looks where the job prints, without replaying it, and keeps it.
#[derive(Default)]
struct Surveyor {
    survey: Survey,
    kept: StoredJob,
    /// Filament moved before each block and, at the end, in all, mm; empty where the job is too long to be kept.
    before_mm: Vec<f64>,
}

impl Sink for Surveyor {
    fn block(&mut self, block: &Block, foot: Footprint) {
        if let Some(before_mm) = self.before_mm.last() {
            self.before_mm.push(before_mm + foot.place.e_mm);
            self.kept.block(block, foot);
        }
        self.survey.push(&Move {
            start_s: 0.0,
            end_s: 0.0,
            from_mm: foot.place.from_mm,
            to_mm: foot.place.to_mm,
            e_mm: foot.place.e_mm,
            line: foot.line,
            layer: foot.layer,
            ideal_s: 0.0,
        });
    }
}

/// Answers the question: one pass over the job to see where its parts stand, one to replay it, then the
/// tests.
///
/// # Errors
/// Where the job, the board or the list of bumps cannot be used.
pub fn explain(
    job: &mut Job,
    question: &ExplainQuestion,
    progress: &dyn Progress,
) -> Result<ExplainAnswer, Unexplained> {
    let (mut surveyor, layers) = surveyed(job, question.board).map_err(Unexplained::Trouble)?;
    let plate = mem::take(&mut surveyor.survey).plate();
    let plate = plate.ok_or(Unexplained::NothingPrinted)?;
    let named: BTreeSet<Option<u32>> = question.marks.iter().map(|m| m.part).collect();
    if named.len().saturating_mul(layers as usize) > LAYERS_MAX {
        let parts = named.len();
        return Err(Unexplained::TooManyLayers { layers, parts });
    }
    let outlines = outlines(&plate, question.marks, &named)?;
    let mut walls = Walls(outlines.iter().map(|o| builder(&plate, *o)).collect());
    let replayed = ReplayQuestion {
        effort: Effort::Bumps,
        runs: 1,
        visible_mm: question.visible_mm,
        threads: question.threads,
        ..ReplayQuestion::of(question.board)
    };
    let replayed = replay(job, &replayed, progress, &mut walls).map_err(Unexplained::Trouble)?;
    let predicted: Vec<Predicted> = replayed
        .visible_bumps()
        .filter(|b| b.surface == Some(Surface::Outer))
        .map(|b| Predicted {
            layer: b.layer,
            place_mm: [b.place_mm[0], b.place_mm[1]],
        })
        .collect();
    let save_every_s = save_period_s(question.board);
    let other_runs = surveyor.other_runs(question);
    let cut = replayed.warnings.iter().filter(|w| w.is_limit());
    let limits = cut.map(|w| (w.line, w.message.clone())).collect();
    let mut answer = ExplainAnswer {
        job: job.name.clone(),
        board: question.board.name.clone(),
        save_every_s,
        parts_on_plate: plate.parts.len(),
        coarse_mm: plate.coarse_mm,
        limits,
        predictions_known: replayed.surfaces.is_some() && replayed.bumps.is_complete(),
        parts: Vec::new(),
    };
    for ((part, wall), outline) in named.iter().zip(walls.0).zip(&outlines) {
        let wall = wall.finish().ok_or(Unexplained::NothingPrinted)?;
        let own = |p: &&Predicted| outline.is_none_or(|o| o.holds(p.place_mm[0], p.place_mm[1]));
        let predicted: Vec<Predicted> = predicted.iter().filter(own).copied().collect();
        let marks: Vec<Mark> = question
            .marks
            .iter()
            .filter(|m| m.part == *part)
            .cloned()
            .collect();
        let explanation = explained(&Question {
            wall: &wall,
            marks: &marks,
            predicted: &predicted,
            window: question.window,
            errors: question.errors,
            seed: question.seed,
            draws: question.draws,
            power: Some(Simulated {
                period_s: save_every_s.unwrap_or(EXAMPLE_PERIOD_S),
                period_is_boards: save_every_s.is_some(),
                other_runs: &other_runs,
            }),
            threads: question.threads,
        });
        answer.parts.push(PartAnswer {
            part: *part,
            explanation: explanation.map_err(|why| Unexplained::Refused { part: *part, why })?,
            wall,
            predicted,
        });
    }
    Ok(answer)
}

impl Surveyor {
    /// Where other runs of the job leave visible bumps.
    fn other_runs(&self, question: &ExplainQuestion) -> Vec<Vec<f64>> {
        let replayed = Replayed {
            job: &self.kept,
            before_mm: &self.before_mm,
            board: question.board,
            visible_mm: question.visible_mm,
        };
        let count = match self.before_mm.is_empty() {
            true => 0,
            false => OTHER_RUNS.min(OTHER_RUNS_WORK / self.kept.line_count().max(1)),
        };
        other_runs(&replayed, count, question.seed, question.threads)
    }
}

/// Reads the job once: where its parts stand, and, if it is not too long, the job itself; and how many layers it has.
fn surveyed(job: &mut Job, board: &Board) -> Result<(Surveyor, u32), Trouble> {
    let mut planned = Planned::new(job.read()?, board);
    let mut surveyor = Surveyor {
        before_mm: vec![0.0],
        ..Surveyor::default()
    };
    loop {
        let line = planned.next_line(&mut surveyor);
        let Some(line) = line.map_err(|e| Trouble::job(&job.name, &e))? else {
            return Ok((surveyor, planned.steps.layers().count()));
        };
        if surveyor.before_mm.len() > KEPT_BLOCKS_MAX {
            surveyor.before_mm = Vec::new();
            surveyor.kept = StoredJob::default();
        } else if !surveyor.before_mm.is_empty() {
            surveyor.kept.line(&line);
        }
    }
}

/// The outline of each part that the list names; `None`: the list names none, and nothing stands apart.
fn outlines(
    plate: &Plate,
    marks: &[Mark],
    named: &BTreeSet<Option<u32>>,
) -> Result<Vec<Option<Outline>>, Unexplained> {
    let one = |part: &Option<u32>| {
        let Some(number) = *part else {
            return Ok(plate.only());
        };
        let outline = plate.parts.get(number as usize - 1).copied();
        outline.map(Some).ok_or_else(|| Unexplained::NoSuchPart {
            line: marks.iter().find(|m| m.part == *part).map_or(0, |m| m.line),
            part: number,
            parts: plate.parts.len(),
        })
    };
    named.iter().map(one).collect()
}

fn builder(plate: &Plate, outline: Option<Outline>) -> WallBuilder {
    match outline {
        Some(outline) => WallBuilder::of_part(outline),
        None => WallBuilder::new(plate.whole.middle_mm()),
    }
}
