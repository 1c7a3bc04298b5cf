//! Which cause took how much: the Shapley value of lost time over the causes ([model section 9](crate::model#9-causes)).
//!
//! The game's worth of a set S of causes is the time lost with only S on the board, less that of
//! the ideal (the empty set). Each set is one replay of the stored job. Only sums over spans of
//! blocks are kept: one span a stall, and one for all the rest.

use std::collections::VecDeque;

use crate::board::types::Board;
use crate::motion::ideal::Ideal;
use crate::motion::path::Block;
use crate::replay::cause::{Cause, Causes, PerCause, Setup};
use crate::replay::controller;
use crate::replay::duties::NoProgress;
use crate::replay::store::{Reading, StoredJob};
use crate::replay::world::{Line, Ran, Work, World};

use super::parallel;
use super::shapley;

/// A span of blocks, first and last included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// First block, from 0.
    pub first: u64,
    /// Last block.
    pub last: u64,
}

/// Lost time shared among the causes, s.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Shares {
    /// Of each span.
    pub spans_s: Vec<PerCause<f64>>,
    /// Of the whole job, what lies outside the spans included.
    pub total_s: PerCause<f64>,
    /// How many replays it took.
    pub replays: usize,
}

/// A sum that keeps what rounding drops (Kahan's, from memory).
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    sum: f64,
    dropped: f64,
}

impl Sum {
    #[inline]
    fn add(&mut self, value: f64) {
        let value = value - self.dropped;
        let sum = self.sum + value;
        self.dropped = (sum - self.sum) - value;
        self.sum = sum;
    }
}

/// Sums of time over the spans, and over what lies outside them.
#[derive(Clone, Debug)]
struct Times<'a> {
    spans: &'a [Span],
    at: usize,
    block: u64,
    spans_s: Vec<f64>,
    outside: Sum,
}

impl<'a> Times<'a> {
    fn new(spans: &'a [Span]) -> Self {
        Times {
            spans,
            at: 0,
            block: 0,
            spans_s: vec![0.0; spans.len()],
            outside: Sum::default(),
        }
    }

    /// The next block took this long, its gap included.
    #[inline]
    fn block(&mut self, took_s: f64) {
        let block = self.block;
        self.block += 1;
        while self.spans.get(self.at).is_some_and(|s| s.last < block) {
            self.at += 1;
        }
        match self.spans.get(self.at) {
            Some(span) if span.first <= block => self.spans_s[self.at] += took_s,
            _ => self.outside.add(took_s),
        }
    }

    fn finish(self) -> Vec<f64> {
        let mut all_s = self.spans_s;
        all_s.push(self.outside.sum);
        all_s
    }
}

struct Tally<'a> {
    reading: Reading<'a>,
    times: Times<'a>,
}

impl World for Tally<'_> {
    #[inline]
    fn next_line(&mut self, blocks: &mut VecDeque<Block>) -> Option<Line> {
        self.reading.line(blocks)
    }

    #[inline]
    fn ran(&mut self, ran: &Ran) {
        self.times.block(ran.gap_s + ran.profile.duration_s());
    }

    fn stopped(&mut self, _start_s: f64, _end_s: f64) {}

    fn block_again(&self, number: u64) -> Option<Block> {
        self.reading.block(number)
    }
}

/// Times of the spans, s, and of what lies outside them; or why there are none.
type SpanTimes = Result<Vec<f64>, NoProgress>;

/// The spans' times in one replay with only `causes` on the board.
fn replayed(job: &StoredJob, setup: &Setup, seed: u64, spans: &[Span]) -> SpanTimes {
    let mut tally = Tally {
        reading: job.read(),
        times: Times::new(spans),
    };
    controller::run(setup, seed, &mut tally)?;
    Ok(tally.times.finish())
}

/// The spans' times in the ideal.
fn ideal(job: &StoredJob, spans: &[Span]) -> Vec<f64> {
    let mut times = Times::new(spans);
    let mut ideal = Ideal::<()>::default();
    for (line, blocks) in job.read() {
        if matches!(line.work, Work::Stop(_)) {
            ideal.rest();
        }
        for block in blocks {
            ideal.push(block, ());
        }
        while let Some((course, ())) = ideal.pop() {
            times.block(course.profile().duration_s());
        }
    }
    ideal.rest();
    while let Some((course, ())) = ideal.pop() {
        times.block(course.profile().duration_s());
    }
    times.finish()
}

/// How many replays sharing on this board takes.
pub fn replay_count(board: &Board) -> usize {
    1 << Causes::of(board).list().count()
}

/// Shares the lost time of `job` on `board` among the causes, over `spans` (in order, apart) and
/// in all. `threads` replay at a time; the result does not depend on how many. `each` is told
/// how many replays are done.
pub fn shares(
    job: &StoredJob,
    board: &Board,
    seed: u64,
    spans: &[Span],
    threads: usize,
    each: &(dyn Fn(usize) + Sync),
) -> Result<Shares, NoProgress> {
    let players: Vec<Cause> = Causes::of(board).list().collect();
    let coalitions = 1usize << players.len();
    let members = |s: usize| {
        let with = |set: Causes, (p, cause): (usize, &Cause)| {
            if s & 1 << p != 0 {
                set.with(*cause)
            } else {
                set
            }
        };
        players.iter().enumerate().fold(Causes::NONE, with)
    };
    let times = parallel::try_map(coalitions, threads, each, &|s| {
        if s == 0 {
            Ok(ideal(job, spans))
        } else {
            replayed(job, &Setup::only(board, members(s)), seed, spans)
        }
    })?;
    Ok(share(&times, &players))
}

/// Shares the spans' times, by coalition, among the players.
fn share(times: &[Vec<f64>], players: &[Cause]) -> Shares {
    let spans = times[0].len() - 1;
    let mut shares = Shares {
        replays: times.len(),
        ..Shares::default()
    };
    let mut totals = vec![Sum::default(); players.len()];
    for span in 0..=spans {
        let worth: Vec<f64> = times.iter().map(|t| t[span]).collect();
        let mut of_span = PerCause::default();
        for (p, cause) in players.iter().enumerate() {
            let value = shapley::value(players.len(), p, |s| worth[s]);
            of_span[*cause] = value;
            totals[p].add(value);
        }
        if span < spans {
            shares.spans_s.push(of_span);
        }
    }
    for (p, cause) in players.iter().enumerate() {
        shares.total_s[*cause] = totals[p].sum;
    }
    shares
}
