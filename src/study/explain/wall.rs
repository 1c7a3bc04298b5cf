//! The outer wall of a part, cut into cells: a layer high, a degree wide.

use super::moves::{Move, Outline};
use super::numbers::median;
use super::track::{Crossing, Track};

/// Cells around the part.
pub const AROUND: usize = 360;
/// Layers of wall that are kept of all parts together, at 40 kB each.
pub const LAYERS_MAX: usize = 12_000;
/// Neighbours farther apart than this are not next to each other on the wall, mm.
const APART_MM: f64 = 5.0;

/// What may run regularly along a job.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Along {
    /// Time, s.
    Time,
    /// Lines of the file.
    Lines,
    /// Filament, mm.
    Filament,
}

impl Along {
    /// All of them.
    pub const ALL: [Along; 3] = [Along::Time, Along::Lines, Along::Filament];
}

/// A cell of the wall: where the head printed it, and when.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// Time (s), lines and filament (mm) up to it, in the order of [`Along::ALL`].
    pub along: [f64; 3],
    /// x, y, z; mm.
    pub place_mm: [f64; 3],
    /// The run of extruding moves that printed it.
    pub run: u32,
    /// Turning of the path around it, rad/mm.
    pub curvature_per_mm: f64,
    /// Moves that the path asks for around it, 1/s.
    pub demand_per_s: f64,
    /// Its distance from the centre, mm.
    pub radius_mm: f64,
}

/// The unrolled wall of one part.
#[derive(Clone, Debug, PartialEq)]
pub struct Wall {
    /// The middle of the part, x and y; mm.
    pub centre_mm: [f64; 2],
    /// Cells by layer, then degree.
    pub cells: Vec<Option<Cell>>,
    /// The top of each layer, mm.
    pub top_mm: Vec<f64>,
    /// Where the part begins, mm: 0, on the bed, or its lowest move if that lies below.
    pub low_mm: f64,
    /// The middle of each layer, mm.
    pub middle_mm: Vec<f64>,
    /// The median height of a layer, mm.
    pub layer_mm: f64,
    /// The length of wall that each cell stands for, mm; 0 where there is none.
    pub length_mm: Vec<f64>,
}

impl Wall {
    /// How many layers there are.
    pub fn layers(&self) -> usize {
        self.top_mm.len()
    }

    /// The cell of a layer at a degree, the latter counted around and around.
    pub fn index(layer: usize, degree: i64) -> usize {
        layer * AROUND + degree.rem_euclid(AROUND as i64) as usize
    }

    /// The angle of a place as seen from the centre, 0 to 360 degrees.
    pub fn angle_deg(&self, x_mm: f64, y_mm: f64) -> f64 {
        angle_deg(x_mm - self.centre_mm[0], y_mm - self.centre_mm[1])
    }

    /// The layer whose middle is nearest to a height.
    pub fn nearest_layer(&self, z_mm: f64) -> usize {
        let mut best = 0;
        for (layer, middle) in self.middle_mm.iter().enumerate() {
            if (middle - z_mm).abs() < (self.middle_mm[best] - z_mm).abs() {
                best = layer;
            }
        }
        best
    }

    /// From where to where the part reaches, mm: from the bed, at 0, or from its lowest layer if that lies below.
    pub fn reach_mm(&self) -> [f64; 2] {
        let top_mm = self
            .top_mm
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        [self.low_mm, top_mm]
    }
}

/// The angle of a direction, 0 to 360 degrees.
fn angle_deg(x: f64, y: f64) -> f64 {
    y.atan2(x).to_degrees().rem_euclid(360.0)
}

/// Builds a wall from a job's moves as they come.
#[derive(Clone, Debug)]
pub struct WallBuilder {
    centre_mm: [f64; 2],
    rays: Vec<[f64; 2]>,
    cells: Vec<Option<Cell>>,
    track: Track,
    filament_mm: f64,
    low_mm: f64,
    /// The part's outline, where others stand on the plate.
    part: Option<Outline>,
}

impl WallBuilder {
    /// An empty wall of one part on a plate, around the part's middle.
    pub fn of_part(part: Outline) -> Self {
        WallBuilder {
            part: Some(part),
            ..WallBuilder::new(part.middle_mm())
        }
    }

    /// An empty wall around a centre, x and y in mm.
    pub fn new(centre_mm: [f64; 2]) -> Self {
        let ray = |b: usize| {
            let (sin, cos) = (b as f64 + 0.5).to_radians().sin_cos();
            [cos, sin]
        };
        WallBuilder {
            centre_mm,
            rays: (0..AROUND).map(ray).collect(),
            cells: Vec::new(),
            track: Track::default(),
            filament_mm: 0.0,
            low_mm: 0.0,
            part: None,
        }
    }

    /// Takes the next move.
    pub fn push(&mut self, next: &Move) {
        let before_mm = self.filament_mm;
        self.filament_mm += next.e_mm;
        let own = self.part.is_none_or(|part| part.has(next));
        if own && next.extrudes() {
            self.low_mm = self.low_mm.min(next.to_mm[2]);
            self.track.extend(next, before_mm);
            while self.track.is_ready() {
                self.place();
            }
        } else {
            self.end_run();
        }
    }

    /// Ends the job. `None` where nothing was printed around the centre.
    pub fn finish(mut self) -> Option<Wall> {
        self.end_run();
        let tops: Vec<Option<f64>> = self
            .cells
            .chunks(AROUND)
            .map(|layer| median(layer.iter().flatten().map(|c| c.place_mm[2])))
            .collect();
        let top_mm = filled(&tops)?;
        let mut height_mm = Vec::with_capacity(top_mm.len());
        for (layer, top) in top_mm.iter().enumerate() {
            let below = if layer == 0 { 0.0 } else { top_mm[layer - 1] };
            // Where the height falls, another part begins: its layer is as high as the last.
            let rise = top - below;
            let last = height_mm.last().copied().unwrap_or(rise);
            height_mm.push(if rise < 0.0 { last } else { rise });
        }
        let length_mm = lengths(&self.cells);
        Some(Wall {
            centre_mm: self.centre_mm,
            cells: self.cells,
            middle_mm: top_mm
                .iter()
                .zip(&height_mm)
                .map(|(t, h)| t - h / 2.0)
                .collect(),
            layer_mm: median(height_mm.iter().copied())?,
            top_mm,
            low_mm: self.low_mm,
            length_mm,
        })
    }

    fn end_run(&mut self) {
        self.track.end();
        while self.track.is_ready() {
            self.place();
        }
        self.track.clear();
    }

    /// Looks where the ready move of the track crosses rays.
    fn place(&mut self) {
        let step = *self.track.ready();
        let [cx, cy] = self.centre_mm;
        let (from, to) = (step.mv.from_mm, step.mv.to_mm);
        let (px, py) = (from[0] - cx, from[1] - cy);
        let (vx, vy) = (to[0] - from[0], to[1] - from[1]);
        let need = (step.mv.layer as usize + 1) * AROUND;
        if self.cells.len() < need {
            self.cells.resize(need, None);
        }
        for b in candidates([px, py], [px + vx, py + vy]) {
            let b = b.rem_euclid(AROUND as i64) as usize;
            let [dx, dy] = self.rays[b];
            let across = dx * vy - dy * vx;
            if across == 0.0 {
                continue;
            }
            let f = -(dx * py - dy * px) / across;
            let radius_mm = dx * (px + f * vx) + dy * (py + f * vy);
            if !(0.0..=1.0).contains(&f) || radius_mm <= 0.0 {
                continue;
            }
            let at = step.mv.layer as usize * AROUND + b;
            if self.cells[at].is_some_and(|c| c.radius_mm > radius_mm) {
                continue;
            }
            let Crossing {
                curvature_per_mm,
                demand_per_s,
                run,
            } = self.track.crossing(f);
            let between = |k: usize| from[k] + f * (to[k] - from[k]);
            self.cells[at] = Some(Cell {
                along: [
                    step.mv.start_s + f * (step.mv.end_s - step.mv.start_s),
                    step.mv.line as f64 + f,
                    step.filament_mm + f * step.mv.e_mm,
                ],
                place_mm: [between(0), between(1), between(2)],
                run,
                curvature_per_mm,
                demand_per_s,
                radius_mm,
            });
        }
        self.track.pass();
    }
}

/// Degrees of the rays that a move may cross, as seen from the centre; some more at either end.
fn candidates(from: [f64; 2], to: [f64; 2]) -> std::ops::RangeInclusive<i64> {
    let start = from[1].atan2(from[0]).to_degrees();
    let mut turn = to[1].atan2(to[0]).to_degrees() - start;
    turn -= 360.0 * (turn / 360.0).round();
    let close = |p: [f64; 2]| p[0].abs() + p[1].abs() < 1e-6;
    if turn.abs() > 179.0 || close(from) || close(to) {
        return 0..=AROUND as i64 - 1;
    }
    let (low, high) = (start.min(start + turn), start.max(start + turn));
    (low - 0.5).ceil() as i64 - 1..=(high - 0.5).floor() as i64 + 1
}

/// Values by layer, those missing interpolated; `None` where there are none.
pub fn filled(values: &[Option<f64>]) -> Option<Vec<f64>> {
    let known: Vec<(usize, f64)> = (0..values.len())
        .filter_map(|l| Some((l, values[l]?)))
        .collect();
    let (first, last) = (known.first()?, known.last()?);
    let at = |layer: usize| {
        let next = known.partition_point(|(l, _)| *l < layer);
        match (known.get(next.wrapping_sub(1)), known.get(next)) {
            (_, Some((l, v))) if *l == layer => *v,
            (Some((a, from)), Some((b, to))) => {
                from + (to - from) * (layer - a) as f64 / (b - a) as f64
            }
            (None, _) => first.1,
            (_, None) => last.1,
        }
    };
    Some((0..values.len()).map(at).collect())
}

/// The length of wall that each cell stands for: the mean distance to its two neighbours, mm.
fn lengths(cells: &[Option<Cell>]) -> Vec<f64> {
    let one = |i: usize| -> Option<f64> {
        let own = cells[i]?;
        let (layer, degree) = (i / AROUND, (i % AROUND) as i64);
        let next = [1, -1]
            .into_iter()
            .filter_map(|d| cells[Wall::index(layer, degree + d)])
            .map(|c| {
                let (dx, dy) = (
                    c.place_mm[0] - own.place_mm[0],
                    c.place_mm[1] - own.place_mm[1],
                );
                (dx * dx + dy * dy).sqrt()
            })
            .filter(|mm| *mm < APART_MM);
        let near: Vec<f64> = next.collect();
        (!near.is_empty()).then(|| near.iter().sum::<f64>() / near.len() as f64)
    };
    (0..cells.len()).map(|i| one(i).unwrap_or(0.0)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(layers: u32) -> Wall {
        let corners = [[10.0, -10.0], [10.0, 10.0], [-10.0, 10.0], [-10.0, -10.0]];
        let mut builder = WallBuilder::new([0.0, 0.0]);
        let mut at = 0.0;
        for layer in 0..layers {
            let z = 0.2 * f64::from(layer + 1);
            for k in 0..4 {
                let (a, b) = (corners[k], corners[(k + 1) % 4]);
                builder.push(&Move {
                    start_s: at,
                    end_s: at + 1.0,
                    from_mm: [a[0], a[1], z],
                    to_mm: [b[0], b[1], z],
                    e_mm: 1.0,
                    line: u64::from(layer) * 10 + k as u64,
                    layer,
                    ideal_s: 0.5,
                });
                at += 1.0;
            }
        }
        builder.finish().unwrap()
    }

    #[test]
    fn a_square_has_a_wall_all_around() {
        let wall = square(3);
        assert!(wall.cells.iter().all(Option::is_some));
        // Half a degree over the +x axis, half way up the first side.
        let cell = wall.cells[0].unwrap();
        let y = 10.0 * 0.5f64.to_radians().tan();
        assert!((cell.place_mm[1] - y).abs() < 1e-12);
        assert!((cell.along[0] - (10.0 + y) / 20.0).abs() < 1e-12);
        assert!((wall.layer_mm - 0.2).abs() < 1e-12 && (wall.middle_mm[1] - 0.3).abs() < 1e-12);
        assert!((wall.cells[0].unwrap().demand_per_s - 2.0).abs() < 1e-12);
        // One corner within 1 mm of path: a quarter turn over 2 mm.
        let corner = wall.cells[44].unwrap().curvature_per_mm;
        assert!(
            (corner - std::f64::consts::FRAC_PI_4).abs() < 1e-12,
            "{corner}"
        );
        assert_eq!(wall.cells[10].unwrap().curvature_per_mm, 0.0);
    }

    #[test]
    fn missing_layers_lie_between_their_neighbours() {
        let tops = [None, Some(1.0), None, Some(3.0), None];
        assert_eq!(filled(&tops).unwrap(), [1.0, 1.0, 2.0, 3.0, 3.0]);
        assert_eq!(filled(&[None, None]), None);
    }
}
