//! Why a command was not carried out, and its exit code.

use std::fmt;
use std::io;

/// Why a command was not carried out.
#[derive(Debug)]
pub enum Failure {
    /// The arguments, the board or the job cannot be used.
    Unusable(String),
    /// Anything else.
    Other(String),
    /// Whoever read our output has gone: no failure at all.
    ClosedPipe,
}

impl Failure {
    /// The failure of writing to `what`.
    pub fn writing(what: &str, error: &io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            Failure::ClosedPipe
        } else {
            Failure::Other(format!("{what}: cannot be written: {error}"))
        }
    }

    /// The exit code of the contract.
    pub fn exit_code(&self) -> u8 {
        match self {
            Failure::Unusable(_) => 2,
            Failure::Other(_) => 1,
            Failure::ClosedPipe => 0,
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Failure::Unusable(text) | Failure::Other(text) => f.write_str(text),
            Failure::ClosedPipe => f.write_str("the reader of the output has gone"),
        }
    }
}
