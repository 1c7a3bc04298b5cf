//! The executor: the planner queue and the head that works it off ([model sections 2](crate::model#2-block-limits-and-corners) and [3](crate::model#3-look-ahead-and-execution)).

use crate::board::types::{Costs, Queue};
use crate::motion::extremes::lesser;
use crate::motion::lookahead::{Joint, Window};
use crate::motion::path::Block;

use super::world::{Cause, Ran};

/// An endless queue keeps so many blocks in the window before it spills.
const WINDOW_BLOCKS: usize = 1024;

/// What the look-ahead needn't know of a waiting block.
#[derive(Clone, Copy, Debug)]
struct Load {
    steps: f64,
    late_s: f64,
    late_by: Cause,
}

/// The head, and the blocks it will execute.
#[derive(Debug)]
pub struct Head {
    restart_blocks: usize,
    restart_wait_s: f64,
    low_water: usize,
    stretch_s: f64,
    step_s: f64,
    load_max: f64,
    window: Window<Load>,
    /// Blocks behind those of the window of which only the number is held.
    spilled: usize,
    /// End of the executing block, s; infinite at rest.
    pub end_s: f64,
    /// What steps leave of the processor.
    pub cpu_rate: f64,
    /// When a block entered the empty queue, s.
    entered_s: f64,
    rest: Rest,
    /// Blocks started.
    pub started: u64,
    /// Sum of gaps, s.
    pub gap_s: f64,
    /// Sum of rests before the first block and after commanded stops, s.
    pub start_up_s: f64,
    /// Sum of the blocks' durations, s.
    pub moving_s: f64,
    /// When the last block ends, s.
    pub last_end_s: f64,
    /// Nominal speed of the block started last, mm/s.
    nominal_mm_s: f64,
    /// And when it started, s.
    start_s: f64,
}

/// How a rest is accounted for.
#[derive(Clone, Copy, Debug)]
struct Rest {
    /// From here on the rest is not yet accounted for, s.
    since_s: f64,
    /// Rest before the first commanded stop in it, s.
    gap_s: f64,
    /// Before the job's first block, or after a commanded stop.
    excused: bool,
}

impl Head {
    /// A head at rest with an empty queue.
    pub fn new(queue: &Queue, costs: &Costs) -> Self {
        Head {
            restart_blocks: queue.restart_blocks,
            restart_wait_s: if queue.restart_wait_s > 0.0 {
                queue.restart_wait_s
            } else {
                f64::INFINITY
            },
            low_water: queue.low_water,
            stretch_s: queue.stretch_s,
            step_s: costs.step_s,
            load_max: costs.load_max,
            window: Window::default(),
            spilled: 0,
            end_s: f64::INFINITY,
            cpu_rate: 1.0,
            entered_s: 0.0,
            rest: Rest {
                since_s: 0.0,
                gap_s: 0.0,
                excused: true,
            },
            started: 0,
            gap_s: 0.0,
            start_up_s: 0.0,
            moving_s: 0.0,
            last_end_s: 0.0,
            nominal_mm_s: 0.0,
            start_s: 0.0,
        }
    }

    /// How long the executing block takes, s, and its nominal speed, mm/s.
    pub fn executing(&self) -> Option<(f64, f64)> {
        self.moves()
            .then_some((self.end_s - self.start_s, self.nominal_mm_s))
    }

    /// Whether a block is being executed.
    #[inline]
    pub fn moves(&self) -> bool {
        self.end_s < f64::INFINITY
    }

    /// Blocks in the planner queue that are not executing.
    #[inline]
    pub fn waiting(&self) -> usize {
        self.window.len() + self.spilled
    }

    /// Blocks in the planner queue, the executing one included.
    #[inline]
    pub fn queued(&self) -> usize {
        self.waiting() + usize::from(self.moves())
    }

    /// Whether the next block may be spilled: held as a number until it matters for the next to start.
    #[inline]
    pub fn spills(&self) -> bool {
        self.spilled > 0 || self.window.len() >= WINDOW_BLOCKS
    }

    /// Spills the next block.
    pub fn spill(&mut self) {
        self.spilled += 1;
    }

    /// The number of the spilled block, if any, without which the next one must not start.
    #[inline]
    pub fn wanted(&mut self) -> Option<u64> {
        let wanted = self.spilled > 0 && !self.window.is_settled();
        wanted.then(|| self.started + self.window.len() as u64)
    }

    /// The number of the next block to come into the queue.
    #[inline]
    pub fn next_number(&self) -> u64 {
        self.started + self.waiting() as u64
    }

    /// The oldest of the spilled blocks comes back.
    pub fn bring_back(&mut self, block: &Block) {
        self.insert(f64::NAN, block, Cause::Depth, 0.0);
        self.spilled -= 1;
    }

    /// Puts a planned block behind the others.
    #[inline]
    pub fn insert(&mut self, now_s: f64, block: &Block, late_by: Cause, late_s: f64) {
        let queued = self.queued();
        if queued == 0 {
            self.entered_s = now_s;
        }
        let mut nominal_mm_s = block.speed_mm_s;
        if queued >= 1 && queued < self.low_water {
            let time_s = block.length_mm / nominal_mm_s;
            if time_s < self.stretch_s {
                let short = (self.low_water - queued) as f64 / self.low_water as f64;
                nominal_mm_s = block.length_mm / (time_s + (self.stretch_s - time_s) * short);
            }
        }
        // Where none waits, the window has it start from rest.
        let before_mm_s = self.window.newest_nominal_mm_s().unwrap_or(0.0);
        let joint = Joint {
            length_mm: block.length_mm,
            nominal_mm_s,
            accel_mm_s2: block.accel_mm_s2,
            cap_mm_s: lesser(lesser(before_mm_s, nominal_mm_s), block.corner_mm_s),
        };
        let steps = block.steps;
        self.window.push(
            joint,
            Load {
                steps,
                late_s,
                late_by,
            },
        );
    }

    /// When a resting head starts if nothing more is planned: `now_s` or before if it may at
    /// once. `hurried`: the main loop drains the queue, or has stopped.
    #[inline]
    pub fn start_s(&self, now_s: f64, hurried: bool) -> f64 {
        if self.window.is_empty() {
            f64::INFINITY
        } else if hurried || self.window.len() >= self.restart_blocks {
            now_s
        } else {
            self.entered_s + self.restart_wait_s
        }
    }

    /// Starts the oldest block, from rest or behind one that has just ended.
    #[inline(always)]
    pub fn start(&mut self, now_s: f64) -> Option<Ran> {
        let queued = self.waiting() as u32;
        let (course, load) = self.window.pop()?;
        let profile = course.profile();
        let mut gap_s = 0.0;
        if !self.moves() {
            gap_s = self.rest.gap_s;
            if self.rest.excused {
                self.start_up_s += now_s - self.rest.since_s;
            } else {
                gap_s += now_s - self.rest.since_s;
            }
            self.rest = Rest {
                since_s: f64::NAN,
                gap_s: 0.0,
                excused: false,
            };
        }
        let duration_s = profile.duration_s();
        self.end_s = now_s + duration_s;
        // Every loop of the replay rests on this: a block that never ended would hold them all.
        assert!(self.end_s < f64::INFINITY, "a block that never ends");
        self.start_s = now_s;
        self.nominal_mm_s = course.nominal_mm_s;
        self.cpu_rate = 1.0 - lesser(self.load_max, self.step_s * load.steps / duration_s);
        self.gap_s += gap_s;
        self.moving_s += duration_s;
        self.last_end_s = self.end_s;
        self.started += 1;
        Some(Ran {
            block: self.started - 1,
            start_s: now_s,
            end_s: self.end_s,
            gap_s,
            nominal_mm_s: course.nominal_mm_s,
            profile,
            queued,
            late_by: load.late_by,
            late_s: load.late_s,
        })
    }

    /// The executing block ends: the next one starts at once, or the head comes to rest.
    #[inline(always)]
    pub fn end(&mut self) -> Option<Ran> {
        let now_s = self.end_s;
        let next = self.start(now_s);
        if next.is_none() {
            self.end_s = f64::INFINITY;
            self.cpu_rate = 1.0;
            self.rest.since_s = now_s;
        }
        next
    }

    /// A commanded stop: the main loop began to drain at `drain_s`, the queue was empty at
    /// `start_s`, the stop's own time ends at `end_s`. Returns the wait between the head's coming
    /// to rest and the stop's own time, s.
    pub fn stopped(&mut self, drain_s: f64, start_s: f64, end_s: f64) -> f64 {
        let rested_s = self.rest.since_s.max(drain_s);
        if self.rest.excused {
            self.start_up_s += (drain_s - self.rest.since_s).max(0.0);
        } else {
            self.rest.gap_s += (drain_s - self.rest.since_s).max(0.0);
        }
        self.rest.excused = true;
        self.rest.since_s = end_s;
        start_s - rested_s
    }

    /// At the end of the replay at `end_s`: what no block will bear counts as start-up.
    pub fn finish(&mut self) {
        self.start_up_s += self.rest.gap_s;
        self.rest.gap_s = 0.0;
    }
}
