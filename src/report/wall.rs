//! `wall.svg`: the outer wall unrolled like the label of a can: angle across, height up.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use crate::surface::skin::{Part, WallPoint};
use crate::text::fixed;

use super::along::Lengths;
use super::bump_marks::{self, colour, crowd, dot, legend, radius};
use super::look::palette::{GROUND, INK_FAINT};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH, number};
use super::numbers::count;
use super::thick::{Thick, tints};

pub use super::bump_marks::{Bump, Bumps};

/// What runs across the wall.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Across {
    /// The angle around the part.
    Angle,
    /// The length along the outer wall, from where its layer begins.
    Length,
}

/// The texts around a picture of the whole part.
#[derive(Clone, Debug)]
pub struct Caption {
    /// The answer in one sentence.
    pub verdict: String,
    /// The job's name.
    pub job: String,
    /// The board's name.
    pub board: String,
    /// What runs across the unrolled wall.
    pub across: Across,
}

const LEFT: f64 = 150.0;
const RIGHT: f64 = WIDTH - MARGIN;
/// Height of the tallest part, px.
const HIGH: f64 = 640.0;
/// Between two panels, px.
const GAP: f64 = 24.0;
/// Parts drawn side by side.
const PARTS_MAX: usize = 6;
/// Marks closer than this are drawn as one, the highest, px.
const BIN: f64 = 5.0;

/// One part's panel.
struct Panel<'a> {
    /// The part's place among all.
    place: usize,
    part: &'a Part,
    lengths: Lengths,
    layers: usize,
    across: Across,
    left: f64,
    wide: f64,
    /// Base line, and pixels a mm, upwards.
    foot: f64,
    scale: f64,
}

/// A dot: its place, px, and the height of its bump, mm.
type Mark = (f64, f64, f64);

impl<'a> Panel<'a> {
    fn middle(&self, axis: usize) -> f64 {
        (self.part.low_mm[axis] + self.part.high_mm[axis]) / 2.0
    }

    /// Where a place lies across, as a share of the panel's width.
    fn share(&self, p: [f64; 3]) -> f64 {
        match self.across {
            Across::Length => self.lengths.at(p) / self.lengths.most_mm,
            Across::Angle => {
                let angle = (p[1] - self.middle(1)).atan2(p[0] - self.middle(0));
                angle.rem_euclid(TAU) / TAU
            }
        }
    }

    /// The share of the width that a stretch of wall takes there.
    fn stretch(&self, bump: &Bump) -> f64 {
        let around_mm = match self.across {
            Across::Length => self.lengths.most_mm,
            Across::Angle => {
                let [x, y, _] = bump.place_mm;
                TAU * (x - self.middle(0)).hypot(y - self.middle(1))
            }
        };
        (bump.stretch_mm / around_mm.max(1e-3)).min(1.0)
    }

    fn y(&self, z_mm: f64) -> f64 {
        self.foot - z_mm * self.scale
    }

    fn has(&self, bump: &Bump) -> bool {
        bump.outer && bump.part == Some(self.place)
    }

    /// The bare wall, its tint, its letter and its axis.
    fn draw(&self, picture: &mut Picture, bumps: &Bumps, most_mm: f64, panels: usize) {
        let top = self.y(self.part.high_mm[2]);
        let frame = [self.left, top, self.wide, self.foot - top];
        let [x, y, wide, high] = frame.map(number);
        picture.add(&format!(
            "<rect class=\"wall\" x=\"{x}\" y=\"{y}\" width=\"{wide}\" height=\"{high}\" fill=\"{GROUND}\"/>"
        ));
        let mut thick = Thick::bare(frame, self.layers);
        for bump in bumps.list.iter().filter(|b| self.has(b)) {
            let up = bump.place_mm[2] / self.part.high_mm[2].max(1e-6);
            thick.add(bump, self.share(bump.place_mm), up, self.stretch(bump));
        }
        thick.draw(picture, most_mm);
        if panels > 1 {
            let name = format!("part {}", self.part.letter);
            picture.say(self.left, top - 12.0, Voice::Strong, Anchor::Start, &name);
        }
        let ticks: &[f64] = match (panels, self.across) {
            (0..=2, _) => &[0.0, 0.25, 0.5, 0.75],
            (3..=4, _) => &[0.0, 0.5],
            _ => &[0.0],
        };
        for tick in ticks {
            let x = self.left + self.wide * tick;
            let label = match self.across {
                Across::Angle => format!("{:.0}°", 360.0 * tick),
                Across::Length => millimetres(self.lengths.most_mm * tick, self.lengths.most_mm),
            };
            picture.say(x, self.foot + 34.0, Voice::Note, Anchor::Start, &label);
            picture.add(&format!(
                "<path d=\"M {} {}v8\" stroke=\"{INK_FAINT}\" stroke-width=\"2\"/>",
                number(x),
                number(self.foot)
            ));
        }
    }

    /// The highest visible bump of each bin, and how many bumps there are in all.
    fn marks(&self, bumps: &Bumps) -> (Vec<Mark>, u64) {
        let mut bins: BTreeMap<(i64, i64), Mark> = BTreeMap::new();
        let mut all = 0;
        for bump in bumps.visible().filter(|b| self.has(b)) {
            let u = self.left + self.wide * self.share(bump.place_mm);
            // A layer lies below its height.
            let layer_mm = self.part.high_mm[2] / self.layers.max(1) as f64;
            let v = self.y(bump.place_mm[2] - layer_mm / 2.0);
            // The highest come first.
            bins.entry(((u / BIN) as i64, (v / BIN) as i64))
                .or_insert((u, v, bump.bump_mm));
            all += 1;
        }
        (bins.into_values().collect(), all)
    }
}

/// Draws the walls; below 2 MB. `parts`: those to which walls and bumps belong.
pub fn svg(walls: &[WallPoint], parts: &[Part], bumps: &Bumps, caption: &Caption) -> String {
    let line = format!(
        "outer wall of {} on {}, unrolled",
        caption.job, caption.board
    );
    let across = match caption.across {
        Across::Angle => "Angle around the part",
        Across::Length => "Length along the wall",
    };
    let outer = bumps.visible().filter(|b| b.outer).count() as u64;
    let description = format!(
        "{across} across, height up, with {}.",
        count(outer, "visible bump")
    );
    let mut picture = Picture::new(&caption.verdict, &line, &description);
    let several = parts.len() > 1;
    let top = picture.top + if several { 46.0 } else { 20.0 };
    let panels = panels(walls, parts, caption.across, top);
    let Some(first) = panels.first() else {
        let text = "No outer wall was found, so there is none to unroll.";
        let y = picture.paragraph(top + 20.0, Voice::Body, text);
        return picture.finish(y + 10.0);
    };
    // The highest come first.
    let here = |b: &&Bump| panels.iter().any(|p| p.has(b));
    let most_mm = bumps.list.iter().find(here).map_or(0.0, |b| b.bump_mm);
    let (mut marks, mut shown) = (Vec::new(), 0);
    for panel in &panels {
        let count = if several { panels.len().max(2) } else { 1 };
        panel.draw(&mut picture, bumps, most_mm, count);
        let (own, all) = panel.marks(bumps);
        marks.extend(own);
        shown += all;
    }
    marks.sort_by(|a, b| a.2.total_cmp(&b.2));
    let crowded = crowd(marks.len());
    for (u, v, mm) in &marks {
        let r = crowded * radius(*mm, most_mm);
        picture.add(&dot(*u, *v, r, &colour(*mm, most_mm)));
    }
    let most_z = HIGH / first.scale;
    for part in [0.0, 0.5, 1.0] {
        let z = most_z * part;
        let label = millimetres(z, most_z);
        picture.say(
            LEFT - 12.0,
            first.y(z) + 8.0,
            Voice::Note,
            Anchor::End,
            &label,
        );
    }
    let tally = Tally {
        shown,
        most_mm,
        dots: marks.len() as u64,
        outer,
        parts_left_out: (parts.len() - panels.len()) as u64,
    };
    let foot = key(
        &mut picture,
        first.foot + 92.0,
        bumps,
        &tally,
        caption.across,
    );
    picture.finish(foot + 4.0)
}

/// The panels of the parts with most outer wall, from left to right.
fn panels<'a>(walls: &[WallPoint], parts: &'a [Part], across: Across, top: f64) -> Vec<Panel<'a>> {
    let mut order: Vec<usize> = (0..parts.len()).collect();
    let mut walled = vec![false; parts.len()];
    for w in walls {
        if let Some(has) = walled.get_mut(w.part as usize) {
            *has = true;
        }
    }
    order.retain(|k| walled[*k]);
    order.sort_by(|a, b| parts[*b].outer_mm2.total_cmp(&parts[*a].outer_mm2));
    order.truncate(PARTS_MAX);
    order.sort_unstable();
    let most_z = order.iter().map(|k| parts[*k].high_mm[2]);
    let most_z = most_z.fold(0.0, f64::max);
    if most_z <= 0.0 {
        return Vec::new();
    }
    let wide = ((RIGHT - LEFT) - GAP * (order.len() as f64 - 1.0)) / order.len() as f64;
    let panel = |(at, place): (usize, usize)| {
        let own = walls.iter().filter(|w| w.part as usize == place);
        let mut heights: Vec<f32> = own.clone().map(|w| w.z_mm).collect();
        heights.sort_by(f32::total_cmp);
        heights.dedup();
        Panel {
            place,
            part: &parts[place],
            lengths: Lengths::along(own),
            layers: heights.len(),
            across,
            left: LEFT + (wide + GAP) * at as f64,
            wide,
            foot: top + HIGH,
            scale: HIGH / most_z,
        }
    };
    order.into_iter().enumerate().map(panel).collect()
}

/// What is drawn of the bumps, and what is not.
struct Tally {
    /// Visible bumps on the panels, and the dots that stand for them.
    shown: u64,
    dots: u64,
    /// The highest bump on the panels, visible or not, mm.
    most_mm: f64,
    /// Visible bumps that are listed and on the outside of any part.
    outer: u64,
    parts_left_out: u64,
}

/// The key below the wall; returns where it ends.
fn key(picture: &mut Picture, mut foot: f64, bumps: &Bumps, tally: &Tally, across: Across) -> f64 {
    let title = bump_marks::title(tally.shown, bumps.visible_mm, " on this wall");
    let most_mm = if tally.shown > 0 { tally.most_mm } else { 0.0 };
    foot = legend(picture, foot, &title, bumps.visible_mm, most_mm);
    if tally.most_mm > 0.0 {
        foot = tints(picture, foot, tally.most_mm);
    }
    let listed = bumps.visible().count() as u64;
    let holes = listed - tally.outer;
    let elsewhere = tally.outer - tally.shown;
    let are = |n: u64, place: &str| match n {
        1 => format!("1 more visible bump is {place}"),
        n => format!("{n} more visible bumps are {place}"),
    };
    let mut notes = Vec::new();
    if tally.dots < tally.shown {
        notes.push("Where dots would cover each other, only the highest bump has one.".to_string());
    }
    if !bumps.complete && listed < bumps.visible {
        notes.push(format!(
            "The {listed} highest of {} visible bumps are drawn.",
            bumps.visible
        ));
    }
    if holes > 0 {
        let place = "inside open holes, not on this wall.";
        notes.push(are(holes, place));
    }
    if elsewhere > 0 {
        notes.push(are(elsewhere, "on parts that are not drawn here."));
    }
    if tally.parts_left_out > 0 {
        notes.push(format!(
            "{} with less outer wall not drawn here.",
            match tally.parts_left_out {
                1 => "1 part".to_string(),
                n => format!("{n} parts"),
            }
        ));
    }
    if tally.most_mm > 0.0 {
        let lines = [
            "Slanting rows: something regular in time, such as saves.",
            "Bands: moves too short for the board. Scattered: a card's hiccups.",
            "Upright rows: the seam, a corner.",
        ];
        notes.extend(lines.map(str::to_string));
        notes.push(
            match across {
                Across::Angle => "0° points right on the bed, 90° to the back.",
                Across::Length => "0 mm is where the wall of each layer begins.",
            }
            .to_string(),
        );
    }
    for note in &notes {
        foot = picture.paragraph(foot, Voice::Note, note);
    }
    foot
}

/// A length on an axis that reaches to `most`.
fn millimetres(mm: f64, most: f64) -> String {
    match most {
        m if m < 2.0 => format!("{} mm", fixed(mm, 2)),
        m if m < 20.0 => format!("{} mm", fixed(mm, 1)),
        _ => format!("{} mm", fixed(mm, 0)),
    }
}
