//! A short summary in plain text, to be pasted into a forum.

use std::fmt::Write;

use crate::board::types::{Board, Link, SaveWhen};
use crate::study::remedy::Remedy;

use super::advice;
use super::cures::{self, CureRow, sentence};
use super::numbers::{count, rate, share, time};
use super::summary::Summary;
use super::text::wrap;

/// Lines of a job whose remedies are tried for a post: some seconds.
pub const LINES_MAX: u64 = 200_000;
/// Columns of a post.
const COLUMNS: usize = 72;
/// Changes told.
const CURES_MAX: usize = 3;

/// The post. `tried`: changes that were tried, the best first; where there are none, `ideas`.
pub fn text(s: &Summary, board: &Board, ideas: &[Remedy], tried: &[CureRow]) -> String {
    let mut out = String::new();
    let mut say = |text: &str, indent: &str| {
        for (k, line) in wrap(text, COLUMNS - indent.len()).iter().enumerate() {
            let lead = if k == 0 || indent.is_empty() {
                indent
            } else {
                "  "
            };
            let _ = writeln!(out, "{lead}{line}");
        }
    };
    say(&s.verdict, "");
    say(
        &format!(
            "Job: {}, {}, {}.",
            s.job,
            count(s.lines, "line"),
            count(u64::from(s.layers), "layer")
        ),
        "",
    );
    say(&format!("Board: {}{}.", traits(board), set(s)), "");
    if s.stalls > 0 {
        let causes: Vec<String> = s
            .by_cause
            .shares(s.ideal_s)
            .into_iter()
            .filter(|(_, part)| part.abs() > 0.01)
            .map(|(cause, part)| format!("{} {}", cause.name(), share(part)))
            .collect();
        say(&format!("Lost by: {}.", causes.join(", ")), "");
        if let Some(n) = &s.worst_stretch {
            say(
                &format!(
                    "Worst stretch, from line {}: the path needs {} moves/s, the board kept up {}.",
                    n.line,
                    rate(n.needs_blocks_per_s),
                    rate(n.got_blocks_per_s)
                ),
                "",
            );
        }
        if let Some(mm) = s.largest_bump_mm.filter(|mm| *mm > 0.0) {
            let most = format!("Highest bump that can be seen: {mm:.2} mm at most.");
            say(&most, "");
        }
    }
    let today = CureRow {
        visible: s.expected_bumps.unwrap_or(0.0),
        stalls: s.stalls as f64,
        lost_s: s.lost_s,
        ..CureRow::default()
    };
    let helps: Vec<&CureRow> = tried
        .iter()
        .filter(|c| cures::helps(c, &today))
        .take(CURES_MAX)
        .collect();
    if !helps.is_empty() {
        say("What helps:", "");
        for cure in helps {
            say(&sentence(cure, &today), "- ");
        }
    } else if !ideas.is_empty() {
        say("To try:", "");
        for idea in ideas {
            say(&advice::line(idea), "- ");
        }
    }
    say(
        &format!(
            "{}, seed {}: a model, not a measurement.",
            s.program, s.seed
        ),
        "",
    );
    out
}

/// The board in a few words.
fn traits(board: &Board) -> String {
    let link = match &board.link {
        Link::Card(_) => "card".to_string(),
        Link::Serial(serial) => format!(
            "serial {:.1} kB/s, {} in flight",
            serial.bytes_per_s / 1e3,
            count(serial.in_flight as u64, "line")
        ),
    };
    let saves = match board.save.when {
        SaveWhen::Off => "no saves".to_string(),
        SaveWhen::Layer => "a save each layer".to_string(),
        SaveWhen::Seconds(s) => format!("a save every {}", time(s)),
        SaveWhen::Lines(n) => format!("a save every {}", count(n, "line")),
    };
    format!(
        "{} ({link}, {}, {saves})",
        board.name,
        count(board.queue.blocks as u64, "block")
    )
}

fn set(s: &Summary) -> String {
    s.set
        .iter()
        .fold(String::new(), |all, set| all + ", " + set)
}
