//! `wall.svg`: the outer wall unrolled like the label of a can: angle across, height up.

use std::collections::BTreeMap;

use crate::surface::skin::WallPoint;

use super::numbers::count;
use super::palette::{self, CARD, INK, INK_FAINT, INK_SOFT};
use super::svg::{Picture, number};

/// A bump that will be seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bump {
    /// x, y, z; mm.
    pub place_mm: [f64; 3],
    /// How far it stands proud, mm.
    pub bump_mm: f64,
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

const WIDTH: f64 = 1000.0;
const LEFT: f64 = 110.0;
const RIGHT: f64 = 970.0;
/// Parts drawn side by side.
const PARTS_MAX: usize = 6;
/// Two points closer than this, seen from above, belong to one part, mm.
const APART_MM: f64 = 3.0;
/// Marks closer than this are drawn as one, the largest, pixels.
const BIN: f64 = 5.0;

/// The colour of a bump.
pub fn colour(bump_mm: f64, most_mm: f64) -> String {
    palette::hex(palette::speed(
        0.75 * (1.0 - (bump_mm / most_mm.max(1e-9)).sqrt()),
    ))
}

/// One part on the bed: its middle, and where it is.
struct Part {
    middle: [f64; 2],
    cells: Vec<(i32, i32)>,
}

fn cell(x: f64, y: f64) -> (i32, i32) {
    ((x / APART_MM).floor() as i32, (y / APART_MM).floor() as i32)
}

/// Parts by what touches seen from above, from left to right.
fn parts(walls: &[WallPoint]) -> Vec<Part> {
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
        parts.push(Part { middle, cells });
    }
    parts.sort_by_key(|p| std::cmp::Reverse(p.cells.len()));
    parts.truncate(PARTS_MAX);
    parts.sort_by(|a, b| a.middle[0].total_cmp(&b.middle[0]));
    parts
}

/// Length along the wall, by layer.
struct Lengths {
    /// Points of each layer's wall with the length up to them, by height in micrometres.
    layers: BTreeMap<i64, Vec<([f64; 2], f64)>>,
    most_mm: f64,
}

impl Lengths {
    fn key(z_mm: f64) -> i64 {
        (z_mm * 1e3).round() as i64
    }

    fn along<'a>(walls: impl Iterator<Item = &'a WallPoint>) -> Self {
        let mut layers: BTreeMap<i64, Vec<([f64; 2], f64)>> = BTreeMap::new();
        let mut most_mm: f64 = 1e-3;
        for w in walls {
            let at = [f64::from(w.x_mm), f64::from(w.y_mm)];
            let layer = layers.entry(Self::key(f64::from(w.z_mm))).or_default();
            let length_mm = match layer.last() {
                Some((before, so_far)) if !w.starts => {
                    so_far + (at[0] - before[0]).hypot(at[1] - before[1])
                }
                Some((_, so_far)) => *so_far,
                None => 0.0,
            };
            most_mm = most_mm.max(length_mm);
            layer.push((at, length_mm));
        }
        Lengths { layers, most_mm }
    }

    /// Length up to the wall point nearest to this place, in the layer nearest to its height.
    fn at(&self, place_mm: [f64; 3]) -> f64 {
        let key = Self::key(place_mm[2]);
        let above = self.layers.range(key..).next();
        let below = self.layers.range(..key).next_back();
        let layer = [above, below]
            .into_iter()
            .flatten()
            .min_by_key(|(k, _)| (**k - key).abs());
        let far = |p: &[f64; 2]| (p[0] - place_mm[0]).hypot(p[1] - place_mm[1]);
        let nearest = layer
            .and_then(|(_, points)| points.iter().min_by(|a, b| far(&a.0).total_cmp(&far(&b.0))));
        nearest.map_or(0.0, |(_, length_mm)| *length_mm)
    }
}

/// Draws the walls; below 2 MB.
pub fn svg(walls: &[WallPoint], bumps: &[Bump], caption: &Caption) -> String {
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
    let mut picture = Picture::new(WIDTH, &caption.verdict, &line, &description);
    let top = picture.top + 20.0;
    let most_z = walls.iter().map(|w| f64::from(w.z_mm)).fold(0.0, f64::max);
    if walls.is_empty() || most_z <= 0.0 {
        picture.text(
            40.0,
            top + 20.0,
            26.0,
            "400",
            INK,
            "start",
            "Nothing is printed: there is no wall to unroll.",
        );
        return picture.finish(top + 70.0);
    }
    let high = 640.0;
    let parts = parts(walls);
    let gap = 24.0;
    let wide = ((RIGHT - LEFT) - gap * (parts.len() as f64 - 1.0)) / parts.len() as f64;
    let y = |z: f64| top + high * (1.0 - z / most_z);
    let most_mm = bumps.iter().map(|b| b.bump_mm).fold(0.0, f64::max);
    for (k, part) in parts.iter().enumerate() {
        let left = LEFT + (wide + gap) * k as f64;
        let own = |x: f64, y: f64| {
            let (cx, cy) = cell(x, y);
            (-1..=1)
                .any(|dx| (-1..=1).any(|dy| part.cells.binary_search(&(cx + dx, cy + dy)).is_ok()))
        };
        let lengths = Lengths::along(
            walls
                .iter()
                .filter(|w| own(f64::from(w.x_mm), f64::from(w.y_mm))),
        );
        let share = |p: [f64; 3]| match caption.across {
            Across::Length => lengths.at(p) / lengths.most_mm,
            Across::Angle => {
                let angle = (p[1] - part.middle[1]).atan2(p[0] - part.middle[0]);
                angle.rem_euclid(std::f64::consts::TAU) / std::f64::consts::TAU
            }
        };
        let tall = walls
            .iter()
            .filter(|w| own(f64::from(w.x_mm), f64::from(w.y_mm)))
            .map(|w| f64::from(w.z_mm))
            .fold(0.0, f64::max);
        picture.add(&format!(
            "<rect class=\"wall\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{}\" fill-opacity=\"0.35\"/>",
            number(left), number(y(tall)), number(wide), number(y(0.0) - y(tall)), palette::hex(palette::speed(1.0))
        ));
        // The largest bump of each bin.
        let mut bins: BTreeMap<(i64, i64), (f64, f64, f64)> = BTreeMap::new();
        for bump in bumps.iter().filter(|b| own(b.place_mm[0], b.place_mm[1])) {
            let (u, v) = (left + wide * share(bump.place_mm), y(bump.place_mm[2]));
            let bin = bins
                .entry(((u / BIN) as i64, (v / BIN) as i64))
                .or_insert((u, v, 0.0));
            if bump.bump_mm > bin.2 {
                *bin = (u, v, bump.bump_mm);
            }
        }
        let mut marks: Vec<_> = bins.into_values().collect();
        marks.sort_by(|a, b| a.2.total_cmp(&b.2));
        for (u, v, mm) in marks {
            let r = 3.0 + 7.0 * (mm / most_mm.max(1e-9)).sqrt();
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
                Across::Length => format!("{:.0} mm", lengths.most_mm * tick),
            };
            picture.text(x, y(0.0) + 30.0, 20.0, "400", INK_SOFT, "start", &label);
            picture.add(&format!(
                "<path d=\"M{} {}v8\" stroke=\"{INK_FAINT}\" stroke-width=\"2\"/>",
                number(x),
                number(y(0.0))
            ));
        }
    }
    for part in [0.0, 0.5, 1.0] {
        let z = most_z * part;
        picture.text(
            LEFT - 14.0,
            y(z) + 8.0,
            20.0,
            "400",
            INK_SOFT,
            "end",
            &format!("{z:.0} mm"),
        );
    }
    let mut foot = y(0.0) + 80.0;
    foot = legend(&mut picture, foot, bumps, most_mm, caption.visible_mm);
    let across = match caption.across {
        Across::Angle => "Scattered: a card's hiccups. 0° points right on the bed, 90° back.",
        Across::Length => {
            "Scattered: a card's hiccups. 0 mm is where the wall of each layer begins."
        }
    };
    for line in [
        "Slanting rows: something regular in time, such as saves.",
        "Bands: moves too short for the board. An upright row: the seam, or a corner.",
        across,
    ] {
        picture.text(40.0, foot, 20.0, "400", INK_SOFT, "start", line);
        foot += 30.0;
    }
    picture.finish(foot + 10.0)
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
        let text = format!(
            "No bump of {} mm or more on a surface that is seen.",
            number(visible_mm)
        );
        picture.text(40.0, y, 24.0, "400", INK, "start", &text);
        return y + 38.0;
    }
    let title = format!(
        "{} of {} mm or more",
        count(bumps.len() as u64, "visible bump"),
        number(visible_mm)
    );
    picture.text(40.0, y, 24.0, "700", INK, "start", &title);
    y += 40.0;
    let mut x = 56.0;
    for share in [0.1, 0.4, 1.0] {
        let r = 3.5 + 9.0 * f64::sqrt(share);
        picture.add(&format!(
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{}\"/>",
            number(x),
            number(y - 8.0),
            number(r),
            colour(share * most_mm, most_mm)
        ));
        picture.text(
            x + 20.0,
            y,
            22.0,
            "400",
            INK,
            "start",
            &format!("{:.2} mm", share * most_mm),
        );
        x += 160.0;
    }
    y + 44.0
}
