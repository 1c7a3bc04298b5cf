//! `speed.svg`: how much of the outer wall was printed how fast, and on which layers time was lost.

use crate::surface::skin::SPEED_BINS;

use super::look::palette::{self, INK, INK_FAINT};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH, number};
use super::numbers::{share, time};
use super::wall::Caption;

const LEFT: f64 = MARGIN;
const RIGHT: f64 = WIDTH - MARGIN;
const SPEEDS: f64 = 260.0;
const LAYERS: f64 = 260.0;
/// Bars of layers; with more layers each stands for several, by their sum.
const BARS_MAX: usize = 230;

/// Draws both; `wall_mm`: length of wall by speed; `lost_s`: lost time by layer, s.
pub fn svg(wall_mm: &[f64; SPEED_BINS], lost_s: &[f64], caption: &Caption) -> String {
    let line = format!("{} on {}", caption.job, caption.board);
    let all_mm: f64 = wall_mm.iter().sum();
    let description = wall_mm
        .iter()
        .enumerate()
        .filter(|(_, mm)| **mm > 0.0)
        .map(|(k, mm)| format!("{} of the outer wall at {}.", share(mm / all_mm), range(k)))
        .collect::<Vec<_>>()
        .join(" ");
    let mut picture = Picture::new(&caption.verdict, &line, &description);
    let mut y = picture.top + 30.0;
    let title = "How fast the outer wall was printed";
    picture.say(LEFT, y, Voice::Strong, Anchor::Start, title);
    y += 56.0;
    if all_mm > 0.0 {
        y = speeds(&mut picture, wall_mm, all_mm, y);
    } else {
        y = picture.paragraph(y, Voice::Body, "No outer wall is printed.");
    }
    y += 40.0;
    let title = "Time lost by layer";
    picture.say(LEFT, y, Voice::Strong, Anchor::Start, title);
    y += 56.0;
    y = layers(&mut picture, lost_s, y);
    picture.finish(y + 10.0)
}

fn range(bin: usize) -> String {
    let part = 100 / SPEED_BINS;
    format!("{} to {} % of full speed", bin * part, (bin + 1) * part)
}

fn speeds(picture: &mut Picture, wall_mm: &[f64; SPEED_BINS], all_mm: f64, top: f64) -> f64 {
    let most = wall_mm.iter().copied().fold(0.0, f64::max);
    let wide = (RIGHT - LEFT) / SPEED_BINS as f64;
    let foot = top + SPEEDS;
    for (k, mm) in wall_mm.iter().enumerate() {
        let high = SPEEDS * mm / most;
        let left = LEFT + wide * k as f64;
        if *mm > 0.0 {
            // What is there is seen, however little.
            let high = high.max(3.0);
            picture.add(&format!(
                "<rect class=\"speed\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{}\"/>",
                number(left + 4.0),
                number(foot - high),
                number(wide - 8.0),
                number(high),
                palette::hex(palette::speed((k as f64 + 0.5) / SPEED_BINS as f64))
            ));
            let label = match mm / all_mm {
                s if s < 0.001 => "<0.1".to_string(),
                s if s < 0.0995 => format!("{:.1}", 100.0 * s),
                s => format!("{:.0}", 100.0 * s),
            };
            let y = foot - high - 10.0;
            picture.say(left + wide / 2.0, y, Voice::Body, Anchor::Middle, &label);
        }
    }
    line(picture, foot);
    for (part, anchor, label) in [
        (0.0, Anchor::Start, "stopped"),
        (0.5, Anchor::Middle, "half speed"),
        (1.0, Anchor::End, "all that the job allows"),
    ] {
        picture.say(
            LEFT + (RIGHT - LEFT) * part,
            foot + 34.0,
            Voice::Note,
            anchor,
            label,
        );
    }
    let note = "Numbers: per cent of the wall's length.";
    picture.paragraph(foot + 70.0, Voice::Note, note)
}

fn line(picture: &mut Picture, y: f64) {
    picture.add(&format!(
        "<path d=\"M {LEFT} {}H{RIGHT}\" stroke=\"{INK_FAINT}\" stroke-width=\"2\"/>",
        number(y)
    ));
}

fn layers(picture: &mut Picture, lost_s: &[f64], top: f64) -> f64 {
    let each = lost_s.len().div_ceil(BARS_MAX).max(1);
    let bars: Vec<f64> = lost_s
        .chunks(each)
        .map(|c| c.iter().sum::<f64>().max(0.0))
        .collect();
    let worst = bars.iter().copied().fold(0.0, f64::max);
    if worst < 5e-4 {
        return picture.paragraph(top, Voice::Body, "Next to none on any layer.");
    }
    let wide = (RIGHT - LEFT) / bars.len() as f64;
    let foot = top + LAYERS;
    for (k, s) in bars.iter().enumerate().filter(|b| *b.1 > 0.0) {
        picture.add(&format!(
            "<rect class=\"layer\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{INK}\"/>",
            number(LEFT + wide * (k as f64 + 0.1)),
            number(foot - LAYERS * s / worst),
            number(0.8 * wide),
            number(LAYERS * s / worst)
        ));
    }
    line(picture, foot);
    let at = bars.iter().position(|s| *s == worst).unwrap_or(0);
    let name = match each {
        1 => format!("layer {at}: {}", time(worst)),
        _ => format!(
            "layers {} to {}: {}",
            at * each,
            (at + 1) * each - 1,
            time(worst)
        ),
    };
    let half = Voice::Body.width(&name) / 2.0;
    let x = (LEFT + wide * (at as f64 + 0.5)).clamp(LEFT + half, RIGHT - half);
    picture.say(x, top - 12.0, Voice::Body, Anchor::Middle, &name);
    let last = format!("layer {}", lost_s.len().max(1) - 1);
    picture.say(LEFT, foot + 34.0, Voice::Note, Anchor::Start, "layer 0");
    picture.say(RIGHT, foot + 34.0, Voice::Note, Anchor::End, &last);
    foot + 60.0
}
