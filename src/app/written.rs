//! The names of all that this program writes to a results folder.

/// A command's summary, and all else that it may write.
pub const WRITTEN: [(&str, &[&str]); 4] = [
    (
        "summary.json",
        &[
            "stalls.csv",
            "bumps.csv",
            "blocks.csv",
            "report.html",
            "map.svg",
            "map.png",
            "wall.svg",
            "wall.png",
            "part.svg",
            "part.png",
            "queue.svg",
            "queue.png",
            "speed.svg",
            "speed.png",
        ],
    ),
    (
        "compare.json",
        &["compare.csv", "compare.svg", "compare.png"],
    ),
    ("remedies.json", &["remedies.csv"]),
    ("explain.json", &["explain.svg", "explain.png"]),
];

/// All that a command writes beside its summary; nothing where no command has such a summary.
pub fn others(mark: &str) -> &'static [&'static str] {
    let own = WRITTEN.iter().find(|(known, _)| *known == mark);
    own.map_or(&[], |(_, others)| others)
}

/// The summary of an unfinished row of renames, before it gets its name.
pub const INTERIM: &str = "interim";

/// All of them.
pub fn names() -> impl Iterator<Item = &'static str> {
    let of = |(mark, others): &(&'static str, &'static [&'static str])| {
        std::iter::once(*mark).chain(others.iter().copied())
    };
    WRITTEN.iter().flat_map(of).chain([INTERIM])
}
