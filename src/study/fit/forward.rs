//! The forward model: how long each section of a coupon takes on a board, by replaying it.

use std::collections::VecDeque;
use std::io::Read;

use crate::board::types::Board;
use crate::job::notices::NoticeKind;
use crate::job::reader::{JobError, JobReader, Step};
use crate::job::state::{Act, Stop};
use crate::motion::path::Block;
use crate::replay::cause::{Causes, Setup};
use crate::replay::controller;
use crate::replay::duties::NoProgress;
use crate::replay::source::{Footprint, Planned, Sink, Source, Steps};
use crate::replay::stream::{Done, ReplayError, Watcher, replay_source};
use crate::replay::world::{Line, Ran, World};

/// A commanded pause of this length or more parts two sections, s.
pub const PAUSE_MIN_S: f64 = 2.5;

/// A job in memory, and where its sections begin and end: a section is what moves between two pauses of
/// [`PAUSE_MIN_S`] or more.
#[derive(Clone, Debug)]
pub struct Coupon {
    steps: Vec<Step>,
    /// Places in `steps` of the pauses.
    pauses: Vec<usize>,
    /// By number of the pause before it: the section, where something moves.
    sections: Vec<Option<usize>>,
    /// Whether a section has arcs.
    arcs: Vec<bool>,
}

/// What one replay of a coupon took.
#[derive(Clone, Debug, PartialEq)]
pub struct Took {
    /// By section, from its first movement to its last standstill, s.
    pub sections_s: Vec<f64>,
    /// When each section's first movement begins, s.
    pub starts_s: Vec<f64>,
    /// The whole replay, s.
    pub replay_s: f64,
    /// What the replay takes of the computer: lines, blocks, saves and runs of chores.
    pub work: u64,
}

/// Reads a whole job into memory.
pub fn steps<R: Read>(input: R) -> Result<Vec<Step>, JobError> {
    let steps = read(&mut JobReader::new(input), usize::MAX)?;
    Ok(steps.unwrap_or_default())
}

/// What is left in a reader; `None` where that is more than so many steps.
pub fn read<R: Read>(
    reader: &mut JobReader<R>,
    most: usize,
) -> Result<Option<Vec<Step>>, JobError> {
    let mut steps = Vec::new();
    while let Some(step) = reader.next_step()? {
        if steps.len() == most {
            return Ok(None);
        }
        steps.push(*step);
    }
    Ok(Some(steps))
}

/// The line of the first arc that gets fewer chords than this board would make.
pub fn coarse_arc(steps: &[Step], board: &Board) -> Option<u64> {
    let noting = Noting {
        steps: steps.iter(),
        line: None,
    };
    let mut planned = Planned::new(noting, board);
    // Steps in memory cannot fail.
    while let Ok(Some(_)) = planned.next_line(&mut Nowhere) {}
    planned.steps.line
}

/// Steps, and the first line that a limit has cut.
struct Noting<'a> {
    steps: std::slice::Iter<'a, Step>,
    line: Option<u64>,
}

impl Steps for Noting<'_> {
    fn next_step(&mut self) -> Result<Option<&Step>, JobError> {
        self.steps.next_step()
    }

    fn byte_count(&self) -> u64 {
        0
    }

    fn note(&mut self, _kind: NoticeKind, line: u64) {
        self.line.get_or_insert(line);
    }
}

struct Nowhere;

impl Sink for Nowhere {
    fn block(&mut self, _block: &Block, _foot: Footprint) {}
}

impl Coupon {
    /// Finds the sections of a job.
    pub fn new(steps: Vec<Step>) -> Self {
        let is_pause =
            |step: &Step| matches!(step.act, Act::Stop(Stop::Dwell(s)) if s >= PAUSE_MIN_S - 1e-9);
        let pauses: Vec<usize> = (0..steps.len()).filter(|k| is_pause(&steps[*k])).collect();
        let (mut sections, mut arcs) = (Vec::new(), Vec::new());
        for between in pauses.windows(2) {
            let moves = steps[between[0]..between[1]]
                .iter()
                .filter_map(|s| match &s.act {
                    Act::Move(m) if m.circle.is_some() || m.from_mm != m.to_mm => Some(m),
                    _ => None,
                });
            let curved: Vec<bool> = moves.map(|m| m.circle.is_some()).collect();
            sections.push((!curved.is_empty()).then_some(arcs.len()));
            if !curved.is_empty() {
                arcs.push(curved.contains(&true));
            }
        }
        Coupon {
            steps,
            pauses,
            sections,
            arcs,
        }
    }

    /// How many sections there are.
    pub fn count(&self) -> usize {
        self.arcs.len()
    }

    /// By section: whether it has arcs.
    pub fn arcs(&self) -> &[bool] {
        &self.arcs
    }

    /// How long the sections take on a board.
    pub fn replay(&self, board: &Board, seed: u64) -> Result<Took, NoProgress> {
        self.run(&Setup::whole(board), seed)
    }

    /// The same, given up after so many runs of chores.
    pub fn replay_within(
        &self,
        board: &Board,
        seed: u64,
        chore_runs_max: u64,
    ) -> Result<Took, NoProgress> {
        let setup = Setup {
            chore_runs_max,
            ..Setup::whole(board)
        };
        self.run(&setup, seed)
    }

    /// How long the sections would take if every line were there and planned at once.
    pub fn ideal(&self, board: &Board) -> Result<Took, NoProgress> {
        self.run(&Setup::only(board, Causes::NONE), 0)
    }

    fn run(&self, setup: &Setup, seed: u64) -> Result<Took, NoProgress> {
        let mut watch = StopWatch {
            source: Planned::new(self.steps.iter(), &setup.board),
            coupon: self,
            line: 0,
            given: 0,
            pauses: Vec::with_capacity(self.pauses.len()),
            passed: 0,
            edges_s: vec![None; self.count()],
        };
        let totals = controller::run(setup, seed, &mut watch)?;
        let edges_s: Vec<[f64; 2]> = watch
            .edges_s
            .iter()
            .map(|e| e.unwrap_or_default())
            .collect();
        Ok(Took {
            sections_s: edges_s.iter().map(|[from, to]| to - from).collect(),
            starts_s: edges_s.iter().map(|[from, _]| *from).collect(),
            replay_s: totals.replay_s,
            work: self.steps.len() as u64 + totals.blocks + totals.saves + totals.chores,
        })
    }
}

/// Names of sections as comments `; section 3 of 20: chords` give them: by section, empty where there is none.
/// A coupon is found by its pauses; the names are for people only.
pub fn names(text: &str, count: usize) -> Vec<String> {
    let mut names = vec![String::new(); count];
    for line in text.lines() {
        let named = line.strip_prefix("; section ").and_then(|rest| {
            let (number, name) = rest.split_once(": ")?;
            let (number, of) = number.split_once(" of ")?;
            let is_ours = of.parse() == Ok(count);
            let number: usize = number.parse().ok().filter(|_| is_ours)?;
            Some((number.checked_sub(1)?, name.trim()))
        });
        if let Some((place, name)) = named
            && let Some(slot) = names.get_mut(place)
        {
            *slot = name.to_string();
        }
    }
    names
}

/// Notes when sections start and end, and nothing else.
struct StopWatch<'a> {
    source: Planned<std::slice::Iter<'a, Step>>,
    coupon: &'a Coupon,
    /// Place of the next line.
    line: usize,
    /// Blocks given so far.
    given: u64,
    /// Blocks given before each pause that was given.
    pauses: Vec<u64>,
    /// Pauses that lie before the block that ran last.
    passed: usize,
    edges_s: Vec<Option<[f64; 2]>>,
}

struct Count<'a>(&'a mut VecDeque<Block>, u64);

impl Sink for Count<'_> {
    #[inline(always)]
    fn block(&mut self, block: &Block, _foot: Footprint) {
        self.0.push_back(*block);
        self.1 += 1;
    }
}

impl World for StopWatch<'_> {
    fn next_line(&mut self, blocks: &mut VecDeque<Block>) -> Option<Line> {
        if self.coupon.pauses.get(self.pauses.len()) == Some(&self.line) {
            self.pauses.push(self.given);
        }
        self.line += 1;
        let mut sink = Count(blocks, 0);
        // Steps in memory cannot fail.
        let line = self.source.next_line(&mut sink).ok().flatten();
        self.given += sink.1;
        line
    }

    fn ran(&mut self, ran: &Ran) {
        while self
            .pauses
            .get(self.passed)
            .is_some_and(|at| ran.block >= *at)
        {
            self.passed += 1;
        }
        let before = self.passed.checked_sub(1);
        if let Some(Some(section)) = before.and_then(|k| self.coupon.sections.get(k)) {
            let edges = self.edges_s[*section].get_or_insert([ran.start_s, ran.end_s]);
            edges[1] = ran.end_s;
        }
    }

    fn stopped(&mut self, _start_s: f64, _end_s: f64) {}
}

struct Unwatched;

impl Watcher for Unwatched {
    fn block(&mut self, _done: &Done) {}
    fn stop(&mut self, _start_s: f64, _end_s: f64) {}
}

/// Seconds that a job loses on a board.
pub fn lost_s(steps: &[Step], board: &Board, seed: u64) -> Result<f64, ReplayError> {
    let source = Planned::new(steps.iter(), board);
    replay_source(source, board, seed, &mut Unwatched, 0).map(|done| done.lost_s)
}
