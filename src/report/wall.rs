//! `wall.svg`: the outer wall unrolled like the label of a can: angle across, height up.

use std::collections::BTreeMap;

use crate::surface::bump;
use crate::surface::skin::{Patch, Surface, WallPoint};

use super::look::palette::{self, CARD, GROUND, INK_FAINT};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH, number};
use super::numbers::count;
use super::thick::{THIN_MM, Thick, tints};

/// A bump that will be seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bump {
    /// x, y, z; mm.
    pub place_mm: [f64; 3],
    /// How far it stands proud, mm.
    pub bump_mm: f64,
    /// Whether it is on the outside; else it is on a hole that is open.
    pub outer: bool,
}

impl From<&bump::Bump> for Bump {
    fn from(bump: &bump::Bump) -> Self {
        Bump {
            place_mm: bump.place_mm,
            bump_mm: bump.height_mm,
            outer: bump.surface == Some(Surface::Outer),
        }
    }
}

/// What runs across the wall.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Across {
    /// The angle around the part.
    Angle,
    /// The length along the outer wall, from where its layer begins.
    Length,
}

/// What stands around a picture of the whole part.
#[derive(Clone, Debug)]
pub struct Caption {
    /// The answer in one sentence.
    pub verdict: String,
    /// The job's name.
    pub job: String,
    /// The board's name.
    pub board: String,
    /// Bumps from this height on are drawn, mm.
    pub visible_mm: f64,
    /// What runs across the unrolled wall.
    pub across: Across,
}

const LEFT: f64 = 126.0;
const RIGHT: f64 = WIDTH - MARGIN;
/// Parts drawn side by side.
const PARTS_MAX: usize = 6;
/// Points in neighbouring squares this wide, seen from above, belong to one part, mm.
const APART_MM: f64 = 1.5;
/// A part lower than this share of the tallest is a skirt or the like, and not drawn.
const LOW_SHARE: f64 = 0.1;
/// Marks closer than this are drawn as one, the largest, pixels.
const BIN: f64 = 5.0;

/// The colour of a bump.
pub fn colour(bump_mm: f64, most_mm: f64) -> String {
    palette::hex(palette::speed(
        0.75 * (1.0 - (bump_mm / most_mm.max(1e-9)).sqrt()),
    ))
}

/// One part on the bed.
pub struct Part {
    /// Its middle, x and y, mm.
    pub middle: [f64; 2],
    tall_mm: f64,
    cells: Vec<(i32, i32)>,
}

impl Part {
    /// Whether a place is on it, or next to it.
    pub fn has(&self, x_mm: f64, y_mm: f64) -> bool {
        let (cx, cy) = cell(x_mm, y_mm);
        (-1..=1).any(|dx| (-1..=1).any(|dy| self.cells.binary_search(&(cx + dx, cy + dy)).is_ok()))
    }
}

fn cell(x: f64, y: f64) -> (i32, i32) {
    ((x / APART_MM).floor() as i32, (y / APART_MM).floor() as i32)
}

/// Parts by what touches seen from above, from left to right.
pub fn parts(walls: &[WallPoint]) -> Vec<Part> {
    let mut owner: BTreeMap<(i32, i32), Option<usize>> = walls
        .iter()
        .map(|w| (cell(f64::from(w.x_mm), f64::from(w.y_mm)), None))
        .collect();
    let all: Vec<(i32, i32)> = owner.keys().copied().collect();
    let mut parts: Vec<Part> = Vec::new();
    for start in all {
        if owner[&start].is_some() {
            continue;
        }
        let own = parts.len();
        let mut open = vec![start];
        let mut cells = Vec::new();
        owner.insert(start, Some(own));
        while let Some((x, y)) = open.pop() {
            cells.push((x, y));
            for next in (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| (x + dx, y + dy))) {
                if let Some(free @ None) = owner.get_mut(&next) {
                    *free = Some(own);
                    open.push(next);
                }
            }
        }
        let mid = |of: &dyn Fn(&(i32, i32)) -> i32| {
            let low = cells.iter().map(of).min().unwrap_or(0);
            let high = cells.iter().map(of).max().unwrap_or(0);
            (f64::from(low) + f64::from(high) + 1.0) / 2.0 * APART_MM
        };
        let middle = [mid(&|c| c.0), mid(&|c| c.1)];
        cells.sort_unstable();
        parts.push(Part {
            middle,
            tall_mm: 0.0,
            cells,
        });
    }
    for w in walls {
        let at = cell(f64::from(w.x_mm), f64::from(w.y_mm));
        if let Some(Some(own)) = owner.get(&at) {
            parts[*own].tall_mm = parts[*own].tall_mm.max(f64::from(w.z_mm));
        }
    }
    parts.sort_by(|a, b| a.middle[0].total_cmp(&b.middle[0]));
    parts
}

/// By square: points of the wall with the length up to them.
type Squares = BTreeMap<(i32, i32), Vec<([f64; 2], f64)>>;

/// Length along the wall, by layer.
struct Lengths {
    /// By height in micrometres.
    layers: BTreeMap<i64, Squares>,
    most_mm: f64,
}

/// Squares around a place in which the wall is looked for.
const RINGS_MAX: i32 = 8;

impl Lengths {
    fn key(z_mm: f64) -> i64 {
        (z_mm * 1e3).round() as i64
    }

    fn along<'a>(walls: impl Iterator<Item = &'a WallPoint>) -> Self {
        let mut lengths = Lengths {
            layers: BTreeMap::new(),
            most_mm: 1e-3,
        };
        let mut before: Option<(i64, [f64; 2], f64)> = None;
        for w in walls {
            let (key, at) = (
                Self::key(f64::from(w.z_mm)),
                [f64::from(w.x_mm), f64::from(w.y_mm)],
            );
            let length_mm = match before {
                Some((layer, from, so_far)) if layer == key => {
                    let step = if w.starts {
                        0.0
                    } else {
                        (at[0] - from[0]).hypot(at[1] - from[1])
                    };
                    so_far + step
                }
                _ => 0.0,
            };
            lengths.most_mm = lengths.most_mm.max(length_mm);
            let layer = lengths.layers.entry(key).or_default();
            layer
                .entry(cell(at[0], at[1]))
                .or_default()
                .push((at, length_mm));
            before = Some((key, at, length_mm));
        }
        lengths
    }

    /// Length up to the wall point nearest to this place, in the layer nearest to its height; 0
    /// where none is near.
    fn at(&self, place_mm: [f64; 3]) -> f64 {
        let key = Self::key(place_mm[2]);
        let above = self.layers.range(key..).next();
        let below = self.layers.range(..key).next_back();
        let layer = [above, below]
            .into_iter()
            .flatten()
            .min_by_key(|(k, _)| (**k - key).abs());
        let Some((_, squares)) = layer else {
            return 0.0;
        };
        let far = |p: &[f64; 2]| (p[0] - place_mm[0]).hypot(p[1] - place_mm[1]);
        let (cx, cy) = cell(place_mm[0], place_mm[1]);
        let mut found: Option<(f64, f64)> = None;
        for ring in 0..=RINGS_MAX {
            let on_ring = (-ring..=ring)
                .flat_map(|dx| (-ring..=ring).map(move |dy| (dx, dy)))
                .filter(|(dx, dy)| dx.abs().max(dy.abs()) == ring);
            for (dx, dy) in on_ring {
                for (p, length_mm) in squares.get(&(cx + dx, cy + dy)).into_iter().flatten() {
                    if found.is_none_or(|(nearest, _)| far(p) < nearest) {
                        found = Some((far(p), *length_mm));
                    }
                }
            }
            // One ring more than the first with a point holds the nearest.
            if found.is_some_and(|(nearest, _)| nearest <= f64::from(ring) * APART_MM) {
                break;
            }
        }
        found.map_or(0.0, |(_, length_mm)| length_mm)
    }
}

/// Draws the walls; below 2 MB.
pub fn svg(walls: &[WallPoint], patches: &[Patch], bumps: &[Bump], caption: &Caption) -> String {
    let all = bumps;
    let bumps: Vec<Bump> = all.iter().filter(|b| b.outer).copied().collect();
    let line = format!(
        "outer wall of {} on {}, unrolled",
        caption.job, caption.board
    );
    let description = format!(
        "{} across, height up, with {}.",
        match caption.across {
            Across::Angle => "Angle around the part",
            Across::Length => "Length along the wall",
        },
        count(bumps.len() as u64, "visible bump")
    );
    let mut picture = Picture::new(&caption.verdict, &line, &description);
    let top = picture.top + 20.0;
    let most_z = walls.iter().map(|w| f64::from(w.z_mm)).fold(0.0, f64::max);
    if walls.is_empty() || most_z <= 0.0 {
        let text = "Nothing is printed: there is no wall to unroll.";
        let y = picture.paragraph(top + 20.0, Voice::Body, text);
        return picture.finish(y + 10.0);
    }
    let high = 640.0;
    let (parts, left_out) = drawn(parts(walls));
    let gap = 24.0;
    let wide = ((RIGHT - LEFT) - gap * (parts.len() as f64 - 1.0)) / parts.len() as f64;
    let y = |z: f64| top + high * (1.0 - z / most_z);
    let most_mm = bumps.iter().map(|b| b.bump_mm).fold(0.0, f64::max);
    let mut thickest_mm: f64 = 0.0;
    for (k, part) in parts.iter().enumerate() {
        let left = LEFT + (wide + gap) * k as f64;
        let lengths = Lengths::along(
            walls
                .iter()
                .filter(|w| part.has(f64::from(w.x_mm), f64::from(w.y_mm))),
        );
        let share = |p: [f64; 3]| match caption.across {
            Across::Length => lengths.at(p) / lengths.most_mm,
            Across::Angle => {
                let angle = (p[1] - part.middle[1]).atan2(p[0] - part.middle[0]);
                angle.rem_euclid(std::f64::consts::TAU) / std::f64::consts::TAU
            }
        };
        picture.add(&format!(
            "<rect class=\"wall\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{GROUND}\"/>",
            number(left),
            number(y(part.tall_mm)),
            number(wide),
            number(y(0.0) - y(part.tall_mm))
        ));
        let own = patches
            .iter()
            .filter(|p| part.has(f64::from(p.x_mm), f64::from(p.y_mm)));
        let frame = [left, y(part.tall_mm), wide, y(0.0) - y(part.tall_mm)];
        let thick = Thick::spread(own, frame, part.tall_mm, lengths.most_mm, &share);
        thickest_mm = thickest_mm.max(thick.most_mm);
        thick.draw(&mut picture);
        // The largest bump of each bin.
        let mut bins: BTreeMap<(i64, i64), (f64, f64, f64)> = BTreeMap::new();
        let here = |b: &&Bump| part.has(b.place_mm[0], b.place_mm[1]);
        for bump in bumps.iter().filter(here) {
            let (u, v) = (left + wide * share(bump.place_mm), y(bump.place_mm[2]));
            let bin = bins
                .entry(((u / BIN) as i64, (v / BIN) as i64))
                .or_insert((u, v, 0.0));
            if bump.bump_mm > bin.2 {
                *bin = (u, v, bump.bump_mm);
            }
        }
        let mut marks: Vec<_> = bins.into_values().collect();
        let crowded = crowd(marks.len());
        marks.sort_by(|a, b| a.2.total_cmp(&b.2));
        for (u, v, mm) in marks {
            let r = crowded * radius(mm, most_mm);
            picture.add(&format!(
                "<circle class=\"bump\" cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{}\" stroke=\"{CARD}\" stroke-width=\"1\"/>",
                number(u), number(v), number(r), colour(mm, most_mm)
            ));
        }
        let ticks: &[f64] = if parts.len() > 3 {
            &[0.0, 0.5]
        } else {
            &[0.0, 0.25, 0.5, 0.75]
        };
        for tick in ticks {
            let x = left + wide * tick;
            let label = match caption.across {
                Across::Angle => format!("{:.0}°", 360.0 * tick),
                Across::Length => millimetres(lengths.most_mm * tick, lengths.most_mm),
            };
            picture.say(x, y(0.0) + 34.0, Voice::Note, Anchor::Start, &label);
            picture.add(&format!(
                "<path d=\"M {} {}v8\" stroke=\"{INK_FAINT}\" stroke-width=\"2\"/>",
                number(x),
                number(y(0.0))
            ));
        }
    }
    for part in [0.0, 0.5, 1.0] {
        let z = most_z * part;
        let label = millimetres(z, most_z);
        picture.say(LEFT - 12.0, y(z) + 8.0, Voice::Note, Anchor::End, &label);
    }
    let mut foot = y(0.0) + 92.0;
    foot = legend(&mut picture, foot, &bumps, most_mm, caption.visible_mm);
    if thickest_mm > THIN_MM {
        foot = tints(&mut picture, foot, thickest_mm);
    }
    let holes = all.len() - bumps.len();
    if holes > 0 {
        let text = format!(
            "{} more {} in holes that are open, not on this wall.",
            holes,
            if holes == 1 { "bump is" } else { "bumps are" }
        );
        foot = picture.paragraph(foot, Voice::Note, &text);
    }
    if left_out > 0 {
        let text = format!(
            "{} more on the bed not drawn here.",
            count(left_out, "part")
        );
        foot = picture.paragraph(foot, Voice::Note, &text);
    }
    if bumps.is_empty() && thickest_mm <= THIN_MM {
        return picture.finish(foot + 4.0);
    }
    for line in [
        "Slanting rows: something regular in time, such as saves.",
        "Bands: moves too short for the board. Scattered: a card's hiccups.",
        "Upright rows: the seam, a corner.",
        match caption.across {
            Across::Angle => "0° points right on the bed, 90° to the back.",
            Across::Length => "0 mm is where the wall of each layer begins.",
        },
    ] {
        foot = picture.paragraph(foot, Voice::Note, line);
    }
    picture.finish(foot + 4.0)
}

/// A length on an axis that reaches to `most`.
fn millimetres(mm: f64, most: f64) -> String {
    match most {
        m if m < 2.0 => format!("{mm:.2} mm"),
        m if m < 20.0 => format!("{mm:.1} mm"),
        _ => format!("{mm:.0} mm"),
    }
}

/// The parts to draw, the largest, and how many are left out.
fn drawn(mut parts: Vec<Part>) -> (Vec<Part>, u64) {
    let tallest_mm = parts.iter().map(|p| p.tall_mm).fold(0.0, f64::max);
    parts.retain(|p| p.tall_mm >= LOW_SHARE * tallest_mm);
    let all = parts.len();
    parts.sort_by_key(|p| std::cmp::Reverse(p.cells.len()));
    parts.truncate(PARTS_MAX);
    parts.sort_by(|a, b| a.middle[0].total_cmp(&b.middle[0]));
    let left_out = (all - parts.len()) as u64;
    (parts, left_out)
}

/// The key to bumps; returns where what follows may stand.
pub fn legend(
    picture: &mut Picture,
    mut y: f64,
    bumps: &[Bump],
    most_mm: f64,
    visible_mm: f64,
) -> f64 {
    if bumps.is_empty() {
        let text = format!("No bump of {} mm or more is seen here.", number(visible_mm));
        return picture.paragraph(y, Voice::Body, &text) + 4.0;
    }
    let title = format!(
        "{} of {} mm or more",
        count(bumps.len() as u64, "visible bump"),
        number(visible_mm)
    );
    y = picture.paragraph(y, Voice::Strong, &title) + 12.0;
    let mut x = MARGIN + 16.0;
    let least_mm = visible_mm.max(0.1 * most_mm).min(most_mm);
    let middle_mm = (least_mm * most_mm).sqrt();
    let sizes = if most_mm < 2.0 * least_mm {
        vec![most_mm]
    } else {
        vec![least_mm, middle_mm, most_mm]
    };
    for mm in sizes {
        picture.add(&format!(
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{}\"/>",
            number(x),
            number(y - 9.0),
            number(radius(mm, most_mm)),
            colour(mm, most_mm)
        ));
        picture.say(
            x + 22.0,
            y,
            Voice::Body,
            Anchor::Start,
            &format!("{mm:.2} mm"),
        );
        x += 180.0;
    }
    y + 46.0
}

/// By what dots shrink where there are many.
pub fn crowd(dots: usize) -> f64 {
    (CROWD / dots.max(1) as f64).sqrt().clamp(0.35, 1.0)
}

/// Dots that a picture has room for at full size.
const CROWD: f64 = 1200.0;

/// Radius of a bump's dot, px.
pub fn radius(mm: f64, most_mm: f64) -> f64 {
    3.5 + 8.0 * (mm / most_mm.max(1e-9)).sqrt()
}
