//! `[fit]`: what a fit knows of a board's numbers, for the replays that come after it.
//!
//! `keys` names keys, `draws` holds rows of whole numbers: for each draw of the posterior and each key, a thousand
//! times the natural logarithm of a factor on the file's own value. A key that an override sets is known: its
//! column is dropped.

use super::keys::Table;
use super::place::{At, BoardError};
use super::tree::{Node, Value};
use super::types::Fitted;

/// Names that may stand in `fit.keys`, and the keys of the file whose override makes each of them known.
const NAMES: [(&str, &[&str]); 19] = [
    ("link.sector_ms", &["link.sector_ms"]),
    ("link.reply_ms", &["link.reply_ms"]),
    ("link.bytes_per_s", &["link.bytes_per_s", "link.baud"]),
    ("loop.line_us", &["loop.line_us"]),
    ("loop.byte_us", &["loop.byte_us"]),
    ("loop.block_us", &["loop.block_us"]),
    ("loop.pass_us", &["loop.pass_us"]),
    ("loop.chord_us", &["loop.chord_us"]),
    ("loop.step_us", &["loop.step_us"]),
    ("chores", &["chore"]),
    ("queue.blocks", &["queue.blocks"]),
    ("queue.lines", &["queue.lines"]),
    ("queue.low_water", &["queue.low_water"]),
    ("queue.stretch_ms", &["queue.stretch_ms"]),
    ("save.ms", &["save.ms"]),
    ("save.every", &["save.every", "save.when"]),
    ("motion.accel", &["motion.accel", "motion.accel_max"]),
    ("motion.corner", &["motion.corner"]),
    ("motion.arc_chord_mm", &["motion.arc_chord_mm"]),
];
/// Most draws.
const DRAWS_MAX: usize = 1000;
/// Largest logarithm of a factor, in thousandths.
const LN_MAX: f64 = 20_000.0;

/// The table `[fit]`, where there is one.
pub(super) fn fitted(root: &Table) -> Result<Option<Fitted>, BoardError> {
    let Some(table) = root.table("fit")? else {
        return Ok(None);
    };
    table.require(&["keys", "draws"], "")?;
    let keys = table.needed("keys", keys(&table)?)?;
    let rows = table.needed("draws", rows(&table, keys.len())?)?;
    let is_open = |name: &str| {
        let (_, ours) = NAMES.iter().find(|(n, _)| *n == name).unwrap_or(&("", &[]));
        let set = |key: &String| {
            let lies_in = |ours: &str| {
                let rest = key.strip_prefix(ours);
                rest.is_some_and(|r| r.is_empty() || r.starts_with('.'))
                    || ours
                        .strip_prefix(key.as_str())
                        .is_some_and(|r| r.starts_with('.'))
            };
            ours.iter().any(|ours| lies_in(ours))
        };
        !root.source.set_keys.iter().any(set)
    };
    let open: Vec<usize> = (0..keys.len()).filter(|k| is_open(&keys[*k])).collect();
    let taken = |row: &Vec<f64>| open.iter().map(|k| row[*k] / 1000.0).collect();
    Ok(Some(Fitted {
        draws: rows.iter().map(taken).collect(),
        keys: open.iter().map(|k| keys[*k].clone()).collect(),
    }))
}

fn list<'a>(table: &Table<'a>, key: &str, most: usize) -> Result<Option<&'a [Node]>, BoardError> {
    table.read(
        key,
        &format!("a list of at most {most} entries"),
        |value| match value {
            Value::List(items) if items.len() <= most => Some(items.as_slice()),
            _ => None,
        },
    )
}

fn keys(table: &Table) -> Result<Option<Vec<String>>, BoardError> {
    let Some(items) = list(table, "keys", NAMES.len())? else {
        return Ok(None);
    };
    let mut keys: Vec<String> = Vec::new();
    for item in items {
        let known = match &item.value {
            Value::Text(text) => NAMES.iter().find(|(name, _)| name == text),
            _ => None,
        };
        match known {
            Some((name, _)) if !keys.iter().any(|k| k == name) => keys.push((*name).to_string()),
            Some(_) => return Err(wrong(table, "keys", item, "must not stand twice")),
            None => {
                let names: Vec<&str> = NAMES.iter().map(|(name, _)| *name).collect();
                let why = format!("must be one of {}", names.join(", "));
                return Err(wrong(table, "keys", item, &why));
            }
        }
    }
    Ok(Some(keys))
}

fn rows(table: &Table, columns: usize) -> Result<Option<Vec<Vec<f64>>>, BoardError> {
    let Some(items) = list(table, "draws", DRAWS_MAX)? else {
        return Ok(None);
    };
    let whole = |value: &Value| match value {
        Value::Number(n) if n.fract() == 0.0 && n.abs() <= LN_MAX => Some(*n),
        _ => None,
    };
    let mut rows = Vec::new();
    for item in items {
        let row = match &item.value {
            Value::List(cells) if cells.len() == columns => cells
                .iter()
                .map(|c| whole(&c.value))
                .collect::<Option<Vec<f64>>>(),
            _ => None,
        };
        let why = || {
            format!(
                "must be a list of {columns} whole numbers from -{LN_MAX} to {LN_MAX}, one for each of fit.keys"
            )
        };
        rows.push(row.ok_or_else(|| wrong(table, "draws", item, &why()))?);
    }
    Ok(Some(rows))
}

fn wrong(table: &Table, key: &str, item: &Node, why: &str) -> BoardError {
    let at = match item.at {
        At::File => table.at,
        at => at,
    };
    let place = table.source.place(at);
    BoardError(format!("{place}: fit.{key}: {}: {why}", item.shown))
}
