//! `compare.svg`: visible bumps by setting as bars, intervals drawn; where no bump can be seen, lost time, causes
//! stacked.

use crate::replay::cause::{Cause, PerCause};

use super::comparison::{Comparison, Row, short};
use super::look::chart::{AXIS, Chart, Frame, plain, seconds};
use super::look::palette::{self, CARD, INK, INK_FAINT, INK_SOFT};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH, number};
use super::numbers::{count, time};
use super::text::{shortened, wrap_evenly};

const LEFT: f64 = 340.0;
/// From a bar's end to its numbers.
const GAP: f64 = 14.0;
const ROW: f64 = 62.0;
/// Height of a bar.
const BAR: f64 = 40.0;
/// Height of a job's name.
const NAME: f64 = 44.0;
/// Rows drawn.
const ROWS_MAX: usize = 30;

/// Draws the comparison.
pub fn svg(c: &Comparison) -> String {
    let jobs: Vec<&str> = c.jobs.iter().map(|j| j.job.as_str()).collect();
    let by = By::of(&c.rows);
    let line = format!("{} of {}", by.name(), shortened(&jobs.join(", "), 60));
    let description = c
        .rows
        .iter()
        .take(ROWS_MAX)
        .map(|r| {
            format!(
                "{}: {:.0} visible bumps, {} lost, {:.0} stalls.",
                r.setting,
                r.visible.round(),
                time(r.lost_s),
                r.stalls.round()
            )
        })
        .collect::<Vec<_>>()
        .join(" ");
    let mut picture = Picture::new(&c.verdict, &line, &description);
    let rows = &c.rows[..c.rows.len().min(ROWS_MAX)];
    let reach = |r: &Row| {
        by.interval(r)
            .map_or(by.value(r), |i| i[2].max(by.value(r)))
    };
    let most = rows.iter().map(reach).fold(0.0, f64::max).max(1e-3);
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
        .map(|row| Voice::Strong.width(&by.outcome(row)))
        .fold(0.0, f64::max);
    let frame = Frame {
        left: LEFT,
        right: (WIDTH - MARGIN - GAP - widest).max(LEFT + 100.0).round(),
        top: picture.top + 10.0,
        height: y,
    };
    let mut chart = Chart::new(&mut picture, frame, 0.0..most, y..0.0);
    match by {
        By::Bumps => chart.x_axis(&plain(most)),
        By::Lost => chart.x_axis(&seconds(most)),
    }
    chart.line("", INK_FAINT, 2.0, [(0.0, 0.0), (0.0, y)]);
    for (row, is_new, y) in places {
        if is_new {
            let by = (MARGIN - LEFT, -(ROW + NAME) / 2.0);
            let name = shortened(&row.job, 50);
            chart.label((0.0, y), by, Voice::Strong, Anchor::Start, &name);
        }
        bar(&mut chart, row, y, by);
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
    y = legend(&mut picture, c, y, by);
    picture.finish(y + 4.0)
}

/// What the bars stand for.
#[derive(Clone, Copy, PartialEq, Eq)]
enum By {
    /// Visible bumps.
    Bumps,
    /// Lost time, where no bump can be seen.
    Lost,
}

impl By {
    fn of(rows: &[Row]) -> Self {
        if rows.iter().any(|r| r.visible > 0.0) {
            By::Bumps
        } else {
            By::Lost
        }
    }

    fn name(self) -> &'static str {
        match self {
            By::Bumps => "visible bumps",
            By::Lost => "lost time",
        }
    }

    fn value(self, row: &Row) -> f64 {
        match self {
            By::Bumps => row.visible,
            By::Lost => row.lost_s,
        }
    }

    /// The interval of a bar, with the value in its middle.
    fn interval(self, row: &Row) -> Option<[f64; 3]> {
        match self {
            By::Bumps => Some([row.visible_low?, row.visible, row.visible_high?]),
            By::Lost => Some([row.lost_low_s?, row.lost_s, row.lost_high_s?]),
        }
    }

    /// What a setting came to: `12 bumps · 4.5 s lost`, `4.5 s · 76 stalls`.
    fn outcome(self, row: &Row) -> String {
        match self {
            _ if row.lost_s == 0.0 && row.stalls == 0.0 => "no stall".to_string(),
            By::Bumps => {
                let bumps = match row.visible.round() as u64 {
                    0 => "no bump".to_string(),
                    n => count(n, "bump"),
                };
                format!("{bumps} · {} lost", time(row.lost_s))
            }
            By::Lost => {
                let stalls = count(row.stalls.round() as u64, "stall");
                format!("{} · {stalls}", time(row.lost_s))
            }
        }
    }
}

/// One setting: its name, its bar, its interval, its numbers. `y`: the bar's middle.
fn bar(chart: &mut Chart, row: &Row, y: f64, by: By) {
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
    match by {
        By::Bumps if row.visible > 0.0 => {
            let across = y - BAR / 2.0..y + BAR / 2.0;
            chart.bars("bumps", INK_SOFT, [(0.0..row.visible, across)]);
        }
        By::Bumps => {}
        By::Lost => stack(chart, row, y),
    }
    let mut end = by.value(row);
    if let Some(interval) = by.interval(row)
        && chart.px_along_x(interval[2] - interval[0]) > 2.0
    {
        // Below the causes' names.
        chart.interval("interval", INK, y + BAR / 2.0 + 3.0, interval);
        end = end.max(interval[2]);
    }
    let label = by.outcome(row);
    chart.label((end, y), (GAP, 0.0), Voice::Strong, Anchor::Start, &label);
}

/// The bar itself: as long as the median, divided by the causes' shares of the first run; a negative share is not drawn.
fn stack(chart: &mut Chart, row: &Row, y: f64) {
    let across = y - BAR / 2.0..y + BAR / 2.0;
    let causes = row.by_cause_s().unwrap_or_default();
    let causes = PerCause::from_fn(|c| causes[c].max(0.0));
    let all_s: f64 = causes.sum();
    if all_s <= 0.0 {
        if row.lost_s > 0.0 {
            chart.bars("cause", INK_SOFT, [(0.0..row.lost_s, across)]);
        }
        return;
    }
    let mut from_s = 0.0;
    let mut before = 0.0;
    for cause in Cause::ALL {
        let to_s = from_s + causes[cause] / all_s * row.lost_s;
        let wide = chart.px_along_x(to_s - from_s);
        if wide >= 0.5 {
            let colour = palette::cause(cause);
            chart.bars("cause", &colour, [(from_s..to_s, across.clone())]);
            if f64::min(wide, before) > 4.0 {
                let ends = [(from_s, across.start), (from_s, across.end)];
                chart.line("", CARD, 2.0, ends);
            }
            if wide > Voice::Note.width(cause.name()) + 8.0 {
                let ink = palette::cause_ink(cause);
                let at = ((from_s + to_s) / 2.0, y);
                let name = cause.name();
                chart.label_in(ink, at, (0.0, 0.0), Voice::Note, Anchor::Middle, name);
            }
            before = wide;
        }
        from_s = to_s;
    }
}

fn legend(picture: &mut Picture, c: &Comparison, mut y: f64, by: By) -> f64 {
    let present = |cause: Cause| {
        let share = |r: &Row| {
            r.by_cause_s()
                .is_some_and(|all| all[cause] > 0.02 * r.lost_s)
        };
        by == By::Lost && c.rows.iter().any(share)
    };
    for cause in Cause::ALL.into_iter().filter(|c| present(*c)) {
        y = cause_key(picture, y, cause, cause.about().what);
    }
    if c.runs > 1 {
        let causes = match by {
            By::Bumps => "",
            By::Lost => " Causes: shares of the first run.",
        };
        let note = format!(
            "Medians of {} runs; brackets: 95 % confidence intervals.{causes}",
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
        palette::cause(cause)
    ));
    let label = format!("{}: {what}", cause.name());
    picture.say(MARGIN + 42.0, y, Voice::Body, Anchor::Start, &label);
    y + 38.0
}
