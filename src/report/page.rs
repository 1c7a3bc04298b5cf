//! `report.html`: all results in one file, which opens from disk and needs no network.

use std::fmt::Write;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use crate::answer::replay::{Drawing, ReplayAnswer};
use crate::study::paths::LayerPath;
use crate::study::remedy::Remedy;

use super::advice;
use super::figures;
use super::look::picture::escape;
use super::numbers::count;
use super::page_data::Data;
use super::page_files::{self, STYLE};
use super::page_seen;
use super::summary::Summary;
use super::text::{glued, shell_word};

/// What the page is made from.
pub struct Page<'a> {
    /// The replay in numbers.
    pub summary: &'a Summary,
    /// The answer.
    pub answer: &'a ReplayAnswer,
    /// What to try next.
    pub ideas: &'a [Remedy],
    /// The board's file.
    pub board_text: &'a str,
    /// What pictures are drawn from.
    pub drawing: &'a Drawing,
    /// The path, layer by layer.
    pub layers: &'a [LayerPath],
    /// How far the drawn path may be from the real one, mm.
    pub within_mm: f64,
    /// Pictures to show, as SVG, with their descriptions.
    pub pictures: &'a [(&'a str, &'a str)],
    /// What earlier runs of other commands left in the same folder.
    pub earlier: &'a Earlier,
}

/// Pictures of earlier runs in the same folder, as SVG.
#[derive(Clone, Debug, Default)]
pub struct Earlier {
    /// The chart of a comparison.
    pub comparison: Option<String>,
    /// What bumps that somebody saw agree with.
    pub explanation: Option<String>,
}

/// Bytes of pictures: in base64 four for each three.
const PICTURES_BYTES_MAX: usize = 500_000;

/// The page; below 5 MB.
pub fn html(page: &Page) -> String {
    let s = page.summary;
    let mut body = String::new();
    let _ = writeln!(
        body,
        "<header><h1>{}</h1><p>{} on {}, seed {}{}</p></header>\n<main>",
        escape(&glued(&s.verdict)),
        escape(&s.job),
        escape(&s.board),
        s.seed,
        s.set
            .iter()
            .fold(String::new(), |all, set| all + ", " + &escape(set))
    );
    figures(&mut body, page.answer, s);
    causes(&mut body, s);
    ideas(&mut body, page.ideas, s);
    body.push_str(VIEWS);
    let data = Data::of(page.answer, page.drawing, page.layers, page.within_mm);
    pictures(&mut body, page);
    page_seen::section(&mut body, data.seen.as_ref(), &s.job);
    earlier(&mut body, page.earlier);
    board(&mut body, page);
    body.push_str(CAUTIONS);
    body.push_str("</main>\n");
    let _ = writeln!(
        body,
        "<footer>{}. One replay of a model, not a measurement.</footer>",
        escape(&s.program)
    );
    let data = serde_json::to_string(&data).expect("plain data");
    // Nothing in it may end the element that holds it.
    let data = data.replace('<', "\\u003c");
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; \
         style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:\">\n\
         <title>{} · {}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n{body}\
         <script type=\"application/json\" id=\"data\">{data}</script>\n\
         <script>\n{}</script>\n</body>\n</html>\n",
        escape(&s.job),
        escape(&s.verdict),
        page_files::report_script()
    )
}

/// The pictures of earlier runs in the same folder.
fn earlier(body: &mut String, earlier: &Earlier) {
    let all = [
        (
            &earlier.explanation,
            "Explained",
            "From <code>headstall explain</code> in the same folder, and the list of bumps that it was given.",
            "Bumps that were seen, over those predicted, and what they agree with",
        ),
        (
            &earlier.comparison,
            "Compared",
            "From the comparison in the same folder.",
            "Visible bumps by setting",
        ),
    ];
    for (svg, heading, from, what) in all {
        if let Some(svg) = svg {
            let _ = writeln!(
                body,
                "<section><h2>{heading}</h2><p class=\"note\">{from}</p>\
                 <img class=\"picture\" alt=\"{what}\" src=\"data:image/svg+xml;base64,{}\"></section>",
                STANDARD.encode(svg)
            );
        }
    }
}

fn figures(body: &mut String, answer: &ReplayAnswer, s: &Summary) {
    body.push_str("<section aria-label=\"Figures\"><dl class=\"figures\">\n");
    for figure in figures::figures(answer, s) {
        let _ = writeln!(
            body,
            "<div><dt>{}</dt><dd><b>{}</b><span>{}</span></dd></div>",
            figure.name,
            escape(&figure.value),
            escape(&figure.what)
        );
    }
    body.push_str("</dl></section>\n");
}

fn causes(body: &mut String, s: &Summary) {
    let Some(causes) = figures::causes(s) else {
        return;
    };
    body.push_str(
        "<section><h2>What it was lost by</h2>\n<div class=\"bar\" aria-hidden=\"true\">",
    );
    let mut rows = String::new();
    for cause in &causes.rows {
        let (name, colour) = (cause.name, &cause.colour);
        if cause.percent > 0.0 {
            let label = if cause.percent > 12.0 { name } else { "" };
            let _ = write!(
                body,
                "<i style=\"flex-basis:{:.2}%;background:{colour};color:{}\">{label}</i>",
                cause.percent, cause.ink
            );
        }
        let _ = writeln!(
            rows,
            "<li><i style=\"background:{colour}\"></i><b>{name}</b> {}</li>",
            cause.says
        );
    }
    let _ = write!(
        body,
        "</div>\n<ul class=\"key\">\n{rows}</ul><p class=\"note\">{}</p></section>\n",
        causes.how
    );
}

fn ideas(body: &mut String, ideas: &[Remedy], s: &Summary) {
    if ideas.is_empty() {
        return;
    }
    body.push_str("<section><h2>Try next</h2>\n<ul>\n");
    for idea in ideas {
        let sets: String = idea
            .sets
            .iter()
            .fold(String::new(), |all, set| all + " --set " + set);
        let _ = write!(body, "<li>{}", escape(&advice::line(idea)));
        if !sets.is_empty() {
            let _ = write!(body, " <code>{}</code>", escape(sets.trim_start()));
        }
        body.push_str("</li>\n");
    }
    let _ = writeln!(
        body,
        "</ul><p class=\"note\">Add such a setting to <code>headstall replay</code>; \
         <code>headstall remedies {}</code> tries these and more, and tells what each costs.</p></section>",
        escape(&shell_word(&s.job))
    );
}

/// Where the script puts its views; those with nothing to show stay hidden.
const VIEWS: &str = "\
<section id=\"map\" hidden><h2>Layer by layer</h2><div class=\"view\"></div></section>
<section id=\"moment\" hidden><h2>What happened there</h2><div class=\"view\"></div></section>
<section id=\"part\" hidden><h2>The part from a corner</h2><div class=\"view\"></div></section>
<section id=\"wall\" hidden><h2>The outer wall, unrolled</h2><div class=\"view\"></div></section>
<section id=\"bumps\" hidden><h2>Visible bumps</h2><div class=\"view\"></div></section>
<section id=\"stalls\" hidden><h2>Stalls</h2><div class=\"view\"></div></section>
";

/// The pictures that stand beside the page as files, folded up.
fn pictures(body: &mut String, page: &Page) {
    if page.pictures.is_empty() {
        return;
    }
    body.push_str("<section><details><summary>The pictures for a forum</summary>\n");
    let mut room = PICTURES_BYTES_MAX;
    for (svg, what) in page.pictures {
        if svg.len() > room {
            let _ = writeln!(
                body,
                "<!-- {what}: too large for this page, see its file -->"
            );
            continue;
        }
        room -= svg.len();
        let _ = writeln!(
            body,
            "<img class=\"picture\" alt=\"{}\" src=\"data:image/svg+xml;base64,{}\">",
            escape(what),
            STANDARD.encode(svg)
        );
    }
    body.push_str("</details></section>\n");
}

fn board(body: &mut String, page: &Page) {
    let _ = writeln!(
        body,
        "<section><h2>The board, and what is assumed</h2>\n<ul>\n\
         <li>The job's own words decide speeds and accelerations, within the board's limits.</li>\n\
         <li>Straight ramps of speed; no smoothing of jerk, no vibration.</li>\n\
         <li>Plastic lags behind the head by one time constant; no source gives its value.</li>\n\
         <li>A bump's height is how far the wall moves out to hold what the stall left there, with the inside taken to be \
         full: an upper estimate.</li>\n\
         <li>From which height a bump is seen is an assumption.</li>\n</ul>\n\
         <details><summary>Board file</summary><pre>{}</pre></details></section>",
        escape_lines(page.board_text)
    );
    if !page.summary.warnings.is_empty() {
        body.push_str("<section><h2>Warnings</h2>\n<ul>\n");
        for w in &page.summary.warnings {
            let _ = write!(body, "<li>{}", escape(&w.message));
            if w.line > 0 {
                let _ = write!(
                    body,
                    " ({}, first on line {}: <code>{}</code>)",
                    count(w.count, "time"),
                    w.line,
                    escape(&w.text)
                );
            }
            body.push_str("</li>\n");
        }
        body.push_str("</ul></section>\n");
    }
}

/// Like [`escape`], with line ends kept.
fn escape_lines(text: &str) -> String {
    text.lines()
        .fold(String::new(), |all, line| all + &escape(line) + "\n")
}

const CAUTIONS: &str = "<section><h2>Cautions</h2><p>Headstall only reads files. What you try on its advice runs on a real \
machine: the hot end is about 200 °C and stays hot long after the job, moving axes pinch, filament fumes want \
ventilation. Never leave heating unattended; unplug before you open anything. Saves exist so that a print survives a \
power cut: switching them off gives that up. The maker's manual and local rules go before anything said here.</p></section>\n";
