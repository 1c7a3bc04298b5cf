//! The answer of a replay in one sentence. It goes by what will be seen, not by whether there is any stall.

use serde::Serialize;

use crate::answer::replay::ReplayAnswer;
use crate::study::sample::Sample;
use crate::text::fixed;

use super::numbers::{count, rate, time};

/// Visible bumps on 100 cm² of outer wall from which a print counts as ruined: one on every 5 cm², so that the
/// eye meets one wherever it rests. An assumption; there is no source.
pub const RUINED_PER_100_CM2: f64 = 20.0;
/// With fewer visible bumps than this nothing is called ruined, however small the part.
const RUINED_MIN: f64 = 10.0;

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// No stall on a move that prints.
    Smooth,
    /// Stalls, but no visible bump.
    Unseen,
    /// Stalls; whether they can be seen was not worked out, or nothing is printed.
    Unknown,
    /// Some visible bumps.
    Few,
    /// Visible bumps wherever one looks.
    Ruined,
}

/// How many visible bumps are to be expected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// The median over the runs, or the count of the only run.
    pub median: f64,
    /// The range of nine runs of ten, where there were several.
    pub range: Option<[f64; 2]>,
}

/// How many visible bumps are to be expected, where that was worked out.
pub fn expected(answer: &ReplayAnswer) -> Option<Expected> {
    let shown = answer.visible_count()? as f64;
    let visible = |s: &Sample| s.visible as f64;
    Some(match &answer.luck {
        Some(luck) => Expected {
            median: luck.median(visible),
            range: Some(luck.range(visible)),
        },
        None => Expected {
            median: shown,
            range: None,
        },
    })
}

/// Visible bumps to be expected on 100 cm² of outer wall, where that was worked out.
pub fn per_100_cm2(answer: &ReplayAnswer) -> Option<f64> {
    let outer_mm2 = answer.outer_mm2.filter(|mm2| *mm2 > 0.0)?;
    Some(expected(answer)?.median / (outer_mm2 / 1e4))
}

/// How bad it is.
pub fn level(answer: &ReplayAnswer) -> Level {
    if answer.stall_count() == answer.idle_stalls {
        return Level::Smooth;
    }
    let Some(expected) = expected(answer).filter(|_| answer.job.extrudes) else {
        return Level::Unknown;
    };
    let most = expected.range.map_or(expected.median, |range| range[1]);
    if most == 0.0 {
        return Level::Unseen;
    }
    let dense = per_100_cm2(answer).is_some_and(|n| n >= RUINED_PER_100_CM2);
    if dense && expected.median >= RUINED_MIN {
        Level::Ruined
    } else {
        Level::Few
    }
}

/// The answer in one sentence.
pub fn verdict(answer: &ReplayAnswer) -> String {
    let took = time(answer.totals.replay_s);
    let lost = format!("{} lost in {took}", time(answer.lost_s));
    let stalls = count(answer.stall_count(), "stall");
    let mut text = match level(answer) {
        _ if answer.totals.blocks == 0 => "Nothing moves in this job.".to_string(),
        Level::Smooth if answer.idle_stalls == 0 => {
            format!("No stutter: the head keeps the speed that the job allows for all {took}.")
        }
        Level::Smooth if answer.job.extrudes => {
            format!("No stutter while printing: {stalls}, all on moves that print nothing; {lost}.")
        }
        Level::Unseen => {
            format!("Stutters that nobody will see: {stalls}, but no visible bump; {lost}.")
        }
        Level::Few => format!("{}{}; {lost}.", few(answer), most_on(answer)),
        Level::Ruined => format!(
            "Ruined: {}, {} on each 100 cm² of outer wall{}; {lost}.",
            bumps(answer),
            per_100_cm2(answer).map_or(String::new(), rate),
            most_on(answer)
        ),
        Level::Smooth | Level::Unknown => {
            let [dwells, dips, drags] = answer.kinds;
            let what = if dwells + dips == 0 {
                format!(
                    "Slows down but never brakes hard: {}",
                    count(drags, "slow stretch")
                )
            } else {
                format!("Stutters: {stalls}")
            };
            format!("{what}, {lost}{}.", most_lost_on(answer))
        }
    };
    if !answer.job.extrudes && answer.totals.blocks > 0 {
        text += " Nothing is extruded, so no bump can be predicted.";
    }
    text
}

/// How many: `3 visible bumps`, `1 to 8 visible bumps in 9 of 10 runs`.
fn bumps(answer: &ReplayAnswer) -> String {
    let Some(expected) = expected(answer) else {
        return String::new();
    };
    match expected.range {
        Some([low, high]) if low < high => {
            format!("{low:.0} to {high:.0} visible bumps in 9 of 10 runs")
        }
        _ => count(expected.median.round() as u64, "visible bump"),
    }
}

/// The same for a few: `A few visible bumps: 1 to 8 in 9 of 10 runs`.
fn few(answer: &ReplayAnswer) -> String {
    let text = bumps(answer);
    match text.split_once(" visible bumps in ") {
        Some((range, runs)) => format!("A few visible bumps: {range} in {runs}"),
        None => text,
    }
}

/// A layer with its height, as layers are always named: `layer 12 (z 2.60 mm)`.
pub fn layer(answer: &ReplayAnswer, layer: u32) -> String {
    match answer.layers.get(layer as usize) {
        Some(sums) => format!("layer {layer} (z {} mm)", fixed(sums.z_mm, 2)),
        None => format!("layer {layer}"),
    }
}

/// Where most of the visible bumps are, if the shown run has several layers with some.
fn most_on(answer: &ReplayAnswer) -> String {
    match answer.bumps.worst_layer() {
        Some(worst) if answer.job.layers > 1 => format!(", most on {}", layer(answer, worst)),
        _ => String::new(),
    }
}

fn most_lost_on(answer: &ReplayAnswer) -> String {
    match answer.worst_layer() {
        Some(worst) if answer.job.layers > 1 => format!(", most on {}", layer(answer, worst)),
        _ => String::new(),
    }
}
