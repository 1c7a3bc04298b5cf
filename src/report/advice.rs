//! What to try next, as commands to copy.

use crate::board::types::{Board, Link, SaveWhen};

use super::summary::Summary;

/// One idea: why, and what to set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Idea {
    /// Why, in plain words.
    pub why: String,
    /// What to set for it; empty where it is no matter of the board.
    pub set: Vec<String>,
}

/// At most three ideas for a job that stutters, in the order of what they are for.
pub fn ideas(summary: &Summary, board: &Board) -> Vec<Idea> {
    if summary.stalls == 0 || !summary.extrudes {
        return Vec::new();
    }
    let total_s: f64 = summary.by_cause.values().sum();
    let mut causes: Vec<(&str, f64)> = summary.by_cause.iter().map(|(n, s)| (*n, *s)).collect();
    causes.sort_by(|a, b| b.1.total_cmp(&a.1));
    causes
        .into_iter()
        .filter(|(_, s)| *s > 0.05 * total_s)
        .filter_map(|(cause, _)| idea(cause, board))
        .take(3)
        .collect()
}

fn idea(cause: &str, board: &Board) -> Option<Idea> {
    let (why, set): (&str, Vec<String>) = match (cause, &board.link) {
        ("save", _) => match board.save.when {
            SaveWhen::Layer => (
                "without the saves at each layer:",
                vec!["save.when=off".into()],
            ),
            _ => (
                "saves each layer only, in place of the present ones:",
                vec!["save.when=layer".into()],
            ),
        },
        ("hiccup", Link::Card(_)) => (
            "another or freshly formatted card, without hiccups:",
            vec!["link.hiccup_chance=0".into()],
        ),
        ("hiccup", Link::Serial(_)) => (
            "a cable that breaks no lines:",
            vec!["link.resend_chance=0".into()],
        ),
        ("link", Link::Card(card)) => {
            let faster_ms = match card.sector {
                crate::board::types::Span::Fixed(s) => s,
                crate::board::types::Span::Uniform { min, .. } => min,
                crate::board::types::Span::Exponential { mean } => mean,
                crate::board::types::Span::Lognormal { median, .. } => median,
            } * 500.0;
            (
                "a card twice as fast:",
                vec![format!("link.sector_ms={faster_ms:.3}")],
            )
        }
        ("link", Link::Serial(serial)) => (
            "more lines in flight between host and board:",
            vec![format!("link.in_flight={}", serial.in_flight * 4)],
        ),
        ("chore", _) => (
            "does the display do less? Halve its time in a board file of your own.",
            vec![],
        ),
        ("compute", _) => (
            "fewer, longer moves: slice again with a coarser curve tolerance (0.02 to 0.05 mm) or with arcs.",
            vec![],
        ),
        ("depth", _) => (
            "a longer planner queue, where a board can have one; fewer, longer moves do the same:",
            vec![format!("queue.blocks={}", board.queue.blocks * 4)],
        ),
        _ => return None,
    };
    Some(Idea {
        why: why.to_string(),
        set,
    })
}
