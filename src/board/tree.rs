//! A board file as a tree of values, each with the place where it stands.

use std::collections::BTreeMap;

use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

use super::error::{At, BoardError};
use crate::text::clean;

/// The entries of a table, in order of their keys.
pub(super) type Entries = BTreeMap<String, Node>;

/// A value and where it stands.
#[derive(Clone, Debug)]
pub(super) struct Node {
    pub at: At,
    /// The value as messages show it.
    pub shown: String,
    pub value: Value,
}

/// What a board file can hold.
#[derive(Clone, Debug)]
pub(super) enum Value {
    Text(String),
    /// Whole or not: what counts is the number, not how it is written.
    Number(f64),
    Flag(bool),
    List(Vec<Node>),
    Table(Entries),
    /// A date; no key wants one.
    Date,
}

/// Text → tree.
pub(super) fn read(text: &str, file: &str) -> Result<Entries, BoardError> {
    let starts: Vec<usize> = std::iter::once(0)
        .chain(text.match_indices('\n').map(|(i, _)| i + 1))
        .collect();
    let line = |offset: usize| starts.partition_point(|start| *start <= offset);
    match DeTable::parse(text) {
        Ok(table) => Ok(entries(table.get_ref(), text, &|offset| {
            At::Line(line(offset))
        })),
        Err(error) => {
            let span = error.span().unwrap_or(text.len()..text.len());
            let line = line(span.start);
            let mut what = one_line(error.message());
            if what == "duplicate key"
                && let Some(key) = text.get(span)
            {
                what = format!("the key `{}` stands there twice", shown(key));
            }
            Err(BoardError(format!("{file}:{line}: not TOML: {what}")))
        }
    }
}

/// The value of override `k`: TOML, or else the bare text.
pub(super) fn read_value(text: &str, k: usize) -> Node {
    let at = At::Set(k);
    match DeValue::parse(text) {
        Ok(value) => node(&value, at, text, &|_| at),
        Err(_) => Node {
            at,
            shown: shown(text),
            value: Value::Text(text.to_owned()),
        },
    }
}

fn entries(table: &DeTable, text: &str, at: &impl Fn(usize) -> At) -> Entries {
    let entry = |(key, value): (&Spanned<DeString>, _)| {
        (
            key.get_ref().to_string(),
            node(value, at(key.span().start), text, at),
        )
    };
    table.iter().map(entry).collect()
}

fn node(value: &Spanned<DeValue>, place: At, text: &str, at: &impl Fn(usize) -> At) -> Node {
    let source = text.get(value.span()).unwrap_or_default();
    let mut shown = shown(source);
    let value = match value.get_ref() {
        DeValue::String(text) => Value::Text(text.to_string()),
        DeValue::Integer(whole) => Value::Number(
            i128::from_str_radix(whole.as_str(), whole.radix())
                .map_or(f64::INFINITY, |whole| whole as f64),
        ),
        DeValue::Float(number) => Value::Number(number.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(flag) => Value::Flag(*flag),
        DeValue::Datetime(_) => Value::Date,
        DeValue::Array(items) => {
            let tables = items.iter().any(|item| item.get_ref().is_table());
            if tables && source.starts_with("[[") {
                shown = "a list of tables".to_owned();
            }
            let item = |item: &Spanned<DeValue>| node(item, at(item.span().start), text, at);
            Value::List(items.iter().map(item).collect())
        }
        DeValue::Table(table) => {
            if !source.starts_with('{') {
                shown = "a table".to_owned();
            }
            Value::Table(entries(table, text, at))
        }
    };
    Node {
        at: place,
        shown,
        value,
    }
}

/// A piece of the source, short and on one line.
fn shown(source: &str) -> String {
    const CHARS_MAX: usize = 60;
    let line = one_line(source);
    if line.is_empty() {
        "\"\"".to_owned()
    } else if line.chars().count() > CHARS_MAX {
        line.chars()
            .take(CHARS_MAX - 3)
            .chain("...".chars())
            .collect()
    } else {
        line
    }
}

fn one_line(text: &str) -> String {
    let text = clean(text);
    let words: Vec<&str> = text
        .split(char::is_whitespace)
        .filter(|w| !w.is_empty())
        .collect();
    words.join(" ")
}
