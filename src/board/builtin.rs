//! The boards that come with the program, named by their traits.
//!
//! Their numbers are typical, common practice without a source, and to be fitted to one's own
//! board. Each file is commented so that one can start from it.

/// The board that serves where none is named.
pub const DEFAULT: &str = "8bit-card-saves";

/// Name and file of each.
const BOARDS: [(&str, &str); 8] = [
    ("8bit-card", include_str!("builtin/8bit-card.toml")),
    (
        "8bit-card-saves",
        include_str!("builtin/8bit-card-saves.toml"),
    ),
    (
        "8bit-serial-115200",
        include_str!("builtin/8bit-serial-115200.toml"),
    ),
    (
        "8bit-serial-250000",
        include_str!("builtin/8bit-serial-250000.toml"),
    ),
    ("32bit-card", include_str!("builtin/32bit-card.toml")),
    (
        "32bit-card-layer-saves",
        include_str!("builtin/32bit-card-layer-saves.toml"),
    ),
    ("32bit-usb", include_str!("builtin/32bit-usb.toml")),
    ("32bit-corexy", include_str!("builtin/32bit-corexy.toml")),
];

/// Their names, slow boards first.
pub fn names() -> impl Iterator<Item = &'static str> {
    BOARDS.iter().map(|(name, _)| *name)
}

/// The board file of this name.
pub fn text(name: &str) -> Option<&'static str> {
    BOARDS
        .iter()
        .find(|(known, _)| *known == name)
        .map(|(_, text)| *text)
}

/// What the board is, in at most 60 characters: the first line of its file, which its notes
/// begin with too.
pub fn one_line(name: &str) -> Option<&'static str> {
    text(name)?.lines().next()?.strip_prefix("# ")
}
