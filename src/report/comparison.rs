//! A comparison: rows for `compare.csv` and `compare.json`, and the words around them.

use std::fmt::Write;

use serde::Serialize;

use crate::replay::world::Cause;
use crate::study::compare::Outcome;
use crate::study::facts::JobFacts;
use crate::study::stats::Median;

use super::numbers::{count, rate, share, time};
use super::words::wrap;

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
    /// Lower end of its interval; empty with too few runs, as are all such.
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
    /// Sign test of that difference, Holm-adjusted.
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
}

impl Row {
    /// A row of the table.
    pub fn new(
        job: &str,
        setting: &str,
        board: &str,
        o: &Outcome,
        by_cause_s: Option<[f64; 6]>,
    ) -> Self {
        let ends = |m: &Median| (m.interval.map(|i| i[0]), m.interval.map(|i| i[1]));
        let (stalls_low, stalls_high) = ends(&o.stalls);
        let (lost_low_s, lost_high_s) = ends(&o.lost_s);
        let (more_low_s, more_high_s) = ends(&o.more_s);
        let cause = |c: Cause| by_cause_s.map(|all| all[c as usize]);
        Row {
            job: job.to_string(),
            setting: setting.to_string(),
            board: board.to_string(),
            runs: o.runs,
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
    pub fn by_cause_s(&self) -> Option<[f64; 6]> {
        Some([
            self.link_s?,
            self.hiccup_s?,
            self.save_s?,
            self.chore_s?,
            self.compute_s?,
            self.depth_s?,
        ])
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
    /// A job's row.
    pub fn new(job: &str, f: &JobFacts) -> Self {
        JobRow {
            job: job.to_string(),
            lines: f.lines,
            blocks: f.blocks,
            median_block_mm: f.median_block_mm,
            bytes_per_mm: f.bytes_per_mm,
            peak_blocks_per_s: f.peak_blocks_per_s,
        }
    }
}

fn stalls(n: f64) -> String {
    if n == 0.0 {
        "no stall".to_string()
    } else {
        count(n.round() as u64, "stall")
    }
}

/// The answer: the best setting against the first, and the hungriest job where there are several.
pub fn verdict(rows: &[Row], jobs: &[JobRow]) -> String {
    let Some(first) = rows.first() else {
        return String::new();
    };
    let mut text = String::new();
    let own: Vec<&Row> = rows.iter().filter(|r| r.job == first.job).collect();
    if own.len() > 1 {
        let best = own.iter().fold(own[0], |best, row| {
            if (row.lost_s, row.stalls) < (best.lost_s, best.stalls) {
                row
            } else {
                best
            }
        });
        if best.setting == first.setting {
            let _ = write!(
                text,
                "Nothing here beats {}: {}, {} lost.",
                first.setting,
                stalls(first.stalls),
                time(first.lost_s)
            );
        } else {
            let left = if first.lost_s > 0.0 {
                share(best.lost_s / first.lost_s)
            } else {
                "0 %".into()
            };
            let _ = write!(
                text,
                "{} is best: {} and {} lost, where {} has {} and {} ({left} is left).",
                best.setting,
                stalls(best.stalls),
                time(best.lost_s),
                first.setting,
                stalls(first.stalls),
                time(first.lost_s)
            );
        }
    }
    if jobs.len() > 1 {
        let of = |row: &Row| jobs.iter().find(|j| j.job == row.job);
        let firsts = rows.iter().filter(|r| r.setting == first.setting);
        let worst = firsts.max_by(|a, b| a.lost_s.total_cmp(&b.lost_s));
        if let Some((row, job)) = worst.and_then(|row| Some((row, of(row)?)))
            && row.lost_s > 0.0
        {
            let _ = write!(
                text,
                "{}{} starves the board most ({} lost): half of its moves are at most {:.2} mm, it asks \
                 for up to {} moves/s and {:.0} bytes for each millimetre.",
                if text.is_empty() { "" } else { " " },
                row.job,
                time(row.lost_s),
                job.median_block_mm,
                rate(job.peak_blocks_per_s),
                job.bytes_per_mm
            );
        }
    }
    text
}

/// The tables, without the verdict, in at most 80 columns.
pub fn report(c: &Comparison) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "job                          moves  half are below  most moves/s  bytes/mm"
    );
    for j in &c.jobs {
        let _ = writeln!(
            out,
            "{:<24} {:>9} {:>12.2} mm {:>13} {:>9.1}",
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
        let _ = writeln!(
            out,
            "  setting                          stalls       lost  against the first"
        );
        for row in rows {
            let range = match (row.stalls_low, row.stalls_high) {
                (Some(low), Some(high)) if low < high => format!("{low:.0}..{high:.0}"),
                _ => format!("{:.0}", row.stalls),
            };
            let against = match (row.more_low_s, row.more_high_s) {
                (Some(low), Some(high)) if low < high => {
                    format!("{} .. {}", signed(low), signed(high))
                }
                _ if row.more_s == 0.0 => "-".to_string(),
                _ => signed(row.more_s),
            };
            let _ = writeln!(
                out,
                "  {:<28} {range:>10} {:>10}  {against}",
                shortened(&row.setting, 28),
                time(row.lost_s)
            );
        }
    }
    let note = match (c.runs, c.firm) {
        (1, true) => "Nothing is drawn on these boards: one run each is exact.".to_string(),
        (1, false) => "One run each: other luck may give other numbers (--runs).".to_string(),
        (n, true) => format!(
            "{n} runs each, seeds {} to {}, the same luck for all settings. Ranges hold the median with 95 %. \
             More runs would hardly change the answer.",
            c.seed,
            c.seed + n as u64 - 1
        ),
        (n, false) => format!(
            "{n} runs each are not enough for a firm answer: some differences may be luck (--runs {}).",
            4 * n
        ),
    };
    out.push('\n');
    for line in wrap(&note, 80) {
        let _ = writeln!(out, "{line}");
    }
    out
}

fn signed(s: f64) -> String {
    if s > 0.0 {
        format!("+{}", time(s))
    } else {
        time(s)
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
