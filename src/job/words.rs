//! One line → its first command and the words that follow.
//!
//! The common printing dialect on top of RS-274/NGC (NISTIR 6556): any case, blanks anywhere in a
//! number, `;` and nested `( )` comments, `/` block delete, `N` numbers, `*` checksums. Numbers
//! have no exponent (section 3.3.2.1: `E` is the extruder's letter). Where the printing dialect
//! departs from RS-274 (`;`, `E`, `N` beyond 99999, text after some commands) the dialect wins:
//! common practice, no source.

use super::decimals::{DIGITS_BYTES, POWERS_OF_TEN, decimal, digits, is_blank};

/// What one line asks for, before any modal state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Code {
    /// No command: blank, comment only, or a lone `%`.
    Blank,
    /// A `G`, `M` or `T` word with its whole number.
    Plain {
        /// `b'G'`, `b'M'` or `b'T'`.
        letter: u8,
        /// The number behind it.
        number: u32,
    },
    /// Axis words without a command: the motion word in force goes on (RS-274 3.3.7).
    Modal,
    /// A line with block delete (`/`): fetched and decoded, not carried out.
    Deleted,
    /// Anything else: it costs decoding only.
    Other,
}

/// Something about a line that could not be taken at its word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fault {
    /// A letter of a motion without a number, or with one that cannot be read.
    Number,
    /// Text that is no word.
    Word,
    /// A second command on the line.
    Second,
    /// The same letter twice.
    Twice,
    /// A checksum that does not match.
    Checksum,
    /// A comment that is not closed.
    Unclosed,
}

/// The words of one line; reused from line to line.
#[derive(Clone, Debug)]
pub struct Words {
    values: [f64; 26],
    given: u32,
    bare: u32,
    /// What was odd, with the byte's place in the line.
    pub faults: Vec<(Fault, usize)>,
    name: (usize, usize),
    scratch: Vec<u8>,
    spare_bytes: u32,
}

impl Default for Words {
    fn default() -> Self {
        Words {
            values: [0.0; 26],
            given: 0,
            bare: 0,
            faults: Vec::new(),
            name: (0, 0),
            scratch: Vec::new(),
            spare_bytes: 0,
        }
    }
}

/// A set of letters.
pub const fn letters(of: &[u8]) -> u32 {
    let (mut set, mut k) = (0, 0);
    while k < of.len() {
        set |= 1 << (of[k] - b'A');
        k += 1;
    }
    set
}

/// What [`Words::read`] found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    /// The command.
    pub code: Code,
    /// The line without comment and outer blanks, plus one for the newline; 0 for a blank line.
    pub command_bytes: u32,
}

impl Words {
    /// The value of a letter (`b'X'`), if the line gives one.
    #[inline]
    pub fn value(&self, letter: u8) -> Option<f64> {
        let i = (letter - b'A') as usize;
        (self.given >> i & 1 == 1).then(|| self.values[i])
    }

    /// Whether the letter stands on the line, with a number or without.
    pub fn names(&self, letter: u8) -> bool {
        (self.given | self.bare) >> (letter - b'A') & 1 == 1
    }

    /// Whether any letter but these has a value; see [`letters`].
    #[inline]
    pub fn has_other_than(&self, letters: u32) -> bool {
        self.given & !letters != 0
    }

    /// Bytes of decimals that say nothing: zeros at the end, and what lies beyond the fifth.
    pub fn spare_bytes(&self) -> u32 {
        self.spare_bytes
    }

    /// The command's name as written, for the list of commands that only cost decoding.
    pub fn name<'a>(&'a self, line: &'a [u8]) -> &'a [u8] {
        let text = if self.scratch.is_empty() {
            line
        } else {
            &self.scratch
        };
        text.get(self.name.0..self.name.1).unwrap_or(b"")
    }

    /// Reads the line that is the first `length` bytes of `text`, its line end not counted. What comes
    /// behind it is not part of it, but a few bytes there make for speed.
    pub fn read(&mut self, text: &[u8], length: usize) -> Head {
        self.given = 0;
        self.bare = 0;
        self.faults.clear();
        self.name = (0, 0);
        self.scratch.clear();
        self.spare_bytes = 0;
        if let Some(head) = self.plain(text, length) {
            return head;
        }
        let line = &text[..length];
        self.given = 0;
        self.spare_bytes = 0;
        match memchr::memchr2(b';', b'(', line) {
            None => self.body(line),
            Some(at) if line[at] == b';' => self.body(&line[..at]),
            Some(_) => {
                let mut text = std::mem::take(&mut self.scratch);
                self.strip_comments(line, &mut text);
                let head = self.body(&text);
                self.scratch = text;
                // A checksum counts what stands in brackets too.
                if holds(line) {
                    self.faults.retain(|(fault, _)| *fault != Fault::Checksum);
                }
                head
            }
        }
    }

    /// The lines that jobs are made of: `G0` or `G1`, then letters with plain numbers, one blank
    /// before each, nothing twice, nothing else. `None` for all others, which [`Words::body`] reads
    /// to the same effect.
    #[inline]
    fn plain(&mut self, text: &[u8], length: usize) -> Option<Head> {
        let [b'G', digit @ (b'0' | b'1'), ..] = text else {
            return None;
        };
        let mut at = 2;
        loop {
            // A blank, a letter, a sign, a number.
            let word = text.get(at..)?.first_chunk::<{ 3 + DIGITS_BYTES }>()?;
            let [b' ', letter @ b'A'..=b'Z', sign, ..] = word else {
                return None;
            };
            let bit = 1u32 << (letter - b'A');
            if (self.given | COMMANDS) & bit != 0 {
                return None;
            }
            self.given |= bit;
            let negative = *sign == b'-';
            let number = digits(word[2 + usize::from(negative)..].first_chunk()?)?;
            at += 2 + usize::from(negative) + number.length;
            // Fifteen digits fit.
            let size = number.mantissa as i64 as f64 / POWERS_OF_TEN[number.behind];
            self.values[(letter - b'A') as usize] = if negative { -size } else { size };
            self.spare_bytes += number.spare;
            if at >= length {
                break;
            }
        }
        self.name = (0, 2);
        (at == length).then_some(Head {
            code: Code::Plain {
                letter: b'G',
                number: u32::from(digit - b'0'),
            },
            command_bytes: length as u32 + 1,
        })
    }

    fn strip_comments(&mut self, line: &[u8], text: &mut Vec<u8>) {
        let mut depth = 0;
        for &b in line {
            match b {
                b'(' => depth += 1,
                b')' if depth > 0 => depth -= 1,
                b';' if depth == 0 => break,
                _ if depth == 0 => text.push(b),
                _ => {}
            }
        }
        if depth > 0 {
            self.faults.push((Fault::Unclosed, line.len()));
        }
    }

    fn body(&mut self, text: &[u8]) -> Head {
        let from = text
            .iter()
            .position(|b| !is_blank(*b))
            .unwrap_or(text.len());
        let to = text
            .iter()
            .rposition(|b| !is_blank(*b))
            .map_or(from, |i| i + 1);
        let body = &text[..to];
        if from == to || &body[from..] == b"%" {
            return Head {
                code: Code::Blank,
                command_bytes: 0,
            };
        }
        Head {
            code: self.command(body, from),
            command_bytes: (to - from + 1) as u32,
        }
    }

    fn command(&mut self, body: &[u8], from: usize) -> Code {
        let mut at = from;
        if body[at] == b'/' {
            self.name = (at, at + 1);
            return Code::Deleted;
        }
        if body[at] | 32 == b'n' {
            let digits = skip_digits(body, skip_blanks(body, at + 1));
            if digits > at + 1 && body[digits - 1].is_ascii_digit() {
                at = skip_blanks(body, digits);
            }
        }
        let Some(&first) = body.get(at) else {
            return Code::Other;
        };
        let letter = first & !32;
        let number_at = skip_blanks(body, at + 1);
        let next = body.get(number_at).copied().unwrap_or(0);
        self.name = (at, name_end(body, at));
        match letter {
            b'G' | b'M' | b'T' if next.is_ascii_digit() => {
                let end = skip_digits(body, number_at);
                let mut number = 0u32;
                for d in &body[number_at..end] {
                    number = number
                        .saturating_mul(10)
                        .saturating_add(u32::from(d - b'0'));
                }
                let dotted = body.get(end) == Some(&b'.')
                    && body.get(end + 1).is_some_and(u8::is_ascii_digit);
                let word_command = body.get(end).is_some_and(|b| *b == b'_');
                if dotted || word_command {
                    self.check(body, from, at);
                    return Code::Other;
                }
                if takes_words(letter, number) {
                    self.rest(body, from, end);
                } else {
                    self.check(body, from, end);
                }
                Code::Plain { letter, number }
            }
            b'X' | b'Y' | b'Z' | b'E' | b'F' | b'I' | b'J' | b'K' | b'R'
                if next.is_ascii_digit() || matches!(next, b'+' | b'-' | b'.') =>
            {
                self.rest(body, from, at);
                Code::Modal
            }
            _ => Code::Other,
        }
    }

    /// Reads words up to the end of the body.
    fn rest(&mut self, body: &[u8], from: usize, mut at: usize) {
        loop {
            at = skip_blanks(body, at);
            let Some(&b) = body.get(at) else { return };
            let letter = b & !32;
            if !letter.is_ascii_uppercase() || !b.is_ascii_alphabetic() {
                match b {
                    b'*' => self.checksum(body, from, at),
                    b':' => {}
                    _ => self.faults.push((Fault::Word, at)),
                }
                return;
            }
            let number_at = skip_blanks(body, at + 1);
            let next = body.get(number_at).copied().unwrap_or(b' ');
            if matches!(letter, b'G' | b'M') && next.is_ascii_digit() {
                self.faults.push((Fault::Second, at));
                if let Some(star) = memchr::memrchr(b'*', &body[at..]) {
                    self.checksum(body, from, at + star);
                }
                return;
            }
            let bit = 1u32 << (letter - b'A');
            if next.is_ascii_digit() || matches!(next, b'+' | b'-' | b'.') {
                let (value, end, spare) = decimal(body, number_at);
                self.spare_bytes += spare;
                if (self.given | self.bare) & bit != 0 {
                    self.faults.push((Fault::Twice, at));
                }
                let whole = body.get(end) != Some(&b'.');
                match value {
                    Some(value) if whole => {
                        self.values[(letter - b'A') as usize] = value;
                        self.given |= bit;
                    }
                    _ => {
                        self.bare |= bit;
                        self.faults.push((Fault::Number, at));
                    }
                }
                at = if whole { end } else { skip_token(body, end) };
            } else if next.is_ascii_alphabetic() && number_at == at + 1 {
                // A run of letters: axis names written together, or plain text.
                let run = body[at..]
                    .iter()
                    .take_while(|b| b.is_ascii_alphabetic())
                    .count();
                let axes = body[at..at + run]
                    .iter()
                    .all(|b| b"XYZE".contains(&(b & !32)));
                if !axes || body.get(at + run).is_some_and(|b| !is_blank(*b)) {
                    self.faults.push((Fault::Word, at));
                    return;
                }
                for b in &body[at..at + run] {
                    self.bare |= 1 << ((b & !32) - b'A');
                }
                at += run;
            } else {
                self.bare |= bit;
                at = if matches!(next, b'{' | b'[' | b'<' | b'#' | b'=') {
                    self.faults.push((Fault::Number, at));
                    skip_token(body, number_at)
                } else {
                    at + 1
                };
            }
        }
    }

    /// A checksum on a line whose words are not read.
    fn check(&mut self, body: &[u8], from: usize, at: usize) {
        if body[from] | 32 == b'n'
            && let Some(star) = memchr::memrchr(b'*', &body[at..])
        {
            self.checksum(body, from, at + star);
        }
    }

    fn checksum(&mut self, body: &[u8], from: usize, star: usize) {
        let end = skip_digits(body, star + 1);
        let sum = body[from..star].iter().fold(0, |sum, b| sum ^ b);
        let said = std::str::from_utf8(&body[star + 1..end])
            .ok()
            .and_then(|t| t.parse::<u8>().ok());
        if said != Some(sum) || skip_blanks(body, end) != body.len() {
            self.faults.push((Fault::Checksum, star));
        }
    }
}

fn skip_blanks(text: &[u8], mut at: usize) -> usize {
    while at < text.len() && is_blank(text[at]) {
        at += 1;
    }
    at
}

fn skip_digits(text: &[u8], mut at: usize) -> usize {
    while at < text.len() && text[at].is_ascii_digit() {
        at += 1;
    }
    at
}

/// Behind a token that cannot be read: to the next blank outside brackets.
fn skip_token(text: &[u8], mut at: usize) -> usize {
    let mut depth = 0i32;
    while at < text.len() && (depth > 0 || !is_blank(text[at])) {
        match text[at] {
            b'{' | b'[' | b'<' => depth += 1,
            b'}' | b']' | b'>' => {
                depth -= 1;
                if depth == 0 {
                    return at + 1;
                }
            }
            _ => {}
        }
        at += 1;
    }
    at
}

/// Whether the checksum at the end of a whole line, comments included, is right.
fn holds(line: &[u8]) -> bool {
    let from = skip_blanks(line, 0);
    let Some(star) = memchr::memrchr(b'*', line) else {
        return false;
    };
    let said = std::str::from_utf8(&line[star + 1..])
        .ok()
        .and_then(|t| t.trim().parse::<u8>().ok());
    from <= star && said == Some(line[from..star].iter().fold(0, |sum, b| sum ^ b))
}

/// Where a command's name ends: `G1` of `G1X5`, `WORD` of `WORD KEY=1`.
fn name_end(text: &[u8], at: usize) -> usize {
    let rest = &text[at..];
    let coded =
        matches!(rest[0] & !32, b'G' | b'M' | b'T') && rest.get(1).is_some_and(u8::is_ascii_digit);
    let length = if coded {
        1 + rest[1..]
            .iter()
            .take_while(|b| b.is_ascii_digit() || **b == b'.' || **b == b'_')
            .count()
    } else {
        rest.iter()
            .take_while(|b| !is_blank(**b) && **b != b'=')
            .count()
            .max(1)
    };
    at + length.min(32)
}

/// Commands whose words are read; all others may carry text.
fn takes_words(letter: u8, number: u32) -> bool {
    match letter {
        b'G' => matches!(number, 0..=4 | 17..=21 | 28 | 90 | 91 | 92),
        b'M' => matches!(number, 201 | 203 | 204 | 205 | 220 | 221),
        _ => false,
    }
}

/// Letters that begin a command.
const COMMANDS: u32 = 1 << (b'G' - b'A') | 1 << (b'M' - b'A');
