//! What a fit found, in words and as JSON.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::study::fit::compare_times::Difference;
use crate::study::fit::fitting::{Fit, Found, Residual, State};
use crate::study::fit::keys::Key;

use super::numbers::{count, time};
use super::text::wrap;

const COLUMNS: usize = 80;

/// What the command was given.
#[derive(Clone, Debug)]
pub struct Given {
    /// The coupon's file.
    pub coupon: String,
    /// The file of times, or the recording.
    pub times: String,
    /// The start board, by name or file.
    pub board: String,
    /// Names of the coupon's sections; empty where they have none.
    pub names: Vec<String>,
    /// What limits of this program have cut in the coupon, and in jobs.
    pub warnings: Vec<String>,
}

/// Where a fitted board comes from, for its file.
pub fn origin(given: &Given) -> String {
    format!(
        "Fitted to the times {} of the coupon {}, from the board {}.",
        given.times, given.coupon, given.board
    )
}

/// Lost seconds of a job on the fitted board.
#[derive(Clone, Debug, Serialize)]
pub struct JobLoss {
    /// The job.
    pub job: String,
    /// Median over draws of the posterior and the board's luck, s.
    pub lost_s: f64,
    /// The 95 % interval, s.
    pub low: f64,
    /// The 95 % interval, s.
    pub high: f64,
}

#[derive(Serialize)]
struct Json<'a> {
    program: &'static str,
    coupon: &'a str,
    times: &'a str,
    board: &'a str,
    verdict: Vec<String>,
    keys: BTreeMap<&'static str, KeyRow>,
    costs: BTreeMap<&'static str, [f64; 3]>,
    clock: [f64; 3],
    sections: Vec<SectionRow<'a>>,
    jobs: &'a [JobLoss],
    keeps_up: bool,
    misfit: f64,
    replays: usize,
    rounds: usize,
    warnings: &'a [String],
}

#[derive(Serialize)]
struct KeyRow {
    start: f64,
    value: f64,
    low: f64,
    high: f64,
    unit: &'static str,
    state: &'static str,
}

#[derive(Serialize)]
struct SectionRow<'a> {
    section: usize,
    run: usize,
    name: &'a str,
    measured_s: f64,
    fitted_s: f64,
    sigma_s: f64,
    odd: bool,
}

/// A state's name in tables.
fn state_name(state: State) -> &'static str {
    match state {
        State::Learnt => "learnt",
        State::AtMost => "at most",
        State::AtLeast => "at least",
        State::Moved => "moved",
        State::Kept => "kept",
    }
}

/// The result as JSON.
pub fn json(fit: &Fit, given: &Given, jobs: &[JobLoss]) -> String {
    let key = |f: &Found| {
        let row = KeyRow {
            start: f.start,
            value: f.value,
            low: f.interval[0],
            high: f.interval[1],
            unit: f.key.unit(),
            state: state_name(f.state),
        };
        (f.key.name(), row)
    };
    let section = |r: &Residual| SectionRow {
        section: r.reading.section + 1,
        run: r.reading.run + 1,
        name: given
            .names
            .get(r.reading.section)
            .map_or("", String::as_str),
        measured_s: r.reading.seconds,
        fitted_s: r.fitted_s,
        sigma_s: r.reading.sigma_s,
        odd: r.odd,
    };
    let all = Json {
        program: concat!("headstall ", env!("CARGO_PKG_VERSION")),
        coupon: &given.coupon,
        times: &given.times,
        board: &given.board,
        verdict: verdict(fit, given),
        keys: fit.keys.iter().map(key).collect(),
        costs: fit.costs.iter().map(|c| (c.name, c.value)).collect(),
        clock: fit.clock,
        sections: fit.residuals.iter().map(section).collect(),
        jobs,
        keeps_up: fit.keeps_up,
        misfit: fit.misfit,
        replays: fit.replays,
        rounds: fit.rounds,
        warnings: &given.warnings,
    };
    let mut text = serde_json::to_string_pretty(&all).expect("plain data");
    text.push('\n');
    text
}

/// The answer in sentences: how well the times fit, and what was set aside.
fn verdict(fit: &Fit, given: &Given) -> Vec<String> {
    let sound: Vec<&Residual> = fit.residuals.iter().filter(|r| !r.odd).collect();
    let off = |r: &&Residual| (r.reading.seconds - r.fitted_s).abs();
    let largest = sound.iter().map(off).fold(0.0, f64::max);
    let learnt = fit.keys.iter().filter(|k| k.state == State::Learnt).count();
    let all = if sound.len() == fit.residuals.len() {
        "all"
    } else {
        "the other"
    };
    let mut lines = vec![format!(
        "{} of {} learnt; the fitted board has {all} {} within {}.",
        count(learnt as u64, "key"),
        fit.keys.len(),
        count(sound.len() as u64, "reading"),
        time(largest),
    )];
    for odd in fit.residuals.iter().filter(|r| r.odd) {
        let name = section_name(odd.reading.section, &given.names);
        lines.push(format!(
            "{name}: {:.2} s does not fit the others ({:.2} s). It was set aside; time it again.",
            odd.reading.seconds, odd.fitted_s
        ));
    }
    if fit.keeps_up {
        lines.push(
            "This board keeps up with all of the coupon: the times give only bounds, it is at least so fast."
                .to_string(),
        );
    }
    lines.push(
        "This was a dry run: what heating control costs the board while it prints is not in these numbers.".to_string(),
    );
    lines
}

/// `section 5 (chords of 0.03 mm)`.
fn section_name(section: usize, names: &[String]) -> String {
    match names.get(section) {
        Some(name) if !name.is_empty() => format!("Section {} ({name})", section + 1),
        _ => format!("Section {}", section + 1),
    }
}

/// What the times say of a key, in words.
pub fn said_of(found: &Found) -> String {
    let [low, high] = found.interval.map(|v| short(v, 3));
    let start = short(found.start, 3);
    match found.state {
        State::Learnt => format!("95 % interval {low} to {high}; start {start}"),
        State::AtMost => format!("at most {high} (97.5 %); start {start}"),
        State::AtLeast => format!("at least {low} (97.5 %); start {start}"),
        State::Moved => {
            format!("not learnt alone, it moved with others ({low} to {high}); start {start}")
        }
        State::Kept if found.key == Key::LowWater && found.value != found.start => {
            format!("not learnt from this: its share of queue.blocks was kept; start {start}")
        }
        State::Kept => "not learnt from this: the start value was kept".to_string(),
    }
}

/// What limits of this program have cut, a paragraph each.
fn warnings(given: &Given) -> String {
    let of = |w: &String| wrap(&format!("Warning: {w}."), COLUMNS).join("\n") + "\n";
    given.warnings.iter().map(of).collect()
}

/// The report for the terminal.
pub fn told(fit: &Fit, given: &Given, jobs: &[JobLoss]) -> String {
    let mut text = String::new();
    for line in verdict(fit, given) {
        text += &wrap(&line, COLUMNS).join("\n");
        text.push('\n');
    }
    text += &warnings(given);
    text.push('\n');
    let learnt_first = [
        State::Learnt,
        State::AtMost,
        State::AtLeast,
        State::Moved,
        State::Kept,
    ];
    for state in learnt_first {
        for found in fit.keys.iter().filter(|k| k.state == state) {
            let value = short(found.value, 3);
            text += &row(
                found.key.name(),
                &format!("{value} {}", found.key.unit()),
                &said_of(found),
            );
        }
    }
    text += "\nWhole costs, which are known better than their parts (median, 95 % interval):\n";
    for cost in &fit.costs {
        let [middle, low, high] = cost.value.map(|v| short(v, 3));
        text += &format!("  {}: {middle} ({low} to {high})\n", cost.name);
    }
    text += "\nSections, as read and as the fitted board takes them:\n";
    for residual in &fit.residuals {
        let name = given
            .names
            .get(residual.reading.section)
            .map_or("", String::as_str);
        text += &format!(
            "  {:>2} {:<50} {:>8.2} s {:>8.2} s{}\n",
            residual.reading.section + 1,
            name,
            residual.reading.seconds,
            residual.fitted_s,
            if residual.odd { "  set aside" } else { "" }
        );
    }
    for job in jobs {
        text += &format!(
            "\n{}: {} lost on this board (95 % interval {} to {}, board and luck together).\n",
            job.job,
            time(job.lost_s),
            time(job.low),
            time(job.high)
        );
    }
    text
}

fn row(name: &str, value: &str, said: &str) -> String {
    let head = format!("  {name:<20} {value:<18} ");
    let mut text = String::new();
    for (k, line) in wrap(said, COLUMNS - head.len().min(COLUMNS / 2))
        .iter()
        .enumerate()
    {
        let lead = if k == 0 {
            head.clone()
        } else {
            " ".repeat(head.len())
        };
        text += &format!("{lead}{line}\n");
    }
    text
}

/// A number with this many significant digits, without idle zeros.
pub fn short(value: f64, digits: usize) -> String {
    let rounded: f64 = format!("{value:.*e}", digits - 1).parse().unwrap_or(value);
    format!("{rounded}")
}

/// Two lists of times, set side by side.
pub fn differences(all: &[Difference], given: &Given, files: [&str; 2]) -> String {
    let differing: Vec<&Difference> = all.iter().filter(|d| d.differs).collect();
    let mut text = match differing.len() {
        0 => format!(
            "No significant difference between {} and {} in {} (p-values adjusted for that many, 5 %).\n",
            files[0],
            files[1],
            count(all.len() as u64, "section")
        ),
        n => format!(
            "{} of {} differ between {} and {} (p-values adjusted for that many, 5 %):\n\n",
            n,
            count(all.len() as u64, "section"),
            files[0],
            files[1]
        ),
    };
    for d in &differing {
        let name = section_name(d.section, &given.names);
        let more = if d.change_s > 0.0 {
            "longer"
        } else {
            "shorter"
        };
        text += &format!(
            "  {name}: {:.2} s, then {:.2} s: {:.2} s {more} (p = {}).\n",
            d.seconds[0],
            d.seconds[1],
            d.change_s.abs(),
            short(d.p_adjusted.max(1e-9), 2)
        );
        if let Some(what) = d.points_to {
            text += &format!("    It points to {what}.\n");
        }
    }
    text + &warnings(given)
}

/// The same as JSON.
pub fn differences_json(all: &[Difference], given: &Given) -> String {
    let row = |d: &Difference| {
        serde_json::json!({
            "section": d.section + 1,
            "name": given.names.get(d.section),
            "first_s": d.seconds[0],
            "second_s": d.seconds[1],
            "change_s": d.change_s,
            "deviation_s": d.deviation_s,
            "p_adjusted": d.p_adjusted,
            "differs": d.differs,
            "points_to": d.points_to,
        })
    };
    let rows: Vec<serde_json::Value> = all.iter().map(row).collect();
    format!(
        "{:#}\n",
        serde_json::json!({
            "program": concat!("headstall ", env!("CARGO_PKG_VERSION")),
            "sections": rows,
            "warnings": given.warnings,
        })
    )
}

/// The sentence about a key for the board file's comments; `None` for a key that was not asked for.
pub fn comment(fit: &Fit, key: Key) -> Option<String> {
    let found = fit.keys.iter().find(|f| f.key == key)?;
    Some(match found.state {
        State::Learnt => format!("fitted: {}", said_of(found)),
        _ => said_of(found),
    })
}
