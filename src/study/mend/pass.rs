//! One pass over a job: what is read from it is the mended job. Memory goes by the longest run that is held,
//! not by the job.

use std::collections::VecDeque;
use std::io::{self, Read};
use std::sync::Arc;

use crate::board::types::Board;
use crate::job::reader::{JobReader, Step};
use crate::job::state::{Act, Move, NOTHING_MM};
use crate::job::words::{Code, Words};
use crate::motion::path::Path;

use super::counts::Counts;
use super::fit;
use super::merge::Joining;
use super::numbers;
use super::pace::Service;
use super::plan::{Class, Plan, Treat};
use super::reach::Reach;
use super::run::{Around, Held, Look, MOVES_MAX, Modes, Run};
use super::shelf::Shelf;
use super::text::{self, Chunks, LOOKED_AT_MAX, Plain};
use super::write::{InForce, Writer, decimals, motion_of};

/// Moves before a run that count for the queue at its start.
const BEFORE_MAX: usize = 64;
/// Comments this many moves apart are rare: they may announce a layer of a spiral, well before it has risen to be one.
const RARE_MOVES: usize = 50;
/// What some editors put at the beginning of UTF-8 text.
const BYTE_ORDER_MARK: &[u8] = b"\xEF\xBB\xBF";
/// Bytes that pass at a time where nothing is looked at.
const PASS_BYTES: u64 = 64 * 1024;

/// The pass: reads the job twice over, once for its meaning and once for its bytes.
pub struct Pass<A, B> {
    steps: JobReader<A>,
    chunks: Chunks<B>,
    plan: Plan,
    service: Service,
    joining: Joining,
    path: Path,
    words: Words,
    modes: Modes,
    /// What the job has in force.
    job: InForce,
    /// Whether the head is where the reader thinks.
    lost: bool,
    conditional: u32,
    before: VecDeque<Move>,
    run: Run,
    /// Moves since the last line with a comment alone.
    since_comment: usize,
    pending: Option<Step>,
    ended: bool,
    /// Lines of bumps, and of bumps under strain, in order; the walls are counted if there are any.
    marks: Option<[Vec<u64>; 2]>,
    writer: Writer,
    shelf: Option<Arc<Shelf>>,
    /// What it has seen and done.
    pub counts: Counts,
}

impl<A: Read, B: Read> Pass<A, B> {
    /// A pass over a job that is given twice.
    pub fn new(meaning: A, bytes: B, board: &Board, plan: &Plan) -> Self {
        Pass {
            steps: JobReader::new(meaning),
            chunks: Chunks::new(bytes),
            plan: plan.clone(),
            service: Service::new(board),
            joining: Joining {
                within_mm: plan.within_mm,
                straights: true,
                stretch_s: board.queue.stretch_s,
                arc_chord_mm: Some(board.motion.arc_chord_mm),
            },
            path: Path::new(board),
            words: Words::default(),
            modes: Modes::default(),
            job: InForce::default(),
            lost: false,
            conditional: 0,
            before: VecDeque::new(),
            run: Run::default(),
            since_comment: 0,
            pending: None,
            ended: false,
            marks: None,
            writer: Writer::default(),
            shelf: None,
            counts: Counts::default(),
        }
    }

    /// Counts the walls too, and on which of them these lines lie, which are in order.
    pub fn with_walls(mut self, marks: [Vec<u64>; 2]) -> Self {
        self.marks = Some(marks);
        self
    }

    /// Takes what becomes of a stretch from this shelf, if there is one and it stands there, and puts it there if not.
    pub fn with_shelf(mut self, shelf: Option<Arc<Shelf>>) -> Self {
        self.shelf = shelf;
        self
    }

    /// Goes through all of the job and returns what was seen.
    ///
    /// # Errors
    /// Where the job cannot be read.
    pub fn through(mut self) -> io::Result<Counts> {
        while !self.ended {
            self.advance()?;
            self.writer.out.clear();
        }
        Ok(self.counts)
    }

    /// Takes the next command line, or what is left behind the last.
    fn advance(&mut self) -> io::Result<()> {
        let step = match self.pending.take() {
            Some(step) => Some(step),
            None => {
                let next = self.steps.next_step();
                next.map_err(io::Error::other)?.copied()
            }
        };
        let Some(step) = step else {
            self.flush(None);
            let kept = self.plan.mark.replaces_at.unwrap_or(u64::MAX);
            let most = PASS_BYTES.min(self.chunks.until(kept));
            self.ended = !self.chunks.rest(most, &mut self.writer.out)?;
            if self.ended {
                self.counts.lines = self.steps.line_count();
                self.counts.bytes = self.steps.byte_count();
                self.writer.sign(&self.plan.mark);
            }
            return Ok(());
        };
        let left = self.chunks.until(step.end_byte);
        if left > LOOKED_AT_MAX {
            self.flush(None);
            self.writer.restore(self.job);
            let most = PASS_BYTES.min(left - LOOKED_AT_MAX / 2);
            self.chunks
                .take(step.end_byte, most, &mut self.writer.out)?;
            self.pending = Some(step);
            return Ok(());
        }
        let from = self.run.bytes.len();
        self.chunks.take(step.end_byte, left, &mut self.run.bytes)?;
        self.line(&step, from);
        Ok(())
    }

    /// Takes a command line, whose chunk stands at the end of the run's bytes.
    fn line(&mut self, step: &Step, from: usize) {
        let chunk = &self.run.bytes[from..];
        let (begin, end) = text::last_line(chunk);
        let marked =
            begin == 0 && step.end_byte == chunk.len() as u64 && chunk.starts_with(BYTE_ORDER_MARK);
        let begin = if marked { BYTE_ORDER_MARK.len() } else { begin };
        let line = &chunk[begin..end];
        let code = self.words.read(&chunk[begin..], end - begin).code;
        let plain = Plain::read(line);
        let fed = takes_feed(code)
            .then(|| self.words.value(b'F'))
            .flatten()
            .filter(|f| *f > 0.0);
        let sound = self.words.faults.is_empty() && self.conditional == 0;
        let clear = plain.filter(|_| sound);
        let prints = match &step.act {
            Act::Move(m) if clear.is_some() && !self.lost => is_chord(code, m),
            _ => false,
        };
        if let (true, Act::Move(mv)) = (prints, step.act) {
            let held = Held {
                mv,
                command_bytes: f64::from(step.command_bytes),
                line_number: step.line,
                feed: fed.or(self.job.feed),
                chunk: from..self.run.bytes.len(),
                line: from + begin..from + end,
                before: begin > 0,
                behind: clear.is_some_and(|p| p.comment < line.len()),
                announced: false,
            };
            self.run.rounds |= plain.is_some_and(|p| rounds(&p, self.modes));
            self.job = InForce {
                feed: held.feed,
                motion: motion_of(code),
            };
            self.hold(step, held);
            return;
        }
        let understood = sound && is_understood(code, clear.is_some());
        let chunk = self.run.bytes.split_off(from);
        let next = match &step.act {
            Act::Move(m) => Some(m),
            _ => None,
        };
        self.flush(next);
        if !understood {
            self.counts.alone_lines += 1;
            self.counts.alone_bytes += chunk.len() as u64;
        }
        self.writer
            .other(&chunk, begin..end, self.job, fed, understood, code);
        self.follow(step, code, fed, understood);
    }

    /// What a line that is no part of a run changes.
    fn follow(&mut self, step: &Step, code: Code, fed: Option<f64>, understood: bool) {
        if fed.is_some() {
            self.job.feed = fed;
        }
        if self.conditional > 0 || (!understood && runs_others(code)) {
            // Whether it is carried out, and what else is, nobody knows here.
            self.job.feed = None;
            self.writer.forget_feed();
        }
        self.job.motion = motion_of(code).or(self.job.motion);
        if let Code::Plain { letter, number } = code {
            match (letter, number) {
                (b'G', 17..=19) => self.modes.other_plane = number != 17,
                (b'G', 20 | 21) => {
                    if self.modes.inches != (number == 20) {
                        // The number in force means another feed from here on.
                        self.job.feed = None;
                        self.writer.unit_changes(number == 20);
                    }
                    self.modes.inches = number == 20;
                }
                (b'G', 90) => {
                    self.modes.relative = false;
                    let axes = if self.modes.relative_e { 0..3 } else { 0..4 };
                    self.writer.absolute(axes);
                }
                (b'G', 91) => self.modes.relative = true,
                (b'M', 82) => {
                    self.modes.relative_e = false;
                    self.writer.absolute(3..4);
                }
                (b'M', 83) => self.modes.relative_e = true,
                (b'M', 622) => self.conditional += 1,
                (b'M', 623) => self.conditional = self.conditional.saturating_sub(1),
                (b'M', 110) => self.writer.numbers_begin_anew(),
                _ => {}
            }
        }
        match &step.act {
            Act::Move(m) => {
                let placed = self.modes.relative
                    || (self.words.value(b'X').is_some() && self.words.value(b'Y').is_some());
                self.lost = if understood {
                    self.lost && !placed
                } else {
                    true
                };
                self.push_before(*m);
            }
            Act::Stop(_) => self.before.clear(),
            Act::Limit(limit) => self.path.limit(limit),
            Act::Nothing => self.lost |= !understood,
        }
    }

    fn push_before(&mut self, m: Move) {
        if self.before.len() == BEFORE_MAX {
            self.before.pop_front();
        }
        self.before.push_back(m);
    }

    /// Adds a move to the run, or begins another with it.
    fn hold(&mut self, step: &Step, mut held: Held) {
        let full = self.run.held.len() == MOVES_MAX;
        let begins = self.run.layer != step.layer;
        self.since_comment += 1;
        held.announced = held.before && self.since_comment > RARE_MOVES;
        if held.before {
            self.since_comment = 0;
        }
        if !self.run.held.is_empty() && (full || begins) {
            let chunk = self.run.bytes.split_off(held.chunk.start);
            let start = held.chunk.start;
            self.flush(Some(&held.mv));
            held.chunk = 0..chunk.len();
            held.line = held.line.start - start..held.line.end - start;
            self.run.bytes = chunk;
        }
        self.run.layer = step.layer;
        self.run.held.push(held);
    }

    /// Writes the run that is held; `next` is the move behind it.
    fn flush(&mut self, next: Option<&Move>) {
        if self.run.held.is_empty() {
            return;
        }
        let run = std::mem::take(&mut self.run);
        let class = run.class();
        let around = Around {
            before: self.before.make_contiguous(),
            next,
            path: &self.path,
        };
        let mut treat = self.plan.of(class);
        let mut stretches = Vec::new();
        if treat != Treat::NONE || self.marks.is_some() {
            let look = run.look(&around, &self.service);
            survey(&mut self.counts, &self.marks, &run, class, &look);
            let everywhere = self.plan.others != Treat::NONE;
            if look.risk_s == 0.0 && everywhere {
                treat = self.plan.others;
            }
            stretches = run.stretches(&look, everywhere);
        }
        let (mut at, mut new) = (0, Vec::with_capacity(run.held.len()));
        for stretch in stretches.iter().filter(|_| treat != Treat::NONE) {
            self.writer
                .as_it_stands(&run, at..stretch.start, &mut self.counts);
            let joining = Joining {
                straights: treat.merge,
                within_mm: run.within_mm(self.joining.within_mm),
                arc_chord_mm: self
                    .joining
                    .arc_chord_mm
                    .filter(|_| treat.arcs && !self.modes.other_plane),
                ..self.joining
            };
            let place = (run.held[stretch.start].line_number, stretch.len());
            let reach = || fit::reach(&run, stretch, &joining);
            let fit = |reach: &Reach| {
                let service = &self.service;
                fit::fitted(&run, stretch, &around, &treat, &joining, service, reach)
            };
            let fitted = match &self.shelf {
                Some(shelf) => shelf.get(place, &treat, reach, fit),
                None => Arc::new(fit(&reach())),
            };
            for group in &fitted.groups {
                let own = Treat {
                    pace: fitted.pace_of(group),
                    ..treat
                };
                self.writer
                    .group(&run, group, &own, self.modes, &mut self.counts);
            }
            new.extend(run.held[at..stretch.start].iter().map(|h| h.mv));
            new.extend(fitted.last_moves(&run, BEFORE_MAX));
            at = stretch.end;
        }
        self.writer
            .as_it_stands(&run, at..run.held.len(), &mut self.counts);
        new.extend(run.held[at..].iter().map(|h| h.mv));
        for mv in new.split_off(new.len().saturating_sub(BEFORE_MAX)) {
            self.push_before(mv);
        }
        self.run.bytes = run.bytes;
        self.run.bytes.clear();
    }
}

impl<A: Read, B: Read> Read for Pass<A, B> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        while self.writer.out.is_empty() && !self.ended {
            self.advance()?;
        }
        let read = self.writer.hand_out(buffer);
        self.counts.written_bytes += read as u64;
        Ok(read)
    }
}

/// Counts a run that was looked at among the walls, with the bumps on its lines.
fn survey(
    counts: &mut Counts,
    marks: &Option<[Vec<u64>; 2]>,
    run: &Run,
    class: Class,
    look: &Look,
) {
    let Some([marks, strained]) = marks else {
        return;
    };
    let first = run.held[0].line_number;
    let last = run.held[run.held.len() - 1].line_number;
    let within = |marks: &[u64]| {
        let upto = marks.partition_point(|m| *m <= last);
        (upto - marks.partition_point(|m| *m < first)) as u64
    };
    let commented = run.held.iter().filter(|h| h.before || h.behind);
    counts.commented_moves += commented.count() as u64;
    let wall = counts.walls.entry(class).or_default();
    wall.ideal_s += look.ideal_s;
    wall.risk_s += look.risk_s;
    wall.bumps += within(marks);
    wall.strained_bumps += within(strained);
    let feeds = run.held.iter().map(|h| h.mv.feed_mm_s);
    wall.feed_mm_s = feeds.fold(wall.feed_mm_s, f64::max);
}

/// Lines from which the reader takes the feed.
fn takes_feed(code: Code) -> bool {
    matches!(
        code,
        Code::Modal
            | Code::Plain {
                letter: b'G',
                number: 0..=3 | 5 | 17..=21 | 90 | 91
            }
    )
}

/// Commands that may run other commands, which nobody sees here (common practice, no source).
fn runs_others(code: Code) -> bool {
    matches!(code, Code::Plain { letter: b'M', .. } | Code::Other)
}

/// Whether a place has more decimals than are written.
fn rounds(plain: &Plain, modes: Modes) -> bool {
    let mut places = plain.words().iter().filter(|w| b"XYZ".contains(&w.letter));
    places.any(|w| numbers::decimals(w.number) > decimals(w.letter, modes))
}

/// A printed straight move, by G0 or G1.
fn is_chord(code: Code, m: &Move) -> bool {
    let by_line = matches!(motion_of(code), Some(0 | 1));
    let moves = (0..3).any(|k| (m.to_mm[k] - m.from_mm[k]).abs() > NOTHING_MM);
    by_line && m.circle.is_none() && m.e_mm > NOTHING_MM && moves
}

/// Whether a command is known to do what the reader takes it to do; motions only where their line is plain.
fn is_understood(code: Code, plain: bool) -> bool {
    match code {
        Code::Plain {
            letter: b'G',
            number: 0..=3,
        } => plain,
        Code::Plain {
            letter: b'G',
            number,
        } => matches!(number, 4 | 10 | 11 | 17..=21 | 28 | 29 | 80..=94),
        // Those that may be skipped, and those that run other commands (common practice, no source).
        Code::Plain {
            letter: b'M',
            number,
        } => !matches!(number, 98 | 99 | 622 | 623 | 808),
        Code::Plain { .. } | Code::Blank => true,
        Code::Modal | Code::Deleted | Code::Other => false,
    }
}
