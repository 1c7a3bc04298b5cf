//! Bytes → lines, lazily and in constant memory.
//!
//! A line ends at LF, CRLF or a lone CR. Bytes are kept as they are: comments may hold any
//! encoding.

use std::io::{self, Read};

/// Bytes kept of one line; what lies beyond is counted, not kept.
pub const LINE_BYTES_MAX: usize = 64 * 1024;
const BUFFER_BYTES: usize = 256 * 1024;

/// One line of the file as it stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RawLine<'a> {
    /// The file's line number, from 1.
    pub number: u64,
    /// Byte offset of its first byte.
    pub start: u64,
    /// Byte offset just behind its line end.
    pub end: u64,
    /// The line without its line end, at most [`LINE_BYTES_MAX`] bytes of it.
    pub bytes: &'a [u8],
    /// The same, and what has been read behind it.
    pub beyond: &'a [u8],
    /// Whether bytes were left out for length.
    pub cut: bool,
    /// Whether a line end was there (only the last line can lack it).
    pub ended: bool,
}

/// Reads lines from any byte source.
pub struct Lines<R> {
    input: R,
    buffer: Vec<u8>,
    from: usize,
    to: usize,
    offset: u64,
    number: u64,
    eof: bool,
}

impl<R: Read> Lines<R> {
    /// A reader at the first byte of `input`.
    pub fn new(input: R) -> Self {
        Lines {
            input,
            buffer: vec![0; BUFFER_BYTES],
            from: 0,
            to: 0,
            offset: 0,
            number: 0,
            eof: false,
        }
    }

    /// The file's first bytes, at most `count` of them, before any line is taken.
    pub fn head(&mut self, count: usize) -> io::Result<&[u8]> {
        while self.to - self.from < count && !self.eof {
            self.refill()?;
        }
        Ok(&self.buffer[self.from..self.to.min(self.from + count)])
    }

    /// Bytes handed out so far.
    pub fn offset(&self) -> u64 {
        self.offset
    }

    /// The next line, or `None` at the end. Fails only where the source fails.
    pub fn next_line(&mut self) -> io::Result<Option<RawLine<'_>>> {
        let mut scanned = 0;
        let mut dropped = 0usize;
        let (length, end_bytes) = loop {
            let held = &self.buffer[self.from..self.to];
            match memchr::memchr2(b'\n', b'\r', &held[scanned..]) {
                Some(at) => {
                    let at = scanned + at;
                    if held[at] == b'\n' {
                        break (at, 1);
                    }
                    match held.get(at + 1) {
                        Some(b'\n') => break (at, 2),
                        Some(_) => break (at, 1),
                        None if self.eof => break (at, 1),
                        None => {
                            // It waits for what comes behind it, next to what is kept of the line.
                            scanned = at.min(LINE_BYTES_MAX);
                            dropped += at - scanned;
                            self.buffer[self.from + scanned] = b'\r';
                            self.to = self.from + scanned + 1;
                        }
                    }
                }
                None if self.eof => {
                    if held.is_empty() && dropped == 0 {
                        return Ok(None);
                    }
                    break (held.len(), 0);
                }
                None => {
                    if held.len() > LINE_BYTES_MAX {
                        dropped += held.len() - LINE_BYTES_MAX;
                        self.to = self.from + LINE_BYTES_MAX;
                    }
                    scanned = self.to - self.from;
                }
            }
            self.refill()?;
        };
        let start = self.offset;
        let kept = length.min(LINE_BYTES_MAX);
        let first = self.from;
        self.from += length + end_bytes;
        self.offset += (length + dropped + end_bytes) as u64;
        self.number += 1;
        Ok(Some(RawLine {
            number: self.number,
            start,
            end: self.offset,
            bytes: &self.buffer[first..first + kept],
            beyond: &self.buffer[first..self.to],
            cut: dropped > 0 || length > kept,
            ended: end_bytes > 0,
        }))
    }

    fn refill(&mut self) -> io::Result<()> {
        if self.from > 0 {
            self.buffer.copy_within(self.from..self.to, 0);
            self.to -= self.from;
            self.from = 0;
        }
        loop {
            match self.input.read(&mut self.buffer[self.to..]) {
                Ok(0) => self.eof = true,
                Ok(n) => self.to += n,
                Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
                Err(e) => return Err(e),
            }
            return Ok(());
        }
    }
}
