//! `compare.svg`: lost time by setting as bars, causes stacked, intervals drawn.

use crate::replay::world::Cause;

use super::comparison::{Comparison, Row, shortened};
use super::numbers::time;
use super::palette::{self, CARD, INK, INK_FAINT, INK_SOFT};
use super::svg::{Picture, number, round_length};

const WIDTH: f64 = 1000.0;
const LEFT: f64 = 330.0;
const RIGHT: f64 = 770.0;
const ROW: f64 = 58.0;
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
                r.stalls
            )
        })
        .collect::<Vec<_>>()
        .join(" ");
    let mut picture = Picture::new(WIDTH, &c.verdict, &line, &description);
    let reach = |r: &Row| r.lost_high_s.unwrap_or(r.lost_s).max(r.lost_s);
    let most_s = c.rows.iter().map(reach).fold(0.0, f64::max).max(1e-3);
    let x = |s: f64| LEFT + (RIGHT - LEFT) * s / most_s;
    let mut y = picture.top + 10.0;
    let top = y;
    let several = c.jobs.len() > 1;
    let mut job = "";
    let heads = if several { c.jobs.len() } else { 0 };
    let foot = top + ROW * c.rows.len().min(ROWS_MAX) as f64 + 38.0 * heads as f64;
    // The axis: its start and one round length, in words.
    let tick_s = round_length(most_s);
    for (s, label) in [(0.0, "0".to_string()), (tick_s, time(tick_s))] {
        let at = number(x(s));
        picture.add(&format!(
            "<path d=\"M{at} {}V{}\" stroke=\"{INK_FAINT}\" stroke-width=\"1.5\"/>",
            number(top),
            number(foot)
        ));
        picture.text(x(s), foot + 28.0, 22.0, "400", INK_SOFT, "middle", &label);
    }
    for row in c.rows.iter().take(ROWS_MAX) {
        if several && row.job != job {
            job = &row.job;
            y += 38.0;
            picture.text(
                40.0,
                y - 8.0,
                24.0,
                "700",
                INK,
                "start",
                &shortened(job, 50),
            );
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
        picture.text(40.0, y, 22.0, "400", INK_SOFT, "start", &note);
        y += 34.0;
    }
    y = legend(&mut picture, c, y);
    picture.finish(y + 20.0)
}

fn bar(picture: &mut Picture, row: &Row, y: f64, x: &dyn Fn(f64) -> f64) {
    picture.text(
        LEFT - 16.0,
        y + 32.0,
        23.0,
        "400",
        INK,
        "end",
        &shortened(&row.setting, 24),
    );
    let (top, high) = (y + 8.0, 34.0);
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
            if wide > 11.5 * cause.name().len() as f64 + 10.0 {
                let ink = palette::cause_ink(cause as usize);
                picture.text(
                    x(from) + wide / 2.0,
                    top + 24.0,
                    19.0,
                    "400",
                    ink,
                    "middle",
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
        let middle = top + high / 2.0;
        picture.add(&format!(
            "<path d=\"M{} {}H{}\" stroke=\"{CARD}\" stroke-width=\"8\"/>",
            number(x(low) - 3.0),
            number(middle),
            number(x(high_s) + 3.0)
        ));
        picture.add(&format!(
            "<path class=\"interval\" d=\"M{0} {1}v12M{0} {2}H{3}M{3} {1}v12\" stroke=\"{INK}\" stroke-width=\"2.5\" fill=\"none\"/>",
            number(x(low)), number(middle - 6.0), number(middle), number(x(high_s))
        ));
        end = end.max(x(high_s));
    }
    let stalls = if row.stalls.round() == 1.0 {
        "1 stall".to_string()
    } else {
        format!("{:.0} stalls", row.stalls)
    };
    let label = if row.lost_s == 0.0 && row.stalls == 0.0 {
        "no stall".to_string()
    } else {
        format!("{} · {stalls}", time(row.lost_s))
    };
    picture.text(end + 12.0, y + 33.0, 22.0, "700", INK, "start", &label);
}

fn legend(picture: &mut Picture, c: &Comparison, mut y: f64) -> f64 {
    let present = |cause: Cause| {
        let share = |r: &Row| {
            r.by_cause_s()
                .is_some_and(|all| all[cause as usize] > 0.02 * r.lost_s)
        };
        c.rows.iter().any(share)
    };
    let what = [
        "card or wire too slow",
        "card busy with itself, line sent again",
        "state saved for a power cut",
        "display and the like",
        "decoding and planning",
        "planner queue too short",
    ];
    for cause in Cause::ALL.into_iter().filter(|c| present(*c)) {
        picture.add(&format!(
            "<rect x=\"40\" y=\"{}\" width=\"26\" height=\"22\" fill=\"{}\"/>",
            number(y - 18.0),
            palette::cause(cause as usize)
        ));
        let label = format!("{}: {}", cause.name(), what[cause as usize]);
        picture.text(80.0, y, 22.0, "400", INK, "start", &label);
        y += 34.0;
    }
    if c.runs > 1 {
        let note = format!("Medians of {} runs; whiskers hold them with 95 %.", c.runs);
        picture.text(40.0, y, 22.0, "400", INK_SOFT, "start", &note);
        y += 34.0;
    }
    y
}
