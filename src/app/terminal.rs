//! Text to the terminal: bold where it can be shown, and a pipe that may close.

use std::io::{self, IsTerminal, Write};
use std::path::Path;

use headstall::report::text::wrap;
use serde::Serialize;

use super::failure::Failure;

/// Prints text on standard output.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    out.write_all(text.as_bytes())
        .and_then(|()| out.flush())
        .map_err(|e| Failure::writing("standard output", &e))
}

/// One message on standard error.
pub fn complain(message: &str) {
    let _ = writeln!(io::stderr(), "headstall: {message}");
}

/// The text in bold, if standard output is a terminal that may show it.
pub fn strong(text: &str) -> String {
    let plain = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
    if io::stdout().is_terminal() && !plain {
        format!("\u{1b}[1m{text}\u{1b}[0m")
    } else {
        text.to_string()
    }
}

/// A verdict in bold, and a blank line.
pub fn headed(verdict: &str) -> String {
    let mut text = String::new();
    for line in wrap(verdict, 80) {
        text += &strong(&line);
        text.push('\n');
    }
    text.push('\n');
    text
}

/// What was written where; nothing where nothing was.
pub fn written(out: Option<&Path>, files: &[String]) -> String {
    out.map_or(String::new(), |out| {
        format!("\nwritten to {}: {}\n", out.display(), files.join(", "))
    })
}

/// A result as JSON, with a line end.
pub fn json(result: &impl Serialize) -> String {
    let mut text = serde_json::to_string_pretty(result).expect("a result is plain data");
    text.push('\n');
    text
}

/// How many threads this machine runs at a time.
pub fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}
