//! The rows of a comparison: one job under one setting, as `compare.csv` and `compare.json` hold it.

use serde::Serialize;

use crate::answer::compare::{CompareAnswer, ComparedCase, ComparedJob};
use crate::replay::cause::{Cause, PerCause};
use crate::study::stats::Median;

/// One job under one setting.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// The job's name.
    pub job: String,
    /// What the setting is called.
    pub setting: String,
    /// The board's name.
    pub board: String,
    /// Number of runs, each with another seed.
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
    /// How much more time is lost than under the job's first setting: median of the paired differences, s.
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
    /// How many more visible bumps than under the job's first setting: median of the paired differences.
    pub more_visible: f64,
    /// Lower end.
    pub more_visible_low: Option<f64>,
    /// Upper end.
    pub more_visible_high: Option<f64>,
}

impl Row {
    pub(super) fn of(answer: &CompareAnswer, case: &ComparedCase) -> Self {
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

/// A job, and what it asks of any board.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JobRow {
    /// Its name.
    pub job: String,
    /// Command lines.
    pub lines: usize,
    /// Blocks.
    pub blocks: usize,
    /// Median length of its blocks, mm.
    pub median_block_mm: f64,
    /// Bytes for each millimetre of path.
    pub bytes_per_mm: f64,
    /// Blocks a second at commanded feed, at most.
    pub peak_blocks_per_s: f64,
}

impl JobRow {
    pub(super) fn of(job: &ComparedJob) -> Self {
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
