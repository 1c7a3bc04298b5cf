//! `fit.svg`: how loud the motors were over time, with the sections marked, so that one sees whether the recording
//! was heard right.

use std::fmt::Write;

use crate::study::fit::sound::{Loudness, Refused};

use super::look::palette::{DONE, GROUND, INK, INK_FAINT};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH, number};
use super::numbers::time;

/// Seconds in a row.
const ROW_S: f64 = 60.0;
/// Heights of a row and of its plot, px.
const ROW: f64 = 84.0;
const PLOT: f64 = 52.0;
/// Points across a row.
const POINTS: usize = 600;

/// What is said of a recording of this name in which a coupon could not be heard.
pub fn refused(refused: &Refused, file: &str) -> String {
    format!(
        "{file}: {}; record again with the telephone on the printer's frame and fans off, from before homing to 5 s after the end, or time the sections by stop-watch",
        refused.why
    )
}

/// The picture. `edges_s`: start and end of each section heard; none where the recording was refused, and then
/// `line` says why.
pub fn svg(loudness: &Loudness, edges_s: &[[f64; 2]], file: &str, line: &str) -> String {
    let heading = if edges_s.is_empty() {
        format!("{file}: not taken")
    } else {
        format!("{file}: {} sections heard", edges_s.len())
    };
    let line = format!(
        "{line} Height: how far the motors stand out from the background; bars: the sections."
    );
    let mut picture = Picture::new(&heading, &line, &line);
    let length_s = loudness.presence.len() as f64 * loudness.hop_s;
    let rows = (length_s / ROW_S).ceil().max(1.0) as usize;
    let top = picture.top + 20.0;
    let mut sorted: Vec<f32> = loudness.presence.clone();
    sorted.sort_by(f32::total_cmp);
    let at = |share: f64| {
        sorted
            .get((share * sorted.len() as f64) as usize)
            .map_or(0.0, |v| f64::from(*v))
    };
    let (low, high) = (at(0.02), at(0.98).max(at(0.02) + 1.0));
    for row in 0..rows {
        let from_s = row as f64 * ROW_S;
        let y = top + row as f64 * ROW;
        draw_row(&mut picture, loudness, from_s, y, [low, high]);
        for (k, [start_s, end_s]) in edges_s.iter().enumerate() {
            let (a, b) = (start_s.max(from_s), end_s.min(from_s + ROW_S));
            if a >= b {
                continue;
            }
            let (x0, x1) = (across(a - from_s), across(b - from_s));
            picture.add(&format!(
                "<path d=\"M {} {}H{}\" stroke=\"{INK}\" stroke-width=\"4\"/>",
                number(x0),
                number(y + PLOT + 5.0),
                number(x1)
            ));
            if *start_s >= from_s {
                let label = (k + 1).to_string();
                picture.say(x0, y + PLOT + 27.0, Voice::Note, Anchor::Start, &label);
            }
        }
    }
    let bottom = top + rows as f64 * ROW + 24.0;
    let scale = format!("each row is {} of the recording", time(ROW_S));
    picture.say(WIDTH - MARGIN, bottom, Voice::Note, Anchor::End, &scale);
    picture.finish(bottom + 26.0)
}

fn across(s: f64) -> f64 {
    MARGIN + s / ROW_S * (WIDTH - 2.0 * MARGIN)
}

/// The loudness of one row as an area.
fn draw_row(
    picture: &mut Picture,
    loudness: &Loudness,
    from_s: f64,
    y: f64,
    [low, high]: [f64; 2],
) {
    let bottom = y + PLOT;
    picture.add(&format!(
        "<rect x=\"{MARGIN}\" y=\"{}\" width=\"{}\" height=\"{PLOT}\" fill=\"{GROUND}\"/>",
        number(y),
        WIDTH - 2.0 * MARGIN
    ));
    let mut path = String::new();
    let mut last = MARGIN;
    for k in 0..POINTS {
        let place =
            |k: usize| ((from_s + k as f64 / POINTS as f64 * ROW_S) / loudness.hop_s) as usize;
        let (from, to) = (place(k), place(k + 1).max(place(k) + 1));
        let Some(part) = loudness
            .presence
            .get(from..to.min(loudness.presence.len()))
            .filter(|p| !p.is_empty())
        else {
            break;
        };
        let mean = part.iter().map(|v| f64::from(*v)).sum::<f64>() / part.len() as f64;
        let height = ((mean - low) / (high - low)).clamp(0.0, 1.0) * PLOT;
        last = across(k as f64 / POINTS as f64 * ROW_S);
        let _ = write!(path, "L{} {}", number(last), number(bottom - height));
    }
    if !path.is_empty() {
        picture.add(&format!(
            "<path d=\"M{MARGIN} {b}{path}L{} {b}Z\" fill=\"{DONE}\"/><path d=\"M{MARGIN} {b}H{}\" stroke=\"{INK_FAINT}\"/>",
            number(last),
            WIDTH - MARGIN,
            b = number(bottom)
        ));
    }
}
