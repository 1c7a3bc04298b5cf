//! What the maker saw: bumps with their errors, and the window of the wall where he looked.

use std::fmt;

use crate::text::fixed;

use super::seen::{Around, Height, Mark};
use super::wall::{AROUND, Cell, Wall};

/// Fewer bumps than this say nothing.
pub const BUMPS_MIN: usize = 6;
/// The least error of an angle: a cell is a degree wide.
const ANGLE_ERR_MIN_DEG: f64 = 1.0;
/// Standard deviation of what is even over 1.
const EVEN_SD: f64 = 0.29;
/// Degrees to either side in which the wall is looked for.
const SEARCH_DEG: i64 = 5;
/// How far within the window a bump is put that lies outside, degrees.
const INSIDE_DEG: f64 = 1e-6;
/// A bump may be noted this many errors above the part, and a little more.
const ABOVE_ERRS: f64 = 5.0;
/// See [`ABOVE_ERRS`], mm.
const ABOVE_MM: f64 = 2.0;
/// A place may lie this much farther from the middle than all of the wall, as a share.
const OUTSIDE: f64 = 0.25;
/// Or this much, mm.
const OUTSIDE_MM: f64 = 5.0;

/// Errors of what the maker wrote down, as standard deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Errors {
    /// Of angles, degrees.
    pub angle_deg: f64,
    /// Of heights, mm.
    pub z_mm: f64,
}

/// Where the maker looked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Window {
    /// The first angle, degrees.
    pub from_deg: f64,
    /// The last angle, counter-clockwise from the first, degrees; greater than it.
    pub to_deg: f64,
    /// The lowest height, mm.
    pub low_mm: f64,
    /// The greatest height, mm.
    pub high_mm: f64,
}

impl Window {
    /// How far it reaches around the part, degrees.
    pub fn span_deg(&self) -> f64 {
        (self.to_deg - self.from_deg).min(360.0)
    }

    fn has(&self, angle_deg: f64) -> bool {
        (angle_deg - self.from_deg).rem_euclid(360.0) <= self.span_deg()
    }

    /// The smallest arc and range of height with all bumps, one error wider on each side.
    pub fn around(angle_deg: &[f64], z_mm: &[f64], errors: Errors) -> Self {
        let mut sorted = angle_deg.to_vec();
        sorted.sort_by(f64::total_cmp);
        let n = sorted.len();
        let (mut start, mut widest) = (0, -1.0);
        for i in 0..n {
            let before = if i == 0 {
                sorted[n - 1] - 360.0
            } else {
                sorted[i - 1]
            };
            if sorted[i] - before > widest {
                (start, widest) = (i, sorted[i] - before);
            }
        }
        let from_deg = sorted.get(start).copied().unwrap_or(0.0) - errors.angle_deg;
        let span = (360.0 - widest + 2.0 * errors.angle_deg).min(360.0);
        Window {
            from_deg,
            to_deg: from_deg + span,
            low_mm: z_mm.iter().copied().fold(f64::INFINITY, f64::min) - errors.z_mm,
            high_mm: z_mm.iter().copied().fold(f64::NEG_INFINITY, f64::max) + errors.z_mm,
        }
    }
}

/// A bump that was seen, on the wall.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bump {
    /// The line of the list that it stands on, from 1.
    pub line: usize,
    /// Its angle as noted, 0 to 360 degrees.
    pub angle_deg: f64,
    /// Its height as noted, mm.
    pub z_mm: f64,
    /// Its layer.
    pub layer: usize,
    /// Its degree.
    pub degree: usize,
}

impl Bump {
    /// Its cell.
    pub fn cell(&self) -> usize {
        self.layer * AROUND + self.degree
    }
}

/// The part of the wall that was looked at, and what was seen there.
#[derive(Clone, Debug)]
pub struct View<'a> {
    /// The whole wall.
    pub wall: &'a Wall,
    /// Where the maker looked.
    pub window: Window,
    /// Whether he said so himself.
    pub window_given: bool,
    /// Errors that are reckoned with.
    pub errors: Errors,
    /// The wall's cells within the window, by layer, then degree.
    pub cells: Vec<usize>,
    within: Vec<bool>,
    /// First and last layer of the window.
    pub layers: [usize; 2],
    /// The bumps on the wall.
    pub bumps: Vec<Bump>,
    /// Lines of the list whose bumps have no wall near them.
    pub off_wall: Vec<usize>,
}

/// Why a list of bumps cannot be explained.
#[derive(Clone, Debug, PartialEq)]
pub enum Refusal {
    /// Too few bumps on the wall: so many on it, so many off it.
    TooFew {
        /// Bumps on the wall.
        on_wall: usize,
        /// Bumps without a wall near them.
        off_wall: usize,
    },
    /// A height that the part doesn't have.
    NoSuchHeight {
        /// The list's line, from 1.
        line: usize,
        /// The height, mm.
        z_mm: f64,
        /// From where to where the part reaches, mm.
        reach_mm: [f64; 2],
    },
    /// A layer that the part doesn't have.
    NoSuchLayer {
        /// The list's line, from 1.
        line: usize,
        /// The layer, from 0.
        layer: u32,
        /// How many layers there are.
        layers: usize,
    },
    /// A place far outside the part.
    NoSuchPlace {
        /// The list's line, from 1.
        line: usize,
        /// The place, mm.
        place_mm: [f64; 2],
        /// The part's middle, mm.
        centre_mm: [f64; 2],
        /// How far the wall reaches from there, mm.
        reach_mm: f64,
    },
    /// No wall where the maker looked.
    EmptyWindow {
        /// Where that is.
        window: Window,
        /// Whether he said so himself.
        given: bool,
    },
}

/// A number to at most three places, for messages.
fn neat(value: f64) -> f64 {
    // Adding nothing takes the sign off a zero.
    (value * 1000.0).round() / 1000.0 + 0.0
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refusal::TooFew { on_wall, off_wall } => {
                let off = match off_wall {
                    0 => String::new(),
                    n => format!(" ({n} more have no wall within {SEARCH_DEG} degrees)"),
                };
                write!(
                    f,
                    "bumps on the wall: {on_wall}{off}; at least {BUMPS_MIN} are needed, and fewer \
                     than a dozen say little"
                )
            }
            Refusal::NoSuchHeight {
                line,
                z_mm,
                reach_mm: [low_mm, top_mm],
            } => write!(
                f,
                "line {line}: z_mm {z_mm}: there is no such height; the part reaches from {} to \
                 {top_mm:.2} mm",
                neat(*low_mm)
            ),
            Refusal::NoSuchLayer {
                line,
                layer,
                layers,
            } => write!(
                f,
                "line {line}: layer {layer}: there is no such layer; they count from 0 to {}",
                layers.saturating_sub(1)
            ),
            Refusal::NoSuchPlace {
                line,
                place_mm: [x, y],
                centre_mm: [cx, cy],
                reach_mm,
            } => write!(
                f,
                "line {line}: x_mm {x}, y_mm {y}: lies off the part; its wall reaches {reach_mm:.1} mm from its middle \
                 at x {}, y {}",
                fixed(*cx, 1),
                fixed(*cy, 1)
            ),
            Refusal::EmptyWindow { window: w, given } => {
                let [from, to, low, high] = [w.from_deg, w.to_deg, w.low_mm, w.high_mm].map(neat);
                if *given {
                    write!(
                        f,
                        "--window {from},{to},{low},{high}: the part has no wall there"
                    )
                } else {
                    write!(
                        f,
                        "the part has no wall where all these bumps lie, from {from} to {to} degrees and from {low} to \
                         {high} mm"
                    )
                }
            }
        }
    }
}

impl<'a> View<'a> {
    /// Looks at the wall. Without a window it is the smallest that holds all bumps.
    ///
    /// # Errors
    /// Where a bump has a height or layer that the part lacks, the window holds no wall, or fewer than
    /// [`BUMPS_MIN`] bumps lie on the wall.
    pub fn new(
        wall: &'a Wall,
        marks: &[Mark],
        window: Option<Window>,
        errors: Errors,
    ) -> Result<Self, Refusal> {
        let errors = Errors {
            angle_deg: errors.angle_deg.max(ANGLE_ERR_MIN_DEG),
            z_mm: errors.z_mm.max(EVEN_SD * wall.layer_mm),
        };
        let noted = noted(wall, marks, errors)?;
        let too_few = |on_wall: usize, off_wall: usize| Refusal::TooFew { on_wall, off_wall };
        if noted.len() < BUMPS_MIN {
            return Err(too_few(noted.len(), 0));
        }
        let angles: Vec<f64> = noted.iter().map(|n| n.1).collect();
        let heights: Vec<f64> = noted.iter().map(|n| n.2).collect();
        let own = window.unwrap_or_else(|| Window::around(&angles, &heights, errors));
        let (within, layers) = within(wall, &own).ok_or(Refusal::EmptyWindow {
            window: own,
            given: window.is_some(),
        })?;
        let mut view = View {
            wall,
            window: own,
            window_given: window.is_some(),
            errors,
            cells: (0..within.len()).filter(|i| within[*i]).collect(),
            within,
            layers,
            bumps: Vec::new(),
            off_wall: Vec::new(),
        };
        for (line, angle_deg, z_mm) in noted {
            match view.cell_of(angle_deg, z_mm) {
                Some((layer, degree)) => view.bumps.push(Bump {
                    line,
                    angle_deg,
                    z_mm,
                    layer,
                    degree,
                }),
                None => view.off_wall.push(line),
            }
        }
        if view.bumps.len() < BUMPS_MIN {
            return Err(too_few(view.bumps.len(), view.off_wall.len()));
        }
        Ok(view)
    }

    /// Whether a cell is on the wall within the window.
    pub fn has(&self, cell: usize) -> bool {
        self.within[cell]
    }

    /// A cell of the wall.
    ///
    /// # Panics
    /// Where there is no wall.
    pub fn at(&self, cell: usize) -> &Cell {
        self.wall.cells[cell].as_ref().expect("a cell of the wall")
    }

    /// The layer nearest to a height, within the window.
    pub fn layer_at(&self, z_mm: f64) -> usize {
        let [low, high] = self.layers;
        self.wall.nearest_layer(z_mm).clamp(low, high)
    }

    /// The layer so many above another, within the window.
    pub fn layer_above(&self, layer: usize, by: i64) -> usize {
        let [low, high] = self.layers;
        (layer as i64 + by).clamp(low as i64, high as i64) as usize
    }

    /// Layer and degree of a bump that was noted at this angle and height.
    pub fn cell_of(&self, angle_deg: f64, z_mm: f64) -> Option<(usize, usize)> {
        let layer = self.layer_at(z_mm);
        let w = &self.window;
        let past = (angle_deg - w.from_deg).rem_euclid(360.0) - w.span_deg();
        let angle_deg = if past <= 0.0 {
            angle_deg
        } else if past < 360.0 - w.span_deg() - past {
            w.from_deg + w.span_deg() - INSIDE_DEG
        } else {
            w.from_deg + INSIDE_DEG
        };
        let degree = angle_deg.rem_euclid(360.0).floor() as i64;
        let cell = search(degree, layer, |cell| self.within[cell])?;
        Some((layer, cell % AROUND))
    }
}

/// The cell at a degree of a layer for which `has` holds, or the nearest within some degrees.
pub fn search(degree: i64, layer: usize, has: impl Fn(usize) -> bool) -> Option<usize> {
    let steps = std::iter::once(0).chain((1..=SEARCH_DEG).flat_map(|d| [d, -d]));
    steps
        .map(|d| Wall::index(layer, degree + d))
        .find(|cell| has(*cell))
}

/// Line, angle and height of each mark.
fn noted(wall: &Wall, marks: &[Mark], errors: Errors) -> Result<Vec<(usize, f64, f64)>, Refusal> {
    let [low_mm, top_mm] = wall.reach_mm();
    let radii = wall.cells.iter().flatten().map(|c| c.radius_mm);
    let reach_mm = radii.fold(0.0, f64::max);
    let one = |mark: &Mark| {
        let angle_deg = match mark.around {
            Around::Angle(deg) => deg.rem_euclid(360.0),
            Around::Place([x_mm, y_mm]) => {
                let [x, y] = wall.centre_mm;
                if (x_mm - x).hypot(y_mm - y) > reach_mm + OUTSIDE_MM.max(OUTSIDE * reach_mm) {
                    return Err(Refusal::NoSuchPlace {
                        line: mark.line,
                        place_mm: [x_mm, y_mm],
                        centre_mm: wall.centre_mm,
                        reach_mm,
                    });
                }
                wall.angle_deg(x_mm, y_mm)
            }
        };
        let z_mm = match mark.height {
            Height::Mm(z_mm) => {
                let over = ABOVE_MM.max(ABOVE_ERRS * errors.z_mm);
                if !(low_mm - over..=top_mm + over).contains(&z_mm) {
                    return Err(Refusal::NoSuchHeight {
                        line: mark.line,
                        z_mm,
                        reach_mm: [low_mm, top_mm],
                    });
                }
                z_mm
            }
            Height::Layer(layer) => match wall.middle_mm.get(layer as usize) {
                Some(middle_mm) => *middle_mm,
                None => {
                    return Err(Refusal::NoSuchLayer {
                        line: mark.line,
                        layer,
                        layers: wall.layers(),
                    });
                }
            },
        };
        Ok((mark.line, angle_deg, z_mm))
    };
    marks.iter().map(one).collect()
}

/// Cells of the wall within a window, and its first and last layer; `None` where there is none.
fn within(wall: &Wall, window: &Window) -> Option<(Vec<bool>, [usize; 2])> {
    let level = |l: usize| (window.low_mm..=window.high_mm).contains(&wall.middle_mm[l]);
    let layers: Vec<usize> = (0..wall.layers()).filter(|l| level(*l)).collect();
    let around: Vec<bool> = (0..AROUND).map(|b| window.has(b as f64 + 0.5)).collect();
    let cells = wall.cells.iter().enumerate();
    let within: Vec<bool> = cells
        .map(|(i, c)| c.is_some() && around[i % AROUND] && level(i / AROUND))
        .collect();
    let any = within.iter().any(|w| *w);
    any.then_some((within, [*layers.first()?, *layers.last()?]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_window_around_bumps_may_lie_across_0_degrees() {
        let errors = Errors {
            angle_deg: 3.0,
            z_mm: 0.3,
        };
        let w = Window::around(&[350.0, 10.0, 355.0], &[1.0, 2.0, 3.0], errors);
        assert!((w.from_deg - 347.0).abs() < 1e-12 && (w.to_deg - 373.0).abs() < 1e-12);
        assert!(w.has(0.0) && w.has(348.0) && !w.has(20.0) && !w.has(340.0));
        assert!((w.low_mm - 0.7).abs() < 1e-12 && (w.high_mm - 3.3).abs() < 1e-12);
    }
}
