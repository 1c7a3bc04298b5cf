//! A board file with some keys changed, its comments and all else kept.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

use super::error::BoardError;
use super::known::CHORE_NAME;
use super::overrides::Override;
use super::profile;
use super::types::Fitted;

/// The file with the overrides written into it: a board as they make it.
///
/// # Errors
/// Those of [`profile::parse`]; and where a change cannot be written without changing something else.
pub fn text(text: &str, file: &str, sets: &[Override]) -> Result<String, BoardError> {
    let wanted = profile::parse(text, file, sets)?;
    let mut edited = text.to_string();
    for set in sets {
        if let Some(twin) = match set.key.as_str() {
            "link.baud" => Some("bytes_per_s"),
            "link.bytes_per_s" => Some("baud"),
            _ => None,
        } {
            edited = without(&edited, "link", twin);
        }
        let names: Vec<&str> = set.key.split('.').collect();
        edited = put(&edited, &names, &toml_value(&set.value)).unwrap_or(edited);
    }
    if let Some(fit) = &wanted.fit
        && !sets.is_empty()
    {
        // What is set is known: its draws are gone.
        let [keys, draws] = fitted(fit);
        edited = put(&edited, &["fit", "keys"], &keys).unwrap_or(edited);
        edited = put(&edited, &["fit", "draws"], &draws).unwrap_or(edited);
    }
    match profile::parse(&edited, file, &[]) {
        Ok(board) if board == wanted => Ok(edited),
        _ => Err(BoardError(format!(
            "{file}: the changes cannot be written into this file; give them with --set, or write them by hand"
        ))),
    }
}

/// A value in TOML: as it stands, or as a text.
fn toml_value(value: &str) -> String {
    match DeValue::parse(value) {
        Ok(_) => value.to_string(),
        Err(_) => toml::Value::String(value.to_string()).to_string(),
    }
}

/// The texts of `fit.keys` and `fit.draws`.
fn fitted(fit: &Fitted) -> [String; 2] {
    let row = |row: &Vec<f64>| {
        let whole = row.iter().map(|ln| format!("{:.0}", ln * 1000.0));
        whole.collect::<Vec<_>>().join(" ")
    };
    let rows: Vec<String> = fit.draws.iter().map(row).collect();
    [
        format!("\"{}\"", fit.keys.join(" ")),
        format!("\"\"\"\n{}\n\"\"\"", rows.join("\n")),
    ]
}

/// A table, and where it stands.
struct Found<'t> {
    table: &'t DeTable<'t>,
    /// Of an inline table all of it, of another one its header; the root has none.
    span: Option<Range<usize>>,
}

impl<'t> Found<'t> {
    fn entry(&self, name: &str) -> Option<(&'t Spanned<DeString<'t>>, &'t Spanned<DeValue<'t>>)> {
        let mut all = self.table.iter();
        all.find(|(key, _)| key.get_ref() == name)
    }
}

/// The text with a value where the names lead; `None` where they lead nowhere.
fn put(text: &str, names: &[&str], value: &str) -> Option<String> {
    let root = DeTable::parse(text).ok()?;
    let mut found = Found {
        table: root.get_ref(),
        span: None,
    };
    let whole = names.join(".");
    let mut names = names;
    while let Some((name, deeper)) = names.split_first() {
        let Some((_, node)) = found.entry(name) else {
            return match found.span {
                Some(span) => insert(text, span, &names.join("."), &whole, value),
                None => at_root(text, &whole, value),
            };
        };
        if deeper.is_empty() {
            return replaced(text, node.span(), value);
        }
        let (node, deeper) = match node.get_ref() {
            DeValue::Array(items) => {
                let (index, deeper) = deeper.split_first()?;
                (items.get(find(items, index)?)?, deeper)
            }
            _ => (node, deeper),
        };
        let DeValue::Table(table) = node.get_ref() else {
            return None;
        };
        found = Found {
            table,
            span: Some(node.span()),
        };
        names = deeper;
    }
    None
}

/// The chore of this index or name.
fn find(chores: &[Spanned<DeValue>], name: &str) -> Option<usize> {
    let named = |chore: &Spanned<DeValue>| match chore.get_ref() {
        DeValue::Table(table) => {
            let own = table.iter().find(|(key, _)| key.get_ref() == "name");
            own.map_or(
                name == CHORE_NAME,
                |(_, own)| matches!(own.get_ref(), DeValue::String(own) if own == name),
            )
        }
        _ => false,
    };
    let index: Option<usize> = name.parse().ok();
    index
        .filter(|index| *index < chores.len())
        .or_else(|| chores.iter().position(named))
}

fn replaced(text: &str, span: Range<usize>, value: &str) -> Option<String> {
    let (before, after) = (text.get(..span.start)?, text.get(span.end..)?);
    Some(format!("{before}{value}{after}"))
}

/// The text with a key more in the table that stands there: `key` within it, `whole` from the root.
fn insert(text: &str, table: Range<usize>, key: &str, whole: &str, value: &str) -> Option<String> {
    let own = text.get(table.clone())?;
    if own.starts_with('{') {
        let inside = own.trim_start_matches('{').trim_end_matches('}').trim();
        let comma = if inside.is_empty() { "" } else { ", " };
        return replaced(
            text,
            table,
            &format!("{{ {inside}{comma}{key} = {value} }}"),
        );
    }
    if !own.starts_with('[') {
        // A table that dotted keys make.
        return at_root(text, whole, value);
    }
    let rest = text.get(table.start..)?;
    let at = rest.find('\n').map_or(text.len(), |at| table.start + at);
    replaced(text, at..at, &format!("\n{key} = {value}"))
}

/// The text with a key more before its first table.
fn at_root(text: &str, key: &str, value: &str) -> Option<String> {
    let header = match text.find("\n[") {
        _ if text.starts_with('[') => Some(0),
        at => at.map(|at| at + 1),
    };
    let at = header.unwrap_or(text.len());
    let start = text.get(..at)?;
    let end = if start.is_empty() || start.ends_with('\n') {
        ""
    } else {
        "\n"
    };
    replaced(text, at..at, &format!("{end}{key} = {value}\n"))
}

/// The text without the line of this key of this table, if it stands on a line of its own.
fn without(text: &str, table: &str, key: &str) -> String {
    let cut = || {
        let root = DeTable::parse(text).ok()?;
        let root = Found {
            table: root.get_ref(),
            span: None,
        };
        let DeValue::Table(table) = root.entry(table)?.1.get_ref() else {
            return None;
        };
        let table = Found { table, span: None };
        let (key, value) = table.entry(key)?;
        let start = text
            .get(..key.span().start)?
            .rfind('\n')
            .map_or(0, |at| at + 1);
        let rest = text.get(value.span().end..)?;
        let end = rest
            .find('\n')
            .map_or(text.len(), |at| value.span().end + at + 1);
        replaced(text, start..end, "")
    };
    cut().unwrap_or_else(|| text.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board::builtin;

    fn edited(board: &str, sets: &[&str]) -> Result<String, BoardError> {
        let sets: Vec<Override> = sets.iter().map(|s| Override::parse(s).unwrap()).collect();
        text(board, "my.toml", &sets)
    }

    /// What is not written back as it was asked for is refused, so that what comes is right; here: that it comes.
    #[test]
    fn changes_are_written_among_the_comments() {
        for name in builtin::names() {
            let old = builtin::text(name).unwrap();
            let sets = [
                "save.when=off",
                "queue.blocks=48",
                "chore.display.us={ mean = 5 }",
                "chore.1.every_s=0.2",
                "motion.corner.x=7",
                "motion.speed_max.x=150",
                "link.baud=57600",
                "name=My \"own\" board",
            ];
            let new = edited(old, &sets).unwrap();
            let changed = old.lines().filter(|l| !new.contains(*l)).count();
            assert!(changed <= sets.len() + 1, "{changed}");
            assert!(new.contains("when = \"off\""), "{new}");
            assert_eq!(edited(&new, &[]).unwrap(), new);
        }
    }

    #[test]
    fn keys_that_are_not_there_come_to_their_tables() {
        let short = "name = \"a\"\n[link]\nkind = \"card\"\nsector_ms = 1\n[motion]\n\
                     speed_max = { x = 1, y = 1, z = 1, e = 1 }\naccel_max = { x = 1, y = 1, z = 1, e = 1 }\n\
                     accel = { print = 1, travel = 1, retract = 1 }\ncorner = { rule = \"deviation\", mm = 0.1 }\n\
                     steps_per_mm = { x = 1, y = 1, z = 1, e = 1 }";
        let new = edited(
            short,
            &[
                "save.ms=3",
                "save.when=layer",
                "link.chain_ms=2",
                "motion.corner.x=3",
            ],
        );
        let new = new.unwrap();
        assert!(
            new.contains("save.ms = 3\nsave.when = \"layer\"\n[link]"),
            "{new}"
        );
        assert!(new.contains("[link]\nchain_ms = 2\nkind"), "{new}");
        assert!(new.contains("mm = 0.1, x = 3 }"), "{new}");
        let wrong = edited(short, &["queue.blocks=1"]).unwrap_err().to_string();
        assert_eq!(
            wrong,
            "--set queue.blocks=1: must be a whole number from 2 to 1000000"
        );
    }

    #[test]
    fn a_known_key_loses_its_draws() {
        let old = builtin::text("8bit-card").unwrap().to_string()
            + "\n[fit]\nkeys = \"loop.line_us save.ms\"\ndraws = \"\"\"\n10 20\n-30 40\n\"\"\"\n";
        let new = edited(&old, &["loop.line_us=400"]).unwrap();
        assert!(
            new.contains("keys = \"save.ms\"") && new.contains("\n20\n40\n"),
            "{new}"
        );
    }
}
