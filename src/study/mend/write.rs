//! Lines of the mended job: as they stand where nothing changes, anew where something does.

use std::ops::Range;

use crate::job::words::Code;

use super::counts::Counts;
use super::mark::{Hash, Mark};
use super::merge::Group;
use super::numbers::{
    self, Carry, FEED_DECIMALS, FILAMENT_DECIMALS, INCH_DECIMALS, MM_PER_INCH, PLACE_DECIMALS,
};
use super::plan::Treat;
use super::run::{Held, Modes, Run};
use super::text::{self, Plain};

/// What a job has in force from one line to the next.
#[derive(Clone, Copy, Debug, Default)]
pub struct InForce {
    /// The feed, as its number stands in the job; `None` where that is not known.
    pub feed: Option<f64>,
    /// The motion command with which a line goes on that has none of its own: 1 for G1.
    pub motion: Option<u32>,
}

/// Where the job's lines go.
#[derive(Debug, Default)]
pub struct Writer {
    /// What was written and not handed out.
    pub out: Vec<u8>,
    handed: usize,
    /// The feed in force in what was written.
    feed: Option<f64>,
    /// The motion command in force in what was written.
    motion: Option<u32>,
    /// What line numbers differ by.
    shift: i64,
    /// The number of the last line that had one, and whether it had a checksum.
    number: Option<u64>,
    checked: bool,
    /// The last line's end.
    line_end: Vec<u8>,
    carries: [Carry; 4],
    /// Of all bytes that were handed out; and the last of them.
    hash: Hash,
    last: Option<u8>,
}

/// The axes whose numbers a move may carry.
const AXES: [u8; 4] = *b"XYZE";

impl Writer {
    /// Fills the buffer with what was written.
    pub fn hand_out(&mut self, buffer: &mut [u8]) -> usize {
        let left = &self.out[self.handed..];
        let count = left.len().min(buffer.len());
        let given = &left[..count];
        self.last = given.last().copied().or(self.last);
        self.hash = self.hash.with(given);
        buffer[..count].copy_from_slice(given);
        self.handed += count;
        if self.handed == self.out.len() {
            self.out.clear();
            self.handed = 0;
        }
        count
    }

    /// From here on nobody knows which feed is in force.
    pub fn forget_feed(&mut self) {
        self.feed = None;
    }

    /// The unit of length changes: the same feed is another number, and so is what rounding left out.
    pub fn unit_changes(&mut self, inches: bool) {
        self.feed = None;
        let units = if inches {
            1.0 / MM_PER_INCH
        } else {
            MM_PER_INCH
        };
        for carry in &mut self.carries {
            carry.rescale(units);
        }
    }

    /// From here on the numbers of these axes say where to go: nothing is left out of those.
    pub fn absolute(&mut self, axes: Range<usize>) {
        self.carries[axes].fill(Carry::default());
    }

    /// The job sets line numbers anew.
    pub fn numbers_begin_anew(&mut self) {
        self.shift = 0;
    }

    /// Sets the feed and the motion command that the job has in force, where others are, by lines of their own: what
    /// follows may rely on them.
    pub fn restore(&mut self, job: InForce) {
        self.restore_feed(job.feed);
        self.restore_motion(job.motion);
    }

    fn restore_feed(&mut self, feed: Option<f64>) {
        let Some(feed) = feed.filter(|_| self.feed.is_some() && self.feed != feed) else {
            return;
        };
        self.put_own(&format!("G1 F{}", numbers::text(feed, 6)));
        self.motion = Some(1);
        self.feed = Some(feed);
    }

    /// Only G0 and G1 ever need this: lines with other motion commands stand as they were.
    fn restore_motion(&mut self, motion: Option<u32>) {
        if let Some(motion @ 0..=1) = motion
            && self.motion != Some(motion)
        {
            self.put_own(&format!("G{motion}"));
            self.motion = Some(motion);
        }
    }

    /// A line that the job does not have, under the next number where lines have numbers.
    fn put_own(&mut self, body: &str) {
        let number = self.number.map(|n| n + 1);
        let line = text::numbered(body, number, self.checked);
        self.out.extend_from_slice(&line);
        let end: &[u8] = if self.line_end.is_empty() {
            b"\n"
        } else {
            &self.line_end
        };
        self.out.extend_from_slice(end);
        if number.is_some() {
            self.shift += 1;
            self.number = number;
        }
    }

    /// Puts a line behind the job that says what was done to it.
    pub fn sign(&mut self, mark: &Mark) {
        let end: &[u8] = if self.line_end.is_empty() {
            b"\n"
        } else {
            &self.line_end
        };
        // A job whose last line has no end keeps it that way.
        let left = &self.out[self.handed..];
        let last = left.last().copied().or(self.last);
        let ended = matches!(last, None | Some(b'\n' | b'\r'));
        let between = if ended { &[] } else { end };
        let Some(line) = mark.sealed(self.hash.with(left).with(between)) else {
            return;
        };
        self.out.extend_from_slice(between);
        self.out.extend_from_slice(line.as_bytes());
        if ended {
            self.out.extend_from_slice(end);
        }
    }

    /// A line with its end, under its number of now.
    fn put(&mut self, line: &[u8], end: &[u8]) {
        match text::number_of(line) {
            Some(number) => {
                let number = number.saturating_add_signed(self.shift);
                self.number = Some(number);
                self.checked = memchr::memchr(b'*', line).is_some();
                if self.shift == 0 {
                    self.out.extend_from_slice(line);
                } else {
                    let line = text::renumbered(line, number);
                    self.out.extend_from_slice(&line);
                }
            }
            None => self.out.extend_from_slice(line),
        }
        self.out.extend_from_slice(end);
        if !end.is_empty() && self.line_end != end {
            self.line_end = end.to_vec();
        }
    }

    /// A line that is no part of a run, with what stands before it. `job` is what the job has in force before it, `fed`
    /// the feed that it sets.
    pub fn other(
        &mut self,
        chunk: &[u8],
        line: Range<usize>,
        job: InForce,
        fed: Option<f64>,
        understood: bool,
        code: Code,
    ) {
        let feed = job.feed;
        let owed = feed.filter(|_| fed.is_none() && self.feed.is_some() && self.feed != feed);
        let bytes = &chunk[line.clone()];
        let motion = matches!(
            code,
            Code::Plain {
                letter: b'G',
                number: 0..=3
            }
        );
        let plain = Plain::read(bytes).filter(|_| understood && motion);
        let mut changed = None;
        if let Some(owed) = owed {
            match &plain {
                Some(plain) => {
                    changed = Some(with_feed(bytes, plain, &numbers::text(owed, 6)));
                    self.feed = Some(owed);
                }
                None if !(understood && is_harmless(code)) => self.restore_feed(feed),
                None => {}
            }
        }
        let own_motion = motion_of(code);
        if !understood && own_motion.is_none() {
            self.restore_motion(job.motion);
        }
        self.out.extend_from_slice(&chunk[..line.start]);
        self.put(changed.as_deref().unwrap_or(bytes), &chunk[line.end..]);
        if fed.is_some() {
            self.feed = fed;
        }
        self.motion = own_motion.or(self.motion);
    }

    /// Moves of a run that stay as they are.
    pub fn as_it_stands(&mut self, run: &Run, range: Range<usize>, counts: &mut Counts) {
        for k in range {
            self.single(run, &run.held[k], &Treat::NONE, Modes::default(), counts);
        }
    }

    /// A group of a run's moves.
    pub fn group(
        &mut self,
        run: &Run,
        group: &Group,
        treat: &Treat,
        modes: Modes,
        counts: &mut Counts,
    ) {
        let all = &run.held[group.from..group.to];
        let slower = wanted_feed(&all[0], treat.pace) != wanted_feed(&all[0], 1.0);
        counts.paced_moves += u64::from(slower);
        if let [held] = all {
            self.single(run, held, treat, modes, counts);
            return;
        }
        counts.merged_lines += all.len() as u64 - 1;
        counts.arcs += u64::from(group.circle.is_some());
        let (first, last) = (&all[0], &all[all.len() - 1]);
        let lines: Vec<Plain> = all
            .iter()
            .filter_map(|h| Plain::read(&run.bytes[h.line.clone()]))
            .collect();
        let feed = wanted_feed(first, treat.pace);
        let (mut body, motion) = match &group.circle {
            Some(circle) if circle.clockwise => ("G2".to_string(), Some(2)),
            Some(_) => ("G3".to_string(), Some(3)),
            None => (lines[0].command.to_string(), lines[0].motion()),
        };
        for (axis, letter) in AXES.iter().enumerate() {
            if *letter == b'E'
                && let Some(circle) = &group.circle
            {
                let unit_mm = if modes.inches { MM_PER_INCH } else { 1.0 };
                for (name, k) in [("I", 0), ("J", 1)] {
                    let offset = (circle.centre_mm[k] - first.mv.from_mm[k]) / unit_mm;
                    body += &format!(" {name}{}", numbers::text(offset, decimals(b'I', modes)));
                }
            }
            if let Some(number) = self.number_of(axis, &lines, modes, group.circle.is_some()) {
                body += &format!(" {}{number}", *letter as char);
            }
        }
        if let Some(feed) = feed.filter(|_| self.feed != feed) {
            body += &format!(" F{}", numbers::text(feed, 6));
        }
        let keeps_before = group.from == 0 || first.announced || !treat.strip;
        if keeps_before {
            let before = first.chunk.start..first.line.start;
            self.out.extend_from_slice(&run.bytes[before]);
        }
        let number = text::number_of(&run.bytes[first.line.clone()]);
        let line = text::numbered(&body, number, lines[0].checked);
        self.put(&line, &run.bytes[last.line.end..last.chunk.end]);
        if number.is_some() {
            self.shift -= all.len() as i64 - 1;
        }
        self.motion = motion;
        if feed.is_some() {
            self.feed = feed;
        }
    }

    /// The number that a joined move has for an axis: the last one given, or the sum of steps.
    fn number_of(
        &mut self,
        axis: usize,
        lines: &[Plain],
        modes: Modes,
        arc: bool,
    ) -> Option<String> {
        let letter = AXES[axis];
        let given = || lines.iter().filter_map(|l| l.word(letter));
        let last = given().next_back()?;
        let relative = modes.relative || (letter == b'E' && modes.relative_e);
        if !relative {
            return Some(numbers::shortened(last.number, decimals(letter, modes)));
        }
        let sum: f64 = given().filter_map(|w| w.value()).sum();
        let written = given().map(|w| numbers::decimals(w.number)).max();
        let most = written.unwrap_or(0).min(decimals(letter, modes));
        let number = self.carries[axis].text(sum, most);
        // What moves nothing need not be said, but an arc's end must be.
        (number != "0" || arc).then_some(number)
    }

    /// A move that stays alone.
    fn single(&mut self, run: &Run, held: &Held, treat: &Treat, modes: Modes, counts: &mut Counts) {
        let line = &run.bytes[held.line.clone()];
        let end = &run.bytes[held.line.end..held.chunk.end];
        let first = held.chunk.start == run.held[0].chunk.start;
        if first || held.announced || !treat.strip {
            let before = held.chunk.start..held.line.start;
            self.out.extend_from_slice(&run.bytes[before]);
        }
        let feed = wanted_feed(held, treat.pace);
        let Some(plain) = Plain::read(line) else {
            self.put(line, end);
            return;
        };
        let said = plain.value(b'F');
        let mut changed = None;
        if let Some(feed) = feed
            && said.or(self.feed) != Some(feed)
        {
            changed = Some(with_feed(line, &plain, &numbers::text(feed, 6)));
        }
        if treat.strip {
            let carries = self.carries;
            let long = changed.as_deref().unwrap_or(line);
            let short = self.short(long, modes);
            if short.len() < long.len() {
                counts.shortened_lines += 1;
                changed = Some(short);
            } else {
                self.carries = carries;
            }
        }
        self.put(changed.as_deref().unwrap_or(line), end);
        self.motion = plain.motion();
        if feed.is_some() {
            self.feed = feed;
        }
    }

    /// A plain line without its comment and needless decimals.
    fn short(&mut self, line: &[u8], modes: Modes) -> Vec<u8> {
        let Some(plain) = Plain::read(line) else {
            return line.to_vec();
        };
        let mut body = plain.command.to_string();
        for word in plain.words() {
            let most = decimals(word.letter, modes);
            let axis = AXES.iter().position(|a| *a == word.letter);
            let relative = modes.relative || (word.letter == b'E' && modes.relative_e);
            let long = numbers::decimals(word.number) > most;
            let number = match (axis, word.value()) {
                (Some(axis), Some(value)) if relative && long => {
                    self.carries[axis].text(value, most)
                }
                _ => numbers::shortened(word.number, most),
            };
            body += &format!(" {}{number}", word.letter as char);
        }
        let number = plain.numbered.and_then(|n| n.parse().ok());
        text::numbered(&body, number, plain.checked)
    }
}

/// The feed that a move gets, as a number of the job: rounded down, so that it is never faster.
fn wanted_feed(held: &Held, pace: f64) -> Option<f64> {
    let feed = held.feed?;
    if pace >= 1.0 {
        return Some(feed);
    }
    let slower = feed * pace;
    let scale = if slower >= 100.0 { 1.0 } else { 10.0 };
    Some(((slower * scale).floor().max(1.0) / scale).min(feed))
}

/// Most decimals that a word of this letter needs.
pub(super) fn decimals(letter: u8, modes: Modes) -> usize {
    let more = if modes.inches { INCH_DECIMALS } else { 0 };
    match letter {
        b'E' => FILAMENT_DECIMALS + more,
        b'F' => FEED_DECIMALS + more,
        _ => PLACE_DECIMALS + more,
    }
}

/// A plain line with this feed.
fn with_feed(line: &[u8], plain: &Plain, feed: &str) -> Vec<u8> {
    let (from, to, word) = match plain.word(b'F') {
        Some(word) => (word.at + 1, word.end(), feed.to_string()),
        None => (plain.words_end, plain.words_end, format!(" F{feed}")),
    };
    let mut new = line[..from].to_vec();
    new.extend_from_slice(word.as_bytes());
    new.extend_from_slice(&line[to..]);
    if plain.checked {
        new = text::checked_anew(&new);
    }
    new
}

/// The motion command that a line puts in force for lines without one.
pub fn motion_of(code: Code) -> Option<u32> {
    match code {
        Code::Plain {
            letter: b'G',
            number: number @ (0..=3 | 5),
        } => Some(number),
        _ => None,
    }
}

/// Commands to which the feed in force means nothing.
fn is_harmless(code: Code) -> bool {
    match code {
        Code::Plain {
            letter: b'M',
            number,
        } => matches!(
            number,
            73 | 82 | 83 | 104 | 106 | 107 | 117 | 118 | 140 | 201 | 203..=205 | 220 | 221
        ),
        Code::Plain {
            letter: b'G',
            number,
        } => matches!(number, 90..=92),
        _ => false,
    }
}
