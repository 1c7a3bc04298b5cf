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

    /// The failure of reading `what`: it cannot be used, unless it is the system that has run short of something.
    pub fn reading(what: &str, error: &io::Error) -> Self {
        let text = format!("{what}: cannot be read: {error}");
        if is_shortage(error) {
            Failure::Other(text)
        } else {
            Failure::Unusable(text)
        }
    }

    /// The failure of keeping something in the system's temporary folder; `what` begins the sentence.
    pub fn storing(what: &str, error: &io::Error) -> Self {
        let folder = std::env::temp_dir();
        // Without the name of a file that nobody sees.
        let why = error.kind();
        Failure::Other(format!(
            "{what} cannot be stored in {}: {why}",
            folder.display()
        ))
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

/// What is said of what is larger than this many bytes, a whole number of MiB.
pub fn larger_than(bytes: u64) -> String {
    match bytes >> 20 {
        mib if mib >= 1024 => format!("is larger than {} GiB", mib >> 10),
        mib => format!("is larger than {mib} MiB"),
    }
}

/// Whether the system has run short of file handles or memory: no fault of what was to be read.
fn is_shortage(error: &io::Error) -> bool {
    /// Codes of POSIX (ENOMEM, ENFILE, EMFILE as Linux, macOS and the BSDs number them).
    #[cfg(unix)]
    const CODES: [i32; 3] = [12, 23, 24];
    /// ERROR_TOO_MANY_OPEN_FILES, ERROR_NOT_ENOUGH_MEMORY, ERROR_OUTOFMEMORY.
    #[cfg(not(unix))]
    const CODES: [i32; 3] = [4, 8, 14];
    error.kind() == io::ErrorKind::OutOfMemory
        || error
            .raw_os_error()
            .is_some_and(|code| CODES.contains(&code))
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Failure::Unusable(text) | Failure::Other(text) => f.write_str(text),
            Failure::ClosedPipe => f.write_str("the reader of the output has gone"),
        }
    }
}
