//! Text as it is shown: numbers, and foreign text made safe: names of files and boards, comments, what a message
//! quotes.
//!
//! Foreign text comes from whoever wrote the job, the board or the file's name, and goes to terminals, tables, pictures
//! and pages. [`clean`] is the one function that takes out what could act there.

use std::borrow::Cow;

/// The text with a blank for each character that acts rather than shows: control characters (escape, bell,
/// carriage return, line feed, delete, those of ISO 6429 above 127), line and paragraph separators, what
/// overrides the direction of writing (Unicode Standard Annex 9, table of explicit formatting characters;
/// marks included), tags, and what is no character.
///
/// ```
/// use headstall::text::clean;
/// assert_eq!(clean("lantern\u{1b}]0;x\u{7}.gcode"), "lantern ]0;x .gcode");
/// assert_eq!(clean("evil\u{202e}edocg.txt"), "evil edocg.txt");
/// assert_eq!(clean("Hafenlaterne, größer"), "Hafenlaterne, größer");
/// ```
pub fn clean(text: &str) -> Cow<'_, str> {
    if text.chars().any(acts) {
        Cow::Owned(
            text.chars()
                .map(|c| if acts(c) { ' ' } else { c })
                .collect(),
        )
    } else {
        Cow::Borrowed(text)
    }
}

/// The same, line by line: line feeds stay. For texts of our own that quote foreign ones.
pub fn clean_lines(text: &str) -> Cow<'_, str> {
    if text.chars().any(|c| c != '\n' && acts(c)) {
        let keep = |c| if c != '\n' && acts(c) { ' ' } else { c };
        Cow::Owned(text.chars().map(keep).collect())
    } else {
        Cow::Borrowed(text)
    }
}

/// Whether a character acts rather than shows.
fn acts(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            '\u{61c}'
                | '\u{200e}'
                | '\u{200f}'
                | '\u{2028}'..='\u{202e}'
                | '\u{2066}'..='\u{2069}'
                | '\u{fdd0}'..='\u{fdef}'
                | '\u{fff9}'..='\u{fffb}'
                | '\u{fffe}'
                | '\u{ffff}'
                | '\u{e0000}'..='\u{e007f}'
        )
}

/// A cell of a table as a spreadsheet may read it: text that begins like a formula gets an apostrophe before it,
/// a number never does.
///
/// ```
/// use headstall::text::cell;
/// assert_eq!(cell("=HYPERLINK(1)"), "'=HYPERLINK(1)");
/// assert_eq!(cell("-1.5e-3"), "-1.5e-3");
/// assert_eq!(cell("save=off"), "save=off");
/// ```
pub fn cell(text: &str) -> Cow<'_, str> {
    let formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    if formula && text.parse::<f64>().is_err() {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// A number with so many decimals. One that is rounded to nothing has no sign: `0.0`, never `-0.0`.
///
/// ```
/// use headstall::text::fixed;
/// assert_eq!(fixed(-0.04, 1), "0.0");
/// assert_eq!(fixed(-0.0, 0), "0");
/// assert_eq!(fixed(-0.06, 1), "-0.1");
/// ```
pub fn fixed(number: f64, decimals: usize) -> String {
    let text = format!("{number:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_string(),
        _ => text,
    }
}
