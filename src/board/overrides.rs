//! `--set KEY=VALUE`: one key of a board, changed.

use super::error::{At, BoardError};
use super::known;
use super::tree::{Entries, Node, Value, read_value};
use crate::text::clean;

/// Most names in a dotted key.
const NAMES_MAX: usize = 8;

/// One key of a board and the value that it is to have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Override {
    /// The dotted key: `queue.blocks`; a chore goes by its index or its name, `chore.display.us`.
    pub key: String,
    /// The value in TOML, or a bare text.
    pub value: String,
    /// What it is part of, as it stands on the command line, where that is no `--set`.
    pub from: Option<String>,
}

impl std::fmt::Display for Override {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}={}", self.key, self.value)
    }
}

impl Override {
    /// Takes `KEY=VALUE` apart.
    ///
    /// ```
    /// use headstall::board::profile::Override;
    /// let set = Override::parse("queue.blocks = 32").unwrap();
    /// assert_eq!((set.key.as_str(), set.value.as_str()), ("queue.blocks", "32"));
    /// ```
    pub fn parse(text: &str) -> Result<Override, BoardError> {
        let wrong = || {
            let text = text.escape_debug();
            BoardError(format!(
                "--set {text}: must be KEY=VALUE, as in queue.blocks=32"
            ))
        };
        let (key, value) = text.split_once('=').ok_or_else(wrong)?;
        let names: Vec<&str> = key.split('.').map(str::trim).collect();
        let control = names.iter().any(|name| clean(name) != *name);
        if control || names.contains(&"") || names.len() > NAMES_MAX {
            return Err(wrong());
        }
        Ok(Override {
            key: names.join("."),
            value: value.trim().to_owned(),
            from: None,
        })
    }

    /// Puts the value, as override `k`, where the key says. Returns the key with a chore's index
    /// in place of its name.
    pub(super) fn apply(&self, root: &mut Entries, k: usize) -> Result<String, BoardError> {
        let names: Vec<&str> = self.key.split('.').collect();
        let mut top = Node {
            at: At::File,
            shown: String::new(),
            value: Value::Table(std::mem::take(root)),
        };
        let mut path = Vec::new();
        let put = put(&mut top, &names, read_value(&self.value, k), &mut path);
        if let Value::Table(entries) = top.value {
            *root = entries;
        }
        put.map_err(|why| BoardError(format!("{}: {why}", self.shown())))?;
        match self.key.as_str() {
            "link.baud" => forget(root, "bytes_per_s"),
            "link.bytes_per_s" => forget(root, "baud"),
            _ => {}
        }
        Ok(path.join("."))
    }

    /// As it stands on the command line.
    pub(super) fn shown(&self) -> String {
        let short = |text: &str| clean(&text.chars().take(80).collect::<String>()).into_owned();
        match &self.from {
            Some(from) => short(from),
            None => format!("--set {}={}", self.key, short(&self.value)),
        }
    }
}

/// Walks down from `node` and puts `new` where the names lead; `path` is the way taken.
fn put(node: &mut Node, names: &[&str], new: Node, path: &mut Vec<String>) -> Result<(), String> {
    let Some((name, deeper)) = names.split_first() else {
        *node = new;
        return Ok(());
    };
    match &mut node.value {
        Value::Table(entries) => {
            path.push((*name).to_owned());
            let value = match path.as_slice() {
                [chore] if chore == "chore" => Value::List(Vec::new()),
                _ => Value::Table(Entries::new()),
            };
            let missing = Node {
                at: new.at,
                shown: "a table".to_owned(),
                value,
            };
            put(
                entries.entry((*name).to_owned()).or_insert(missing),
                deeper,
                new,
                path,
            )
        }
        Value::List(items) => {
            let index = find(items, name)?;
            path.push(index.to_string());
            items
                .get_mut(index)
                .map_or(Ok(()), |item| put(item, deeper, new, path))
        }
        _ => Err(format!(
            "{} is a single value, nothing lies below it",
            path.join(".")
        )),
    }
}

/// The index of the chore with this index or name.
fn find(chores: &[Node], name: &str) -> Result<usize, String> {
    if let Some(index) = name.parse().ok().filter(|index| *index < chores.len()) {
        return Ok(index);
    }
    let names: Vec<&str> = chores.iter().map(chore_name).collect();
    let mut found = (0..names.len()).filter(|i| names.get(*i) == Some(&name));
    match (found.next(), found.next()) {
        (Some(index), None) => Ok(index),
        (Some(_), Some(_)) => Err(format!(
            "more than one chore is named {name}; use its index"
        )),
        _ if names.is_empty() => Err(format!("no chore {name}; this board has none")),
        _ => Err(format!(
            "no chore {name}; this board has {}",
            names.join(", ")
        )),
    }
}

fn chore_name(chore: &Node) -> &str {
    let Value::Table(entries) = &chore.value else {
        return "?";
    };
    match entries.get("name").map(|name| &name.value) {
        Some(Value::Text(name)) => name,
        Some(_) => "?",
        None => known::CHORE_NAME,
    }
}

/// Takes a key out of `[link]`, where the file gave it: its twin replaces it.
fn forget(root: &mut Entries, key: &str) {
    if let Some(Node {
        value: Value::Table(link),
        ..
    }) = root.get_mut("link")
        && link
            .get(key)
            .is_some_and(|node| !matches!(node.at, At::Set(_)))
    {
        link.remove(key);
    }
}
