//! A run of printing moves, held until it is known what becomes of it.

use std::ops::Range;

use crate::job::state::Move;
use crate::motion::path::Path;

use super::numbers;
use super::pace::Service;
use super::plan::Class;
use super::space::length_mm;
use super::text::Plain;
use super::timed::{Timed, timed};

/// Moves that are held at most; a longer run is cut.
pub const MOVES_MAX: usize = 4096;
/// From this part of a run's time on all of it is treated alike.
const WHOLE_SHARE: f64 = 0.4;

/// A move of the run, and where its bytes are.
#[derive(Clone, Debug)]
pub struct Held {
    /// The move.
    pub mv: Move,
    /// Bytes that the link carries for it.
    pub command_bytes: f64,
    /// The file's line, from 1.
    pub line_number: u64,
    /// The feed in force, as a number of the job; `None` where that is not known.
    pub feed: Option<f64>,
    /// Its line and the blank and comment lines before it.
    pub chunk: Range<usize>,
    /// The line alone.
    pub line: Range<usize>,
    /// Whether a comment stands before it or behind it.
    pub before: bool,
    /// Whether a comment stands behind it.
    pub behind: bool,
    /// Whether the comments before it stay, as they may announce a layer.
    pub announced: bool,
}

/// How numbers of the run are meant.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Modes {
    /// X, Y and Z count from where the head is.
    pub relative: bool,
    /// E counts from where the filament is, whatever X, Y, Z do.
    pub relative_e: bool,
    /// Numbers are in inches.
    pub inches: bool,
    /// Arcs do not lie in the plane of the layer.
    pub other_plane: bool,
}

/// The run.
#[derive(Debug, Default)]
pub struct Run {
    /// The bytes of its lines.
    pub bytes: Vec<u8>,
    /// Its moves.
    pub held: Vec<Held>,
    /// Its layer.
    pub layer: u32,
    /// Whether places of it have more decimals than are written.
    pub rounds: bool,
}

/// Rounding may move the ends of a new move by this, mm: half a step of 0.001 mm on two axes.
pub const ROUNDING_MM: f64 = 0.75e-3;

/// What lies around a run.
pub struct Around<'a> {
    /// Moves before it since the last stop, the newest last.
    pub before: &'a [Move],
    /// The move behind it, if one follows at once.
    pub next: Option<&'a Move>,
    /// The limits in force.
    pub path: &'a Path,
}

/// What was found out about a run.
pub struct Look {
    /// Whether the board may lose the pace, move by move.
    pub at_risk: Vec<bool>,
    /// Its time by the ideal, s, and that of the moves at risk.
    pub ideal_s: f64,
    /// The time of those at risk, s.
    pub risk_s: f64,
}

impl Run {
    /// Its moves in this range.
    pub fn moves(&self, range: Range<usize>) -> Vec<Move> {
        self.held[range].iter().map(|h| h.mv).collect()
    }

    /// How far its path may move so that it does not move farther when places are rounded, mm.
    pub fn within_mm(&self, within_mm: f64) -> f64 {
        if self.rounds {
            (within_mm - ROUNDING_MM).max(0.0)
        } else {
            within_mm
        }
    }

    /// Its class: that of the feed that most of it has.
    pub fn class(&self) -> Class {
        let mut feeds: Vec<(Class, f64)> = Vec::new();
        for held in &self.held {
            let class = Class::of(held.mv.feed_mm_s);
            let length_mm = length_mm(&held.mv);
            match feeds.iter_mut().find(|(c, _)| *c == class) {
                Some((_, sum_mm)) => *sum_mm += length_mm,
                None => feeds.push((class, length_mm)),
            }
        }
        let most = feeds.into_iter().max_by(|a, b| a.1.total_cmp(&b.1));
        most.map_or(Class::of(0.0), |(class, _)| class)
    }

    /// The run and what lies around it in time, at this share of its feed.
    fn timed(&self, around: &Around, pace: f64) -> Vec<Timed> {
        let others = |m: &Move| (*m, 30.0);
        let own = self.held.iter().map(|h| {
            let slower = Move {
                feed_mm_s: h.mv.feed_mm_s * pace,
                ..h.mv
            };
            (slower, h.command_bytes)
        });
        let moves = around.before.iter().map(others);
        let moves = moves.chain(own).chain(around.next.map(others));
        timed(&mut around.path.clone(), moves)
    }

    /// Looks where the board may lose the pace.
    pub fn look(&self, around: &Around, service: &Service) -> Look {
        let blocks = self.timed(around, 1.0);
        let risks = service.at_risk(&blocks, 1.0, 1.0);
        let mut look = Look {
            at_risk: vec![false; self.held.len()],
            ideal_s: 0.0,
            risk_s: 0.0,
        };
        for (block, risk) in blocks.iter().zip(risks) {
            let own = block.piece.checked_sub(around.before.len());
            if let Some(own) = own.filter(|k| *k < self.held.len()) {
                let took_s = block.end_s - block.start_s;
                look.ideal_s += took_s;
                look.risk_s += if risk { took_s } else { 0.0 };
                look.at_risk[own] |= risk;
            }
        }
        look
    }

    /// The stretches that are treated: all of the run where much of it is at risk.
    pub fn stretches(&self, look: &Look, all: bool) -> Vec<Range<usize>> {
        let whole = 0..self.held.len();
        if all || look.risk_s >= WHOLE_SHARE * look.ideal_s && look.risk_s > 0.0 {
            return vec![whole];
        }
        let mut stretches: Vec<Range<usize>> = Vec::new();
        for k in whole.filter(|k| look.at_risk[*k]) {
            match stretches.last_mut() {
                Some(last) if last.end == k => last.end = k + 1,
                _ => stretches.push(k..k + 1),
            }
        }
        stretches
    }

    /// Bytes that the link carries for a move; `strip`: without its comment and needless decimals.
    pub fn bytes_of(&self, held: &Held, strip: bool) -> f64 {
        let plain = Plain::read(&self.bytes[held.line.clone()]).filter(|_| strip);
        plain.map_or(held.command_bytes, |plain| {
            let words = plain.words().iter();
            let words =
                words.map(|w| 2 + numbers::shortened(w.number, numbers::FILAMENT_DECIMALS).len());
            let front = plain.numbered.map_or(0, |n| n.len() + 2) + plain.command.len();
            (front + words.sum::<usize>() + 1) as f64
        })
    }

    /// Whether nothing that must stay stands between a move and the one before.
    pub fn joins(&self, k: usize, strip: bool) -> bool {
        let (one, other) = (&self.held[k - 1], &self.held[k]);
        !other.announced && (strip || !(one.behind || other.before || other.behind))
    }
}
