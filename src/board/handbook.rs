//! Every key of a board file: what it says, what it may be, in which unit; and a file's own values.
//!
//! Nothing of this is written down twice: explanations are the comments of the boards that come with the program, and
//! what is allowed is what the reader of a board answers to a value that is never allowed.

use std::collections::BTreeMap;

use serde::Serialize;

use super::builtin;
use super::error::BoardError;
use super::known;
use super::overrides::Override;
use super::profile;
use super::tree::{self, Entries, Node, Value};

/// A value that no key takes.
const NEVER: &str = "[]";
/// A key of a board file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct KeyNote {
    /// The dotted key; `chore.*.us` stands for that of any chore.
    pub key: String,
    /// What it is, in plain words.
    pub says: String,
    /// What it may be.
    pub allowed: String,
    /// The unit of its number; empty where it has none.
    pub unit: String,
}

/// All keys, table by table. What a fit leaves is not among them.
pub fn notes() -> Vec<KeyNote> {
    let comments = comments();
    let mut all = Vec::new();
    for (table, keys) in known::tables() {
        for key in keys
            .iter()
            .filter(|key| table != "fit" && !is_table(table, key))
        {
            let dotted = |table: &str| match table {
                "" => (*key).to_string(),
                table => format!("{table}.{key}"),
            };
            // An axis is explained with its table.
            let says = comments.get(&dotted(table)).or_else(|| comments.get(table));
            let allowed = allowed(&dotted(&table.replace("chore", "chore.0")));
            all.push(KeyNote {
                key: dotted(&table.replace("chore", "chore.*")),
                says: says.cloned().unwrap_or_default(),
                unit: unit(&allowed).to_string(),
                allowed,
            });
        }
    }
    all
}

/// Whether this names a table of its own.
fn is_table(table: &str, key: &str) -> bool {
    let dotted = match table {
        "" => key.to_string(),
        table => format!("{table}.{key}"),
    };
    known::tables().any(|(name, _)| name == dotted)
}

/// What a key may be.
fn allowed(key: &str) -> String {
    let set = Override {
        key: key.to_string(),
        value: NEVER.to_string(),
        from: None,
    };
    let text = builtin::text(builtin::DEFAULT).unwrap_or_default();
    let refused = profile::parse(text, builtin::DEFAULT, &[set]).err();
    let refused = refused.map(|e| e.to_string()).unwrap_or_default();
    let (_, allowed) = refused.split_once(": must be ").unwrap_or_default();
    // On the page a text is typed without quotes.
    allowed.replace("a text in quotes", "a text")
}

/// The unit in "a number of mm/s from 0 to 5"; none in "a number from 0 to 1".
fn unit(allowed: &str) -> &str {
    let number = allowed.strip_prefix("a number of ");
    let unit = number.and_then(|rest| rest.split_once(" from "));
    unit.map_or("", |(unit, _)| unit)
}

/// What the boards' files say of each key: of several, the first that says anything.
fn comments() -> BTreeMap<String, String> {
    let mut all = BTreeMap::new();
    for name in builtin::names() {
        for (key, says) in comments_of(builtin::text(name).unwrap_or_default()) {
            all.entry(key).or_insert(says);
        }
    }
    all
}

/// The comments above each key and behind it.
fn comments_of(text: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let (mut table, mut above) = (String::new(), String::new());
    for line in text.lines() {
        if let Some(comment) = line.strip_prefix("# ") {
            // What ends so speaks of all keys that follow.
            if !comment.ends_with(':') {
                join(&mut above, comment);
            }
        } else if let Some(header) = line.strip_prefix('[') {
            let name = header.split(']').next().unwrap_or_default();
            table = format!("{}.", name.trim_start_matches('['));
            above.clear();
        } else if let Some((key, rest)) = line.split_once(" = ") {
            let mut says = std::mem::take(&mut above);
            if let Some((_, behind)) = rest.split_once("# ") {
                join(&mut says, behind);
            }
            if !says.is_empty() {
                found.push((format!("{table}{key}"), says));
            }
        } else {
            above.clear();
        }
    }
    found
}

fn join(text: &mut String, more: &str) {
    if !text.is_empty() {
        text.push(' ');
    }
    text.push_str(more);
}

/// The values that a board file gives, as one types them in `KEY=VALUE`, by dotted key; a chore goes by its index.
///
/// # Errors
/// Where the text is no TOML, or an override cannot be put.
pub fn values(
    text: &str,
    file: &str,
    sets: &[Override],
) -> Result<BTreeMap<String, String>, BoardError> {
    let mut entries = tree::read(text, file)?;
    for (k, set) in sets.iter().enumerate() {
        set.apply(&mut entries, k)?;
    }
    let mut all = BTreeMap::new();
    flatten(&entries, "", &mut all);
    Ok(all)
}

fn flatten(entries: &Entries, path: &str, all: &mut BTreeMap<String, String>) {
    for (key, node) in entries {
        let dotted = match path {
            "" => key.clone(),
            path => format!("{path}.{key}"),
        };
        value(node, dotted, all);
    }
}

fn value(node: &Node, dotted: String, all: &mut BTreeMap<String, String>) {
    match &node.value {
        Value::Table(_) if dotted == "fit" => {}
        Value::Table(entries) if !known::keys(&dotted).is_empty() => {
            flatten(entries, &dotted, all);
        }
        Value::List(items) => {
            for (k, item) in items.iter().enumerate() {
                value(item, format!("{dotted}.{k}"), all);
            }
        }
        Value::Text(text) => {
            all.insert(dotted, text.clone());
        }
        // A number as it is written, a draw, a flag.
        _ => {
            all.insert(dotted, node.shown.clone());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(key: &str) -> KeyNote {
        notes().into_iter().find(|n| n.key == key).unwrap()
    }

    #[test]
    fn each_key_is_explained() {
        for note in notes() {
            assert!(!note.says.is_empty(), "{} has no comment", note.key);
            assert!(!note.allowed.is_empty(), "{}", note.key);
        }
        let blocks = note("queue.blocks");
        assert_eq!(blocks.allowed, "a whole number from 2 to 1000000");
        assert!(blocks.says.starts_with("moves planned and not yet done"));
        let jump = note("motion.corner.x");
        assert_eq!(jump.unit, "mm/s");
        assert!(jump.says.contains("how fast corners are taken"));
        let work = note("chore.*.us");
        assert_eq!(work.unit, "us");
        assert!(work.allowed.contains("or a draw"));
    }

    #[test]
    fn values_are_those_one_would_type() {
        let text = builtin::text("8bit-card-saves").unwrap();
        let set = Override::parse("chore.display.us=5").unwrap();
        let values = values(text, "a", &[set]).unwrap();
        for (key, value) in [
            ("link.kind", "card"),
            ("link.sector_ms", "{ min = 1.0, max = 1.6 }"),
            ("motion.corner.rule", "jump"),
            ("motion.speed_max.z", "10"),
            ("chore.0.us", "5"),
            ("chore.1.name", "heaters"),
            ("save.reread", "true"),
        ] {
            assert_eq!(values[key], value, "{key}");
        }
        // Each can be set as it stands.
        for (key, value) in values.iter().filter(|(key, _)| *key != "notes") {
            let set = Override {
                key: key.clone(),
                value: value.clone(),
                from: None,
            };
            profile::parse(text, "a", &[set]).unwrap();
        }
    }
}
