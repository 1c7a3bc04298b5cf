//! Moves → blocks under the board's limits ([model sections 1](crate::model#1-the-parts) and [2](crate::model#2-block-limits-and-corners)).

use crate::board::types::{Accel, Board, Corner, Layout, Motion};
use crate::job::state::{Circle, Limit, Move, NOTHING_MM};

use super::corner;
use super::extremes::{greater, lesser};

/// A straight move for the executor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Block {
    /// Length, mm: of XYZ, or of E where nothing else moves.
    pub length_mm: f64,
    /// Nominal speed before any low-queue stretch, mm/s.
    pub speed_mm_s: f64,
    /// Acceleration, mm/s².
    pub accel_mm_s2: f64,
    /// What the corner rule allows at the join with the block before it, mm/s.
    pub corner_mm_s: f64,
    /// Step events of the busiest motor.
    pub steps: f64,
}

/// Where a block goes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Place {
    /// Start x, y, z in machine coordinates, mm.
    pub from_mm: [f64; 3],
    /// End x, y, z in machine coordinates, mm.
    pub to_mm: [f64; 3],
    /// Filament moved, mm.
    pub e_mm: f64,
}

impl Place {
    /// Whether the block prints: it extrudes while it moves in X, Y or Z ([model section 10](crate::model#10-plastic)).
    #[inline]
    pub fn prints(&self) -> bool {
        self.e_mm > NOTHING_MM && self.moves()
    }

    /// Whether it moves in X, Y or Z; else the block is E only.
    #[inline]
    pub fn moves(&self) -> bool {
        let moves = |axis: usize| (self.to_mm[axis] - self.from_mm[axis]).abs() > NOTHING_MM;
        moves(0) | moves(1) | moves(2)
    }
}

/// Turns moves into blocks; holds the machine's limits, which a job may change on the way.
#[derive(Clone, Debug)]
pub struct Path {
    speed_max_mm_s: [f64; 4],
    accel_max_mm_s2: [f64; 4],
    accel: Accel,
    corner: Corner,
    layout: Layout,
    steps_per_mm: [f64; 4],
    arc_chord_mm: f64,
    before: Option<Before>,
    /// Chords that arcs may still have.
    chords_left: u32,
}

/// What a corner needs of the block before it.
#[derive(Clone, Copy, Debug)]
struct Before {
    direction: [f64; 4],
    speed_mm_s: f64,
    accel_mm_s2: f64,
    e_only: bool,
}

/// What the end of a path leaves to what follows: the join with the next block, and the chords that arcs may still have.
#[derive(Clone, Copy, Debug)]
pub struct End {
    before: Option<Before>,
    chords_left: u32,
}

impl End {
    /// Nominal speed of the last block, mm/s; 0 where there is none.
    pub fn speed_mm_s(&self) -> f64 {
        self.before.map_or(0.0, |before| before.speed_mm_s)
    }
}

impl Path {
    /// The path of a job's first block on this board.
    pub fn new(board: &Board) -> Self {
        let Motion {
            layout,
            speed_max_mm_s,
            accel_max_mm_s2,
            accel,
            corner,
            steps_per_mm,
            arc_chord_mm,
        } = board.motion;
        Path {
            speed_max_mm_s,
            accel_max_mm_s2,
            accel,
            corner,
            layout,
            steps_per_mm,
            arc_chord_mm,
            before: None,
            chords_left: CHORDS_SAVED_MAX,
        }
    }

    /// Takes a change of limits.
    pub fn limit(&mut self, limit: &Limit) {
        let set = |to: &mut f64, from: &Option<f64>| {
            if let Some(value) = from {
                *to = *value;
            }
        };
        match limit {
            Limit::AccelMax(axes) => {
                for (to, from) in self.accel_max_mm_s2.iter_mut().zip(axes) {
                    set(to, from);
                }
            }
            Limit::SpeedMax(axes) => {
                for (to, from) in self.speed_max_mm_s.iter_mut().zip(axes) {
                    set(to, from);
                }
            }
            Limit::Accel([print, travel, retract]) => {
                set(&mut self.accel.print_mm_s2, print);
                set(&mut self.accel.travel_mm_s2, travel);
                set(&mut self.accel.retract_mm_s2, retract);
            }
            Limit::Corner(jumps, deviation) => match &mut self.corner {
                Corner::Jump { mm_s } => {
                    for (to, from) in mm_s.iter_mut().zip(jumps) {
                        set(to, from);
                    }
                }
                Corner::Deviation { mm } => set(mm, deviation),
            },
        }
    }

    /// Where it has come to.
    pub fn end(&self) -> End {
        End {
            before: self.before,
            chords_left: self.chords_left,
        }
    }

    /// Goes on from this end, of this path or of another under the same limits.
    pub fn go_on(&mut self, end: End) {
        self.before = end.before;
        self.chords_left = end.chords_left;
    }

    /// Cuts a move into blocks.
    #[inline(always)]
    pub fn blocks<'a>(&'a mut self, m: &'a Move) -> Blocks<'a> {
        let from_mm = [m.from_mm[0], m.from_mm[1], m.from_mm[2]];
        let end_mm = [m.to_mm[0], m.to_mm[1], m.to_mm[2]];
        let arc = m.circle.map(|circle| self.arc(circle, from_mm, end_mm));
        Blocks {
            path: self,
            feed_mm_s: m.feed_mm_s,
            from_mm,
            end_mm,
            e_mm: m.e_mm,
            pieces: arc.as_ref().map_or(1, |arc| arc.chords),
            cut: 0,
            arc,
        }
    }

    /// An arc comes whose line has so many bytes: arcs may have some chords more.
    pub fn add_chords(&mut self, line_bytes: u32) {
        let more = line_bytes.min(CHORDS_SAVED_MAX) * CHORDS_FOR_TWO_BYTES / 2;
        self.chords_left = (self.chords_left + more).min(CHORDS_SAVED_MAX);
    }

    /// An arc, cut into no more chords than it may have.
    #[inline(never)]
    fn arc(&mut self, circle: Circle, from_mm: [f64; 3], end_mm: [f64; 3]) -> Arc {
        let mut arc = Arc::new(circle, from_mm, end_mm, self.arc_chord_mm);
        let most = self.chords_left.clamp(CHORDS_LEAST, CHORDS_MAX);
        arc.is_coarse = arc.chords > most;
        arc.chords = arc.chords.min(most);
        self.chords_left = self.chords_left.saturating_sub(arc.chords);
        arc
    }

    #[inline(always)]
    fn block(&mut self, place: &Place, feed_mm_s: f64) -> Option<Block> {
        let mut delta = [0.0; 4];
        for (axis, d) in delta.iter_mut().take(3).enumerate() {
            *d = place.to_mm[axis] - place.from_mm[axis];
        }
        delta[3] = place.e_mm;
        let moves = delta.map(|d| d.abs() > NOTHING_MM);
        let e_only = !(moves[0] || moves[1] || moves[2]);
        if e_only {
            if !moves[3] {
                return None;
            }
            delta[0] = 0.0;
            delta[1] = 0.0;
            delta[2] = 0.0;
        }
        let length_mm = if e_only {
            delta[3].abs()
        } else {
            (delta[0] * delta[0] + delta[1] * delta[1] + delta[2] * delta[2]).sqrt()
        };
        let base_mm_s2 = if e_only {
            self.accel.retract_mm_s2
        } else if delta[3] > NOTHING_MM {
            self.accel.print_mm_s2
        } else {
            self.accel.travel_mm_s2
        };
        // Divided, not multiplied by the inverse: opposite directions then add up to exactly 0.
        let direction = delta.map(|d| d / length_mm);
        let mut speed_mm_s = feed_mm_s;
        let mut accel_mm_s2 = base_mm_s2;
        let share = direction.map(f64::abs);
        let over = |value: f64, most: &[f64; 4]| {
            let over = |k: usize| value * share[k] > most[k];
            over(0) | over(1) | over(2) | over(3)
        };
        // Divisions only where an axis is the limit.
        if over(speed_mm_s, &self.speed_max_mm_s) {
            speed_mm_s = least(speed_mm_s, &self.speed_max_mm_s, &share);
        }
        if over(accel_mm_s2, &self.accel_max_mm_s2) {
            accel_mm_s2 = least(accel_mm_s2, &self.accel_max_mm_s2, &share);
        }
        let corner_mm_s = match &self.before {
            Some(before) if !e_only && !before.e_only => corner::speed_mm_s_below(
                &self.corner,
                &before.direction,
                &direction,
                lesser(accel_mm_s2, before.accel_mm_s2),
                lesser(speed_mm_s, before.speed_mm_s),
            ),
            _ => 0.0,
        };
        self.before = Some(Before {
            direction,
            speed_mm_s,
            accel_mm_s2,
            e_only,
        });
        let [x, y, z, e] = self.steps_per_mm;
        let motors = match self.layout {
            Layout::Cartesian => [delta[0] * x, delta[1] * y],
            Layout::CoreXy => [(delta[0] + delta[1]) * x, (delta[0] - delta[1]) * y],
        };
        let [a, b] = motors.map(f64::abs);
        let (c, d) = ((delta[2] * z).abs(), (delta[3] * e).abs());
        let steps = greater(greater(a, b), greater(c, d));
        Some(Block {
            length_mm,
            speed_mm_s,
            accel_mm_s2,
            corner_mm_s,
            steps,
        })
    }
}

/// The blocks of a move, each with its place.
pub struct Blocks<'a> {
    path: &'a mut Path,
    feed_mm_s: f64,
    from_mm: [f64; 3],
    end_mm: [f64; 3],
    e_mm: f64,
    arc: Option<Arc>,
    /// How many pieces the move is cut into; some may move nothing.
    pub pieces: u32,
    cut: u32,
}

impl Blocks<'_> {
    /// Whether this is an arc that a limit gave fewer chords than the board's `arc_chord_mm` asks for.
    pub fn is_coarse(&self) -> bool {
        self.arc.as_ref().is_some_and(|arc| arc.is_coarse)
    }
}

impl Iterator for Blocks<'_> {
    type Item = (Block, Place);

    #[inline(always)]
    fn next(&mut self) -> Option<(Block, Place)> {
        while self.cut < self.pieces {
            self.cut += 1;
            let to_mm = match &self.arc {
                Some(arc) if self.cut < self.pieces => arc.point_mm(self.cut),
                _ => self.end_mm,
            };
            let place = Place {
                from_mm: self.from_mm,
                to_mm,
                e_mm: self.e_mm / f64::from(self.pieces),
            };
            self.from_mm = to_mm;
            if let Some(block) = self.path.block(&place, self.feed_mm_s) {
                return Some((block, place));
            }
        }
        None
    }
}

/// A value that no axis' share of it may raise above the axis' limit.
#[cold]
fn least(value: f64, most: &[f64; 4], share: &[f64; 4]) -> f64 {
    (0..4)
        .filter(|k| share[*k] > 0.0)
        .fold(value, |least, k| least.min(most[k] / share[k]))
}

/// Chords that one arc may be cut into: 100 m of arc in millimetres.
const CHORDS_MAX: u32 = 100_000;
/// Chords that each arc adds for two bytes of its line; what it leaves of them, later ones may have. So the
/// blocks of a job stay in proportion to its length, and an arc as they are written, with both ends and four
/// decimals, adds more than it needs.
const CHORDS_FOR_TWO_BYTES: u32 = 3;
/// There are so many at the start, and no more are left for later.
const CHORDS_SAVED_MAX: u32 = 1_500_000;
/// Chords that every arc may have, even where none are left.
const CHORDS_LEAST: u32 = 8;

/// An arc, cut into chords of equal angle.
struct Arc {
    circle: Circle,
    start_mm: [f64; 3],
    end_mm: [f64; 3],
    radius_mm: f64,
    first_rad: f64,
    sweep_rad: f64,
    chords: u32,
    /// Whether it has fewer than it should.
    is_coarse: bool,
}

impl Arc {
    #[inline(never)]
    fn new(circle: Circle, start_mm: [f64; 3], end_mm: [f64; 3], chord_mm: f64) -> Self {
        let [a, b] = circle.plane;
        let centre = circle.centre_mm;
        let start = [start_mm[a] - centre[0], start_mm[b] - centre[1]];
        let end = [end_mm[a] - centre[0], end_mm[b] - centre[1]];
        let radius_mm = start[0].hypot(start[1]);
        let sweep_rad = sweep_rad(&circle, start, end);
        Arc {
            circle,
            start_mm,
            end_mm,
            radius_mm,
            first_rad: start[1].atan2(start[0]),
            sweep_rad,
            chords: (radius_mm * sweep_rad.abs() / chord_mm)
                .ceil()
                .clamp(1.0, f64::from(u32::MAX)) as u32,
            is_coarse: false,
        }
    }

    /// The end of a chord but the last.
    #[inline(never)]
    fn point_mm(&self, chord: u32) -> [f64; 3] {
        let share = f64::from(chord) / f64::from(self.chords);
        let angle = self.first_rad + self.sweep_rad * share;
        let mut at_mm = self.start_mm;
        for (at_mm, end_mm) in at_mm.iter_mut().zip(self.end_mm) {
            *at_mm += (end_mm - *at_mm) * share;
        }
        let [a, b] = self.circle.plane;
        at_mm[a] = self.circle.centre_mm[0] + self.radius_mm * angle.cos();
        at_mm[b] = self.circle.centre_mm[1] + self.radius_mm * angle.sin();
        at_mm
    }
}

/// The angle from start to end about the centre, negative clockwise.
fn sweep_rad(circle: &Circle, start: [f64; 2], end: [f64; 2]) -> f64 {
    use std::f64::consts::TAU;
    if circle.full {
        return if circle.clockwise { -TAU } else { TAU };
    }
    let turn = (start[0] * end[1] - start[1] * end[0]).atan2(start[0] * end[0] + start[1] * end[1]);
    match circle.clockwise {
        true if turn >= 0.0 => turn - TAU,
        false if turn <= 0.0 => turn + TAU,
        _ => turn,
    }
}
