//! A table whose keys are checked as they are read.

use std::fmt;

use super::error::{At, BoardError};
use super::known;
use super::place::Source;
use super::tree::{Entries, Node, Value};
use crate::text::clean;

/// What a number may be: from `min` to `max`, both allowed unless `below`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Range {
    min: f64,
    max: f64,
    /// `max` itself is not allowed.
    below: bool,
    unit: &'static str,
}

impl Range {
    pub const CHANCE: Range = Range::new(0.0, 1.0, "");
    pub const SHARE_BELOW_1: Range = Range {
        below: true,
        ..Range::CHANCE
    };

    pub const fn new(min: f64, max: f64, unit: &'static str) -> Self {
        Range {
            min,
            max,
            below: false,
            unit,
        }
    }

    fn contains(&self, x: f64) -> bool {
        (self.min..=self.max).contains(&x) && !(self.below && x == self.max)
    }
}

impl fmt::Display for Range {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let of = if self.unit.is_empty() { "" } else { " of " };
        let to = if self.below { "to less than" } else { "to" };
        write!(
            f,
            "a number{of}{} from {} {to} {}",
            self.unit,
            Short(self.min),
            Short(self.max)
        )
    }
}

/// A number as people write it: 0.5, 1000, 1e6, 1e-6.
pub(super) struct Short(pub f64);

impl fmt::Display for Short {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let size = self.0.abs();
        if size != 0.0 && !(1e-3..1e6).contains(&size) {
            write!(f, "{:e}", self.0)
        } else {
            write!(f, "{}", self.0)
        }
    }
}

/// One table of a board file. A reading method gives `None` where the key is absent.
pub(super) struct Table<'a> {
    pub source: &'a Source<'a>,
    /// The dotted name; empty for the whole file.
    pub path: String,
    pub at: At,
    pub entries: &'a Entries,
}

impl<'a> Table<'a> {
    /// The whole file.
    pub fn root(source: &'a Source, entries: &'a Entries) -> Result<Self, BoardError> {
        Table {
            source,
            path: String::new(),
            at: At::File,
            entries,
        }
        .known()
    }

    /// Checks that no key is unknown.
    fn known(self) -> Result<Self, BoardError> {
        let keys = known::keys(&self.path);
        let unknown = self
            .entries
            .iter()
            .filter(|(key, _)| !keys.contains(&key.as_str()));
        match unknown.min_by_key(|(_, node)| node.at) {
            Some((key, node)) => {
                let why = known::advice(&self.path, key);
                let key = self.key(&key.escape_debug().to_string());
                Err(match node.value {
                    Value::Table(_) | Value::List(_) => {
                        BoardError(format!("{}: {key}: {why}", self.source.place(node.at)))
                    }
                    _ => self.source.error(&key, node, &why),
                })
            }
            None => Ok(self),
        }
    }

    /// The dotted key.
    pub fn key(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.path)
        }
    }

    /// An error at this key's value.
    pub fn wrong(&self, key: &str, why: &str) -> BoardError {
        match self.entries.get(key) {
            Some(node) => self.source.error(&self.key(key), node, why),
            None => self.lacks(&[key], ""),
        }
    }

    fn lacks(&self, keys: &[&str], when: &str) -> BoardError {
        let place = self.source.place(self.at);
        let table = if self.path.is_empty() {
            "the board"
        } else {
            &self.path
        };
        let s = if keys.len() == 1 { "" } else { "s" };
        BoardError(format!(
            "{place}: {table}{when} lacks the required key{s} {}",
            keys.join(", ")
        ))
    }

    /// Whether the key is there.
    pub fn has(&self, key: &str) -> bool {
        self.entries.contains_key(key)
    }

    /// Checks that all these are there; `when` says under what condition they must be.
    pub fn require(&self, keys: &[&str], when: &str) -> Result<(), BoardError> {
        let missing: Vec<&str> = keys.iter().copied().filter(|key| !self.has(key)).collect();
        if missing.is_empty() {
            Ok(())
        } else {
            Err(self.lacks(&missing, when))
        }
    }

    /// What was read, or an error that the key is missing.
    pub fn needed<T>(&self, key: &str, value: Option<T>) -> Result<T, BoardError> {
        value.ok_or_else(|| self.lacks(&[key], ""))
    }

    /// Reads a value, or says what it must be.
    fn read<T>(
        &self,
        key: &str,
        must: &dyn fmt::Display,
        take: impl FnOnce(&'a Value) -> Option<T>,
    ) -> Result<Option<T>, BoardError> {
        let Some(node) = self.entries.get(key) else {
            return Ok(None);
        };
        let value = take(&node.value);
        value
            .map(Some)
            .ok_or_else(|| self.wrong(key, &format!("must be {must}")))
    }

    /// A number in this range.
    pub fn number(&self, key: &str, range: Range) -> Result<Option<f64>, BoardError> {
        self.read(key, &range, |value| match value {
            // + 0.0: no negative zero
            Value::Number(x) if range.contains(*x) => Some(*x + 0.0),
            _ => None,
        })
    }

    /// A whole number in this range.
    pub fn whole(&self, key: &str, min: u32, max: u32) -> Result<Option<u32>, BoardError> {
        let must = format!("a whole number from {min} to {max}");
        self.read(key, &must, |value| match value {
            Value::Number(x) if x.fract() == 0.0 => (f64::from(min)..=f64::from(max))
                .contains(x)
                .then_some(*x as u32),
            _ => None,
        })
    }

    /// A text, cleaned: it goes to terminals, tables and pages.
    pub fn text(&self, key: &str) -> Result<Option<String>, BoardError> {
        self.read(key, &"a text in quotes", |value| match value {
            Value::Text(text) => Some(clean(text).into_owned()),
            _ => None,
        })
    }

    /// True or false.
    pub fn flag(&self, key: &str) -> Result<Option<bool>, BoardError> {
        self.read(key, &"true or false", |value| match value {
            Value::Flag(flag) => Some(*flag),
            _ => None,
        })
    }

    /// One of a few words.
    pub fn choice<T: Copy>(&self, key: &str, words: &[(&str, T)]) -> Result<Option<T>, BoardError> {
        let quoted: Vec<String> = words
            .iter()
            .map(|(word, _)| format!("\"{word}\""))
            .collect();
        self.read(key, &quoted.join(" or "), |value| match value {
            Value::Text(text) => words
                .iter()
                .find(|(word, _)| word == text)
                .map(|(_, is)| *is),
            _ => None,
        })
    }

    /// One number for each of x, y, z, e; all four are required.
    pub fn axes(&self, key: &str, range: Range) -> Result<Option<[f64; 4]>, BoardError> {
        let Some(table) = self.table(key)? else {
            return Ok(None);
        };
        table.require(&known::AXES, "")?;
        table.own_axes(range, "").map(Some)
    }

    /// The keys x, y, z, e of this very table.
    pub fn own_axes(&self, range: Range, when: &str) -> Result<[f64; 4], BoardError> {
        self.require(&known::AXES, when)?;
        let mut all = [0.0; 4];
        for (to, axis) in all.iter_mut().zip(known::AXES) {
            *to = self.needed(axis, self.number(axis, range)?)?;
        }
        Ok(all)
    }

    /// A table within this one.
    pub fn table(&self, key: &str) -> Result<Option<Table<'a>>, BoardError> {
        let at = self.entries.get(key).map_or(self.at, |node| node.at);
        let (source, path) = (self.source, self.key(key));
        let table = self.read(key, &"a table", |value| match value {
            Value::Table(entries) => Some(Table {
                source,
                path,
                at,
                entries,
            }),
            _ => None,
        })?;
        table.map(Table::known).transpose()
    }

    /// A table within this one; an empty one where there is none.
    pub fn table_or_empty(&self, key: &str) -> Result<Table<'a>, BoardError> {
        static EMPTY: Entries = Entries::new();
        let (source, path) = (self.source, self.key(key));
        Ok(self.table(key)?.unwrap_or(Table {
            source,
            path,
            at: self.at,
            entries: &EMPTY,
        }))
    }

    /// A list of at most `count_max` tables.
    pub fn tables(&self, key: &str, count_max: usize) -> Result<Vec<Table<'a>>, BoardError> {
        let must = format!("a list of at most {count_max} tables");
        let items = self.read(key, &must, |value| match value {
            Value::List(items) if items.len() <= count_max => Some(items),
            _ => None,
        })?;
        let table = |(k, item): (usize, &'a Node)| {
            let path = format!("{}.{k}", self.key(key));
            match &item.value {
                Value::Table(entries) => {
                    let (source, at) = (self.source, item.at);
                    Table {
                        source,
                        path,
                        at,
                        entries,
                    }
                    .known()
                }
                _ => Err(self.source.error(&path, item, "must be a table")),
            }
        };
        items.into_iter().flatten().enumerate().map(table).collect()
    }
}
