//! `part.svg`: the part from its layers, with the bumps that will be seen.

use crate::surface::skin::{Part, WallPoint};

use super::bump_marks::{self, Bump, Bumps, colour, crowd, dot, legend, radius};
use super::look::palette::{self, CARD, INK_FAINT};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH, number};
use super::numbers::count;
use super::wall::Caption;

/// Layers whose outlines are drawn.
const LAYERS_MAX: usize = 120;
/// Points drawn.
const POINTS_MAX: usize = 60_000;
/// Bumps drawn, the highest.
const BUMPS_MAX: usize = 4_000;
/// The letters of the parts are left out if there are more parts than this: there is no room for them.
const LETTERS_MAX: usize = 40;
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

/// How the part is seen: millimetres to pixels.
struct View {
    low: [f64; 2],
    high: [f64; 2],
    scale: f64,
    left: f64,
    top: f64,
}

impl View {
    /// All of these points fit below `top`.
    fn of(points: impl Iterator<Item = [f64; 3]> + Clone, top: f64) -> Option<Self> {
        points.clone().next()?;
        let least = |k: usize| points.clone().map(|p| p[k]).fold(f64::MAX, f64::min);
        let most = |k: usize| points.clone().map(|p| p[k]).fold(f64::MIN, f64::max);
        let (low, high) = ([least(0), least(1)], [most(0), most(1)]);
        let size = [0, 1].map(|k| (high[k] - low[k]).max(1e-3));
        let scale = (900.0 / size[0]).min(1000.0 / size[1]);
        Some(View {
            low,
            high,
            scale,
            left: (WIDTH - (high[0] - low[0]) * scale) / 2.0,
            top,
        })
    }

    fn at(&self, p: [f64; 3]) -> (f64, f64) {
        (
            self.left + (p[0] - self.low[0]) * self.scale,
            self.top + (self.high[1] - p[1]) * self.scale,
        )
    }

    fn foot(&self) -> f64 {
        self.top + (self.high[1] - self.low[1]) * self.scale
    }
}

fn wall_seen(w: &WallPoint) -> [f64; 3] {
    seen(f64::from(w.x_mm), f64::from(w.y_mm), f64::from(w.z_mm))
}

/// Draws the part; below 2 MB. `parts`: those to which walls and bumps belong.
pub fn svg(walls: &[WallPoint], parts: &[Part], bumps: &Bumps, caption: &Caption) -> String {
    let line = format!("{} on {}", caption.job, caption.board);
    let description = format!(
        "{} seen from a corner, with {}.",
        match parts.len() {
            0 | 1 => "The whole part".to_string(),
            n => format!("{n} parts"),
        },
        count(bumps.visible, "visible bump")
    );
    let mut picture = Picture::new(&caption.verdict, &line, &description);
    let lettered = (2..=LETTERS_MAX).contains(&parts.len());
    let top = picture.top + if lettered { 56.0 } else { 16.0 };
    let drawn: Vec<&Bump> = bumps.visible().take(BUMPS_MAX).collect();
    let dots = drawn
        .iter()
        .map(|b| seen(b.place_mm[0], b.place_mm[1], b.place_mm[2]));
    let Some(view) = View::of(walls.iter().map(wall_seen).chain(dots), top) else {
        let text = "No outer wall was found, so there is no part to show.";
        let y = picture.paragraph(picture.top + 40.0, Voice::Body, text);
        return picture.finish(y + 10.0);
    };
    outlines(&mut picture, walls, &view);
    let rings = draw_bumps(&mut picture, &drawn, parts, &view);
    if lettered {
        letters(&mut picture, parts, &view);
    }
    let y = view.foot() + 30.0;
    picture.rule(y);
    picture.scale_bar(WIDTH - MARGIN, y + 40.0, 250.0, view.scale);
    let title = bump_marks::title(bumps.visible, bumps.visible_mm, "");
    let most_mm = drawn.first().map_or(0.0, |b| b.bump_mm);
    let mut y = legend(&mut picture, y + 40.0, &title, bumps.visible_mm, most_mm);
    if (drawn.len() as u64) < bumps.visible {
        let text = format!(
            "The {} highest of {} visible bumps are drawn.",
            drawn.len(),
            bumps.visible
        );
        y = picture.paragraph(y, Voice::Note, &text);
    }
    let note = if !rings {
        "Each line is a layer's outer wall."
    } else {
        "Rings are on surfaces turned away from you. Each line is a layer's outer wall."
    };
    let y = picture.paragraph(y, Voice::Note, note);
    picture.finish(y + 4.0)
}

/// The bumps, the highest on top; returns whether any is on the far side.
fn draw_bumps(picture: &mut Picture, drawn: &[&Bump], parts: &[Part], view: &View) -> bool {
    let most_mm = drawn.first().map_or(0.0, |b| b.bump_mm);
    let crowded = crowd(drawn.len());
    let mut rings = false;
    for bump in drawn.iter().rev() {
        let [x, y, z] = bump.place_mm;
        let (u, v) = view.at(seen(x, y, z));
        let r = crowded * radius(bump.bump_mm, most_mm);
        // Towards the eye or on the far side, as seen from the middle of its part; in a hole it is
        // the other way round.
        let part = bump.part.and_then(|p| parts.get(p)).or(parts.first());
        let middle = part.map_or([0.0; 2], |p| {
            [0, 1].map(|k| (p.low_mm[k] + p.high_mm[k]) / 2.0)
        });
        let towards = seen(x - middle[0], y - middle[1], 0.0)[2];
        let front = (towards >= 0.0) == bump.outer;
        let colour = colour(bump.bump_mm, most_mm);
        if front {
            picture.add(&dot(u, v, r, &colour));
        } else {
            rings = true;
            picture.add(&format!(
                "<circle class=\"bump\" cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"2\"/>",
                number(u), number(v), number(r)
            ));
        }
    }
    rings
}

/// Each part's letter, above it.
fn letters(picture: &mut Picture, parts: &[Part], view: &View) {
    for part in parts {
        let middle = |k: usize| (part.low_mm[k] + part.high_mm[k]) / 2.0;
        let (x, _) = view.at(seen(middle(0), middle(1), part.high_mm[2]));
        // Its rearmost edge is the highest.
        let (_, y) = view.at(seen(middle(0), part.high_mm[1], part.high_mm[2]));
        let x = x.clamp(MARGIN, WIDTH - MARGIN);
        let half = Voice::Strong.width(&part.letter) / 2.0 + 9.0;
        picture.add(&format!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"34\" rx=\"8\" fill=\"{CARD}\" stroke=\"{INK_FAINT}\"/>",
            number(x - half), number(y - 46.0), number(2.0 * half)
        ));
        picture.say(x, y - 20.0, Voice::Strong, Anchor::Middle, &part.letter);
    }
}

/// Some layers' outlines, in a calm ink.
fn outlines(picture: &mut Picture, walls: &[WallPoint], view: &View) {
    if walls.is_empty() {
        return;
    }
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
            let (x, y) = view.at(wall_seen(w));
            path += &format!(
                "{}{} {}",
                if w.starts || k == 0 { "M " } else { "L" },
                number((x * 10.0).round() / 10.0),
                number((y * 10.0).round() / 10.0)
            );
        }
        picture.add(&format!(
            "<path class=\"layer\" d=\"{path}\" fill=\"none\" stroke=\"{}\" stroke-width=\"1.6\" stroke-opacity=\"0.8\"/>",
            palette::hex(palette::speed(1.0))
        ));
    }
}
