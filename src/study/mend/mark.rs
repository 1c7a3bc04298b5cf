//! The comment line at the end of a mended job. It says how the job was mended and how far its path may have moved
//! since it was sliced, so that mending it again changes nothing and deviations never add up.
//!
//! A seal over all bytes before it binds it to its job. Where the job or the line was edited since, the seal is
//! broken, and the job is one that was never mended. The seal guards against mistakes, not against malice.

use std::io::{self, Read};

use super::text::last_line;

/// How the line begins, and what its parts are called.
const BEGINS: &str = "; mended by headstall: ";
const MOVED: &str = ", path moved by up to ";
const SETTINGS: &str = " mm, settings ";
const SEAL: &str = ", seal ";
/// Longer lines are no marks.
const LINE_BYTES_MAX: usize = 512;
/// Bytes that are read at a time.
const PASS_BYTES: u64 = 64 * 1024;

/// The FNV-1a hash, 64 bits (offset basis and prime of its authors' page, from memory).
#[derive(Clone, Copy, Debug)]
pub struct Hash(u64);

impl Default for Hash {
    fn default() -> Self {
        Hash(0xcbf2_9ce4_8422_2325)
    }
}

impl Hash {
    /// With these bytes behind those before.
    pub fn with(self, bytes: &[u8]) -> Self {
        Hash(bytes.iter().fold(self.0, |hash, b| {
            (hash ^ u64::from(*b)).wrapping_mul(0x0000_0100_0000_01b3)
        }))
    }

    fn digits(self) -> String {
        format!("{:016x}", self.0)
    }
}

/// The mark that a job has in its last line.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Earlier {
    /// Bytes of the job before the line.
    pub at_byte: u64,
    /// How far the path may have moved so far, mm; 0 where the seal is broken.
    pub moved_mm: f64,
    /// The settings under which it was mended, as a hash; `None` where the seal is broken.
    settings: Option<String>,
}

/// The line that is to be put behind a job.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Mark {
    /// The line as far as the seal; empty: none is written.
    head: String,
    settings: String,
    /// Bytes of the job before an earlier mark, whose place this one takes.
    pub replaces_at: Option<u64>,
}

impl Mark {
    /// The mark of a job that is mended by these `means`, its path moved by up to `moved_mm` in all. `settings` stands
    /// for everything that the result depends on, the job aside.
    pub fn new(means: &str, moved_mm: f64, settings: &str, earlier: Option<&Earlier>) -> Self {
        let settings = Hash::default().with(settings.as_bytes()).digits();
        Mark {
            head: format!("{BEGINS}{means}{MOVED}{moved_mm}{SETTINGS}{settings}{SEAL}"),
            settings,
            replaces_at: earlier.map(|e| e.at_byte),
        }
    }

    /// Whether the earlier mending had the same settings.
    pub fn repeats(&self, earlier: &Earlier) -> bool {
        earlier.settings.as_ref() == Some(&self.settings)
    }

    /// The line, sealed; `before` is the hash of all bytes before it.
    pub fn sealed(&self, before: Hash) -> Option<String> {
        let seal = before.with(self.head.as_bytes()).digits();
        (!self.head.is_empty()).then(|| format!("{}{seal}", self.head))
    }
}

/// Reads a job to its end and returns the mark in its last line, if there is one.
///
/// # Errors
/// Where the job cannot be read.
pub fn earlier(mut job: impl Read) -> io::Result<Option<Earlier>> {
    let (mut tail, mut before, mut at_byte) = (Vec::new(), Hash::default(), 0);
    while job.by_ref().take(PASS_BYTES).read_to_end(&mut tail)? > 0 {
        let over = tail.len().saturating_sub(LINE_BYTES_MAX);
        before = before.with(&tail[..over]);
        tail.drain(..over);
        at_byte += over as u64;
    }
    let (begin, end) = last_line(&tail);
    let line = &tail[begin..end];
    if !line.starts_with(BEGINS.as_bytes()) {
        return Ok(None);
    }
    let read = || {
        let line = std::str::from_utf8(line).ok()?;
        let (_, numbers) = line.split_once(MOVED)?;
        let (moved_mm, hashes) = numbers.split_once(SETTINGS)?;
        let (settings, seal) = hashes.split_once(SEAL)?;
        let moved_mm = moved_mm.parse().ok()?;
        let head = line.strip_suffix(seal)?;
        let whole = before.with(&tail[..begin]).with(head.as_bytes());
        (whole.digits() == seal).then(|| (moved_mm, settings.to_string()))
    };
    let (moved_mm, settings) = read().unzip();
    Ok(Some(Earlier {
        at_byte: at_byte + begin as u64,
        moved_mm: moved_mm.unwrap_or(0.0),
        settings,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published test vectors of FNV-1a, 64 bits: "" and "a" (from memory).
    #[test]
    fn the_hash_is_fnv1a() {
        assert_eq!(Hash::default().0, 0xcbf2_9ce4_8422_2325);
        assert_eq!(Hash::default().with(b"a").0, 0xaf63_dc4c_8601_ec8c);
    }

    #[test]
    fn a_mark_is_believed_only_behind_the_bytes_that_it_seals() {
        let settings = "0123456789abcdef".to_string();
        let head = format!("{BEGINS}merge{MOVED}0.02{SETTINGS}{settings}{SEAL}");
        let mark = Mark {
            head,
            ..Mark::default()
        };
        for (body, end) in [
            ("G1 X1\r\n".repeat(20_000), "\r\n"),
            ("M84\n".to_string(), ""),
            (String::new(), "\r"),
        ] {
            let line = mark.sealed(Hash::default().with(body.as_bytes())).unwrap();
            let job = format!("{body}{line}{end}");
            let found = Earlier {
                at_byte: body.len() as u64,
                moved_mm: 0.02,
                settings: Some(settings.clone()),
            };
            let read = |job: &str| earlier(job.as_bytes()).unwrap();
            let broken = |at_byte: usize| Earlier {
                at_byte: at_byte as u64,
                ..Earlier::default()
            };
            assert_eq!(read(&job), Some(found));
            assert_eq!(read(&format!("{job}\nM84\n")), None);
            let longer = format!("G28\n{job}");
            assert_eq!(read(&longer), Some(broken(4 + body.len())));
            for (this, that) in [("0.02", "0.01"), ("merge", "arcs"), ("seal", "soul")] {
                let edited = job.replace(this, that);
                assert_eq!(read(&edited), Some(broken(body.len())));
            }
        }
        assert_eq!(Mark::default().sealed(Hash::default()), None);
    }
}
