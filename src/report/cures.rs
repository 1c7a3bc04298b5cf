//! Remedies: rows for `remedies.csv` and `remedies.json`, and the words around them.

use std::fmt::Write;

use serde::Serialize;

use crate::answer::remedies::RemediesAnswer;
use crate::study::cures::{Average, Skipped, Tried};
use crate::study::remedy::{Change, Remedy};
use crate::study::reshape::Reshape;

use super::numbers::time;
use super::text::{cuts_in_words, wrap};

/// A change, or a set of them, and what it comes to.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct CureRow {
    /// What is changed.
    pub remedy: String,
    /// Stalls left, the mean of the runs.
    pub stalls: f64,
    /// Lost time left, s.
    pub lost_s: f64,
    /// The replay's duration, s.
    pub replay_s: f64,
    /// How much longer the replay takes than today's, s; less than 0 where it is shorter.
    pub longer_s: f64,
    /// How far the path moves at most, mm.
    pub shift_mm: f64,
    /// Effort: 1 for a setting, 2 for slicing again, 3 for something to buy, 4 for other electronics; for a set, the sum.
    pub effort: u32,
    /// What it costs, in plain words.
    pub cost: String,
    /// Visible bumps left, the mean of the runs.
    pub visible: f64,
    /// Whether it is a change to the job that `mend` can write into it.
    #[serde(skip)]
    pub mends: bool,
}

/// What `remedies.json` holds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CureTable {
    /// This program and its version: marks the folder as its own.
    pub program: String,
    /// The answer in a sentence or two.
    pub verdict: String,
    /// The job's name.
    pub job: String,
    /// The board's name.
    pub board: String,
    /// The first seed.
    pub seed: u64,
    /// Runs made of each change.
    pub runs: usize,
    /// What limits of this program have cut or left out, a sentence each.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
    /// As it is today.
    pub today: CureRow,
    /// Single changes, the best first.
    pub single: Vec<CureRow>,
    /// The cheapest set that leaves fewer stalls than any single change.
    pub set: Option<CureRow>,
    /// The files written.
    pub files: Vec<String>,
}

impl CureTable {
    /// The table of all that was tried.
    pub fn of(answer: &RemediesAnswer) -> Self {
        let cures = &answer.cures;
        let mut table = CureTable {
            program: concat!("headstall ", env!("CARGO_PKG_VERSION")).to_string(),
            verdict: String::new(),
            job: answer.job.clone(),
            board: answer.board.clone(),
            seed: answer.seed,
            runs: cures.runs,
            warnings: warnings(answer),
            today: today(&cures.before),
            single: cures.single.iter().map(|t| row(t, &cures.before)).collect(),
            set: cures.set.as_ref().map(|t| row(t, &cures.before)),
            files: Vec::new(),
        };
        table.verdict = verdict(&table);
        table
    }

    /// All rows: as it is, each change, the set.
    pub fn rows(&self) -> impl Iterator<Item = &CureRow> {
        std::iter::once(&self.today)
            .chain(&self.single)
            .chain(&self.set)
    }
}

fn today(s: &Average) -> CureRow {
    CureRow {
        remedy: "as it is".to_string(),
        visible: s.visible,
        stalls: s.stalls,
        lost_s: s.lost_s,
        replay_s: s.replay_s,
        longer_s: 0.0,
        shift_mm: 0.0,
        effort: 0,
        cost: String::new(),
        mends: false,
    }
}

fn row(t: &Tried, before: &Average) -> CureRow {
    let join =
        |of: &dyn Fn(&Remedy) -> String| t.remedies.iter().map(of).collect::<Vec<_>>().join("; ");
    CureRow {
        remedy: join(&|r| r.name.clone()),
        visible: t.after.visible,
        stalls: t.after.stalls,
        lost_s: t.after.lost_s,
        replay_s: t.after.replay_s,
        longer_s: t.after.replay_s - before.replay_s,
        shift_mm: t.shift_mm,
        effort: t.effort(),
        cost: join(&|r| r.cost.clone()),
        mends: t.remedies.iter().all(|r| is_mended(&r.change)),
    }
}

/// Settings that make a change: what somebody types to see it.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Settings {
    /// Keys of the board, as `KEY=VALUE`.
    pub sets: Vec<String>,
    /// How far the path may move where chords are merged, mm.
    pub merge_mm: Option<f64>,
}

/// The settings that make all these changes, where settings do.
pub fn settings(tried: &Tried) -> Option<Settings> {
    let mut all = Settings::default();
    for remedy in &tried.remedies {
        match remedy.change {
            Change::Job(Reshape::Merge(mm)) => all.merge_mm = Some(mm),
            _ if remedy.sets.is_empty() => return None,
            _ => all.sets.extend(remedy.sets.iter().cloned()),
        }
    }
    Some(all)
}

/// Whether `mend` can write this change into the job.
fn is_mended(change: &Change) -> bool {
    matches!(
        change.reshape(),
        Some(Reshape::Merge(_) | Reshape::Slow(_) | Reshape::Short)
    )
}

/// The line that names `mend`, where a change to the job helps that `mend` can make. `job` and `on` stand for the job
/// and the options that name the board, as they are to be typed.
pub fn mend_line(t: &CureTable, job: &str, on: &str) -> Option<String> {
    let mut single = t.single.iter();
    let helped = single.any(|r| r.mends && helps(r, &t.today));
    (helped && t.today.stalls > 0.0).then(|| {
        format!("\nTo have the job itself changed, and proven:\n  headstall mend {job} {on} -o mended.gcode\n")
    })
}

impl CureRow {
    /// What it costs, all of it, in plain words.
    pub fn costs(&self) -> Vec<String> {
        let mut costs = vec![self.cost.clone()];
        if self.shift_mm > 0.0 {
            costs.push(format!("the path moves by at most {:.3} mm", self.shift_mm));
        }
        if self.longer_s > 1.0 {
            costs.push(format!("the print takes {} longer", time(self.longer_s)));
        }
        costs
    }
}

/// The change and what it comes to, in a sentence or two.
pub fn sentence(row: &CureRow, today: &CureRow) -> String {
    let mut text = format!("{}: {}", row.remedy, left(row, today));
    if let Some(first) = text.get(..1) {
        text = first.to_uppercase() + &text[1..];
    }
    let _ = write!(text, " Costs: {}.", row.costs().join("; "));
    text
}

/// What is left of bumps, or of stalls where there are no bumps, and of lost time.
fn left(row: &CureRow, today: &CureRow) -> String {
    let lost = format!(
        "{} lost instead of {}",
        time(row.lost_s),
        time(today.lost_s)
    );
    if today.visible > 0.0 {
        let before = mean(today.visible);
        match row.visible {
            n if n > 0.0 => format!("{} visible bumps instead of {before}, {lost}.", mean(n)),
            _ => format!("no visible bump instead of {before}, {lost}."),
        }
    } else {
        format!(
            "{} stalls instead of {}, {lost}.",
            mean(row.stalls),
            mean(today.stalls)
        )
    }
}

/// A mean of counts, without decimals where it is whole or large.
fn mean(n: f64) -> String {
    if n.fract() == 0.0 || n >= 100.0 {
        format!("{n:.0}")
    } else {
        format!("{n:.1}")
    }
}

/// Whether a change is worth mentioning: it takes away more than half of the visible bumps, or of the lost time where
/// there are no bumps.
pub fn helps(row: &CureRow, today: &CureRow) -> bool {
    if today.visible > 0.0 {
        row.visible < 0.5 * today.visible
    } else {
        row.lost_s < 0.5 * today.lost_s
    }
}

/// Whether nothing is left to cure: no visible bump, or no stall where there were no bumps.
fn is_clean(row: &CureRow, today: &CureRow) -> bool {
    if today.visible > 0.0 {
        row.visible == 0.0
    } else {
        row.stalls == 0.0
    }
}

fn verdict(t: &CureTable) -> String {
    let today = &t.today;
    if today.stalls == 0.0 {
        return "Nothing to cure: no stall.".to_string();
    }
    let lead = if today.visible == 0.0 {
        "Nothing to cure that could be seen: no visible bump. "
    } else {
        ""
    };
    let quick = |r: &&CureRow| r.longer_s <= 0.1 * today.replay_s;
    let helps = |r: &&CureRow| helps(r, today);
    let all = || t.single.iter().chain(&t.set).filter(quick);
    // The first of the easiest: the table's own order decides among equals.
    let clean = all()
        .filter(|r| is_clean(r, today))
        .min_by_key(|r| r.effort);
    let easy = all().filter(helps).min_by_key(|r| r.effort);
    match (easy, clean) {
        (Some(easy), Some(clean)) if easy.effort < clean.effort => format!(
            "{lead}{} Nothing is left with {}; costs: {}.",
            sentence(easy, today),
            clean.remedy,
            clean.costs().join("; ")
        ),
        (_, Some(clean)) => format!("{lead}{}", sentence(clean, today)),
        (Some(easy), None) => format!("{lead}{}", sentence(easy, today)),
        (None, None) => match t.single.iter().filter(helps).min_by_key(|r| r.effort) {
            Some(slow) => format!("{lead}{}", sentence(slow, today)),
            None => format!("{lead}None of the changes tried here helps."),
        },
    }
}

/// What limits of this program have cut or left out.
fn warnings(answer: &RemediesAnswer) -> Vec<String> {
    let mut all = cuts_in_words(&answer.limits, &answer.job);
    let left_out = left_out(&answer.cures.skipped).into_iter();
    all.extend(left_out.map(|what| format!("{}: {what}", answer.job)));
    all
}

/// What was not tried, each in a sentence.
fn left_out(skipped: &Skipped) -> Vec<String> {
    let count = |n: usize| match n {
        1 => "1 change".to_string(),
        n => format!("{n} changes"),
    };
    let mut all = Vec::new();
    if skipped.late > 0 {
        all.push(format!(
            "a replay of this job takes so long that {} could not be tried; the easiest ones were",
            count(skipped.late)
        ));
    }
    if skipped.no_progress > 0 {
        all.push(format!(
            "{} could not be replayed: the board makes too little headway with it",
            count(skipped.no_progress)
        ));
    }
    if skipped.slower {
        all.push("a lower speed was not looked for: it would take too long".to_string());
    }
    if skipped.sets {
        all.push("sets of changes were not all tried: it would take too long".to_string());
    }
    all
}

/// The table, without the verdict, in at most 80 columns.
pub fn report(t: &CureTable) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "job       {}\nboard     {}, seed {}\n",
        t.job, t.board, t.seed
    );
    let _ = writeln!(
        out,
        "   bumps  stalls       lost      longer  change (its cost)"
    );
    for row in t.rows() {
        let longer = match row.longer_s {
            s if s.abs() < 0.5 => "-".to_string(),
            s => format!("{}{}", if s > 0.0 { "+" } else { "" }, time(s)),
        };
        let mut what = row.remedy.clone();
        let mut price = row.costs();
        // How much longer it takes stands in a column of its own.
        price.retain(|c| !c.is_empty() && c != "time" && !c.ends_with("longer"));
        if !price.is_empty() {
            let _ = write!(what, " ({})", price.join("; "));
        }
        let numbers = format!(
            "{:>8} {:>7} {:>10} {longer:>11}",
            mean(row.visible),
            mean(row.stalls),
            time(row.lost_s)
        );
        for (k, line) in wrap(&what, 39).iter().enumerate() {
            let lead = if k == 0 { numbers.as_str() } else { "" };
            let _ = writeln!(out, "{lead:<39}  {line}");
        }
    }
    let note = match t.runs {
        1 => "One run each, with the same seed.".to_string(),
        n => format!(
            "Means of {n} runs each, with the same seeds; bumps are those that can be seen."
        ),
    };
    out.push('\n');
    for line in wrap(&note, 80) {
        let _ = writeln!(out, "{line}");
    }
    out
}
