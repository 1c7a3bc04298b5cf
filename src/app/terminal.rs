//! Text to the terminal: bold where it can be shown, and a pipe that may close.

use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;

use headstall::report::finite::assert_finite;
use headstall::report::text;
use headstall::text::{clean, clean_lines};
use serde::Serialize;

use super::failure::Failure;

/// Bold, and no more of it: characters that [`clean`] takes from all foreign text, so that only [`strong`] has
/// them.
///
/// [`clean`]: headstall::text::clean
const BOLD: char = '\u{fdd0}';
const PLAIN: char = '\u{fdd1}';

/// Prints text on standard output, cleaned of all that would act on a terminal.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut shown = String::with_capacity(text.len());
    for (k, piece) in text.split([BOLD, PLAIN]).enumerate() {
        if k > 0 {
            shown += if k % 2 == 1 { "\u{1b}[1m" } else { "\u{1b}[0m" };
        }
        shown += &clean_lines(piece);
    }
    if text.matches([BOLD, PLAIN]).count() % 2 == 1 {
        shown += "\u{1b}[0m";
    }
    let mut out = io::stdout().lock();
    out.write_all(shown.as_bytes())
        .and_then(|()| out.flush())
        .map_err(|e| Failure::writing("standard output", &e))
}

/// One message on standard error, cleaned likewise.
pub fn complain(message: &str) {
    let _ = writeln!(io::stderr(), "headstall: {}", clean_lines(message));
}

/// Text on standard error, cleaned likewise.
pub fn remark(text: &str) {
    let _ = io::stderr().write_all(clean_lines(text).as_bytes());
}

/// What is wrong with the arguments, cleaned likewise, as it repeats them; or the help that they ask for.
pub fn unparsed(error: &clap::Error) -> ExitCode {
    if error.use_stderr() {
        let _ = write!(io::stderr(), "{}", clean_lines(&error.to_string()));
    } else {
        // None of it is foreign.
        let _ = error.print();
    }
    ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2))
}

/// The text in bold, if standard output is a terminal that may show it.
pub fn strong(text: &str) -> String {
    let plain = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
    if io::stdout().is_terminal() && !plain {
        format!("{BOLD}{}{PLAIN}", clean(text))
    } else {
        text.to_string()
    }
}

/// A verdict in bold, and a blank line.
pub fn headed(verdict: &str) -> String {
    text::headed(verdict, &strong)
}

/// What was written where; nothing where nothing was.
pub fn written(out: Option<&Path>, files: &[String]) -> String {
    out.map_or(String::new(), |out| {
        format!("\nwritten to {}: {}\n", out.display(), files.join(", "))
    })
}

/// A result as JSON, its numbers checked, with a line end.
pub fn json(result: &impl Serialize) -> String {
    assert_finite(result);
    let mut text = serde_json::to_string_pretty(result).expect("a result is plain data");
    text.push('\n');
    text
}
