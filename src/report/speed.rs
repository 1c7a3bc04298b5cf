//! `speed.svg`: how much of the outer wall was printed at which speed, and on which layers time was lost.

use crate::study::watch::LayerSum;
use crate::surface::skin::SPEED_BINS;
use crate::text::fixed;

use super::look::chart::{AXIS, Chart, Frame, plain, seconds};
use super::look::palette::{self, INK};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH};
use super::numbers::{share, time};
use super::wall::Caption;

/// Room for the labels of the upright axes.
const LEFT: f64 = 150.0;
const RIGHT: f64 = WIDTH - MARGIN;
const HEIGHT: f64 = 260.0;
/// Bars of layers; with more layers each stands for several, by their sum.
const BARS_MAX: usize = 230;

/// Draws both; `wall_mm`: length of wall by speed; `sums`: lost time and height by layer.
pub fn svg(wall_mm: &[f64; SPEED_BINS], sums: &[LayerSum], caption: &Caption) -> String {
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
    let title = "How fast the outer wall was printed, % of its length";
    picture.say(MARGIN, y, Voice::Strong, Anchor::Start, title);
    y += 56.0;
    if all_mm > 0.0 {
        y = speeds(&mut picture, &wall_mm.map(|mm| 100.0 * mm / all_mm), y);
    } else {
        y = picture.paragraph(y, Voice::Body, "No outer wall is printed.");
    }
    y += 60.0;
    let title = "Time lost by layer";
    picture.say(MARGIN, y, Voice::Strong, Anchor::Start, title);
    y += 56.0;
    y = layers(&mut picture, sums, y);
    picture.finish(y)
}

/// A chart's place from here on.
fn frame(top: f64) -> Frame {
    Frame {
        left: LEFT,
        right: RIGHT,
        top,
        height: HEIGHT,
    }
}

fn range(bin: usize) -> String {
    let part = 100 / SPEED_BINS;
    format!("{} to {} % of full speed", bin * part, (bin + 1) * part)
}

/// A histogram of speed over the wall's length, per cent; returns where it ends.
fn speeds(picture: &mut Picture, percent: &[f64; SPEED_BINS], top: f64) -> f64 {
    let frame = frame(top);
    let most = percent.iter().copied().fold(0.0, f64::max);
    let mut chart = Chart::new(picture, frame, 0.0..1.0, 0.0..most);
    chart.y_axis(&|value| format!("{} %", plain(most)(value)));
    for (k, &share) in percent.iter().enumerate().filter(|b| *b.1 > 0.0) {
        let wide = 1.0 / SPEED_BINS as f64;
        let (from, middle) = (k as f64 * wide, (k as f64 + 0.5) * wide);
        // What is there is seen, however little.
        let high = share.max(3.0 * most / HEIGHT);
        let colour = palette::hex(palette::speed(middle));
        let bar = (from + 0.05 * wide..from + 0.95 * wide, 0.0..high);
        chart.bars("speed", &colour, [bar]);
        let label = match share {
            s if s < 0.1 => "<0.1".to_string(),
            s if s < 9.95 => format!("{s:.1}"),
            s => format!("{s:.0}"),
        };
        let at = (middle, high);
        chart.label(at, (0.0, -18.0), Voice::Body, Anchor::Middle, &label);
    }
    chart.x_axis(&|speed| {
        match (speed * 100.0).round() as i64 {
            0 => "stopped",
            50 => "half speed",
            100 => "full speed",
            _ => "",
        }
        .to_string()
    });
    frame.foot() + AXIS
}

/// Lost time over the layers; returns where it ends.
fn layers(picture: &mut Picture, sums: &[LayerSum], top: f64) -> f64 {
    let each = sums.len().div_ceil(BARS_MAX).max(1);
    let bars: Vec<f64> = sums
        .chunks(each)
        .map(|c| c.iter().map(|l| l.lost_s).sum::<f64>().max(0.0))
        .collect();
    let worst_s = bars.iter().copied().fold(0.0, f64::max);
    if worst_s < 5e-4 {
        return picture.paragraph(top, Voice::Body, "Next to none on any layer.");
    }
    let frame = frame(top);
    let (from, to) = (-0.5, bars.len() as f64 - 0.5);
    let mut chart = Chart::new(picture, frame, from..to, 0.0..worst_s);
    chart.y_axis(&seconds(worst_s));
    let bar = |(k, s): (usize, &f64)| (k as f64 - 0.4..k as f64 + 0.4, 0.0..*s);
    let lossy = bars.iter().enumerate().filter(|b| *b.1 > 0.0);
    chart.bars("layer", INK, lossy.map(bar));
    chart.x_axis(&|k| match k {
        k if k.fract() == 0.0 => (k as usize * each).to_string(),
        _ => String::new(),
    });
    let at = bars.iter().position(|s| *s == worst_s).unwrap_or(0);
    let name = match each {
        1 => format!(
            "layer {at} (z {} mm): {}",
            fixed(sums[at].z_mm, 2),
            time(worst_s)
        ),
        _ => {
            let (first, last) = (at * each, ((at + 1) * each).min(sums.len()) - 1);
            format!(
                "layers {first} to {last} (z {} to {} mm): {}",
                fixed(sums[first].z_mm, 2),
                fixed(sums[last].z_mm, 2),
                time(worst_s)
            )
        }
    };
    let above = (at as f64, worst_s);
    chart.label(above, (0.0, -20.0), Voice::Body, Anchor::Middle, &name);
    frame.foot() + AXIS + 16.0
}
