//! Every key of a board file, and the nearest one to a key that isn't.

/// The axes, in the order that all arrays of four follow.
pub(super) const AXES: [&str; 4] = ["x", "y", "z", "e"];

/// The name of a chore that has none.
pub(super) const CHORE_NAME: &str = "display";

/// Each table and its keys; `chore` stands for each of its list.
const TABLES: [(&str, &[&str]); 15] = [
    (
        "",
        &[
            "name", "notes", "link", "loop", "chore", "queue", "motion", "wait", "save", "nozzle",
            "fit",
        ],
    ),
    (
        "link",
        &[
            "kind",
            "sector_ms",
            "cluster_kib",
            "chain_ms",
            "hiccup_chance",
            "hiccup_ms",
            "baud",
            "bytes_per_s",
            "bits_per_byte",
            "overhead_bytes",
            "reply_ms",
            "in_flight",
            "reply_when",
            "poll_s",
            "poll_bytes",
            "resend_chance",
        ],
    ),
    (
        "loop",
        &[
            "line_us", "byte_us", "block_us", "pass_us", "chord_us", "step_us", "load_max",
        ],
    ),
    ("chore", &["name", "every_s", "us"]),
    (
        "queue",
        &[
            "lines",
            "blocks",
            "restart_blocks",
            "restart_wait_ms",
            "low_water",
            "stretch_ms",
        ],
    ),
    (
        "motion",
        &[
            "layout",
            "speed_max",
            "accel_max",
            "accel",
            "corner",
            "steps_per_mm",
            "arc_chord_mm",
        ],
    ),
    ("motion.speed_max", &AXES),
    ("motion.accel_max", &AXES),
    ("motion.accel", &["print", "travel", "retract"]),
    ("motion.corner", &["rule", "mm", "x", "y", "z", "e"]),
    ("motion.steps_per_mm", &AXES),
    ("wait", &["heat_s", "home_s", "change_s"]),
    ("save", &["when", "every", "ms", "stop_first", "reread"]),
    ("nozzle", &["filament_mm", "nozzle_mm", "lag_s", "lead_s"]),
    ("fit", &["keys", "draws"]),
];

/// Each table and its keys.
pub(super) fn tables() -> impl Iterator<Item = (&'static str, &'static [&'static str])> {
    TABLES.into_iter()
}

/// The keys of the table at this path.
pub(super) fn keys(path: &str) -> &'static [&'static str] {
    let path = if path.starts_with("chore.") {
        "chore"
    } else {
        path
    };
    TABLES
        .iter()
        .find(|(table, _)| *table == path)
        .map_or(&[], |(_, keys)| keys)
}

/// What to say of a key that the table at this path doesn't know.
pub(super) fn advice(path: &str, key: &str) -> String {
    let dotted = |path: &str, key: &str| {
        if path.is_empty() {
            key.to_owned()
        } else {
            format!("{path}.{key}")
        }
    };
    let here = keys(path);
    let near = here.iter().map(|known| (distance(key, known), known)).min();
    let close = |known: &str| (1 + known.len() / 4).min(known.len() - 1);
    if let Some((_, known)) = near.filter(|(steps, known)| *steps <= close(known)) {
        return format!("no such key; did you mean {}?", dotted(path, known));
    }
    let homes: Vec<String> = TABLES
        .iter()
        .filter(|(table, keys)| keys.contains(&key) && !key.is_empty() && *table != path)
        .map(|(table, _)| dotted(table, key))
        .collect();
    match homes.as_slice() {
        [home] => format!("no such key; did you mean {home}?"),
        _ => format!("no such key; allowed here: {}", here.join(", ")),
    }
}

/// Letters to insert, drop or change to get from `a` to `b`.
fn distance(a: &str, b: &str) -> usize {
    let mut above: Vec<usize> = (0..=b.chars().count()).collect();
    for from in a.chars().take(40) {
        let mut row = vec![above[0] + 1];
        for (j, to) in b.chars().enumerate() {
            let change = above[j] + usize::from(from != to);
            row.push(change.min(above[j + 1] + 1).min(row[j] + 1));
        }
        above = row;
    }
    above[above.len() - 1]
}
