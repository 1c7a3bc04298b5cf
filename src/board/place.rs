//! Where a value stands, and errors that say so.

use std::fmt;

use super::overrides::Override;
use super::tree::Node;

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

/// Where the tree comes from, for messages.
pub(super) struct Source<'a> {
    pub file: &'a str,
    pub sets: &'a [Override],
    /// The keys of the overrides, a chore's index in place of its name.
    pub set_keys: Vec<String>,
}

impl Source<'_> {
    pub fn place(&self, at: At) -> String {
        match at {
            At::File => self.file.to_owned(),
            At::Line(line) => format!("{}:{line}", self.file),
            At::Set(k) => self.sets.get(k).map(Override::shown).unwrap_or_default(),
        }
    }

    pub fn error(&self, key: &str, node: &Node, why: &str) -> BoardError {
        let place = self.place(node.at);
        let told = matches!(node.at, At::Set(k) if self.set_keys.get(k).is_some_and(|k| k == key));
        BoardError(if told {
            format!("{place}: {why}")
        } else {
            format!("{place}: {key} = {}: {why}", node.shown)
        })
    }
}
