//! `compare.svg`: lost time by setting as bars, causes stacked, intervals drawn.

use crate::replay::world::Cause;

use super::comparison::{Comparison, Row, short};
use super::look::chart::{AXIS, Chart, Frame, seconds};
use super::look::palette::{self, CARD, INK, INK_FAINT, INK_SOFT};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH, number};
use super::numbers::{count, time};
use super::words::{shortened, wrap_evenly};

const LEFT: f64 = 340.0;
/// From a bar's end to its numbers.
const GAP: f64 = 14.0;
const ROW: f64 = 62.0;
/// Height of a bar.
const BAR: f64 = 40.0;
/// Height of a job's name.
const NAME: f64 = 44.0;
/// The causes, in words.
pub const WHAT: [&str; 6] = [
    "card or wire too slow",
    "card busy with itself, or a line sent again",
    "state saved for a power cut",
    "display, sensors and the like",
    "decoding and planning",
    "planner queue too short",
];
/// Rows drawn.
const ROWS_MAX: usize = 30;

/// Draws the comparison.
pub fn svg(c: &Comparison) -> String {
    let jobs: Vec<&str> = c.jobs.iter().map(|j| j.job.as_str()).collect();
    let line = format!("lost time of {}", shortened(&jobs.join(", "), 60));
    let description = c
        .rows
        .iter()
        .take(ROWS_MAX)
        .map(|r| {
            format!(
                "{}: {} lost, {:.0} stalls.",
                r.setting,
                time(r.lost_s),
                r.stalls.round()
            )
        })
        .collect::<Vec<_>>()
        .join(" ");
    let mut picture = Picture::new(&c.verdict, &line, &description);
    let rows = &c.rows[..c.rows.len().min(ROWS_MAX)];
    let reach = |r: &Row| r.lost_high_s.unwrap_or(r.lost_s).max(r.lost_s);
    let most_s = rows.iter().map(reach).fold(0.0, f64::max).max(1e-3);
    // Each row's place, from the chart's top on, px; a job's name stands over its first.
    let mut places = Vec::new();
    let (mut y, mut job) = (0.0, None);
    for row in rows {
        let is_new = c.jobs.len() > 1 && job != Some(&row.job);
        job = Some(&row.job);
        y += if is_new { NAME } else { 0.0 };
        places.push((row, is_new, y + ROW / 2.0));
        y += ROW;
    }
    // The longest bar leaves room for the longest numbers.
    let widest = rows
        .iter()
        .map(|row| Voice::Strong.width(&outcome(row)))
        .fold(0.0, f64::max);
    let frame = Frame {
        left: LEFT,
        right: (WIDTH - MARGIN - GAP - widest).max(LEFT + 100.0).round(),
        top: picture.top + 10.0,
        height: y,
    };
    let mut chart = Chart::new(&mut picture, frame, 0.0..most_s, y..0.0);
    chart.x_axis(&seconds(most_s));
    chart.line("", INK_FAINT, 2.0, [(0.0, 0.0), (0.0, y)]);
    for (row, is_new, y) in places {
        if is_new {
            let by = (MARGIN - LEFT, -(ROW + NAME) / 2.0);
            let name = shortened(&row.job, 50);
            chart.label((0.0, y), by, Voice::Strong, Anchor::Start, &name);
        }
        bar(&mut chart, row, y);
    }
    drop(chart);
    let mut y = frame.foot() + AXIS + 44.0;
    if c.rows.len() > ROWS_MAX {
        let note = format!(
            "{} more settings are in compare.csv.",
            c.rows.len() - ROWS_MAX
        );
        y = picture.paragraph(y, Voice::Note, &note);
    }
    y = legend(&mut picture, c, y);
    picture.finish(y + 4.0)
}

/// One setting: its name, its bar by causes, its interval, its numbers. `y`: the bar's middle.
fn bar(chart: &mut Chart, row: &Row, y: f64) {
    let name = short(&row.setting);
    // One line, or two small ones.
    let mut lines = wrap_evenly(&name, 20);
    let mut voice = Voice::Body;
    if lines.len() > 1 {
        lines = wrap_evenly(&name, 21);
        lines.truncate(2);
        voice = Voice::Note;
    }
    let first = -14.0 * (lines.len() as f64 - 1.0);
    for (k, line) in lines.iter().enumerate() {
        let by = (-14.0, first + 28.0 * k as f64);
        chart.label((0.0, y), by, voice, Anchor::End, &shortened(line, 21));
    }
    stack(chart, row, y);
    let mut end_s = row.lost_s;
    if let (Some(low_s), Some(high_s)) = (row.lost_low_s, row.lost_high_s)
        && chart.px_along_x(high_s - low_s) > 2.0
    {
        // Below the causes' names.
        chart.interval(
            "interval",
            INK,
            y + BAR / 2.0 + 3.0,
            [low_s, row.lost_s, high_s],
        );
        end_s = end_s.max(high_s);
    }
    let label = outcome(row);
    chart.label((end_s, y), (GAP, 0.0), Voice::Strong, Anchor::Start, &label);
}

/// What a setting came to: `4.5 s · 76 stalls`.
fn outcome(row: &Row) -> String {
    if row.lost_s == 0.0 && row.stalls == 0.0 {
        return "no stall".to_string();
    }
    let stalls = count(row.stalls.round() as u64, "stall");
    format!("{} · {stalls}", time(row.lost_s))
}

/// The bar itself: shares of the first run, on the median's length; a cause that helps has none.
fn stack(chart: &mut Chart, row: &Row, y: f64) {
    let across = y - BAR / 2.0..y + BAR / 2.0;
    let causes = row.by_cause_s().unwrap_or([0.0; 6]).map(|s| s.max(0.0));
    let all_s: f64 = causes.iter().sum();
    if all_s <= 0.0 {
        if row.lost_s > 0.0 {
            chart.bars("cause", INK_SOFT, [(0.0..row.lost_s, across)]);
        }
        return;
    }
    let mut from_s = 0.0;
    let mut before = 0.0;
    for cause in Cause::ALL {
        let to_s = from_s + causes[cause as usize] / all_s * row.lost_s;
        let wide = chart.px_along_x(to_s - from_s);
        if wide >= 0.5 {
            let colour = palette::cause(cause as usize);
            chart.bars("cause", &colour, [(from_s..to_s, across.clone())]);
            if f64::min(wide, before) > 4.0 {
                let ends = [(from_s, across.start), (from_s, across.end)];
                chart.line("", CARD, 2.0, ends);
            }
            if wide > Voice::Note.width(cause.name()) + 8.0 {
                let ink = palette::cause_ink(cause as usize);
                let at = ((from_s + to_s) / 2.0, y);
                let name = cause.name();
                chart.label_in(ink, at, (0.0, 0.0), Voice::Note, Anchor::Middle, name);
            }
            before = wide;
        }
        from_s = to_s;
    }
}

fn legend(picture: &mut Picture, c: &Comparison, mut y: f64) -> f64 {
    let present = |cause: Cause| {
        let share = |r: &Row| {
            r.by_cause_s()
                .is_some_and(|all| all[cause as usize] > 0.02 * r.lost_s)
        };
        c.rows.iter().any(share)
    };
    for cause in Cause::ALL.into_iter().filter(|c| present(*c)) {
        y = cause_key(picture, y, cause, WHAT[cause as usize]);
    }
    if c.runs > 1 {
        let note = format!(
            "Medians of {} runs; brackets hold them with 95 %. Causes: shares of the first run.",
            c.runs
        );
        y = picture.paragraph(y, Voice::Note, &note);
    }
    y
}

/// One line of a key to the causes; returns where the next may stand.
pub fn cause_key(picture: &mut Picture, y: f64, cause: Cause, what: &str) -> f64 {
    picture.add(&format!(
        "<rect x=\"{MARGIN}\" y=\"{}\" width=\"28\" height=\"24\" fill=\"{}\"/>",
        number(y - 21.0),
        palette::cause(cause as usize)
    ));
    let label = format!("{}: {what}", cause.name());
    picture.say(MARGIN + 42.0, y, Voice::Body, Anchor::Start, &label);
    y + 38.0
}
