//! The files of the live page: modules, a stylesheet, the page itself. All are in the program.

/// Name and text of each, as the page asks for them: below `page/`.
const FILES: [(&str, &str); 17] = [
    ("app.js", include_str!("page/app.js")),
    ("camera.js", include_str!("page/camera.js")),
    ("controls.js", include_str!("page/controls.js")),
    ("data.js", include_str!("page/data.js")),
    ("dom.js", include_str!("page/dom.js")),
    ("edges.js", include_str!("page/edges.js")),
    ("marks.js", include_str!("page/marks.js")),
    ("measure.js", include_str!("page/measure.js")),
    ("photo.js", include_str!("page/photo.js")),
    ("photographs.js", include_str!("page/photographs.js")),
    ("see.css", include_str!("page/see.css")),
    ("see.js", include_str!("page/see.js")),
    ("sight.js", include_str!("page/sight.js")),
    ("solid.js", include_str!("page/solid.js")),
    ("stopwatch.js", include_str!("page/stopwatch.js")),
    ("style.css", include_str!("page/style.css")),
    ("wall.js", include_str!("page/wall.js")),
];

/// The page.
pub const OPEN: &str = include_str!("page/open.html");

/// The file of this name.
pub fn text(name: &str) -> Option<&'static str> {
    let found = FILES.iter().find(|(known, _)| *known == name);
    found.map(|(_, text)| *text)
}

/// The kind of content that a file of this name has, as in a header `Content-Type`.
pub fn kind(name: &str) -> &'static str {
    match name.rsplit_once('.') {
        Some((_, "js")) => "text/javascript; charset=utf-8",
        Some((_, "css")) => "text/css; charset=utf-8",
        Some((_, "svg")) => "image/svg+xml",
        _ => "text/html; charset=utf-8",
    }
}
