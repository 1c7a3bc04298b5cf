//! The files of the live page: modules, a stylesheet, the page itself. All are in the program.

/// Name and text of each, as the page asks for them: below `page/`.
const FILES: &[(&str, &str)] = &[
    ("answer.js", include_str!("page/answer.js")),
    ("api.js", include_str!("page/api.js")),
    ("app.js", include_str!("page/app.js")),
    ("board.js", include_str!("page/board.js")),
    ("camera.js", include_str!("page/camera.js")),
    ("compare.js", include_str!("page/compare.js")),
    ("controls.js", include_str!("page/controls.js")),
    ("cures.js", include_str!("page/cures.js")),
    ("data.js", include_str!("page/data.js")),
    ("dom.js", include_str!("page/dom.js")),
    ("edges.js", include_str!("page/edges.js")),
    ("jobs.js", include_str!("page/jobs.js")),
    ("knobs.js", include_str!("page/knobs.js")),
    ("map.js", include_str!("page/map.js")),
    ("marks.js", include_str!("page/marks.js")),
    ("measure.js", include_str!("page/measure.js")),
    ("open.css", include_str!("page/open.css")),
    ("part.js", include_str!("page/part.js")),
    ("photo.js", include_str!("page/photo.js")),
    ("photographs.js", include_str!("page/photographs.js")),
    ("report.js", include_str!("page/report.js")),
    ("see.css", include_str!("page/see.css")),
    ("see.js", include_str!("page/see.js")),
    ("select.js", include_str!("page/select.js")),
    ("sight.js", include_str!("page/sight.js")),
    ("solid.js", include_str!("page/solid.js")),
    ("state.js", include_str!("page/state.js")),
    ("stops.js", include_str!("page/stops.js")),
    ("stopwatch.js", include_str!("page/stopwatch.js")),
    ("strip.js", include_str!("page/strip.js")),
    ("style.css", STYLE),
    ("tables.js", include_str!("page/tables.js")),
    ("take.js", include_str!("page/take.js")),
    ("wall.js", include_str!("page/wall.js")),
    ("work.js", include_str!("page/work.js")),
];

/// The look of the live page and of `report.html`.
pub const STYLE: &str = include_str!("page/style.css");

/// The modules that `report.html` shows its views with, each behind those that it imports.
const REPORT: [&str; 10] = [
    "dom.js",
    "data.js",
    "select.js",
    "map.js",
    "part.js",
    "wall.js",
    "tables.js",
    "strip.js",
    "marks.js",
    "report.js",
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

/// The script of `report.html`, which must do without a second file: its modules in one scope, their imports left out.
pub fn report_script() -> String {
    let mut script = String::from("'use strict';\n(() => {\n");
    for name in REPORT {
        for line in text(name).expect("a module of ours").lines() {
            if !line.starts_with("import ") {
                script += line.strip_prefix("export ").unwrap_or(line);
                script.push('\n');
            }
        }
    }
    script + "})();\n"
}
