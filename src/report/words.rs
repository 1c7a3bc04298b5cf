//! What the maker reads on a terminal: the report around the verdict.

use std::fmt::Write;

use crate::answer::replay::ReplayAnswer;
use crate::study::sample::Sample;
use crate::study::stalls::StallKind;
use crate::surface::left_out::{LeftOut, Why};
use crate::text::fixed;

use super::numbers::{byte_rate, count, rate, share, time};
use super::summary::{Place, Summary};
use super::text::{shortened, wrap};
use super::verdict;

/// Columns of a terminal.
const COLUMNS: usize = 80;

/// The whole report, without its verdict, in at most 80 columns.
pub fn report(answer: &ReplayAnswer, s: &Summary) -> String {
    let mut out = String::new();
    about(&mut out, s);
    if s.stalls > 0 {
        stalls(&mut out, s);
        bumps(&mut out, answer, s);
        need(&mut out, answer, s);
    }
    luck(&mut out, answer);
    left_out(&mut out, answer);
    if !s.worst.is_empty() {
        places(&mut out, "largest visible bumps", &s.worst);
    }
    if !s.slowest.is_empty() {
        places(&mut out, "where most time was lost", &s.slowest);
    }
    if !s.warnings.is_empty() {
        warnings(&mut out, s);
    }
    other_commands(&mut out, s);
    out
}

/// A row of the report: its name, and a text that may take several lines.
fn row(out: &mut String, name: &str, text: &str) {
    for (i, line) in wrap(text, COLUMNS - 10).iter().enumerate() {
        let _ = writeln!(out, "{:<10}{line}", if i == 0 { name } else { "" });
    }
}

/// The job, the board and the times.
fn about(out: &mut String, s: &Summary) {
    row(
        out,
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
    row(out, "board", &board);
    let mut times = format!(
        "ideal {}, replayed {}, lost {} ({})",
        time(s.ideal_s),
        time(s.replay_s),
        time(s.lost_s),
        share(s.lost_s / s.ideal_s.max(1e-9))
    );
    if s.stop_s > 0.0 {
        let _ = write!(times, "; {} of it in commanded stops", time(s.stop_s));
    }
    row(out, "time", &times);
}

/// The stalls by kind, and what they were lost by.
fn stalls(out: &mut String, s: &Summary) {
    let kinds = [
        (s.dwells, "dwell", "the head stands still"),
        (s.dips, "dip", "it brakes below half speed"),
        (s.drags, "drag", "it is only slower"),
    ];
    let mut kinds: Vec<String> = kinds
        .iter()
        .filter(|k| k.0 > 0)
        .map(|(n, name, what)| format!("{} ({what})", count(*n, name)))
        .collect();
    if s.idle_stalls > 0 && s.extrudes {
        kinds.push(format!(
            "{} of them on moves that print nothing",
            s.idle_stalls
        ));
    }
    row(out, "stalls", &kinds.join(", "));
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
    if causes.is_empty() {
        return;
    }
    row(out, "lost by", &causes.join(", "));
    if s.causes_by != "shapley" {
        row(
            out,
            "",
            "(attributed approximately, by what the main loop did meanwhile; --causes is exact)",
        );
    }
}

/// What can be seen of the bumps.
fn bumps(out: &mut String, answer: &ReplayAnswer, s: &Summary) {
    if !s.extrudes {
        return;
    }
    let Some(visible) = s.visible_bumps else {
        row(out, "bumps", "visibility is not worked out for this job");
        return;
    };
    let mut text = match (s.largest_bump_mm, s.largest_bump_layer) {
        (Some(mm), Some(layer)) => format!(
            "{}; bump height at most {mm:.2} mm on surfaces that can be seen, on {}",
            count(visible, "visible bump"),
            verdict::layer(answer, layer)
        ),
        _ => "none on surfaces that can be seen".to_string(),
    };
    if let Some(n) = s.per_100_cm2.filter(|n| *n > 0.0) {
        let _ = write!(text, "; {} on 100 cm² of outer wall", rate(n));
    }
    row(out, "bumps", &text);
}

/// What was printed and does not count as part.
fn left_out(out: &mut String, answer: &ReplayAnswer) {
    if answer.left_out.is_empty() {
        return;
    }
    let all: Vec<String> = answer.left_out.iter().map(not_part).collect();
    row(
        out,
        "left out",
        &format!("{}; --whole counts everything", all.join("; ")),
    );
}

/// Something that was left out, and why: `2 islands on layer 0 that nothing stands on`.
fn not_part(left: &LeftOut) -> String {
    let layers = if left.first_layer == left.last_layer {
        format!("on layer {}", left.first_layer)
    } else {
        format!("on layers {} to {}", left.first_layer, left.last_layer)
    };
    let n = left.count;
    match left.why {
        Why::NothingStandsOn => {
            format!("{} {layers} that nothing stands on", count(n, "island"))
        }
        Why::Brim => format!("{} {layers} around the part", count(n, "loop")),
        Why::BelowRoof => format!("{} {layers} that end below a roof (supports)", columns(n)),
        Why::OpenColumn => format!("{} {layers} beside closed loops", columns(n)),
        Why::OpenLine => format!("{} {layers} beside closed loops", count(n, "open line")),
    }
}

fn columns(n: u64) -> String {
    if n == 1 {
        "1 column of open lines".to_string()
    } else {
        format!("{n} columns of open lines")
    }
}

/// What the worst stretch asks of the board, where the board fell short of it.
fn need(out: &mut String, answer: &ReplayAnswer, s: &Summary) {
    let Some(n) = &s.worst_stretch else { return };
    row(
        out,
        "need",
        &format!(
            "at the worst stretch ({}, from line {}) the path needs {} moves/s ({}); \
             the board kept up {} moves/s ({})",
            verdict::layer(answer, n.layer),
            n.line,
            rate(n.needs_blocks_per_s),
            byte_rate(n.needs_bytes_per_s),
            rate(n.got_blocks_per_s),
            byte_rate(n.got_bytes_per_s)
        ),
    );
}

/// How the shown run compares with others.
fn luck(out: &mut String, answer: &ReplayAnswer) {
    let Some(luck) = &answer.luck else {
        if answer.has_draws && answer.stall_count() > 0 {
            row(
                out,
                "luck",
                "durations of this board vary at random: another seed may give other numbers",
            );
        }
        return;
    };
    let visible = |s: &Sample| s.visible as f64;
    let lost = |s: &Sample| s.lost_s;
    let ([few, many], [least_s, most_s]) = (luck.range(visible), luck.range(lost));
    let bumps = if few < many {
        let median = luck.median(visible);
        format!("{few:.0} to {many:.0} visible bumps (median {median:.0})")
    } else {
        count(few as u64, "visible bump")
    };
    let lost = match [time(least_s), time(most_s)] {
        [least, most] if least == most => format!("{least} lost"),
        [least, most] => format!("{least} to {most} lost"),
    };
    let boards = if answer.board.is_fitted() {
        ", each with another board that the fit allows"
    } else {
        ""
    };
    let rank = luck.rank();
    let like = match rank {
        r if r < 0.1 => "a lucky run",
        r if r > 0.9 => "an unlucky run",
        _ => "a run like most",
    };
    row(
        out,
        "luck",
        &format!(
            "{} runs, seeds {} to {}{boards}: {bumps} and {lost} in 9 of 10 runs; tables and pictures show seed {}, \
             {like}",
            luck.runs.len(),
            answer.seed,
            answer.seed.wrapping_add(luck.runs.len() as u64 - 1),
            answer.seed,
        ),
    );
}

fn other_commands(out: &mut String, s: &Summary) {
    if s.other_commands.is_empty() {
        return;
    }
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
    let text = format!(
        "Commands that have no effect here beyond the time to decode them: {}{more}.",
        shown.join(", ")
    );
    out.push('\n');
    for line in wrap(&text, COLUMNS) {
        let _ = writeln!(out, "{line}");
    }
}

fn places(out: &mut String, what: &str, worst: &[Place]) {
    let _ = writeln!(out, "\n{what} (layers count from 0)");
    let _ = writeln!(
        out,
        "  layer    x mm     y mm     line  kind  rest s lost s  bump mm  by"
    );
    for p in worst {
        let rest = match p.kind {
            StallKind::Dwell => format!("{:.3}", p.dwell_s),
            _ => "-".to_string(),
        };
        let by = match (p.cause, p.two_largest) {
            ("mixed", Some([most, next])) => format!("{}+{}", most.name(), next.name()),
            (cause, _) => cause.to_string(),
        };
        let bump = p.bump_mm.map_or("-".to_string(), |mm| format!("{mm:.2}"));
        let _ = writeln!(
            out,
            "  {:>5} {:>8} {:>8} {:>8}  {:<5} {rest:>6} {:>6.3} {bump:>8}  {by}",
            p.layer,
            fixed(p.x_mm, 2),
            fixed(p.y_mm, 2),
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
