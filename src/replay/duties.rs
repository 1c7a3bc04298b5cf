//! What the main loop does beside lines: chores, and when a save is due (model sections 4 and 6).

use std::fmt;

use crate::board::types::{Board, Chore as Kind, Save, SaveWhen};

use super::luck::Stream;
use super::world::{Line, Work};

/// Chore runs that one replay may make.
const CHORE_RUNS_MAX: u64 = 50_000_000;

/// A board on which a replay makes no headway.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Restless {
    /// The chore that ran last.
    pub chore: Box<str>,
}

impl fmt::Display for Restless {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "chores ran {CHORE_RUNS_MAX} times and the job is not done; make `{}` rarer (every_s) or shorter (us), \
             or the link faster",
            self.chore
        )
    }
}

impl std::error::Error for Restless {}

#[derive(Debug)]
struct Chore {
    kind: Kind,
    due_s: f64,
    runs: u64,
    luck: Stream,
}

/// The board's chores, in file order.
#[derive(Debug)]
pub struct Chores {
    list: Vec<Chore>,
    /// When the next one is due, s.
    pub next_s: f64,
    /// Runs of all of them.
    pub runs: u64,
}

impl Chores {
    /// All that take time, none run yet.
    pub fn new(board: &Board, seed: u64) -> Self {
        let all = &board.chores;
        let list: Vec<Chore> = all
            .iter()
            .enumerate()
            .filter(|(_, kind)| !kind.work.is_zero())
            .map(|(i, kind)| {
                // By name, so that the luck of one stays when another is left out.
                let twins = all[..i].iter().filter(|c| c.name == kind.name).count();
                let luck = Stream::new(seed, &format!("chore {twins} {}", kind.name));
                Chore {
                    kind: kind.clone(),
                    due_s: kind.every_s,
                    runs: 0,
                    luck,
                }
            })
            .collect();
        let mut chores = Chores {
            list,
            next_s: 0.0,
            runs: 0,
        };
        chores.find_next();
        chores
    }

    /// How many there are.
    pub fn count(&self) -> usize {
        self.list.len()
    }

    /// Finds out when the next one is due.
    pub fn find_next(&mut self) {
        self.next_s = self.list.iter().fold(f64::INFINITY, |m, c| m.min(c.due_s));
    }

    /// If the `i`-th is due at `now_s`: starts it; its CPU work, s.
    pub fn start(&mut self, i: usize, now_s: f64) -> Result<Option<f64>, Restless> {
        let chore = &mut self.list[i];
        if now_s < chore.due_s {
            return Ok(None);
        }
        self.runs += 1;
        if self.runs > CHORE_RUNS_MAX {
            return Err(Restless {
                chore: chore.kind.name.as_str().into(),
            });
        }
        chore.due_s = now_s + chore.kind.every_s;
        let work_s = chore.luck.draw_s(&chore.kind.work, chore.runs);
        chore.runs += 1;
        Ok(Some(work_s))
    }
}

/// When a save is due, and how many were made.
#[derive(Debug)]
pub struct Saves {
    save: Save,
    luck: Stream,
    /// Saves made.
    pub made: u64,
    last_end_s: f64,
    lines_since: u64,
    taken_since: bool,
    last_layer: Option<u32>,
}

impl Saves {
    /// No save made.
    pub fn new(save: &Save, seed: u64) -> Self {
        Saves {
            save: *save,
            luck: Stream::new(seed, "save"),
            made: 0,
            last_end_s: 0.0,
            lines_since: 0,
            taken_since: true,
            last_layer: None,
        }
    }

    /// A line was taken from the command queue.
    pub fn taken(&mut self, line: &Line) {
        self.lines_since += 1;
        self.taken_since = true;
        self.last_layer = Some(line.layer);
    }

    /// Whether one is due, with `oldest` in front of the command queue.
    pub fn is_due(&self, now_s: f64, oldest: Option<&Line>) -> bool {
        let Some(oldest) = oldest else { return false };
        if !self.taken_since {
            return false;
        }
        match self.save.when {
            SaveWhen::Off => false,
            SaveWhen::Seconds(every_s) => now_s >= self.last_end_s + every_s,
            SaveWhen::Lines(every) => self.lines_since >= every,
            SaveWhen::Layer => {
                oldest.work != Work::Poll && self.last_layer.is_some_and(|l| l != oldest.layer)
            }
        }
    }

    /// How long the next one holds the main loop, s.
    pub fn hold_s(&mut self) -> f64 {
        self.luck.draw_s(&self.save.hold, self.made)
    }

    /// One has been made.
    pub fn done(&mut self, now_s: f64) {
        self.made += 1;
        self.last_end_s = now_s;
        self.lines_since = 0;
        self.taken_since = false;
    }
}
