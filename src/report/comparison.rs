//! A comparison: rows for `compare.csv` and `compare.json`, and the words around them.

use std::fmt::Write;

use serde::Serialize;

use crate::answer::compare::{CompareAnswer, ComparedCase, ComparedJob};
use crate::replay::cause::{Cause, PerCause};
use crate::study::compare::FIRM_P;
use crate::study::stats::Median;

use super::numbers::{count, rate, share, time};
use super::text::{shortened, wrap};

/// One job under one setting.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// The job's name.
    pub job: String,
    /// What the setting is called.
    pub setting: String,
    /// The board's name.
    pub board: String,
    /// Runs, each with other luck.
    pub runs: usize,
    /// Stalls, median.
    pub stalls: f64,
    /// Lower end of its 95 % confidence interval; empty with too few runs, as are all such.
    pub stalls_low: Option<f64>,
    /// Upper end.
    pub stalls_high: Option<f64>,
    /// Lost time, median, s.
    pub lost_s: f64,
    /// Lower end, s.
    pub lost_low_s: Option<f64>,
    /// Upper end, s.
    pub lost_high_s: Option<f64>,
    /// The replay's duration, median, s.
    pub replay_s: f64,
    /// Lost time less that of the job's first setting, run by run, median, s.
    pub more_s: f64,
    /// Lower end, s.
    pub more_low_s: Option<f64>,
    /// Upper end, s.
    pub more_high_s: Option<f64>,
    /// Sign test of which of the two settings is worse, run by run: by visible bumps, then by lost time;
    /// Holm-adjusted.
    pub p_holm: f64,
    /// Share of runs that stutter at all.
    pub chance: f64,
    /// Lower end (Wilson).
    pub chance_low: f64,
    /// Upper end (Wilson).
    pub chance_high: f64,
    /// Lost time by cause in the first run, s; empty where not worked out.
    pub link_s: Option<f64>,
    /// As above.
    pub hiccup_s: Option<f64>,
    /// As above.
    pub save_s: Option<f64>,
    /// As above.
    pub chore_s: Option<f64>,
    /// As above.
    pub compute_s: Option<f64>,
    /// As above.
    pub depth_s: Option<f64>,
    /// Visible bumps, median.
    pub visible: f64,
    /// Lower end of its 95 % confidence interval.
    pub visible_low: Option<f64>,
    /// Upper end.
    pub visible_high: Option<f64>,
    /// Share of runs with a visible bump.
    pub visible_chance: f64,
    /// Lower end (Wilson).
    pub visible_chance_low: f64,
    /// Upper end (Wilson).
    pub visible_chance_high: f64,
    /// Visible bumps more than under the job's first setting, run by run, median.
    pub more_visible: f64,
    /// Lower end.
    pub more_visible_low: Option<f64>,
    /// Upper end.
    pub more_visible_high: Option<f64>,
}

impl Row {
    fn of(answer: &CompareAnswer, case: &ComparedCase) -> Self {
        let ends = |m: &Median| (m.interval.map(|i| i[0]), m.interval.map(|i| i[1]));
        let o = &case.outcome;
        let setting = &answer.settings[case.setting];
        let (visible_low, visible_high) = ends(&o.visible);
        let (more_visible_low, more_visible_high) = ends(&o.more_visible);
        let (stalls_low, stalls_high) = ends(&o.stalls);
        let (lost_low_s, lost_high_s) = ends(&o.lost_s);
        let (more_low_s, more_high_s) = ends(&o.more_s);
        let cause = |c: Cause| case.by_cause_s.map(|all| all[c]);
        Row {
            job: answer.jobs[case.job].name.clone(),
            setting: setting.name.clone(),
            board: setting.board.name.clone(),
            runs: o.runs,
            visible: o.visible.middle,
            visible_low,
            visible_high,
            visible_chance: o.visible_chance[0],
            visible_chance_low: o.visible_chance[1],
            visible_chance_high: o.visible_chance[2],
            stalls: o.stalls.middle,
            stalls_low,
            stalls_high,
            lost_s: o.lost_s.middle,
            lost_low_s,
            lost_high_s,
            replay_s: o.replay_s.middle,
            more_s: o.more_s.middle,
            more_low_s,
            more_high_s,
            more_visible: o.more_visible.middle,
            more_visible_low,
            more_visible_high,
            p_holm: o.p_holm,
            chance: o.chance[0],
            chance_low: o.chance[1],
            chance_high: o.chance[2],
            link_s: cause(Cause::Link),
            hiccup_s: cause(Cause::Hiccup),
            save_s: cause(Cause::Save),
            chore_s: cause(Cause::Chore),
            compute_s: cause(Cause::Compute),
            depth_s: cause(Cause::Depth),
        }
    }

    /// Lost time by cause, s, where it was worked out.
    pub fn by_cause_s(&self) -> Option<PerCause<f64>> {
        let all = [
            self.link_s?,
            self.hiccup_s?,
            self.save_s?,
            self.chore_s?,
            self.compute_s?,
            self.depth_s?,
        ];
        Some(PerCause::from_array(all))
    }
}

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
    /// About how many runs a firm answer needs, where there are too few and that can be told.
    pub runs_needed: Option<usize>,
    /// The jobs.
    pub jobs: Vec<JobRow>,
    /// Each job under each setting.
    pub rows: Vec<Row>,
    /// The files written.
    pub files: Vec<String>,
}

/// A job, and what it asks of any board.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JobRow {
    /// Its name.
    pub job: String,
    /// Command lines.
    pub lines: usize,
    /// Blocks.
    pub blocks: usize,
    /// Half of its blocks are at most this long, mm.
    pub median_block_mm: f64,
    /// Bytes for each millimetre of path.
    pub bytes_per_mm: f64,
    /// Blocks a second at commanded feed, at most.
    pub peak_blocks_per_s: f64,
}

impl JobRow {
    fn of(job: &ComparedJob) -> Self {
        let f = &job.facts;
        JobRow {
            job: job.name.clone(),
            lines: f.lines,
            blocks: f.blocks,
            median_block_mm: f.median_block_mm,
            bytes_per_mm: f.bytes_per_mm,
            peak_blocks_per_s: f.peak_blocks_per_s,
        }
    }
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
            jobs,
            rows,
            files: Vec::new(),
        }
    }
}

/// A median of counts with its noun: `no visible bump`, `12 visible bumps`.
fn some(n: f64, noun: &str) -> String {
    if n == 0.0 {
        format!("no {noun}")
    } else {
        count(n.round() as u64, noun)
    }
}

/// Visible bumps and lost time of a row; stalls where nobody sees a bump.
fn outcome(row: &Row, seen: bool) -> String {
    let what = if seen {
        some(row.visible, "visible bump")
    } else {
        some(row.stalls, "stall")
    };
    format!("{what} and {} lost", time(row.lost_s))
}

/// Whether any of these leaves a visible bump in the median run.
fn any_seen(rows: &[&Row]) -> bool {
    rows.iter().any(|r| r.visible > 0.0)
}

/// The answer: the best setting against the first for each job, and the most demanding job where there are
/// several.
fn verdict(rows: &[Row], jobs: &[JobRow]) -> String {
    let Some(first) = rows.first() else {
        return String::new();
    };
    let mut told: Vec<String> = Vec::new();
    if rows.iter().any(|r| r.setting != first.setting) {
        let named = jobs.len() > 1;
        told.extend(jobs.iter().filter_map(|job| best(rows, job, named)));
    }
    if jobs.len() > 1 {
        told.extend(most_demanding(rows, jobs, first));
    }
    told.join(" ")
}

/// The job that starves the board most under the first setting.
fn most_demanding(rows: &[Row], jobs: &[JobRow], first: &Row) -> Option<String> {
    let mut firsts: Vec<&Row> = rows.iter().filter(|r| r.setting == first.setting).collect();
    firsts.sort_by(|a, b| b.lost_s.total_cmp(&a.lost_s));
    let worst = *firsts.first()?;
    let job = jobs.iter().find(|j| j.job == worst.job)?;
    if worst.lost_s <= 0.0 || job.peak_blocks_per_s <= 0.0 {
        return None;
    }
    let others: Vec<String> = firsts[1..]
        .iter()
        .take(3)
        .map(|r| format!("{} {}", shortened(&r.job, 24), time(r.lost_s)))
        .collect();
    Some(format!(
        "{} starves the board most: {} lost, against {}; its median move is {:.2} mm, and it asks for up to {} \
         moves/s and {:.0} bytes for each millimetre.",
        shortened(&worst.job, 24),
        time(worst.lost_s),
        others.join(", "),
        job.median_block_mm,
        rate(job.peak_blocks_per_s),
        job.bytes_per_mm
    ))
}

/// A job's best setting; `named`: with the job's name.
fn best(rows: &[Row], job: &JobRow, named: bool) -> Option<String> {
    let own: Vec<&Row> = rows.iter().filter(|r| r.job == job.job).collect();
    let first = *own.first()?;
    let key = |r: &Row| (r.visible, r.lost_s, r.stalls);
    let best = own.iter().fold(
        first,
        |best, row| if key(row) < key(best) { row } else { best },
    );
    let whose = if named {
        format!("{}: ", shortened(&job.job, 24))
    } else {
        String::new()
    };
    let seen = any_seen(&own);
    if best.setting == first.setting {
        return Some(format!(
            "{whose}Nothing here is better than {}: {}.",
            first.setting,
            outcome(first, seen)
        ));
    }
    let sure = if best.runs > 1 && best.p_holm > FIRM_P {
        format!(
            " The difference is not significant (p = {:.2}).",
            best.p_holm
        )
    } else {
        String::new()
    };
    Some(format!(
        "{whose}{} is best: {}, where {} has {}.{sure}",
        best.setting,
        outcome(best, seen),
        first.setting,
        outcome(first, seen)
    ))
}

/// Settings by the last part of their keys: `when=off blocks=8`.
pub fn short(setting: &str) -> String {
    let words = setting.split(' ').map(|word| match word.split_once('=') {
        Some((key, value)) => {
            let last = key.rsplit('.').next().unwrap_or(key);
            format!("{last}={value}")
        }
        None => word.to_string(),
    });
    words.collect::<Vec<_>>().join(" ")
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
        "  {:<20}{:<16}{:<12}{:<20}bump seen",
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
            "{:<16}{:<12}{lost:<20}{chance}",
            of(row.visible, row.visible_low, row.visible_high),
            of(row.stalls, row.stalls_low, row.stalls_high)
        );
        let name = short(&row.setting);
        let line = if name.chars().count() > 19 {
            // A long name has a line of its own.
            let _ = writeln!(out, "  {}", shortened(&name, 78));
            format!("  {:<20}{numbers}", "")
        } else {
            format!("  {name:<20}{numbers}")
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

/// Differences to the first setting, run by run.
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
            n if n > 0.0 => format!("+{n:.0} bumps"),
            n => format!("{n:.0} bumps"),
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

/// What the first run's lost time goes to.
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
