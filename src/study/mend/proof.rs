//! The mended job against the job that it was made from, both read anew: is it the same print?

use std::fmt;
use std::io::Read;

use crate::board::types::Board;
use crate::job::reader::{JobError, JobReader, Step};
use crate::job::state::{Act, Move};
use crate::motion::path::Path;

use super::arcs::{apart_mm, corners};
use super::reach::JOINED_MAX;
use super::space::{distance_mm, xyz};

/// Ends of moves this far apart are the same: rounding to 0.001 mm on two axes, mm.
const PLACE_MM: f64 = 2e-3;
/// Filament used so far may differ by this, mm.
const FILAMENT_MM: f64 = 1e-4;
/// Points at which an arc is compared with the path before are at most this far apart, mm.
const STEP_MM: f64 = 0.02;

/// What was found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sameness {
    /// The largest distance between the two paths, both ways, mm.
    pub deviation_mm: f64,
    /// The line of the mended job where that is.
    pub deviation_line: u64,
    /// The largest difference of a layer's filament, mm.
    pub filament_mm: f64,
    /// Moves of the job and of the mended one.
    pub moves: [u64; 2],
    /// Command lines of both.
    pub commands: [u64; 2],
}

/// Why the two are not the same print: a fault of this program.
#[derive(Debug)]
pub enum Differs {
    /// One of them cannot be read.
    Job(JobError),
    /// They part here: lines of the job and of the mended one.
    At {
        /// Line of the job.
        old_line: u64,
        /// Line of the mended job.
        new_line: u64,
        /// What is different.
        what: &'static str,
    },
}

impl fmt::Display for Differs {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Differs::Job(error) => write!(f, "{error}"),
            Differs::At {
                old_line,
                new_line,
                what,
            } => write!(
                f,
                "line {old_line} of the job and line {new_line} of the mended one differ: {what}"
            ),
        }
    }
}

impl std::error::Error for Differs {}

impl From<JobError> for Differs {
    fn from(error: JobError) -> Self {
        Differs::Job(error)
    }
}

/// Steps that move, stop or set limits.
struct Significant<R> {
    steps: JobReader<R>,
    ahead: Option<Step>,
    line: u64,
    moves: u64,
}

impl<R: Read> Significant<R> {
    fn new(input: R) -> Self {
        Significant {
            steps: JobReader::new(input),
            ahead: None,
            line: 0,
            moves: 0,
        }
    }

    fn next(&mut self) -> Result<Option<Step>, JobError> {
        let step = self.peek()?;
        self.ahead = None;
        if let Some(step) = step {
            self.line = step.line;
            self.moves += u64::from(matches!(step.act, Act::Move(_)));
        }
        Ok(step)
    }

    fn peek(&mut self) -> Result<Option<Step>, JobError> {
        while self.ahead.is_none()
            && let Some(step) = self.steps.next_step()?
        {
            self.ahead = Some(*step).filter(|step| step.act != Act::Nothing);
        }
        Ok(self.ahead)
    }
}

/// Compares two jobs, side by side.
///
/// # Errors
/// Where one cannot be read, or they are not the same print.
pub fn sameness(old: impl Read, new: impl Read, board: &Board) -> Result<Sameness, Differs> {
    let (mut old, mut new) = (Significant::new(old), Significant::new(new));
    let mut found = Sameness::default();
    let mut path = Path::new(board);
    let mut covered: Vec<Move> = Vec::new();
    // Both by the layers of the old job: fewer, longer moves of a spiral may count as other layers by themselves.
    let mut layers_mm: Vec<f64> = Vec::new();
    while let Some(step) = new.next()? {
        let differs = |old_line, what| Differs::At {
            old_line,
            new_line: step.line,
            what,
        };
        let Act::Move(n) = step.act else {
            if old.next()?.map(|s| s.act) != Some(step.act) {
                return Err(differs(old.line, "a stop or a limit is not where it was"));
            }
            continue;
        };
        covered.clear();
        loop {
            let Some(Step {
                act: Act::Move(o),
                layer,
                ..
            }) = old.next()?
            else {
                return Err(differs(old.line, "a move ends elsewhere"));
            };
            covered.push(o);
            let layer = layer as usize;
            layers_mm.resize(layers_mm.len().max(layer + 1), 0.0);
            layers_mm[layer] += o.e_mm;
            if same_place(&o, &n) && !ends_nearer(old.peek()?, &o, &n) {
                layers_mm[layer] -= n.e_mm;
                break;
            }
            if covered.len() > JOINED_MAX {
                return Err(differs(old.line, "a move ends elsewhere"));
            }
        }
        if bends(&covered, &n) {
            return Err(differs(
                old.line,
                "an arc is no longer one, or a straight move became one",
            ));
        }
        let apart_mm = moved_mm(&covered, &n, &mut path);
        if apart_mm > found.deviation_mm {
            found.deviation_mm = apart_mm;
            found.deviation_line = step.line;
        }
    }
    if old.next()?.is_some() {
        return Err(Differs::At {
            old_line: old.line,
            new_line: new.line,
            what: "the mended job ends earlier",
        });
    }
    found.filament_mm = layers_mm.iter().map(|mm| mm.abs()).fold(0.0, f64::max);
    found.moves = [old.moves, new.moves];
    found.commands = [old.steps.command_count(), new.steps.command_count()];
    Ok(found)
}

fn same_place(o: &Move, n: &Move) -> bool {
    (0..3).all(|k| (o.to_mm[k] - n.to_mm[k]).abs() <= PLACE_MM)
        && (o.to_mm[3] - n.to_mm[3]).abs() <= FILAMENT_MM
}

/// Whether a move ends where `n` does even more than `o`: moves may be shorter than rounding.
fn ends_nearer(next: Option<Step>, o: &Move, n: &Move) -> bool {
    let off_mm = |m: &Move| {
        let place_mm: f64 = (0..3).map(|k| (m.to_mm[k] - n.to_mm[k]).abs()).sum();
        // Filament is written a hundred times finer than places.
        place_mm + 100.0 * (m.to_mm[3] - n.to_mm[3]).abs()
    };
    match next.map(|step| step.act) {
        Some(Act::Move(next)) => same_place(&next, n) && off_mm(&next) < off_mm(o),
        _ => false,
    }
}

/// Whether a move that stands for one alone bends otherwise, or one for several stands for an arc.
fn bends(covered: &[Move], n: &Move) -> bool {
    let bend = |m: &Move| m.circle.map(|c| (c.plane, c.clockwise, c.full));
    match covered {
        [alone] => bend(alone) != bend(n),
        all => all.iter().any(|o| o.circle.is_some()),
    }
}

/// How far a move lies from those that it stands for, mm.
fn moved_mm(covered: &[Move], n: &Move, path: &mut Path) -> f64 {
    let alone = covered.len() == 1;
    if n.circle.is_some() && !alone {
        let mut points = vec![xyz(&n.from_mm)];
        points.extend(path.blocks(n).map(|(_, place)| place.to_mm));
        return apart_mm(&points, &corners(covered), STEP_MM);
    }
    let (a, b) = (xyz(&n.from_mm), xyz(&n.to_mm));
    let ends = |o: &Move| distance_mm(xyz(&o.to_mm), b, b).max(distance_mm(xyz(&o.from_mm), a, a));
    if alone {
        return ends(&covered[0]);
    }
    let inner = covered[..covered.len() - 1].iter();
    let start = distance_mm(xyz(&covered[0].from_mm), a, a);
    let end = distance_mm(xyz(&covered[covered.len() - 1].to_mm), b, b);
    inner
        .map(|o| distance_mm(xyz(&o.to_mm), a, b))
        .fold(start.max(end), f64::max)
}
