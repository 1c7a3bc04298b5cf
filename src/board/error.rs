//! Why a board cannot be used, and where.

use std::fmt;

/// Why a board cannot be used: one sentence that names the place, the key, the value found and
/// what is allowed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BoardError(pub(super) String);

impl fmt::Display for BoardError {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for BoardError {}

/// Where a value stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum At {
    /// The file as a whole.
    File,
    /// This line of the file, counted from 1.
    Line(usize),
    /// The override with this index.
    Set(usize),
}
