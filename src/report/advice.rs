//! What to try next after a replay: the easiest remedies against what lost most time.

use crate::answer::replay::ReplayAnswer;
use crate::study::remedy::{self, Remedy};

use super::verdict::{Level, level};

/// Causes with a smaller share of the lost time are left alone.
const SHARE_MIN: f64 = 0.05;
/// Remedies named at most.
const IDEAS_MAX: usize = 3;

/// With no visible bump, the share of the ideal time that must be lost before anything is advised.
const LOST_MIN: f64 = 0.05;

/// Whether the job gives reason for advice: bumps that can be seen, or much time lost.
pub fn is_wanted(answer: &ReplayAnswer) -> bool {
    answer.job.extrudes
        && match level(answer) {
            Level::Smooth => false,
            Level::Unseen => answer.lost_s >= LOST_MIN * answer.ideal_s,
            Level::Unknown | Level::Few | Level::Ruined => true,
        }
}

/// At most three remedies for a job that stutters, one for each of the main causes, the easiest first; none
/// of them has been tried yet.
pub fn ideas(answer: &ReplayAnswer) -> Vec<Remedy> {
    if !is_wanted(answer) {
        return Vec::new();
    }
    let all = remedy::list(&answer.board);
    let mut ideas: Vec<Remedy> = answer
        .by_cause_s
        .shares(answer.ideal_s)
        .into_iter()
        .filter(|(_, share)| *share > SHARE_MIN)
        .filter_map(|(cause, _)| {
            let against = all.iter().filter(|r| r.against == cause);
            against.min_by_key(|r| r.effort).cloned()
        })
        .take(IDEAS_MAX)
        .collect();
    ideas.sort_by_key(|r| r.effort);
    ideas
}

/// A remedy that was not tried, in one line.
pub fn line(idea: &Remedy) -> String {
    let mut text = format!("{} ({})", idea.name, idea.cost);
    if let Some(first) = text.get(..1) {
        text = first.to_uppercase() + &text[1..];
    }
    text
}
