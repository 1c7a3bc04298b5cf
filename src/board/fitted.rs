//! `[fit]`: what a fit knows of a board's numbers, for the replays that come after it.
//!
//! Both are texts: `keys` names keys, `draws` has a row of whole numbers for each draw of the posterior: by key, a
//! thousand times the natural logarithm of a factor on the file's own value. A key that an override sets is known:
//! its column is dropped.

use super::error::BoardError;
use super::keys::Table;
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
const LN_MAX: i32 = 20_000;

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

fn keys(table: &Table) -> Result<Option<Vec<String>>, BoardError> {
    let Some(text) = table.text("keys")? else {
        return Ok(None);
    };
    let mut keys: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        if !NAMES.iter().any(|(name, _)| *name == word) {
            let names: Vec<&str> = NAMES.iter().map(|(name, _)| *name).collect();
            let word = word.escape_debug();
            let why = format!("`{word}` must be one of {}", names.join(", "));
            return Err(table.wrong("keys", &why));
        }
        if keys.iter().any(|key| key == word) {
            return Err(table.wrong("keys", &format!("{word} must not stand twice")));
        }
        keys.push(word.to_string());
    }
    Ok(Some(keys))
}

fn rows(table: &Table, columns: usize) -> Result<Option<Vec<Vec<f64>>>, BoardError> {
    let Some(text) = table.text("draws")? else {
        return Ok(None);
    };
    let number = |word: &str| word.parse::<i32>().ok().filter(|n| n.abs() <= LN_MAX);
    let mut numbers = Vec::new();
    for word in text.split_whitespace() {
        match number(word) {
            Some(number) => numbers.push(f64::from(number)),
            None => {
                let word: String = word.escape_debug().take(40).collect();
                let why = format!("`{word}` must be a whole number from -{LN_MAX} to {LN_MAX}");
                return Err(table.wrong("draws", &why));
            }
        }
    }
    let width = columns.max(1);
    if numbers.len() % width != 0 || numbers.len() / width > DRAWS_MAX {
        let count = numbers.len();
        let why = format!(
            "has {count} numbers; must have rows of {columns}, one number for each of fit.keys, at most {DRAWS_MAX} rows"
        );
        return Err(table.wrong("draws", &why));
    }
    Ok(Some(numbers.chunks(width).map(<[f64]>::to_vec).collect()))
}
