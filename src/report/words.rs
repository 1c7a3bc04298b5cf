//! What the maker reads: a verdict in one sentence, and the report around it.

use std::fmt::Write;

use crate::study::stalls::Kind;

use super::numbers::{byte_rate, count, rate, share, time};
use super::summary::{Place, Summary};

/// Columns of a terminal.
const COLUMNS: usize = 80;

/// The answer in one sentence.
pub fn verdict(s: &Summary) -> String {
    let took = time(s.replay_s);
    let mut text = if s.blocks == 0 {
        "Nothing moves in this job.".to_string()
    } else if s.stalls == 0 {
        format!("No stutter: the head keeps the speed that the job allows for all {took}.")
    } else {
        let lost = format!("{} lost in {took}", time(s.lost_s));
        let place = match s.worst_layer {
            Some(layer) if s.layers > 1 => format!(", worst around layer {layer}"),
            _ => String::new(),
        };
        let stalls = count(s.stalls, "stall");
        match s.visible_bumps {
            Some(bumps) if s.extrudes && bumps > 0 => {
                let bumps = count(bumps, "visible bump");
                let most = place.replace("worst", "most");
                format!("Stutters: {bumps} at {stalls}{most}; {lost}.")
            }
            _ if s.dwells + s.dips == 0 => {
                let stretches = if s.drags == 1 { "stretch" } else { "stretches" };
                format!(
                    "Slows down, never brakes hard: {} slow {stretches}, {lost}{place}.",
                    s.drags
                )
            }
            Some(_) if s.extrudes => {
                format!("Stutters out of sight: {stalls}, no visible bump; {lost}{place}.")
            }
            _ => format!("Stutters: {stalls}, {lost}{place}."),
        }
    };
    if !s.extrudes && s.blocks > 0 {
        text += " Nothing is extruded, so no bump can be predicted.";
    }
    text
}

/// The whole report, without its verdict, in at most 80 columns.
pub fn report(s: &Summary) -> String {
    let mut out = String::new();
    let mut row = |name: &str, text: &str| {
        for (i, line) in wrap(text, COLUMNS - 10).iter().enumerate() {
            let _ = writeln!(out, "{:<10}{line}", if i == 0 { name } else { "" });
        }
    };
    row(
        "job",
        &format!(
            "{}, {}, {}",
            s.job,
            count(s.lines, "line"),
            count(u64::from(s.layers), "layer")
        ),
    );
    let mut board = format!("{}, seed {}", s.board, s.seed);
    for set in &s.set {
        let _ = write!(board, ", {set}");
    }
    row("board", &board);
    let mut times = format!(
        "ideal {}, replayed {}, lost {} ({})",
        time(s.ideal_s),
        time(s.replay_s),
        time(s.lost_s),
        share(s.lost_s / s.ideal_s.max(1e-9))
    );
    if s.stop_s > 0.0 {
        let _ = write!(times, "; commanded stops {} of it", time(s.stop_s));
    }
    row("time", &times);
    if s.stalls > 0 {
        let kinds = [
            (s.dwells, "dwell", "the head stands still"),
            (s.dips, "dip", "it brakes below half speed"),
            (s.drags, "drag", "it is only slower"),
        ];
        let kinds: Vec<String> = kinds
            .iter()
            .filter(|k| k.0 > 0)
            .map(|(n, name, what)| format!("{} ({what})", count(*n, name)))
            .collect();
        row("stalls", &kinds.join(", "));
        row("lost by", &causes(s));
        if s.causes_by != "shapley" {
            row(
                "",
                "(the quick way, by what the main loop did meanwhile; --causes works it out)",
            );
        }
    }
    if let Some(surfaces) = &s.surfaces
        && s.stalls > 0
        && s.extrudes
    {
        let of = |name| surfaces.get(name).copied().unwrap_or(0);
        row(
            "seen",
            &format!(
                "{} on outer walls, {} in holes that are open; {} buried or on no wall, harmless",
                count(of("outer"), "stall"),
                of("hole"),
                of("inner")
            ),
        );
    }
    if let (Some(bump_mm), Some(layer)) = (s.largest_bump_mm, s.largest_bump_layer)
        && s.excess_mm3 > 0.0
    {
        row(
            "plastic",
            &format!(
                "{:.2} mm³ too much at the stalls, {:.2} too little behind them; the largest bump \
                 that is seen, on layer {layer}, would stand {bump_mm:.2} mm proud as a bead one \
                 nozzle wide",
                s.excess_mm3, s.deficit_mm3
            ),
        );
    }
    if let Some(n) = &s.worst_stretch
        && s.stalls > 0
    {
        row(
            "need",
            &format!(
                "at the worst stretch (layer {}, from line {}) the path needs {} moves/s ({}); \
                 the board kept up {} moves/s ({})",
                n.layer,
                n.line,
                rate(n.needs_blocks_per_s),
                byte_rate(n.needs_bytes_per_s),
                rate(n.got_blocks_per_s),
                byte_rate(n.got_bytes_per_s)
            ),
        );
    }
    if !s.worst.is_empty() {
        places(&mut out, &s.worst);
    }
    if !s.warnings.is_empty() {
        warnings(&mut out, s);
    }
    if !s.other_commands.is_empty() {
        let mut others: Vec<_> = s.other_commands.iter().collect();
        others.sort_by(|a, b| b.1.cmp(a.1).then(a.0.cmp(b.0)));
        let shown: Vec<String> = others
            .iter()
            .take(8)
            .map(|(n, c)| format!("{n} {c}x"))
            .collect();
        let more = others.len().saturating_sub(8);
        let more = if more > 0 {
            format!(", and {more} more kinds")
        } else {
            String::new()
        };
        paragraph(
            &mut out,
            &format!(
                "Commands that only cost decoding here: {}{more}.",
                shown.join(", ")
            ),
        );
    }
    out
}

fn causes(s: &Summary) -> String {
    let causes: Vec<String> = s
        .by_cause
        .shares(s.ideal_s)
        .into_iter()
        .filter(|(_, part)| part.abs() >= 0.0005)
        .map(|(cause, part)| {
            let lost = time(s.by_cause[cause]);
            format!("{} {lost} ({})", cause.name(), share(part))
        })
        .collect();
    causes.join(", ")
}

fn places(out: &mut String, worst: &[Place]) {
    let bumps = worst.iter().any(|p| p.bump_mm.is_some());
    let what = if bumps {
        "largest visible bumps"
    } else {
        "worst places"
    };
    let _ = writeln!(out, "\n{what} (layers count from 0)");
    let _ = writeln!(
        out,
        "  layer    x mm     y mm     line  kind  rest s lost s  bump mm  by"
    );
    for p in worst {
        let rest = match p.kind {
            Kind::Dwell => format!("{:.3}", p.dwell_s),
            _ => "-".to_string(),
        };
        let by = match (p.cause, p.two_largest) {
            ("mixed", Some([most, next])) => format!("{}+{}", most.name(), next.name()),
            (cause, _) => cause.to_string(),
        };
        let bump = match (p.bump_mm, p.surface) {
            (Some(mm), _) => format!("{mm:.2}"),
            (None, Some("inner")) => "inside".to_string(),
            _ => "-".to_string(),
        };
        let _ = writeln!(
            out,
            "  {:>5} {:>8.2} {:>8.2} {:>8}  {:<5} {rest:>6} {:>6.3} {bump:>8}  {by}",
            p.layer,
            p.x_mm,
            p.y_mm,
            p.line,
            p.kind.name(),
            p.lost_s,
        );
    }
}

fn warnings(out: &mut String, s: &Summary) {
    let _ = writeln!(out, "\nwarnings");
    for w in &s.warnings {
        let times = if w.count > 1 {
            format!("{} times: ", w.count)
        } else {
            String::new()
        };
        for (i, line) in wrap(&format!("{times}{}", w.message), COLUMNS - 4)
            .iter()
            .enumerate()
        {
            let _ = writeln!(out, "  {}{line}", if i == 0 { "- " } else { "  " });
        }
        if w.line > 0 {
            let first = if w.count > 1 { "first on line" } else { "line" };
            let _ = writeln!(
                out,
                "    {}",
                shortened(&format!("{first} {}: {}", w.line, w.text), COLUMNS - 4)
            );
        }
    }
}

fn paragraph(out: &mut String, text: &str) {
    out.push('\n');
    for line in wrap(text, COLUMNS) {
        let _ = writeln!(out, "{line}");
    }
}

/// A text cut to fit.
pub fn shortened(text: &str, columns: usize) -> String {
    if text.chars().count() <= columns {
        return text.to_string();
    }
    text.chars()
        .take(columns - 3)
        .chain("...".chars())
        .collect()
}

/// Breaks a text at blanks so that lines fit; a longer word stands alone, cut where it must be.
pub fn wrap(text: &str, columns: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for mut word in words(text) {
        while word.chars().count() > columns {
            let head: String = word.chars().take(columns).collect();
            word = word.chars().skip(columns).collect();
            lines.push(head);
        }
        let last = lines.last_mut().expect("there is always a line");
        if last.is_empty() {
            *last = word;
        } else if last.chars().count() + 1 + word.chars().count() <= columns {
            last.push(' ');
            last.push_str(&word);
        } else {
            lines.push(word);
        }
    }
    lines.retain(|l| !l.is_empty());
    lines
}

/// The words of a text; a number and its unit are one.
fn words(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match words.last_mut() {
            Some(last) if is_unit(word) && last.ends_with(|c: char| c.is_ascii_digit()) => {
                last.push(' ');
                last.push_str(word);
            }
            _ => words.push(word.to_string()),
        }
    }
    words
}

/// The text with numbers bound to their units by blanks that don't break.
pub fn glued(text: &str) -> String {
    let words = words(text).into_iter().map(|w| w.replace(' ', "\u{a0}"));
    words.collect::<Vec<_>>().join(" ")
}

fn is_unit(word: &str) -> bool {
    let word = word.trim_end_matches([',', ';', '.', ':', ')']);
    [
        "ms", "s", "min", "h", "mm", "mm/s", "mm³", "%", "kB/s", "B/s",
    ]
    .contains(&word)
}

/// Like [`wrap`], with lines of like length: no word is left alone on the last.
pub fn wrap_evenly(text: &str, columns: usize) -> Vec<String> {
    let lines = wrap(text, columns);
    let longest = lines
        .iter()
        .flat_map(|l| l.split_whitespace())
        .map(|w| w.chars().count())
        .max();
    let even = text.chars().count().div_ceil(lines.len().max(1));
    (even.max(longest.unwrap_or(1)).min(columns)..columns)
        .map(|narrow| wrap(text, narrow))
        .find(|other| other.len() == lines.len())
        .unwrap_or(lines)
}

/// As a shell would have to be given it: quoted where it must be, and a file's name that begins with a dash so
/// that no program takes it for an option.
pub fn shell_word(text: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./=,+:@%".contains(c);
    let here = if text.len() > 1 && text.starts_with('-') {
        "./"
    } else {
        ""
    };
    if !text.is_empty() && text.chars().all(plain) {
        format!("{here}{text}")
    } else {
        format!("'{here}{}'", text.replace('\'', "'\\''"))
    }
}
