//! Another job for the same part: chords merged, arcs for chords, slower walls, shorter lines.
//!
//! Points that a run of chords shares with the rest of the job stay, and so does the filament; how
//! far the path moves is measured.

use std::collections::VecDeque;

use crate::job::reader::{JobError, Step};
use crate::job::state::{Act, Circle, Move};
use crate::replay::source::Steps;

use super::mend::arcs;
use super::mend::merge;
use super::mend::reach::straight;
use super::mend::space::length_mm;

/// What is done to a job.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reshape {
    /// Straight moves joined where the path stays within this, mm.
    Merge(f64),
    /// Straight moves joined to arcs where the path stays within this, the chords of `chord_mm` included into which the
    /// board cuts arcs.
    Arcs {
        /// How far the arc may lie from the chords, mm.
        within_mm: f64,
        /// Length of the board's chords, mm.
        chord_mm: f64,
    },
    /// Printing moves at most this fast, mm/s.
    Slow(f64),
    /// Comments, blank lines and needless decimals left out.
    Short,
}

/// Chords that one move may stand for.
const CHORDS_MAX: usize = 400;
/// Filament per millimetre may differ by this share within a run.
const BEAD_SLACK: f64 = 0.05;
/// Bytes by which an arc's line is longer than a straight one's: I, J and their numbers.
const ARC_BYTES: u32 = 16;

/// Steps of a job, reshaped as they come; what one move may stand for is looked ahead.
#[derive(Debug)]
pub struct Reshaped<T> {
    /// The steps as they come.
    pub steps: T,
    how: Reshape,
    /// Steps that were read and not given yet.
    ahead: VecDeque<Step>,
    /// The step given last.
    given: Option<Step>,
    end_byte: u64,
    ended: bool,
    /// How far the path has moved so far at most, mm.
    pub shift_mm: f64,
}

impl<T: Steps> Reshaped<T> {
    /// These steps, reshaped.
    pub fn new(steps: T, how: Reshape) -> Self {
        Reshaped {
            steps,
            how,
            ahead: VecDeque::new(),
            given: None,
            end_byte: 0,
            ended: false,
            shift_mm: 0.0,
        }
    }

    /// Reads until so many steps wait, or the job ends.
    fn fill(&mut self, count: usize) -> Result<(), JobError> {
        while !self.ended && self.ahead.len() < count {
            match self.steps.next_step()? {
                Some(step) => self.ahead.push_back(*step),
                None => self.ended = true,
            }
        }
        Ok(())
    }

    /// The next step, joined out of several where that may be.
    fn joined(&mut self, join: impl Fn(&[Move]) -> Joined) -> Result<Option<Step>, JobError> {
        // Refilled by the half, so that the buffer is seldom moved.
        if self.ahead.len() <= CHORDS_MAX {
            self.fill(2 * CHORDS_MAX)?;
        }
        let steps = self.ahead.make_contiguous();
        let (step, count, shift_mm) = match grow(steps, join) {
            Some(grown) => grown,
            None => match steps.first() {
                Some(step) => (*step, 1, 0.0),
                None => return Ok(None),
            },
        };
        self.ahead.drain(..count);
        self.shift_mm = self.shift_mm.max(shift_mm);
        Ok(Some(step))
    }
}

impl<T: Steps> Steps for Reshaped<T> {
    fn next_step(&mut self) -> Result<Option<&Step>, JobError> {
        let step = match self.how {
            Reshape::Slow(most_mm_s) => self.steps.next_step()?.map(|s| slowed(s, most_mm_s)),
            Reshape::Short => self.steps.next_step()?.map(shortened),
            Reshape::Merge(within_mm) => {
                self.joined(|chords| straight(chords, within_mm).map(|mm| (None, mm)))?
            }
            Reshape::Arcs {
                within_mm,
                chord_mm,
            } => self.joined(|chords| {
                let arc = arcs::printable(chords, within_mm, chord_mm);
                arc.map(|(circle, mm)| (Some(circle), mm))
            })?,
        };
        self.given = step.map(|step| {
            self.end_byte += u64::from(step.raw_bytes);
            Step {
                end_byte: self.end_byte,
                ..step
            }
        });
        Ok(self.given.as_ref())
    }

    fn byte_count(&self) -> u64 {
        self.steps.byte_count()
    }
}

/// A line without comment and needless decimals.
fn shortened(step: &Step) -> Step {
    let command_bytes = step.command_bytes - step.spare_bytes.min(step.command_bytes);
    Step {
        raw_bytes: command_bytes,
        command_bytes,
        spare_bytes: 0,
        ..*step
    }
}

fn slowed(step: &Step, most_mm_s: f64) -> Step {
    match step.act {
        Act::Move(m) if m.e_mm > 0.0 => Step {
            act: Act::Move(Move {
                feed_mm_s: m.feed_mm_s.min(most_mm_s),
                ..m
            }),
            ..*step
        },
        _ => *step,
    }
}

/// One move for several, and how far the path moves, mm; `None` if they can't be one.
type Joined = Option<(Option<Circle>, f64)>;

/// Joins the chords that `steps` begins with as far as `join` allows: the move, how many steps it stands for, how
/// far the path shifts, mm.
fn grow(steps: &[Step], join: impl Fn(&[Move]) -> Joined) -> Option<(Step, usize, f64)> {
    let mut chords: Vec<Move> = Vec::new();
    let mut best: Option<(usize, Option<Circle>, f64)> = None;
    for step in steps {
        let Some(chord) = chord(step) else { break };
        let first = chords.first().copied().unwrap_or(chord);
        if chords.len() >= CHORDS_MAX || !alike(&steps[0], step, &first, &chord) {
            break;
        }
        chords.push(chord);
        match join(&chords) {
            Some((circle, shift_mm)) => best = Some((chords.len(), circle, shift_mm)),
            // An arc may need some more chords to begin with.
            None if chords.len() > arcs::MOVES_MIN => break,
            None => {}
        }
    }
    let (count, circle, shift_mm) = best.filter(|best| best.0 > 1)?;
    let last = &steps[count - 1];
    let joined = merge::joined(&chords[..count], circle, 1.0);
    let longer = if circle.is_some() { ARC_BYTES } else { 0 };
    let step = Step {
        act: Act::Move(joined),
        raw_bytes: last.raw_bytes + longer,
        command_bytes: last.command_bytes + longer,
        ..*last
    };
    Some((step, count, shift_mm))
}

/// The step's move, if it is a printed straight one.
fn chord(step: &Step) -> Option<Move> {
    match step.act {
        Act::Move(m) if m.circle.is_none() && m.e_mm > 0.0 && length_mm(&m) > 0.0 => Some(m),
        _ => None,
    }
}

/// Whether two chords may be part of one move: same layer, speed and bead.
fn alike(first_step: &Step, step: &Step, first: &Move, chord: &Move) -> bool {
    let bead = |m: &Move| m.e_mm / length_mm(m);
    first_step.layer == step.layer
        && first.feed_mm_s == chord.feed_mm_s
        && (bead(chord) / bead(first) - 1.0).abs() <= BEAD_SLACK
}
