//! The comment line behind a mended job that says how it was mended, so that mending it again changes nothing
//! and deviations never add up.

use crate::board::types::Board;

use super::plan::Allow;

/// How the line begins.
const BEGINS: &str = "; mended by headstall:";
/// Bytes at a job's end among which the line is looked for.
const TAIL_BYTES: usize = 512;

/// Keeps the last bytes of what goes by.
pub fn keep_tail(tail: &mut Vec<u8>, more: &[u8]) {
    tail.extend_from_slice(more);
    let over = tail.len().saturating_sub(TAIL_BYTES);
    tail.drain(..over);
}

/// The line for these settings; `others`: whatever else the result depends on.
pub fn line(board: &Board, within_mm: f64, allow: Allow, everywhere: bool, others: &str) -> String {
    let all = format!("{board:?} {others}");
    let places = if everywhere { " everywhere" } else { "" };
    format!(
        "{BEGINS} {}{places} within {within_mm} mm, settings {:016x}",
        allow.names().join(","),
        fnv1a(all.as_bytes())
    )
}

/// The line at the end of a job, if it has one.
pub fn found(tail: &[u8]) -> Option<String> {
    let text = String::from_utf8_lossy(tail);
    let at = text.rfind(BEGINS)?;
    let line = text[at..].split(['\r', '\n']).next()?;
    Some(line.to_string())
}

/// The FNV-1a hash (offset basis and prime of its authors' page, from memory).
fn fnv1a(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, b| {
        (hash ^ u64::from(*b)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published test vectors of FNV-1a, 64 bits: "" and "a" (from memory).
    #[test]
    fn the_hash_is_fnv1a() {
        assert_eq!(fnv1a(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv1a(b"a"), 0xaf63_dc4c_8601_ec8c);
    }

    #[test]
    fn the_line_is_found_whatever_ends_it() {
        let mut tail = Vec::new();
        keep_tail(&mut tail, &[b'x'; 2000]);
        keep_tail(
            &mut tail,
            b"\r\n; mended by headstall: merge within 0.02 mm\r\n",
        );
        assert_eq!(tail.len(), TAIL_BYTES);
        let line = "; mended by headstall: merge within 0.02 mm";
        assert_eq!(found(&tail).as_deref(), Some(line));
        assert_eq!(found(b"M84\n"), None);
    }
}
