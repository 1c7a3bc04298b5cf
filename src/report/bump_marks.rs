//! Bumps as pictures show them: a dot for each, its size and colour by its height, and the key to them.

use crate::answer::replay::ReplayAnswer;
use crate::surface::bump;
use crate::surface::skin::{Exposure, Surface};

use super::look::palette::{self, CARD};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, number};
use super::numbers::count;

/// A bump on a surface that can be seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bump {
    /// x, y, z; mm.
    pub place_mm: [f64; 3],
    /// How far the wall stands out there, mm.
    pub bump_mm: f64,
    /// Length of wall on which it stands out, mm.
    pub stretch_mm: f64,
    /// The layer, from 0.
    pub layer: u32,
    /// Whether it is on the outside; otherwise it is on the inside of a hole that is open.
    pub outer: bool,
    /// The part to which it belongs, a place in [`Exposure::parts`].
    pub part: Option<usize>,
}

impl Bump {
    /// A bump of an answer.
    pub fn of(bump: &bump::Bump, exposure: &Exposure) -> Self {
        Bump {
            place_mm: bump.place_mm,
            bump_mm: bump.height_mm,
            stretch_mm: bump.stretch_mm,
            layer: bump.layer,
            outer: bump.surface == Some(Surface::Outer),
            part: exposure.faces.part(bump.block),
        }
    }
}

/// What a picture shows of the bumps.
#[derive(Clone, Debug)]
pub struct Bumps {
    /// Bumps on surfaces that can be seen, visible or lower, the highest first; where there are too many, the
    /// highest of them.
    pub list: Vec<Bump>,
    /// Height from which a bump counts as visible, mm.
    pub visible_mm: f64,
    /// How many visible bumps there are, those not listed included.
    pub visible: u64,
    /// Whether all are listed.
    pub complete: bool,
}

impl Bumps {
    /// The bumps of an answer.
    pub fn of(answer: &ReplayAnswer, exposure: &Exposure) -> Self {
        Bumps {
            list: answer
                .bumps
                .ranked()
                .map(|b| Bump::of(b, exposure))
                .collect(),
            visible_mm: answer.visible_mm,
            visible: answer.bumps.visible(),
            complete: answer.bumps.is_complete(),
        }
    }

    /// The visible ones of those that are listed, the highest first.
    pub fn visible(&self) -> impl Iterator<Item = &Bump> {
        self.list
            .iter()
            .take_while(|b| b.bump_mm >= self.visible_mm)
    }
}

/// The colour of a bump.
pub fn colour(bump_mm: f64, most_mm: f64) -> String {
    palette::hex(palette::speed(
        0.75 * (1.0 - (bump_mm / most_mm.max(1e-9)).sqrt()),
    ))
}

/// Dots that a picture has room for at full size.
const CROWD: f64 = 1200.0;

/// By what dots shrink where there are many.
pub fn crowd(dots: usize) -> f64 {
    (CROWD / dots.max(1) as f64).sqrt().clamp(0.35, 1.0)
}

/// Radius of a bump's dot, px.
pub fn radius(mm: f64, most_mm: f64) -> f64 {
    3.5 + 8.0 * (mm / most_mm.max(1e-9)).sqrt()
}

/// A bump's dot.
pub fn dot(x: f64, y: f64, radius: f64, fill: &str) -> String {
    format!(
        "<circle class=\"bump\" cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{fill}\" stroke=\"{CARD}\" stroke-width=\"1\"/>",
        number(x),
        number(y),
        number(radius)
    )
}

/// The key to bumps under this title; `most_mm`: the highest that is drawn. Returns where what follows may
/// stand.
pub fn legend(
    picture: &mut Picture,
    mut y: f64,
    title: &str,
    visible_mm: f64,
    most_mm: f64,
) -> f64 {
    y = picture.paragraph(y, Voice::Strong, title) + 12.0;
    if most_mm <= 0.0 {
        return y;
    }
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
        let label = format!("{mm:.2} mm");
        picture.say(x + 22.0, y, Voice::Body, Anchor::Start, &label);
        x += 180.0;
    }
    y + 46.0
}

/// `12 visible bumps of 0.1 mm or more`, with words before and after; where there is none, a sentence.
pub fn title(n: u64, visible_mm: f64, where_: &str) -> String {
    let mm = number(visible_mm);
    match n {
        0 => format!("No bump of {mm} mm or more{where_}"),
        n => format!("{} of {mm} mm or more{where_}", count(n, "visible bump")),
    }
}
