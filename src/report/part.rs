//! `part.svg`: the part from its layers, with the bumps that will be seen.

use crate::surface::skin::WallPoint;

use super::look::palette::{self, CARD};
use super::look::picture::{MARGIN, Picture, Voice, WIDTH, number};
use super::numbers::count;
use super::wall::{Bump, Caption, colour, crowd, legend, parts, radius};

/// Layers whose outlines are drawn.
const LAYERS_MAX: usize = 120;
/// Points drawn.
const POINTS_MAX: usize = 60_000;
/// Bumps drawn, the largest.
const BUMPS_MAX: usize = 4_000;
/// Turn about the upright, and tilt, rad.
const TURN: f64 = 0.45;
const TILT: f64 = 0.42;

/// A point seen in parallel: right, up, towards the eye; mm.
fn seen(x: f64, y: f64, z: f64) -> [f64; 3] {
    let (right, back) = (
        x * TURN.cos() - y * TURN.sin(),
        x * TURN.sin() + y * TURN.cos(),
    );
    [
        right,
        z * TILT.cos() + back * TILT.sin(),
        z * TILT.sin() - back * TILT.cos(),
    ]
}

/// Draws the part; below 2 MB.
pub fn svg(walls: &[WallPoint], bumps: &[Bump], caption: &Caption) -> String {
    let line = format!("{} on {}", caption.job, caption.board);
    let description = format!(
        "The whole part seen from a corner, with {}.",
        count(bumps.len() as u64, "visible bump")
    );
    let mut picture = Picture::new(&caption.verdict, &line, &description);
    let flat = |w: &WallPoint| seen(f64::from(w.x_mm), f64::from(w.y_mm), f64::from(w.z_mm));
    let Some(first) = walls.first().map(flat) else {
        let text = "Nothing is printed: there is no part to show.";
        let y = picture.paragraph(picture.top + 40.0, Voice::Body, text);
        return picture.finish(y + 10.0);
    };
    let (mut low, mut high) = (first, first);
    for w in walls {
        for (axis, v) in flat(w).into_iter().enumerate() {
            low[axis] = low[axis].min(v);
            high[axis] = high[axis].max(v);
        }
    }
    let scale = (900.0 / (high[0] - low[0]).max(1e-3)).min(1000.0 / (high[1] - low[1]).max(1e-3));
    let left = (WIDTH - (high[0] - low[0]) * scale) / 2.0;
    let top = picture.top + 16.0;
    let at = |p: [f64; 3]| {
        (
            left + (p[0] - low[0]) * scale,
            top + (high[1] - p[1]) * scale,
        )
    };
    outlines(&mut picture, walls, &at);
    let most_mm = bumps.iter().map(|b| b.bump_mm).fold(0.0, f64::max);
    let parts = parts(walls);
    let mut order: Vec<&Bump> = bumps.iter().collect();
    order.sort_by(|a, b| b.bump_mm.total_cmp(&a.bump_mm));
    order.truncate(BUMPS_MAX);
    let crowded = crowd(order.len());
    let mut rings = false;
    for bump in order.into_iter().rev() {
        let [x, y, z] = bump.place_mm;
        let (u, v) = at(seen(x, y, z));
        let r = crowded * radius(bump.bump_mm, most_mm);
        // Towards the eye or on the far side, as seen from the middle of its part; in a hole it is
        // the other way round.
        let middle = parts
            .iter()
            .find(|p| p.has(x, y))
            .or(parts.first())
            .map_or([0.0; 2], |p| p.middle);
        let towards = seen(x - middle[0], y - middle[1], 0.0)[2];
        let front = (towards >= 0.0) == bump.outer;
        rings |= !front;
        let (fill, edge) = if front {
            (colour(bump.bump_mm, most_mm), CARD.to_string())
        } else {
            ("none".to_string(), palette::INK_FAINT.to_string())
        };
        picture.add(&format!(
            "<circle class=\"bump\" cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{fill}\" stroke=\"{edge}\" stroke-width=\"1.5\"/>",
            number(u), number(v), number(r)
        ));
    }
    let y = top + (high[1] - low[1]) * scale + 30.0;
    picture.rule(y);
    picture.scale_bar(WIDTH - MARGIN, y + 40.0, 250.0, scale);
    let y = legend(&mut picture, y + 40.0, bumps, most_mm, caption.visible_mm);
    let note = if !rings {
        "Each line is a layer's outer wall."
    } else {
        "Rings lie on the far side. Each line is a layer's outer wall."
    };
    let y = picture.paragraph(y, Voice::Note, note);
    picture.finish(y + 4.0)
}

/// Some layers' outlines, in a calm ink.
fn outlines(picture: &mut Picture, walls: &[WallPoint], at: &dyn Fn([f64; 3]) -> (f64, f64)) {
    let mut layers: Vec<&[WallPoint]> = walls.chunk_by(|a, b| a.z_mm == b.z_mm).collect();
    let each = layers.len().div_ceil(LAYERS_MAX);
    let last = layers.len() - 1;
    let mut k = 0;
    layers.retain(|_| {
        k += 1;
        (k - 1) % each == 0 || k - 1 == last
    });
    let points: usize = layers.iter().map(|l| l.len()).sum();
    let skip = points.div_ceil(POINTS_MAX);
    for layer in layers {
        let mut path = String::new();
        for (k, w) in layer.iter().enumerate() {
            if !w.starts && !k.is_multiple_of(skip) && k + 1 < layer.len() {
                continue;
            }
            let (x, y) = at(seen(
                f64::from(w.x_mm),
                f64::from(w.y_mm),
                f64::from(w.z_mm),
            ));
            path += &format!(
                "{}{} {}",
                if w.starts || k == 0 { "M " } else { "L" },
                number((x * 10.0).round() / 10.0),
                number((y * 10.0).round() / 10.0)
            );
        }
        // Filled with the card, so that a layer covers what lies below and behind it.
        picture.add(&format!(
            "<path class=\"layer\" d=\"{path}\" fill=\"none\" stroke=\"{}\" stroke-width=\"1.6\" stroke-opacity=\"0.8\"/>",
            palette::hex(palette::speed(1.0))
        ));
    }
}
