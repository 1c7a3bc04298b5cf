//! The answer of a comparison in a sentence or two.

use crate::study::compare::FIRM_P;

use super::comparison_rows::{JobRow, Row};
use super::numbers::{count, rate, time};
use super::text::shortened;

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
pub(super) fn any_seen(rows: &[&Row]) -> bool {
    rows.iter().any(|r| r.visible > 0.0)
}

/// The answer: the best setting against the first for each job, and the most demanding job where there are
/// several.
pub(super) fn verdict(rows: &[Row], jobs: &[JobRow]) -> String {
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
