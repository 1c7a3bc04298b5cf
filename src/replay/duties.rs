//! What the main loop does beside lines: chores, and when a save is due ([model sections 4](crate::model#4-the-main-loops-work) and [6](crate::model#6-state-saves)).

use std::fmt;

use crate::board::types::{Board, Chore as ChoreSpec, Save, SaveWhen};

use super::luck::Stream;
use super::world::{Line, Work};

/// Chore runs that one replay may make.
pub const CHORE_RUNS_MAX: u64 = 50_000_000;

/// A replay that made so little progress that it was given up.
#[derive(Clone, Debug, PartialEq)]
pub struct NoProgress {
    /// The chore that ran last.
    pub chore: Box<str>,
    /// When it was given up, s.
    pub at_s: f64,
    /// Runs of chores that it had made.
    pub runs: u64,
    /// The block that the head is executing, if that is what takes so long.
    pub slow: Option<SlowBlock>,
}

/// A block that takes longer than anybody waits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SlowBlock {
    /// The job's line, from 1, where that is known.
    pub line: Option<u64>,
    /// How long it takes, s.
    pub duration_s: f64,
    /// Its nominal speed, mm/s.
    pub nominal_mm_s: f64,
}

impl SlowBlock {
    /// Longer than any move of a print takes, s.
    const LONG_S: f64 = 1e4;
    /// Slower than any move of a print is meant to be (common practice, no source), mm/s.
    const SLOW_MM_S: f64 = 0.1;

    /// Whether a block is what takes so long, and not the chores while it is being executed.
    pub fn is_slow(duration_s: f64, nominal_mm_s: f64) -> bool {
        duration_s > Self::LONG_S || nominal_mm_s < Self::SLOW_MM_S
    }

    /// Its speed, mm/s.
    fn speed(&self) -> String {
        match self.nominal_mm_s {
            v if v < 0.001 => format!("{v:.1e}"),
            v => format!("{v:.3}"),
        }
    }
}

impl fmt::Display for NoProgress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let NoProgress {
            chore, at_s, runs, ..
        } = self;
        let so_far = format!("chores ran {runs} times in {at_s:.0} s and the job is not done");
        let Some(slow) = &self.slow else {
            return write!(
                f,
                "{so_far}; make the job shorter, `{chore}` rarer (every_s) or shorter (us), or the link faster"
            );
        };
        match slow.line {
            Some(line) => write!(f, "line {line}: this move")?,
            None => write!(f, "a move of the job")?,
        }
        let (duration_s, speed) = (slow.duration_s, slow.speed());
        write!(
            f,
            " takes {duration_s:.0} s at {speed} mm/s ({so_far}); make it faster: its F, or the board's \
             motion.speed_max or queue.stretch_ms, whichever holds it back"
        )
    }
}

impl std::error::Error for NoProgress {}

#[derive(Debug)]
struct Chore {
    kind: ChoreSpec,
    runs: u64,
    luck: Stream,
}

/// The board's chores, in file order.
#[derive(Debug)]
pub struct Chores {
    list: Vec<Chore>,
    /// When each is due, s, as the leaves of a binary tree whose every node has the least of the two below it:
    /// the root is at 1, the nodes below k at 2 k and 2 k + 1. So the next in file order that is due is found,
    /// and a new time put in, in the tree's height: 1000 chores cost ten steps, not a thousand.
    due_s: Vec<f64>,
    /// When the next one is due, s.
    pub next_s: f64,
    /// Runs of all of them.
    pub runs: u64,
    runs_max: u64,
}

impl Chores {
    /// All that take time, none run yet; more than `runs_max` runs are not made.
    pub fn new(board: &Board, seed: u64, runs_max: u64) -> Self {
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
                    runs: 0,
                    luck,
                }
            })
            .collect();
        let leaves = list.len().next_power_of_two();
        let mut chores = Chores {
            due_s: vec![f64::INFINITY; 2 * leaves],
            list,
            next_s: f64::INFINITY,
            runs: 0,
            runs_max,
        };
        for i in 0..chores.list.len() {
            chores.put_off(i, chores.list[i].kind.every_s);
        }
        chores
    }

    /// The first chore, from the `from`-th on, that is due at `now_s`.
    pub fn first_due(&self, from: usize, now_s: f64) -> Option<usize> {
        let leaves = self.due_s.len() / 2;
        if from >= leaves {
            return None;
        }
        // Up and to the right until a node has one that is due, then down to its first.
        let mut node = leaves + from;
        while self.due_s[node] > now_s {
            while node % 2 == 1 {
                node /= 2;
            }
            if node == 0 {
                return None;
            }
            node += 1;
        }
        while node < leaves {
            node = 2 * node + usize::from(self.due_s[2 * node] > now_s);
        }
        Some(node - leaves)
    }

    /// The `i`-th is next due then.
    fn put_off(&mut self, i: usize, due_s: f64) {
        let mut node = self.due_s.len() / 2 + i;
        self.due_s[node] = due_s;
        while node > 1 {
            node /= 2;
            self.due_s[node] = self.due_s[2 * node].min(self.due_s[2 * node + 1]);
        }
        self.next_s = self.due_s[1];
    }

    /// Starts the `i`-th, which is due at `now_s`; its CPU work, s.
    ///
    /// This is what bounds a replay whose clock stands or crawls: each round of a waiting loop runs a chore,
    /// takes a line or a block, and the runs of chores are numbered.
    pub fn start(&mut self, i: usize, now_s: f64) -> Result<f64, NoProgress> {
        let chore = &mut self.list[i];
        if self.runs >= self.runs_max {
            return Err(NoProgress {
                chore: chore.kind.name.as_str().into(),
                at_s: now_s,
                runs: self.runs,
                slow: None,
            });
        }
        self.runs += 1;
        let due_s = now_s + chore.kind.every_s;
        let work_s = chore.luck.draw_s(&chore.kind.work, chore.runs);
        chore.runs += 1;
        self.put_off(i, due_s);
        Ok(work_s)
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

#[cfg(test)]
mod tests {
    use super::{CHORE_RUNS_MAX, Chores};
    use crate::board::types::{Chore, Span};
    use crate::board::{builtin, profile};

    /// The tree against looking at all of them, for numbers of chores around powers of two.
    #[test]
    fn the_first_that_is_due_is_found() {
        let text = builtin::text(builtin::DEFAULT).unwrap();
        let mut board = profile::parse(text, builtin::DEFAULT, &[]).unwrap();
        for count in [0, 1, 2, 3, 4, 5, 7, 8, 9, 31] {
            board.chores = (0..count)
                .map(|k| Chore {
                    name: format!("c{k}"),
                    every_s: 0.1 + f64::from(k * 37 % 11) * 0.07,
                    work: Span::Fixed(1e-3),
                })
                .collect();
            let mut chores = Chores::new(&board, 0, CHORE_RUNS_MAX);
            let mut due_s: Vec<f64> = board.chores.iter().map(|c| c.every_s).collect();
            for step in 0..200 {
                let now_s = f64::from(step) * 0.023;
                let least_s = due_s.iter().fold(f64::INFINITY, |m, d| m.min(*d));
                assert_eq!(chores.next_s, least_s);
                let mut from = 0;
                loop {
                    let slow = (from..due_s.len()).find(|i| due_s[*i] <= now_s);
                    assert_eq!(chores.first_due(from, now_s), slow);
                    let Some(i) = slow else { break };
                    chores.start(i, now_s).unwrap();
                    due_s[i] = now_s + board.chores[i].every_s;
                    from = i + 1;
                }
            }
        }
    }
}
