//! `compare.svg`: lost time by setting as bars, causes stacked, intervals drawn.

use crate::replay::world::Cause;

use super::comparison::{Comparison, Row, short};
use super::look::palette::{self, CARD, INK, INK_FAINT, INK_SOFT};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, number, round_length};
use super::numbers::time;
use super::text::{shortened, wrap_evenly};

const LEFT: f64 = 340.0;
const RIGHT: f64 = 690.0;
const ROW: f64 = 62.0;
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
    let reach = |r: &Row| r.lost_high_s.unwrap_or(r.lost_s).max(r.lost_s);
    let most_s = c.rows.iter().map(reach).fold(0.0, f64::max).max(1e-3);
    let x = |s: f64| LEFT + (RIGHT - LEFT) * s / most_s;
    let mut y = picture.top + 10.0;
    let top = y;
    let several = c.jobs.len() > 1;
    let mut job = "";
    let heads = if several { c.jobs.len() } else { 0 };
    let foot = top + ROW * c.rows.len().min(ROWS_MAX) as f64 + NAME * heads as f64;
    // The axis: its start and one round length, in words.
    let tick_s = round_length(most_s);
    for (s, label) in [(0.0, "0".to_string()), (tick_s, time(tick_s))] {
        let at = number(x(s));
        picture.add(&format!(
            "<path d=\"M {at} {}V{}\" stroke=\"{INK_FAINT}\" stroke-width=\"1.5\"/>",
            number(top),
            number(foot)
        ));
        picture.say(x(s), foot + 32.0, Voice::Note, Anchor::Middle, &label);
    }
    for row in c.rows.iter().take(ROWS_MAX) {
        if several && row.job != job {
            job = &row.job;
            y += NAME;
            let name = shortened(job, 50);
            picture.say(MARGIN, y - 8.0, Voice::Strong, Anchor::Start, &name);
        }
        bar(&mut picture, row, y, &x);
        y += ROW;
    }
    y = foot + 80.0;
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

fn bar(picture: &mut Picture, row: &Row, y: f64, x: &dyn Fn(f64) -> f64) {
    // One line, or two small ones.
    let name = short(&row.setting);
    let lines = wrap_evenly(&name, 20);
    if let [name] = lines.as_slice() {
        picture.say(LEFT - 14.0, y + 36.0, Voice::Body, Anchor::End, name);
    } else {
        for (k, line) in wrap_evenly(&name, 21).iter().take(2).enumerate() {
            let y = y + 24.0 + 28.0 * k as f64;
            picture.say(LEFT - 14.0, y, Voice::Note, Anchor::End, line);
        }
    }
    let (top, high) = (y + 8.0, 40.0);
    let causes = row.by_cause_s().unwrap_or([0.0; 6]);
    let helped: f64 = causes.iter().map(|s| s.max(0.0)).sum();
    let mut from = 0.0;
    for cause in Cause::ALL {
        // Shares of the first run, on the median's length; a cause that helps has none.
        let part = if helped > 0.0 {
            causes[cause as usize].max(0.0) / helped * row.lost_s
        } else {
            0.0
        };
        let wide = x(from + part) - x(from);
        if wide >= 0.5 {
            picture.add(&format!(
                "<rect class=\"cause\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{high}\" fill=\"{}\" stroke=\"{CARD}\" stroke-width=\"1.5\"/>",
                number(x(from)), number(top), number(wide), palette::cause(cause as usize)
            ));
            if wide > Voice::Note.width(cause.name()) + 8.0 {
                let ink = palette::cause_ink(cause as usize);
                let middle = x(from) + wide / 2.0;
                picture.say_in(
                    ink,
                    middle,
                    top + 29.0,
                    Voice::Note,
                    Anchor::Middle,
                    cause.name(),
                );
            }
        }
        from += part;
    }
    if helped <= 0.0 && row.lost_s > 0.0 {
        picture.add(&format!(
            "<rect class=\"cause\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{high}\" fill=\"{INK_SOFT}\"/>",
            number(x(0.0)), number(top), number(x(row.lost_s) - x(0.0))
        ));
    }
    let mut end = x(row.lost_s);
    if let (Some(low), Some(high_s)) = (row.lost_low_s, row.lost_high_s)
        && x(high_s) - x(low) > 2.0
    {
        // Below the causes' names.
        let middle = top + high + 6.0;
        picture.add(&format!(
            "<path d=\"M {} {}H{}\" stroke=\"{CARD}\" stroke-width=\"8\"/>",
            number(x(low) - 3.0),
            number(middle),
            number(x(high_s) + 3.0)
        ));
        picture.add(&format!(
            "<path class=\"interval\" d=\"M {0} {1}v12M {0} {2}H{3}M {3} {1}v12\" stroke=\"{INK}\" stroke-width=\"2.5\" fill=\"none\"/>",
            number(x(low)), number(middle - 6.0), number(middle), number(x(high_s))
        ));
        end = end.max(x(high_s));
    }
    let stalls = if row.stalls.round() == 1.0 {
        "1 stall".to_string()
    } else {
        format!("{:.0} stalls", row.stalls.round())
    };
    let label = if row.lost_s == 0.0 && row.stalls == 0.0 {
        "no stall".to_string()
    } else {
        format!("{} · {stalls}", time(row.lost_s))
    };
    picture.say(end + 12.0, y + 37.0, Voice::Strong, Anchor::Start, &label);
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
