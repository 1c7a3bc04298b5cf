//! Remedies: rows for `remedies.csv` and `remedies.json`, and the words around them.

use std::fmt::Write;

use serde::Serialize;

use crate::answer::remedies::RemediesAnswer;
use crate::study::cures::Tried;
use crate::study::remedy::Remedy;
use crate::study::sample::Sample;

use super::numbers::{count, time};
use super::text::wrap;

/// A change, or a set of them, and what it comes to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CureRow {
    /// What is changed.
    pub remedy: String,
    /// Stalls left.
    pub stalls: u64,
    /// Lost time left, s.
    pub lost_s: f64,
    /// The replay's duration, s.
    pub replay_s: f64,
    /// The replay's duration less that of today, s.
    pub longer_s: f64,
    /// How far the path moves at most, mm.
    pub shift_mm: f64,
    /// 1 a setting, 2 slicing again, 3 something to buy, 4 other electronics; a set: their sum.
    pub effort: u32,
    /// What it costs, in plain words.
    pub cost: String,
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
    /// The seed.
    pub seed: u64,
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

fn today(s: &Sample) -> CureRow {
    CureRow {
        remedy: "as it is".to_string(),
        stalls: s.stalls(),
        lost_s: s.lost_s,
        replay_s: s.replay_s,
        longer_s: 0.0,
        shift_mm: 0.0,
        effort: 0,
        cost: String::new(),
    }
}

fn row(t: &Tried, before: &Sample) -> CureRow {
    let join =
        |of: &dyn Fn(&Remedy) -> String| t.remedies.iter().map(of).collect::<Vec<_>>().join("; ");
    CureRow {
        remedy: join(&|r| r.name.clone()),
        stalls: t.sample.stalls(),
        lost_s: t.sample.lost_s,
        replay_s: t.sample.replay_s,
        longer_s: t.sample.replay_s - before.replay_s,
        shift_mm: t.shift_mm,
        effort: t.effort(),
        cost: join(&|r| r.cost.clone()),
    }
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
    let mut text = format!(
        "{}: {} become {}, {} lost become {}.",
        row.remedy,
        count(today.stalls, "stall"),
        row.stalls,
        time(today.lost_s),
        time(row.lost_s)
    );
    if let Some(first) = text.get(..1) {
        text = first.to_uppercase() + &text[1..];
    }
    let _ = write!(text, " Costs: {}.", row.costs().join("; "));
    text
}

fn verdict(t: &CureTable) -> String {
    if t.today.stalls == 0 {
        return "Nothing to cure: no stall.".to_string();
    }
    // The easiest change that leaves next to no lost time and takes little more of it.
    let quick = |r: &&CureRow| r.longer_s <= 0.1 * t.today.replay_s;
    let enough = |r: &&CureRow| r.lost_s * 20.0 <= t.today.lost_s;
    let easiest = t
        .single
        .iter()
        .filter(quick)
        .filter(enough)
        .min_by_key(|r| r.effort);
    let best = t.single.iter().min_by(|a, b| a.lost_s.total_cmp(&b.lost_s));
    let best = best.filter(|r| r.lost_s < 0.9 * t.today.lost_s);
    let Some(chosen) = easiest.or(t.set.as_ref()).or(best) else {
        return "None of the changes tried here helps.".to_string();
    };
    let mut text = sentence(chosen, &t.today);
    if chosen.stalls > 0 {
        let clean = t
            .single
            .iter()
            .filter(quick)
            .chain(&t.set)
            .filter(|r| r.stalls == 0);
        if let Some(clean) = clean.min_by_key(|r| r.effort) {
            let _ = write!(
                text,
                " No stall at all is left by {}; costs: {}.",
                clean.remedy,
                clean.costs().join("; ")
            );
        }
    }
    text
}

/// The table, without the verdict, in at most 80 columns.
pub fn report(t: &CureTable) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "job       {}\nboard     {}, seed {}\n",
        t.job, t.board, t.seed
    );
    let _ = writeln!(out, "  stalls       lost      longer  change (its cost)");
    for row in t.rows() {
        let longer = if row.longer_s.abs() < 0.5 {
            "-".to_string()
        } else {
            format!(
                "{}{}",
                if row.longer_s > 0.0 { "+" } else { "" },
                time(row.longer_s)
            )
        };
        let mut what = row.remedy.clone();
        let price: Vec<String> = row.costs().into_iter().filter(|c| c != "time").collect();
        // How much longer it takes stands in a column of its own.
        let price: Vec<&String> = price.iter().filter(|c| !c.ends_with("longer")).collect();
        if price.iter().any(|c| !c.is_empty()) {
            let price: Vec<&str> = price.iter().map(|c| c.as_str()).collect();
            let _ = write!(what, " ({})", price.join("; "));
        }
        for (k, line) in wrap(&what, 46).iter().enumerate() {
            if k == 0 {
                let _ = writeln!(
                    out,
                    "{:>8} {:>10} {:>11}  {line}",
                    row.stalls,
                    time(row.lost_s),
                    longer
                );
            } else {
                let _ = writeln!(out, "{:33}{line}", "");
            }
        }
    }
    out.push_str("\nOne run each, under one seed: differences of a few stalls may be luck.\n");
    out
}
