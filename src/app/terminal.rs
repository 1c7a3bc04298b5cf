//! Text to the terminal: bold where it can be shown, and a pipe that may close.

use std::io::{self, IsTerminal, Write};

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
