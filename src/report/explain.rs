//! The answer of `explain`: its JSON, and its text.

use std::fmt::Write;

use serde::Serialize;

use crate::answer::explain::{ExplainAnswer, PartAnswer};
use crate::study::explain::decide::{Name, State};
use crate::study::explain::question::Finding;
use crate::text::fixed;

use super::explained;
use super::numbers::{count, share};
use super::text::wrap;

/// What `explain.json` holds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ExplainTable {
    /// This program and its version: marks the folder as its own.
    pub program: String,
    /// The job's name.
    pub job: String,
    /// The board's name.
    pub board: String,
    /// The one part; of several, that with most bumps.
    #[serde(flatten)]
    pub one: PartTable,
    /// All parts, where the list of bumps names several.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<PartTable>,
    /// The files written.
    pub files: Vec<String>,
}

/// What is said about one part.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartTable {
    /// Its number from left to right, from 1.
    pub part: Option<u32>,
    /// Bumps on its wall.
    pub bumps: usize,
    /// Bumps without a wall near them.
    pub off_wall: usize,
    /// Whether bumps huddle.
    pub huddle: HuddleRow,
    /// The explanations.
    pub explanations: Vec<Row>,
    /// What goes regularly along the job.
    pub clock: Option<Clocks>,
    /// The share of frequencies in time that the error of heights has left.
    pub seen_share: Option<f64>,
    /// The answer in sentences.
    pub verdict: Vec<String>,
    /// What weakens it.
    pub notes: Vec<String>,
    /// What to do, the cheap things first.
    pub advice: Vec<String>,
    /// What to look at for a better answer.
    pub next: Vec<String>,
    /// Where it was looked: angles in degrees, heights in mm.
    pub window: [f64; 4],
}

/// Whether bumps huddle.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct HuddleRow {
    /// Pairs within 12 degrees and 1.2 mm.
    pub near_pairs: usize,
    /// The chance of as many.
    pub p: f64,
    /// Groups that are moved as one.
    pub groups: usize,
}

/// One explanation.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// Its name.
    pub name: &'static str,
    /// Its statistic.
    pub statistic: Option<f64>,
    /// The share of bumps that it takes.
    pub share: Option<f64>,
    /// The chance of a statistic as large.
    pub p: Option<f64>,
    /// The same, adjusted for all tests.
    pub p_adjusted: Option<f64>,
    /// Log likelihood, less what its free choices cost.
    pub loglik: Option<f64>,
    /// `named`, `not_apart`, `explained`, `not_found` or `not_tested`.
    pub state: &'static str,
    /// From what it cannot be told apart, or by what it is explained.
    pub with: Option<&'static str>,
    /// How likely it was to pass its test if it were true.
    pub power: Option<f64>,
    /// For a regular step: the chance of one as strong if whole lines or bands lay anywhere.
    pub p_regular: Option<f64>,
    /// For a regular step: its length, mm.
    pub period_mm: Option<f64>,
}

/// By coordinate.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Clocks {
    /// Time; periods in s.
    pub time: Option<ClockRow>,
    /// Lines of the file.
    pub lines: Option<ClockRow>,
    /// Filament; periods in mm.
    pub filament: Option<ClockRow>,
}

/// What was heard along one coordinate.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ClockRow {
    /// How well bumps keep step with the best period.
    pub q: f64,
    /// The best period.
    pub period: f64,
    /// Periods that fit as well, where a clock passed its test and may go by this coordinate.
    pub periods: Option<Vec<[f64; 2]>>,
}

impl ExplainTable {
    /// The table of an answer. `remedies`: the command, as it is to be typed, that tells the remedies for this job on
    /// this board.
    pub fn new(answer: &ExplainAnswer, remedies: &str) -> Self {
        let parts = answer.parts.iter().map(|p| part(answer, p, remedies));
        let parts: Vec<PartTable> = parts.collect();
        let most = parts.iter().map(|p| p.bumps).max();
        let one = parts.iter().find(|p| Some(p.bumps) == most).cloned();
        ExplainTable {
            program: concat!("headstall ", env!("CARGO_PKG_VERSION")).to_string(),
            job: answer.job.clone(),
            board: answer.board.clone(),
            one: one.expect("an answer has a part"),
            parts: if parts.len() > 1 { parts } else { Vec::new() },
            files: Vec::new(),
        }
    }

    fn all(&self) -> &[PartTable] {
        match self.parts.is_empty() {
            true => std::slice::from_ref(&self.one),
            false => &self.parts,
        }
    }
}

fn part(answer: &ExplainAnswer, part: &PartAnswer, remedies: &str) -> PartTable {
    let own = &part.explanation;
    let clock = |k: usize| {
        let spectrum = &own.heard.as_ref()?.spectra[k];
        let best = spectrum.best()?;
        let kept = own.kept.iter().find(|k| k.along == spectrum.along);
        Some(ClockRow {
            q: best.q,
            period: 1.0 / best.frequency,
            periods: kept.map(|k| k.periods.clone()),
        })
    };
    let mut notes = explained::notes(own, answer.save_every_s);
    if part.part.is_none() && answer.parts_on_plate > 1 {
        notes.push(format!(
            "The plate holds {} parts; they were taken as one. Say on which part each bump is in a column `part` (1, 2, ... from left to right).",
            answer.parts_on_plate
        ));
    }
    if let Some(mm) = answer.coarse_mm {
        notes.push(format!(
            "The plate is so large, or holds so many pieces, that what stands less than {mm} mm apart was taken as one part."
        ));
    }
    for (line, what) in &answer.limits {
        notes.push(match line {
            0 => format!("A limit of this program: {what}."),
            _ => format!("Line {line} of the job: {what}."),
        });
    }
    if !answer.predictions_known {
        notes.push(
            "There are too many stalls to tell which of them are seen: they were not tested."
                .to_string(),
        );
    }
    PartTable {
        part: part.part,
        bumps: own.bumps.len(),
        off_wall: own.off_wall.len(),
        huddle: HuddleRow {
            near_pairs: own.huddle.near_pairs,
            p: own.huddle.p,
            groups: own.huddle.groups.leaders.len(),
        },
        explanations: own.findings.iter().map(row).collect(),
        clock: own.heard.is_some().then(|| Clocks {
            time: clock(0),
            lines: clock(1),
            filament: clock(2),
        }),
        seen_share: own.seen_share(),
        verdict: explained::verdict(own),
        notes,
        advice: explained::advice(own, remedies),
        next: explained::next(own),
        window: [
            own.window.from_deg,
            own.window.to_deg,
            own.window.low_mm,
            own.window.high_mm,
        ],
    }
}

fn row(finding: &Finding) -> Row {
    let (state, with) = match finding.state {
        State::Named => ("named", None),
        State::NotApart(with) => ("not_apart", Some(with)),
        State::Explained(with) => ("explained", Some(with)),
        State::NotFound => ("not_found", None),
        State::NotTested => ("not_tested", None),
    };
    Row {
        name: finding.name.key(),
        statistic: finding.statistic,
        share: finding.share,
        p: finding.p,
        p_adjusted: finding.p_adjusted,
        loglik: finding.loglik,
        state,
        with: with.map(Name::key),
        power: finding.power,
        p_regular: finding.p_regular,
        period_mm: finding.stripes.map(|s| s.period_mm),
    }
}

/// What an explanation is called in the table.
const TITLES: [&str; 7] = [
    "stalls predicted",
    "regular along the job",
    "regular in x or y",
    "regular in height",
    "the seam",
    "corners",
    "shortest moves",
];

/// The text, in at most 80 columns; `strong` sets the first sentence off.
pub fn report(table: &ExplainTable, strong: &dyn Fn(&str) -> String) -> String {
    let mut out = String::new();
    for part in table.all() {
        if let Some(number) = part.part.filter(|_| table.parts.len() > 1) {
            let _ = writeln!(out, "part {number}");
        }
        tell(&mut out, table, part, strong);
    }
    out
}

fn tell(out: &mut String, table: &ExplainTable, part: &PartTable, strong: &dyn Fn(&str) -> String) {
    let mut sentences = part.verdict.iter();
    for line in sentences.next().into_iter().flat_map(|s| wrap(s, 80)) {
        let _ = writeln!(out, "{}", strong(&line));
    }
    let rest: Vec<&str> = sentences.map(String::as_str).collect();
    for line in wrap(&rest.join(" "), 80) {
        let _ = writeln!(out, "{line}");
    }
    let [from, to, low, high] = part.window;
    let around = match to - from {
        turn if turn >= 360.0 => "all around".to_string(),
        _ => format!(
            "{:.0} to {:.0} degrees",
            from.rem_euclid(360.0),
            to.rem_euclid(360.0)
        ),
    };
    let _ = writeln!(
        out,
        "\njob       {}\nboard     {}\nbumps     {}, {around}, {} to {} mm\n",
        table.job,
        table.board,
        count(part.bumps as u64, "bump"),
        fixed(low, 1),
        fixed(high, 1),
    );
    let _ = writeln!(
        out,
        "  {:<22}{:>7}{:>10}{:>8}  found in *   answer",
        "explanation", "p", "adjusted", "share"
    );
    for (row, name) in part.explanations.iter().zip(Name::ALL) {
        let answer = match (row.state, row.with) {
            ("named", _) => "agrees".to_string(),
            ("not_apart", Some(with)) => format!("as well as {with}"),
            ("explained", Some(with)) => format!("explained by {with}"),
            ("not_tested", _) => {
                let _ = writeln!(
                    out,
                    "  {:<22}{}",
                    TITLES[name as usize],
                    explained::why_untested(name)
                );
                continue;
            }
            _ if row.loglik.is_some() => "too weak to name".to_string(),
            _ if row.power.is_none() && explained::has_place(name) => {
                "not found: none where you looked".to_string()
            }
            _ => "not found".to_string(),
        };
        let _ = writeln!(
            out,
            "  {:<22}{:>7}{:>10}{:>8}  {:<12} {answer}",
            TITLES[name as usize],
            row.p.map_or(String::new(), |p| format!("{p:.3}")),
            row.p_adjusted.map_or(String::new(), |p| format!("{p:.3}")),
            row.share.map_or(String::new(), share),
            row.power.map_or(String::new(), explained::how_often),
        );
    }
    out.push_str("  * of prints like this, were it true (simulated)\n");
    periods(out, part);
    for (title, lines) in [
        ("mind", &part.notes),
        ("what to do", &part.advice),
        ("to know more", &part.next),
    ] {
        if !lines.is_empty() {
            let _ = writeln!(out, "\n{title}");
        }
        for text in lines {
            for (k, line) in wrap(text, 76).iter().enumerate() {
                let _ = writeln!(out, "{} {line}", if k == 0 { "  -" } else { "   " });
            }
        }
    }
}

fn periods(out: &mut String, part: &PartTable) {
    let Some(clock) = &part.clock else { return };
    let rows = [&clock.time, &clock.lines, &clock.filament];
    for (row, unit) in rows.into_iter().zip(["s", "lines", "mm of filament"]) {
        let Some(periods) = row.as_ref().and_then(|r| r.periods.as_ref()) else {
            continue;
        };
        let ranges: Vec<String> = periods
            .iter()
            .map(|p| format!("{} to {}", explained::digits(p[0]), explained::digits(p[1])))
            .collect();
        let text = format!("periods that fit, {unit}: {}", ranges.join(", "));
        out.push('\n');
        for line in wrap(&text, 78) {
            let _ = writeln!(out, "  {line}");
        }
    }
}
