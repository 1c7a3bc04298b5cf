//! The job reader: bytes → steps, one a command line, lazily.

use std::fmt;
use std::io::{self, Read};

use super::layers::Layers;
use super::lines::Lines;
use super::notices::{NoticeKind, Notices, excerpt};
use super::state::{Absurd, Act, Move, NOTHING_MM, REACH_MM, State};
use super::words::{Code, Fault, Head, Words};

/// Why a job cannot be replayed.
#[derive(Debug)]
pub enum JobError {
    /// The source failed.
    Io(io::Error),
    /// There is nothing in it.
    Empty,
    /// It is something else than a job; says what it looks like.
    NotAJob(String),
    /// A coordinate that no machine has.
    Absurd {
        /// Line, from 1.
        line: u64,
        /// Byte offset of the line.
        byte: u64,
        /// The axis letter.
        letter: char,
        /// Where it would be, mm.
        at_mm: f64,
        /// The line.
        text: String,
    },
}

impl fmt::Display for JobError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            JobError::Io(error) => write!(f, "cannot be read: {error}"),
            JobError::Empty => write!(f, "is empty; a job has lines such as `G1 X10 Y20 E0.5`"),
            JobError::NotAJob(why) => {
                write!(
                    f,
                    "is no print job: {why}; a job is plain text with lines such as `G1 X10 Y20 E0.5`"
                )
            }
            JobError::Absurd {
                line,
                byte,
                letter,
                at_mm,
                text,
            } => write!(
                f,
                "line {line} (byte {byte}): {letter} would be at {} mm in `{text}`; allowed is -{REACH_MM} to {REACH_MM} mm",
                // Not hundreds of digits.
                format!("{at_mm:?}").trim_end_matches(".0")
            ),
        }
    }
}

impl std::error::Error for JobError {}

impl From<io::Error> for JobError {
    fn from(error: io::Error) -> Self {
        JobError::Io(error)
    }
}

/// One command line of the job.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// The file's line number, from 1.
    pub line: u64,
    /// The layer it bears, from 0.
    pub layer: u32,
    /// That layer's height, mm.
    pub layer_height_mm: f64,
    /// Byte offset just behind its line end.
    pub end_byte: u64,
    /// Its raw bytes and those of the blank and comment lines before it.
    pub raw_bytes: u32,
    /// Without comment and outer blanks, plus one for the newline.
    pub command_bytes: u32,
    /// Those of its command bytes that say nothing: needless decimals.
    pub spare_bytes: u32,
    /// What it asks for.
    pub act: Act,
}

/// Reads a job step by step.
pub struct JobReader<R> {
    lines: Lines<R>,
    words: Words,
    state: State,
    layers: Layers,
    notices: Notices,
    taken_bytes: u64,
    line_count: u64,
    command_count: u64,
    coded_count: u64,
    /// Command lines that are no G-code, or have words that are none.
    mangled_count: u64,
    conditional: u32,
    extruded: bool,
    /// Whether anything moves.
    moved: bool,
    /// Steps read ahead: a batch is read, then handed out.
    batch: Vec<Step>,
    /// How many of them were read, and handed out.
    read: usize,
    handed: usize,
    /// What went wrong behind the last of them.
    failed: Option<JobError>,
}

/// Steps that are read at a time.
const BATCH_STEPS: usize = 64;

impl<R: Read> JobReader<R> {
    /// A reader at the job's first byte.
    pub fn new(input: R) -> Self {
        JobReader {
            lines: Lines::new(input),
            words: Words::default(),
            state: State::default(),
            layers: Layers::default(),
            notices: Notices::default(),
            taken_bytes: 0,
            line_count: 0,
            command_count: 0,
            coded_count: 0,
            mangled_count: 0,
            conditional: 0,
            extruded: false,
            moved: false,
            batch: vec![NO_STEP; BATCH_STEPS],
            read: 0,
            handed: 0,
            failed: None,
        }
    }

    /// The next command line; `None` at the end of the job.
    #[inline]
    pub fn next_step(&mut self) -> Result<Option<&Step>, JobError> {
        if self.handed == self.read {
            self.read_batch()?;
        }
        let step = self.batch[..self.read].get(self.handed);
        self.handed += usize::from(step.is_some());
        Ok(step)
    }

    /// Reads a batch; an error waits until the steps before it are handed out.
    fn read_batch(&mut self) -> Result<(), JobError> {
        if let Some(error) = self.failed.take() {
            return Err(error);
        }
        if self.line_count == 0
            && let Some(kind) = foreign(self.lines.head(HEAD_BYTES)?)
        {
            return Err(JobError::NotAJob(kind));
        }
        self.handed = 0;
        self.read = 0;
        while self.read < BATCH_STEPS {
            match self.read_step() {
                Ok(true) => self.read += 1,
                Ok(false) => break,
                Err(error) if self.read == 0 => return Err(error),
                Err(error) => {
                    self.failed = Some(error);
                    break;
                }
            }
        }
        Ok(())
    }

    /// Reads the next command line into the batch; tells whether there was one.
    fn read_step(&mut self) -> Result<bool, JobError> {
        let step = &mut self.batch[self.read];
        loop {
            let Some(raw) = self.lines.next_line()? else {
                self.finish()?;
                return Ok(false);
            };
            self.line_count = raw.number;
            let (mut bytes, mut beyond) = (raw.bytes, raw.beyond);
            if raw.number == 1
                && let Some(rest) = bytes.strip_prefix(BYTE_ORDER_MARK)
            {
                bytes = rest;
                beyond = &beyond[BYTE_ORDER_MARK.len()..];
            }
            let Head {
                code,
                command_bytes,
            } = self.words.read(beyond, bytes.len());
            let (number, start, end) = (raw.number, raw.start, raw.end);
            let notices = &mut self.notices;
            if raw.cut {
                notices.note(NoticeKind::LongLine, number, start, bytes);
            }
            for (fault, at) in &self.words.faults {
                notices.note(kind_of(*fault), number, start + *at as u64, bytes);
            }
            if code == Code::Blank {
                if memchr::memchr(0, bytes).is_some() {
                    notices.note(NoticeKind::Nul, number, start, bytes);
                }
                continue;
            }
            if !raw.ended && may_be_cut(code, bytes) {
                notices.note(NoticeKind::CutOff, number, start, bytes);
            }
            let mut odd = |kind| notices.note(kind, number, start, bytes);
            let taken = self.state.take(code, &self.words, &mut step.act, &mut odd);
            taken.map_err(|no| absurd(&no, (number, start, bytes)))?;
            self.coded_count += u64::from(matches!(code, Code::Plain { .. }));
            self.mangled_count += u64::from(is_mangled(code, &self.words));
            if !is_known(code) {
                let name = self.words.name(bytes);
                self.conditional = unknown(
                    notices,
                    code,
                    name,
                    self.conditional,
                    (number, start, bytes),
                );
            }
            if self.conditional > 0 {
                notices.note(NoticeKind::Conditional, number, start, bytes);
            }
            if let Act::Move(m) = &step.act {
                let extrudes = m.e_mm > NOTHING_MM;
                self.extruded |= extrudes;
                self.moved |= m.e_mm != 0.0 || m.from_mm != m.to_mm || m.circle.is_some();
                let prints = extrudes && moves_in_xy(m);
                self.layers.line(m.from_mm[2], m.to_mm[2], prints);
            }
            self.command_count += 1;
            let raw_bytes = u32::try_from(end - self.taken_bytes).unwrap_or(u32::MAX);
            self.taken_bytes = end;
            step.line = number;
            step.layer = self.layers.layer;
            step.layer_height_mm = self.layers.height_mm();
            step.end_byte = end;
            step.raw_bytes = raw_bytes;
            step.command_bytes = command_bytes;
            step.spare_bytes = self.words.spare_bytes();
            return Ok(true);
        }
    }

    fn finish(&mut self) -> Result<(), JobError> {
        if self.lines.offset() == 0 {
            return Err(JobError::Empty);
        }
        if self.coded_count == 0 {
            return Err(JobError::NotAJob(
                "no line of it is a G, M or T command".to_string(),
            ));
        }
        if !self.moved && 2 * self.mangled_count > self.command_count {
            return Err(JobError::NotAJob(format!(
                "none of its lines is a move that can be understood, and {} of {} have numbers or text that are no \
                 G-code",
                self.mangled_count, self.command_count
            )));
        }
        if !self.extruded && !self.notices.has(NoticeKind::NothingExtruded) {
            self.notices.note(
                NoticeKind::NothingExtruded,
                self.line_count,
                self.taken_bytes,
                b"",
            );
        }
        Ok(())
    }

    /// Lines seen so far.
    pub fn line_count(&self) -> u64 {
        self.line_count
    }

    /// Command lines seen so far.
    pub fn command_count(&self) -> u64 {
        self.command_count
    }

    /// Bytes read so far.
    pub fn byte_count(&self) -> u64 {
        self.lines.offset()
    }

    /// The layers found so far.
    pub fn layers(&self) -> &Layers {
        &self.layers
    }

    /// Whether anything has been extruded so far.
    pub fn extruded(&self) -> bool {
        self.extruded
    }

    /// Where the machine stands: x, y, z, e; mm.
    pub fn machine_mm(&self) -> [f64; 4] {
        self.state.machine_mm()
    }

    /// Takes note that a limit has cut something at this line.
    pub fn note_limit(&mut self, kind: NoticeKind, line: u64) {
        self.notices.note(kind, line, 0, b"");
    }

    /// What was odd so far.
    pub fn notices(&self) -> &Notices {
        &self.notices
    }
}

/// Where a batch has no step yet.
const NO_STEP: Step = Step {
    line: 0,
    layer: 0,
    layer_height_mm: 0.0,
    end_byte: 0,
    raw_bytes: 0,
    command_bytes: 0,
    spare_bytes: 0,
    act: Act::Nothing,
};

const BYTE_ORDER_MARK: &[u8] = b"\xEF\xBB\xBF";

/// Lines between these two may be skipped by a controller (common practice, no source).
const CONDITION_BEGINS: u32 = 622;
const CONDITION_ENDS: u32 = 623;

/// Whether a line is no G-code, or has words that are none.
fn is_mangled(code: Code, words: &Words) -> bool {
    let is_none = |fault: Fault| matches!(fault, Fault::Number | Fault::Word);
    code == Code::Other || words.faults.iter().any(|(fault, _)| is_none(*fault))
}

/// A coordinate that no machine has, and where: the line's number, its first byte, its bytes.
fn absurd(no: &Absurd, (line, byte, bytes): (u64, u64, &[u8])) -> JobError {
    JobError::Absurd {
        line,
        byte,
        letter: no.letter as char,
        at_mm: no.at_mm,
        text: excerpt(bytes),
    }
}

fn kind_of(fault: Fault) -> NoticeKind {
    match fault {
        Fault::Number => NoticeKind::Number,
        Fault::Word => NoticeKind::Word,
        Fault::Second => NoticeKind::SecondCommand,
        Fault::Twice => NoticeKind::LetterTwice,
        Fault::Checksum => NoticeKind::Checksum,
        Fault::Unclosed => NoticeKind::UnclosedComment,
    }
}

/// Commands that the model knows, those included that it knows to cost decoding only.
fn is_known(code: Code) -> bool {
    let Code::Plain { letter, number } = code else {
        return false;
    };
    match letter {
        b'G' => matches!(number, 0..=5 | 10 | 11 | 17..=21 | 28 | 29 | 90..=92),
        b'M' => matches!(
            number,
            0 | 1 | 82 | 83 | 104 | 106 | 107 | 109 | 117 | 140 | 190 | 191 | 201 | 203
                ..=205 | 220 | 221 | 400 | 600
        ),
        _ => number <= 99,
    }
}

/// Whether a move goes anywhere in X or Y.
#[inline]
fn moves_in_xy(m: &Move) -> bool {
    let moves = |i: usize| (m.to_mm[i] - m.from_mm[i]).abs() > NOTHING_MM;
    m.circle.is_some() || moves(0) || moves(1)
}

/// Counts a line whose command is no known one; returns how many conditional blocks are open behind it.
/// `place`: the line's number, its first byte, its bytes.
fn unknown(
    notices: &mut Notices,
    code: Code,
    name: &[u8],
    conditional: u32,
    (number, start, bytes): (u64, u64, &[u8]),
) -> u32 {
    match code {
        Code::Plain { letter, number } => {
            notices.other(name);
            return match (letter, number) {
                (b'M', CONDITION_BEGINS) => conditional + 1,
                (b'M', CONDITION_ENDS) => conditional.saturating_sub(1),
                _ => conditional,
            };
        }
        Code::Deleted => notices.note(NoticeKind::Deleted, number, start, bytes),
        Code::Other => {
            if may_change_limits(bytes) {
                notices.note(NoticeKind::HiddenLimits, number, start, bytes);
            }
            notices.other(if name.is_empty() {
                b"(number only)"
            } else {
                name
            });
        }
        Code::Modal | Code::Blank => {}
    }
    conditional
}

/// Words of a command that may set limits of motion.
const LIMIT_WORDS: [&[u8]; 4] = [b"ACCEL", b"VELOCITY", b"JERK", b"CORNER"];

/// Whether a command of another kind has words that may set limits of motion.
fn may_change_limits(line: &[u8]) -> bool {
    let command = line.split(|b| *b == b';').next().unwrap_or_default();
    LIMIT_WORDS.iter().any(|word| {
        let mut places = command.windows(word.len());
        places.any(|w| w.eq_ignore_ascii_case(word))
    })
}

/// A last line without its line end that could have gone on: a motion, or a word half written.
fn may_be_cut(code: Code, line: &[u8]) -> bool {
    let motion = matches!(
        code,
        Code::Modal
            | Code::Plain {
                letter: b'G',
                number: 0..=3
            }
    );
    motion && memchr::memchr2(b';', b'(', line).is_none()
}

/// How much of the file's start is looked at to tell a job from other files, bytes.
pub const HEAD_BYTES: usize = 4096;

/// What a file that starts with these bytes plainly is, if it is no job.
pub fn foreign(head: &[u8]) -> Option<String> {
    let starts: [(&[u8], &str); 10] = [
        (b"PK\x03\x04", "a ZIP archive; unpack it first"),
        (b"\x1f\x8b", "gzip data; unpack it first"),
        (b"BZh", "bzip2 data; unpack it first"),
        (b"\xfd7zXZ", "xz data; unpack it first"),
        (b"7z\xbc\xaf", "a 7z archive; unpack it first"),
        (b"\x28\xb5\x2f\xfd", "zstd data; unpack it first"),
        (b"\x89PNG", "a PNG picture"),
        (b"\xff\xd8\xff", "a JPEG picture"),
        (b"%PDF", "a PDF document"),
        (b"solid ", "an STL model; slice it first"),
    ];
    for (magic, what) in starts {
        if head.starts_with(magic) {
            return Some(format!("it looks like {what}"));
        }
    }
    if head.starts_with(b"\xff\xfe") || head.starts_with(b"\xfe\xff") {
        return Some("it looks like UTF-16 text; save it as UTF-8".to_string());
    }
    let control = head
        .iter()
        .filter(|b| matches!(b, 0..=8 | 14..=31 | 127))
        .count();
    (control * 20 > head.len()).then(|| "it looks like binary data".to_string())
}
