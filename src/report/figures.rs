//! The figures and causes of a replay as both pages show them: `report.html` and the live one.

use std::fmt::Write;

use serde::Serialize;

use crate::answer::replay::ReplayAnswer;
use crate::replay::cause::Cause;

use super::look::palette;
use super::look::picture::number;
use super::numbers::{count, rate, share, time};
use super::summary::Summary;
use super::verdict::{self, Level};

/// A figure.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Figure {
    /// What it is called.
    pub name: &'static str,
    /// Its value with its unit.
    pub value: String,
    /// What it means.
    pub what: String,
}

/// What lost time was lost by.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Causes {
    /// Each cause that counts.
    pub rows: Vec<CauseRow>,
    /// How the time was attributed.
    pub how: &'static str,
}

/// One cause.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CauseRow {
    /// Its name.
    pub name: &'static str,
    /// The colour of its bar.
    pub colour: String,
    /// The colour of words on that.
    pub ink: &'static str,
    /// Its share of the time that was lost, percent; 0 where it helps.
    pub percent: f64,
    /// The time lost by it, and what it is.
    pub says: String,
}

/// The figures about bumps.
fn of_bumps(answer: &ReplayAnswer, s: &Summary) -> Vec<Figure> {
    let mut all = Vec::new();
    let mut add = |name, value, what| all.push(Figure { name, value, what });
    let level = match s.level {
        Level::Smooth => ("no stutter", "no stall on a move that prints"),
        Level::Unseen => ("not seen", "the head stutters, but no bump is visible"),
        Level::Unknown => ("unknown", "whether bumps can be seen was not worked out"),
        Level::Few => ("a few", "some bumps are visible, at least in some runs"),
        Level::Ruined => ("ruined", "bumps are visible wherever one looks"),
    };
    add("verdict", level.0.to_string(), level.1.to_string());
    if let (Some(expected), Some(mm), true) = (s.expected_bumps, s.visible_mm, s.extrudes) {
        let mut what = format!("{} mm or higher, on surfaces that can be seen", number(mm));
        if let Some([low, high]) = s.expected_bumps_range {
            let _ = write!(what, "; in 9 of 10 runs between {low:.0} and {high:.0}");
        }
        if let (Some(shown), true) = (s.visible_bumps, s.runs > 1) {
            let _ = write!(what, "; in the run that is shown {shown}");
        }
        add("visible bumps expected", format!("{expected:.0}"), what);
    }
    if let Some(n) = s.per_100_cm2.filter(|n| *n > 0.0) {
        let what = "of outer wall, visible bumps expected".to_string();
        add("on 100 cm²", rate(n), what);
    }
    if let (Some(mm), Some(layer)) = (s.largest_bump_mm, s.largest_bump_layer) {
        let what = format!(
            "on {}; an upper estimate, since the inside is taken to be full",
            verdict::layer(answer, layer)
        );
        add("highest bump", format!("{mm:.2} mm"), what);
    }
    all
}

/// All figures of a replay.
pub fn figures(answer: &ReplayAnswer, s: &Summary) -> Vec<Figure> {
    let mut all = of_bumps(answer, s);
    let mut add = |name, value, what| all.push(Figure { name, value, what });
    add(
        "stalls",
        s.stalls.to_string(),
        format!(
            "{} (the head stands still), {} (below half speed), {} (only slower)",
            count(s.dwells, "dwell"),
            count(s.dips, "dip"),
            count(s.drags, "drag")
        ),
    );
    add(
        "lost",
        time(s.lost_s),
        format!(
            "{} of the time that the job itself needs",
            share(s.lost_s / s.ideal_s.max(1e-9))
        ),
    );
    add(
        "print time",
        time(s.replay_s),
        format!("{} if every line were known in advance", time(s.ideal_s)),
    );
    if s.saves > 0 {
        let what = "times that state was kept for a power cut".to_string();
        add("saves", s.saves.to_string(), what);
    }
    all
}

/// What time was lost by; `None` where none was lost.
pub fn causes(s: &Summary) -> Option<Causes> {
    let helped: f64 = s.by_cause.iter().map(|(_, t)| t.max(0.0)).sum();
    if s.stalls == 0 || helped <= 0.0 {
        return None;
    }
    let counts = |cause: &Cause| s.by_cause[*cause].abs() >= 5e-4 * helped;
    let row = |cause: Cause| {
        let lost_s = s.by_cause[cause];
        let helps = if lost_s < 0.0 { " (it helps)" } else { "" };
        CauseRow {
            name: cause.name(),
            colour: palette::cause(cause),
            ink: palette::cause_ink(cause),
            percent: 100.0 * lost_s.max(0.0) / helped,
            says: format!("{}{helps}: {}", time(lost_s), cause.about().what),
        }
    };
    Some(Causes {
        rows: Cause::ALL.into_iter().filter(counts).map(row).collect(),
        how: if s.causes_by == "shapley" {
            "Shapley values: what a cause adds on average over all orders in which the causes could come."
        } else {
            "The quick way: by what the controller was busy with meanwhile."
        },
    })
}
