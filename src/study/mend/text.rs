//! The job as text: its bytes as they stand, and the words of the lines that can be written anew.

use std::io::{self, BufRead, BufReader, Read};

/// Bytes up to which a line, with the blank and comment lines before it, is looked at; longer ones pass
/// as they are.
pub const LOOKED_AT_MAX: u64 = 256 * 1024;

/// Bytes that are read ahead.
const BUFFER_BYTES: usize = 64 * 1024;

/// Hands out a source's bytes up to places that the job reader names.
pub struct Chunks<R> {
    input: BufReader<R>,
    at: u64,
}

impl<R: Read> Chunks<R> {
    /// At the first byte of `input`.
    pub fn new(input: R) -> Self {
        Chunks {
            input: BufReader::with_capacity(BUFFER_BYTES, input),
            at: 0,
        }
    }

    /// How many bytes lie before `end_byte`.
    pub fn until(&self, end_byte: u64) -> u64 {
        end_byte.saturating_sub(self.at)
    }

    /// Puts the bytes up to `end_byte`, at most `most` of them, behind `to`.
    pub fn take(&mut self, end_byte: u64, most: u64, to: &mut Vec<u8>) -> io::Result<()> {
        let wanted = self.until(end_byte).min(most);
        let there = self.input.buffer();
        if let Some(all) = usize::try_from(wanted).ok().and_then(|n| there.get(..n)) {
            to.extend_from_slice(all);
            let count = all.len();
            self.input.consume(count);
            self.at += wanted;
            return Ok(());
        }
        let before = to.len();
        (&mut self.input).take(wanted).read_to_end(to)?;
        let got = (to.len() - before) as u64;
        self.at += got;
        if got < wanted {
            return Err(io::Error::new(
                io::ErrorKind::UnexpectedEof,
                "the job became shorter while it was read",
            ));
        }
        Ok(())
    }

    /// Puts what is left, at most `most` bytes, behind `to`; tells whether there was any.
    pub fn rest(&mut self, most: u64, to: &mut Vec<u8>) -> io::Result<bool> {
        let got = (&mut self.input).take(most).read_to_end(to)?;
        self.at += got as u64;
        Ok(got > 0)
    }
}

/// Where the last line of a chunk begins, and where its line end does.
pub fn last_line(chunk: &[u8]) -> (usize, usize) {
    let end = match chunk {
        [.., b'\r', b'\n'] => chunk.len() - 2,
        [.., b'\r' | b'\n'] => chunk.len() - 1,
        _ => chunk.len(),
    };
    let begin = memchr::memrchr2(b'\n', b'\r', &chunk[..end]).map_or(0, |at| at + 1);
    (begin, end)
}

/// A word of a line: its letter, and its number as it is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Word<'a> {
    /// The letter, a capital.
    pub letter: u8,
    /// The number as written.
    pub number: &'a str,
    /// Where the letter stands in the line.
    pub at: usize,
}

impl Word<'_> {
    /// The number's value.
    pub fn value(&self) -> Option<f64> {
        self.number.parse().ok()
    }

    /// Where the word ends in the line.
    pub fn end(&self) -> usize {
        self.at + 1 + self.number.len()
    }
}

/// Words that a plain line may have.
const WORDS_MAX: usize = 10;

/// A motion line that this module understands to the last byte: `N` number, `G0` to `G3`, words with a letter
/// and a number each, checksum, comment; each part but the command may be missing.
#[derive(Clone, Copy, Debug)]
pub struct Plain<'a> {
    /// The line number's digits, if it has one.
    pub numbered: Option<&'a str>,
    /// The command as written, `G1`.
    pub command: &'a str,
    /// The words behind the command.
    words: [Word<'a>; WORDS_MAX],
    count: usize,
    /// Where the last word ends.
    pub words_end: usize,
    /// Whether a checksum stands behind the words.
    pub checked: bool,
    /// Where the comment begins, blanks before it included; the line's end if it has none.
    pub comment: usize,
}

fn blank(b: u8) -> bool {
    matches!(b, b' ' | b'\t')
}

fn skip(line: &[u8], mut at: usize, of: impl Fn(u8) -> bool) -> usize {
    while line.get(at).is_some_and(|b| of(*b)) {
        at += 1;
    }
    at
}

fn ascii(line: &[u8], from: usize, to: usize) -> Option<&str> {
    std::str::from_utf8(&line[from..to]).ok()
}

impl<'a> Plain<'a> {
    /// Reads a line without its line end; `None` if it holds anything else.
    pub fn read(line: &'a [u8]) -> Option<Self> {
        let mut at = skip(line, 0, blank);
        let mut numbered = None;
        if line.get(at)? | 32 == b'n' {
            let end = skip(line, at + 1, |b| b.is_ascii_digit());
            if end == at + 1 {
                return None;
            }
            numbered = Some(ascii(line, at + 1, end)?);
            at = skip(line, end, blank);
        }
        let command_at = at;
        if line.get(at)? | 32 != b'g' {
            return None;
        }
        at = skip(line, at + 1, |b| b.is_ascii_digit());
        let command = ascii(line, command_at, at)?;
        if !matches!(command[1..].parse(), Ok(0..=3u32)) {
            return None;
        }
        let none = Word {
            letter: 0,
            number: "",
            at: 0,
        };
        let mut plain = Plain {
            numbered,
            command,
            words: [none; WORDS_MAX],
            count: 0,
            words_end: at,
            checked: false,
            comment: line.len(),
        };
        loop {
            let from = at;
            at = skip(line, at, blank);
            match line.get(at) {
                None => return Some(plain),
                Some(b';') => {
                    plain.comment = from;
                    return Some(plain);
                }
                Some(b'*') => {
                    plain.checked = true;
                    at = skip(line, at + 1, |b| b.is_ascii_digit());
                    let behind = skip(line, at, blank);
                    return (behind == line.len()).then_some(plain);
                }
                Some(letter) => {
                    let end = skip(line, at + 1, |b| {
                        b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'+')
                    });
                    let word = Word {
                        letter: letter & !32,
                        number: ascii(line, at + 1, end)?,
                        at,
                    };
                    let known = b"XYZEFIJ".contains(&word.letter) && letter.is_ascii_alphabetic();
                    word.value().filter(|v| known && v.is_finite())?;
                    if plain.word(word.letter).is_some() || plain.count == WORDS_MAX {
                        return None;
                    }
                    plain.words[plain.count] = word;
                    plain.count += 1;
                    at = end;
                    plain.words_end = end;
                }
            }
        }
    }

    /// The command's number: 1 for `G1`.
    pub fn motion(&self) -> Option<u32> {
        self.command[1..].parse().ok()
    }

    /// The word with this letter.
    pub fn word(&self, letter: u8) -> Option<&Word<'a>> {
        self.words().iter().find(|w| w.letter == letter)
    }

    /// The value of the word with this letter.
    pub fn value(&self, letter: u8) -> Option<f64> {
        self.word(letter)?.value()
    }

    /// All words in the order of the line.
    pub fn words(&self) -> &[Word<'a>] {
        &self.words[..self.count]
    }
}

/// The checksum of a line's bytes before the `*`: all of them combined by exclusive or.
fn sum(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0, |sum, b| sum ^ b)
}

/// The line number at the front of a line: its digits' place.
fn number_at(line: &[u8]) -> Option<(usize, usize)> {
    let from = skip(line, 0, |b| blank(b) || b == 0);
    if line.get(from)? | 32 != b'n' {
        return None;
    }
    let end = skip(line, from + 1, |b| b.is_ascii_digit());
    (end > from + 1).then_some((from + 1, end))
}

/// The line number at the front of a line, if it has one.
pub fn number_of(line: &[u8]) -> Option<u64> {
    let (from, end) = number_at(line)?;
    ascii(line, from, end)?.parse().ok()
}

/// The line under another number, its checksum made to fit; one that was wrong stays as wrong as it was.
pub fn renumbered(line: &[u8], number: u64) -> Vec<u8> {
    let Some((from, end)) = number_at(line) else {
        return line.to_vec();
    };
    let mut new = line[..from].to_vec();
    new.extend_from_slice(number.to_string().as_bytes());
    new.extend_from_slice(&line[end..]);
    let comment = |text: &[u8]| memchr::memchr(b';', text).unwrap_or(text.len());
    let star = |text: &[u8]| memchr::memrchr(b'*', &text[..comment(text)]);
    let (Some(old_star), Some(new_star)) = (star(line), star(&new)) else {
        return new;
    };
    let digits_end = skip(&new, new_star + 1, |b| b.is_ascii_digit());
    let said = ascii(&new, new_star + 1, digits_end).and_then(|t| t.parse::<u8>().ok());
    let Some(said) = said else { return new };
    let begin = from - 1;
    let wrong_by = said ^ sum(&line[begin..old_star]);
    let right = sum(&new[begin..new_star]) ^ wrong_by;
    let mut checked = new[..=new_star].to_vec();
    checked.extend_from_slice(right.to_string().as_bytes());
    checked.extend_from_slice(&new[digits_end..]);
    checked
}

/// A changed line with the right checksum in place of the one it has.
pub fn checked_anew(line: &[u8]) -> Vec<u8> {
    let end = memchr::memchr(b';', line).unwrap_or(line.len());
    let Some(star) = memchr::memrchr(b'*', &line[..end]) else {
        return line.to_vec();
    };
    let begin = skip(line, 0, |b| blank(b) || b == 0);
    let digits_end = skip(line, star + 1, |b| b.is_ascii_digit());
    let mut new = line[..=star].to_vec();
    new.extend_from_slice(sum(&line[begin..star]).to_string().as_bytes());
    new.extend_from_slice(&line[digits_end..]);
    new
}

/// A line with a number and, if wanted, a checksum; `body` begins with the command.
pub fn numbered(body: &str, number: Option<u64>, checked: bool) -> Vec<u8> {
    let Some(number) = number else {
        return body.as_bytes().to_vec();
    };
    let mut line = format!("N{number} {body}").into_bytes();
    if checked {
        let sum = sum(&line);
        line.extend_from_slice(format!("*{sum}").as_bytes());
    }
    line
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_line_of_a_chunk_is_found_whatever_ends_it() {
        for (chunk, line) in [
            (&b"; a\r\nG1 X1\r\n"[..], &b"G1 X1"[..]),
            (b"; a\rG1 X1\r", b"G1 X1"),
            (b"; a\nG1 X1\n", b"G1 X1"),
            (b"G1 X1", b"G1 X1"),
            (b"\n\nG1 X1", b"G1 X1"),
        ] {
            let (from, to) = last_line(chunk);
            assert_eq!(&chunk[from..to], line);
        }
    }

    #[test]
    fn plain_lines_are_read_and_others_are_not() {
        let plain = Plain::read(b"N12 G1 X1.5Y-.5 E+.25 F1200*33").unwrap();
        assert_eq!(plain.numbered, Some("12"));
        assert_eq!(plain.value(b'Y'), Some(-0.5));
        assert_eq!(plain.value(b'E'), Some(0.25));
        assert!(plain.checked);
        let line = b"g1 x1 y2 ; wall";
        let plain = Plain::read(line).unwrap();
        assert_eq!(&line[plain.comment..], b" ; wall");
        for odd in [
            &b"G1 X1 (a) Y2"[..],
            b"G1 X{a}",
            b"G5 X1",
            b"G1 X1 X2",
            b"X1 Y2",
            b"G1 X1 U3",
            b"G1.1 X1",
            b"G1 X1 G4",
            b"",
        ] {
            assert!(Plain::read(odd).is_none());
        }
    }

    /// Checksums: exclusive or of all bytes before the star (common practice, no source).
    #[test]
    fn renumbered_lines_have_right_checksums() {
        let line = numbered("G1 X5", Some(999), true);
        let longer = renumbered(&line, 1000);
        assert_eq!(longer, numbered("G1 X5", Some(1000), true));
        // One that is wrong stays wrong.
        let wrong = b"N3 G1 X5*0";
        let again = renumbered(&renumbered(wrong, 4), 3);
        assert_eq!(again, wrong);
        assert_ne!(renumbered(wrong, 4), numbered("G1 X5", Some(4), true));
    }
}
