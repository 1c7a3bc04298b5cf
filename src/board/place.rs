//! Errors that name the place of a value.

use super::error::{At, BoardError};
use super::overrides::Override;
use super::tree::Node;

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
