//! A comparison: what `compare.json` holds, and the tables of it.

use std::fmt::Write;

use serde::Serialize;

use crate::answer::compare::CompareAnswer;
use crate::replay::cause::Cause;
use crate::study::compare::FIRM_P;
use crate::text::fixed;

use super::comparison_verdict::{any_seen, verdict};
use super::numbers::{rate, share, time};
use super::text::{cuts_in_words, shortened, wrap};

pub use super::comparison_rows::{JobRow, Row, short};

/// What `compare.json` holds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// This program and its version: marks the folder as its own.
    pub program: String,
    /// The answer in a sentence or two.
    pub verdict: String,
    /// The first seed.
    pub seed: u64,
    /// Runs made of each setting with draws.
    pub runs: usize,
    /// Whether more runs would hardly change the answer.
    pub firm: bool,
    /// About how many runs a firm answer needs; `None` where there are enough, or where that cannot be estimated.
    pub runs_needed: Option<usize>,
    /// What limits of this program have cut, a sentence each.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
    /// The jobs.
    pub jobs: Vec<JobRow>,
    /// Each job under each setting.
    pub rows: Vec<Row>,
    /// The files written.
    pub files: Vec<String>,
}

impl Comparison {
    /// The answer in rows.
    pub fn of(answer: &CompareAnswer) -> Self {
        let jobs: Vec<JobRow> = answer.jobs.iter().map(JobRow::of).collect();
        let rows: Vec<Row> = answer.cases.iter().map(|c| Row::of(answer, c)).collect();
        Comparison {
            program: concat!("headstall ", env!("CARGO_PKG_VERSION")).to_string(),
            verdict: verdict(&rows, &jobs),
            seed: answer.seed,
            runs: answer.runs,
            firm: answer.firm,
            runs_needed: answer.runs_needed,
            warnings: warnings(answer),
            jobs,
            rows,
            files: Vec::new(),
        }
    }
}

/// What limits of this program have cut.
fn warnings(answer: &CompareAnswer) -> Vec<String> {
    let limits = answer.limits.iter();
    let mut all: Vec<String> = limits
        .flat_map(|(job, line, what)| cuts_in_words(&[(*line, what.clone())], job))
        .collect();
    if answer.runs_cut {
        all.push(format!(
            "only {} of {} runs were made of each setting: more of them would take too long",
            answer.runs, answer.runs_asked
        ));
    }
    all
}

fn range(middle: &str, low: Option<String>, high: Option<String>) -> String {
    match (low, high) {
        (Some(low), Some(high)) if low != high && low.starts_with(['-', '+']) => {
            format!("{middle} ({low} to {high})")
        }
        (Some(low), Some(high)) if low != high => format!("{middle} ({low}–{high})"),
        _ => middle.to_string(),
    }
}

/// The tables, without the verdict, in at most 80 columns.
pub fn report(c: &Comparison) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "job                          moves   median move  most moves/s  bytes/mm"
    );
    for j in &c.jobs {
        let _ = writeln!(
            out,
            "{:<24} {:>9} {:>10.2} mm {:>13} {:>9.1}",
            shortened(&j.job, 24),
            j.blocks,
            j.median_block_mm,
            rate(j.peak_blocks_per_s),
            j.bytes_per_mm
        );
    }
    for job in &c.jobs {
        let rows: Vec<&Row> = c.rows.iter().filter(|r| r.job == job.job).collect();
        let _ = writeln!(out, "\n{}", shortened(&job.job, 80));
        settings(&mut out, &rows);
        if rows.len() > 1 {
            against(&mut out, &rows);
        }
        lost_by(&mut out, &rows);
    }
    out.push('\n');
    for line in wrap(&note(c), 80) {
        let _ = writeln!(out, "{line}");
    }
    out
}

/// A job's settings, each on a line.
fn settings(out: &mut String, rows: &[&Row]) {
    let _ = writeln!(
        out,
        "  {:<13}{:<15}{:<15}{:<21}bump seen",
        "setting", "visible bumps", "stalls", "lost"
    );
    for row in rows {
        let whole = |n: f64| format!("{:.0}", n.round());
        let of = |middle: f64, low: Option<f64>, high: Option<f64>| {
            range(&whole(middle), low.map(whole), high.map(whole))
        };
        let lost = range(
            &time(row.lost_s),
            row.lost_low_s.map(time),
            row.lost_high_s.map(time),
        );
        let percent = |p: f64| format!("{:.0}", 100.0 * p);
        let mut chance = format!("{} %", percent(row.visible_chance));
        if row.runs > 1 {
            let _ = write!(
                chance,
                " ({}–{})",
                percent(row.visible_chance_low),
                percent(row.visible_chance_high)
            );
        }
        let numbers = format!(
            "{:<15}{:<15}{lost:<21}{chance}",
            of(row.visible, row.visible_low, row.visible_high),
            of(row.stalls, row.stalls_low, row.stalls_high)
        );
        let name = short(&row.setting);
        let line = if name.chars().count() > 12 {
            // A long name has a line of its own.
            let _ = writeln!(out, "  {}", shortened(&name, 78));
            format!("  {:<13}{numbers}", "")
        } else {
            format!("  {name:<13}{numbers}")
        };
        let _ = writeln!(out, "{}", line.trim_end());
    }
}

/// What the runs are worth.
fn note(c: &Comparison) -> String {
    match (c.runs, c.firm) {
        (1, true) => "Nothing is drawn on these boards: one run each is exact.".to_string(),
        (1, false) => "One run each: another seed may give other numbers (--runs).".to_string(),
        (n, true) => format!(
            "Medians of {n} runs each, seeds {} to {}, the same luck for all settings; in brackets the 95 % \
             confidence interval of the median, and of the share of runs in which a bump can be seen. More runs \
             would hardly change the answer.",
            c.seed,
            c.seed + n as u64 - 1
        ),
        (n, false) => format!(
            "{n} runs each are not enough for a firm answer: some differences are not significant{}.",
            match c.runs_needed {
                Some(more) => format!("; about {more} runs may do (--runs {more})"),
                None =>
                    ", and the settings are so alike that more runs will hardly tell them apart"
                        .into(),
            }
        ),
    }
}

/// Paired differences from the first setting.
fn against(out: &mut String, rows: &[&Row]) {
    let first = short(&rows[0].setting);
    let _ = writeln!(out, "\n  against {first}, run by run");
    let seen = any_seen(rows);
    for row in &rows[1..] {
        let lost = range(
            &signed(row.more_s),
            row.more_low_s.map(signed),
            row.more_high_s.map(signed),
        );
        let bumps = match row.more_visible {
            _ if !seen => String::new(),
            n if n > 0.5 => format!("+{n:.0} bumps"),
            n => format!("{} bumps", fixed(n, 0)),
        };
        let p = match row.runs {
            1 => String::new(),
            _ if row.p_holm > FIRM_P => format!("not significant (p = {:.2})", row.p_holm),
            _ if row.p_holm < 0.001 => "p < 0.001".to_string(),
            _ => format!("p = {:.3}", row.p_holm),
        };
        let name = shortened(&short(&row.setting), 19);
        let line = format!("  {name:<20}{bumps:<12}{lost:<26}{p}");
        let _ = writeln!(out, "{}", line.trim_end());
    }
}

/// What time was lost by in the first run.
fn lost_by(out: &mut String, rows: &[&Row]) {
    let told: Vec<(&Row, Vec<(Cause, f64)>)> = rows
        .iter()
        .filter_map(|r| {
            let by_cause_s = r.by_cause_s()?;
            Some((*r, by_cause_s.shares(r.replay_s)))
        })
        .filter(|(_, shares)| !shares.is_empty())
        .collect();
    if told.is_empty() {
        return;
    }
    let _ = writeln!(out, "\n  lost by, in the first run");
    for (row, shares) in told {
        let text: Vec<String> = shares
            .into_iter()
            .filter(|(_, part)| part.abs() > 0.02)
            .take(3)
            .map(|(cause, part)| format!("{} {}", cause.name(), share(part)))
            .collect();
        let name = shortened(&short(&row.setting), 25);
        let _ = writeln!(out, "  {name:<26}{}", text.join(", "));
    }
}

fn signed(s: f64) -> String {
    if s > 0.0 {
        format!("+{}", time(s))
    } else {
        time(s)
    }
}
