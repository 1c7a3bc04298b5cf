//! What a layer is, whatever lies below it; kept for some layers, since many a part repeats them.

use std::sync::{Arc, OnceLock};

use super::grid::{Bead, Grid, Label, OUTSIDE, SOLID, Sight};
use super::ground::Shape;
use super::islands::Islands;
use super::layer::{Layer, Point};
use super::limits::{Budget, KEPT_BEADS_MAX, KEPT_TILES_MAX};
use super::lines::{Line, length_mm, lines};

/// A bead is asked what it faces at points this far apart, widths; an odd number of them.
const ASK_WIDTHS: f64 = 12.0;
/// Points of one bead that are asked at most.
const ASK_MAX: f64 = 33.0;
/// A bead longer than this is looked at as a whole first, which takes about as long as one point, in [`ASK_WIDTHS`].
const LONG_PIECES: f64 = 1.0;
/// Layers that are kept: solid infill turns from layer to layer, by two or three directions.
const KEPT: usize = 3;

/// A layer drawn, with its islands and lines.
#[derive(Debug)]
pub(super) struct Look {
    pub grid: Arc<Grid>,
    pub islands: Islands,
    pub lines: Vec<Line>,
    /// By island.
    pub shapes: Vec<Shape>,
    /// What its beads face, once that is known.
    faces: OnceLock<Vec<Seen>>,
}

/// What a bead faces.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    /// At most of its points.
    pub label: Label,
    outside: u8,
    points: u8,
}

impl Seen {
    /// Only plastic.
    pub const NOTHING: Seen = Seen {
        label: SOLID,
        outside: 0,
        points: 1,
    };

    /// The share of its points that are outside.
    pub fn outer(self) -> f64 {
        f64::from(self.outside) / f64::from(self.points)
    }
}

impl Look {
    /// Looks at a layer; `None` where a limit cuts it.
    fn new(layer: &Layer, cell_mm: f64, budget: &mut Budget) -> Option<Self> {
        let grid = Grid::new(layer.beads(), cell_mm, budget)?;
        let islands = Islands::new(&grid);
        let lines = lines(layer, &grid, &islands);
        let mut shapes = vec![Shape::default(); islands.cells.len()];
        for line in &lines {
            shapes[line.island as usize].add(line, layer);
        }
        Some(Look {
            grid: Arc::new(grid),
            islands,
            lines,
            shapes,
            faces: OnceLock::new(),
        })
    }

    /// What each bead of the layer that was looked at faces.
    pub fn faces(&self, layer: &Layer) -> &[Seen] {
        self.faces.get_or_init(|| {
            let mut before = None;
            let beads = layer.beads();
            beads.map(|b| ask(&self.grid, &b, &mut before)).collect()
        })
    }
}

/// The layers looked at last.
#[derive(Debug)]
pub(super) struct Looks {
    /// The newest last: each with its path.
    kept: Vec<(Vec<Point>, Arc<Look>)>,
    most: usize,
}

impl Default for Looks {
    fn default() -> Self {
        Looks::keeping(KEPT)
    }
}

impl Looks {
    /// None so far; keeps at most so many.
    pub fn keeping(most: usize) -> Self {
        Looks {
            kept: Vec::new(),
            most,
        }
    }

    /// Looks at a layer, or takes what was found when one with the very same path was looked at; also tells whether
    /// it did that. Both take as much of the budget. `None` where a limit cuts the layer.
    pub fn at(
        &mut self,
        layer: &Layer,
        cell_mm: f64,
        budget: &mut Budget,
    ) -> Option<(Arc<Look>, bool)> {
        let place = self.kept.iter().position(|(path, _)| *path == layer.path);
        if let Some(place) = place {
            if !budget.spend(self.kept[place].1.grid.work) {
                return None;
            }
            self.kept[place..].rotate_left(1);
            let look = &self.kept.last()?.1;
            return Some((Arc::clone(look), true));
        }
        let look = Arc::new(Look::new(layer, cell_mm, budget)?);
        if look.grid.drawn.len() <= KEPT_TILES_MAX && layer.path.len() <= KEPT_BEADS_MAX {
            self.kept.push((layer.path.clone(), Arc::clone(&look)));
            if self.kept.len() > self.most {
                self.kept.remove(0);
            }
        }
        Some((look, false))
    }
}

/// What a bead faces at most of its points. `before` is for [`Grid::faces`].
pub(super) fn ask(grid: &Grid, bead: &Bead, before: &mut Option<Sight>) -> Seen {
    let pieces = (length_mm(bead) / (ASK_WIDTHS * bead.width_mm)).clamp(0.0, ASK_MAX);
    // Odd: one more than twice the half.
    let half = (pieces / 2.0).ceil() as u8;
    let points = 2 * half + 1;
    let at = |k: u8| {
        let along = (f64::from(k) + 0.5) / f64::from(points);
        [0, 1].map(|i| bead.from_mm[i] + along * (bead.to_mm[i] - bead.from_mm[i]))
    };
    if pieces > LONG_PIECES {
        let least = grid.least_along(bead);
        if least != OUTSIDE {
            let label = if least == Label::MAX {
                SOLID
            } else {
                last_void(grid, bead.width_mm, half, at, before)
            };
            return Seen {
                label,
                outside: 0,
                points,
            };
        }
    }
    let (mut outside, mut void) = (0, 0);
    let mut some_void = SOLID;
    for k in 0..points {
        match grid.faces(at(k), bead.width_mm, before) {
            OUTSIDE => outside += 1,
            SOLID => {}
            label => {
                void += 1;
                some_void = label;
            }
        }
    }
    // The middle one, by how much is seen of it.
    let label = if outside > half {
        OUTSIDE
    } else if outside + void > half {
        some_void
    } else {
        SOLID
    };
    Seen {
        label,
        outside,
        points,
    }
}

/// What the last of a bead's points that faces a void faces, where more than half of them do; else plastic. None of them may
/// face outside. `half`: half of the points, without the middle one.
fn last_void(
    grid: &Grid,
    width_mm: f64,
    half: u8,
    at: impl Fn(u8) -> [f64; 2],
    before: &mut Option<Sight>,
) -> Label {
    let (mut last, mut void) = (SOLID, 0);
    for k in (0..=2 * half).rev() {
        if last == SOLID {
            last = grid.faces(at(k), width_mm, before);
            void += u8::from(last != SOLID);
        } else {
            void += u8::from(grid.is_seen(at(k), width_mm, before));
        }
        if void > half {
            return last;
        }
        if void + k <= half {
            break;
        }
    }
    SOLID
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whether a layer is known when it comes again.
    fn is_kept(layer: &Layer) -> bool {
        let (mut looks, mut budget) = (Looks::default(), Budget::default());
        budget.earn(1_000_000);
        let mut look = || looks.at(layer, 0.1, &mut budget).unwrap().1;
        !look() && look()
    }

    /// So many level beads, so far apart and so long.
    fn level(beads: u32, apart_mm: f32, length_mm: f32) -> Layer {
        let mut layer = Layer::new(0, 0.2);
        layer.height_mm = 0.2;
        for k in 0..beads {
            layer.blocks += 1;
            let y = (k % 250) as f32 * apart_mm;
            layer.bead([0.0, y], [length_mm, y], 0.45);
        }
        layer
    }

    /// Tiles are 1.6 mm wide.
    #[test]
    fn large_layers_are_not_kept() {
        assert!(is_kept(&level(190, 1.6, 320.0)));
        assert!(!is_kept(&level(250, 1.6, 400.0)));
        // Two points a bead.
        assert!(is_kept(&level(95_000, 0.3, 0.5)));
        assert!(!is_kept(&level(101_000, 0.3, 0.5)));
    }

    #[test]
    fn three_layers_are_kept() {
        let (mut looks, mut budget) = (Looks::default(), Budget::default());
        let mut is_known = |beads: u32| {
            let layer = level(beads, 1.0, 9.0);
            looks.at(&layer, 0.1, &mut budget).unwrap().1
        };
        assert_eq!(
            [1, 2, 3, 1, 2, 3].map(&mut is_known),
            [false, false, false, true, true, true]
        );
        assert_eq!([4, 1, 4].map(is_known), [false, false, true]);
    }
}
