//! What is seen of a part, worked out layer by layer: what is part, its walls, the voids behind them, and
//! what each block faces.

use std::sync::Arc;

use super::facing::{Faces, Surface};
use super::first_layers::{self, Held};
use super::grid::{Grid, OUTSIDE};
use super::ground::{Ground, Laid};
use super::layer::Layer;
use super::left_out::{LeftOut, Why, leave_out};
use super::limits::{Budget, HELD_BEADS_MAX, HELD_TILES_MAX};
use super::lines::length_mm;
use super::look::{Looks, Seen, ask};
use super::parts::{Part, parts};
use super::runs::{Faced, Runs};
use super::voids::{Voids, is_void};
use super::walls::{SPEED_BINS, WallPoint, Walls};

/// Width of a cell, nozzle widths.
const CELL_NOZZLES: f64 = 0.3;
/// A layer that falls to the height of the lowest, or at most so much above it, begins another part, mm.
const BED_MM: f64 = 0.05;

/// What is seen of a job's parts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Exposure {
    /// What each block faces.
    pub faces: Faces,
    /// The parts on the plate, from left to right.
    pub parts: Vec<Part>,
    /// What was printed and is no part.
    pub left_out: Vec<LeftOut>,
    /// Layers whose surface is unknown, because they are too large or ask for too much work.
    pub unknown_layers: u64,
    /// The first of them.
    pub first_unknown_layer: Option<u32>,
    /// The walls that are seen from outside, thinned, in the order of the path.
    pub walls: Vec<WallPoint>,
    /// Length of outer wall by replayed over ideal speed, from 0 to 1, mm; of the layers whose
    /// walls are kept.
    pub wall_mm: [f64; SPEED_BINS],
    /// Outer wall of all parts: length of its beads times the layer's height, mm².
    pub outer_mm2: f64,
}

impl Exposure {
    /// The part's surface on which this block lies; `None` where it is unknown or no part.
    pub fn of(&self, block: u64) -> Option<Surface> {
        self.faces.of(block)
    }

    /// What a limit of this program has cut, in words.
    pub fn cut(&self) -> Option<String> {
        let first = self.first_unknown_layer?;
        let layers = match self.unknown_layers {
            1 => "1 layer".to_string(),
            n => format!("{n} layers"),
        };
        Some(format!(
            "the surface of {layers} (the first is layer {first}) is too large to be worked out: whether bumps there \
             can be seen is unknown, and they do not count as visible"
        ))
    }
}

/// A layer's part.
struct Drawn<'a> {
    grid: &'a Arc<Grid>,
    /// By bead.
    seen: &'a [Seen],
    /// Whether the very same was drawn not long before.
    again: bool,
}

/// All that is known of the layers so far.
#[derive(Debug)]
pub(super) struct Shell {
    nozzle_mm: f64,
    walls_wanted: bool,
    whole: bool,
    budget: Budget,
    ground: Ground,
    voids: Voids,
    looks: Looks,
    walls: Walls,
    runs: Runs,
    left_out: Vec<LeftOut>,
    unknown_layers: u64,
    first_unknown_layer: Option<u32>,
    /// The first layers of a part, until it shows what stands on them.
    held: Vec<Held>,
    holds: bool,
    /// Height of the last printed layer, and of the lowest, mm.
    z_mm: f64,
    bed_z_mm: f64,
}

impl Shell {
    /// Nothing printed.
    pub fn new(nozzle_mm: f64, walls_wanted: bool, whole: bool) -> Self {
        Shell {
            nozzle_mm,
            walls_wanted,
            whole,
            budget: Budget::default(),
            ground: Ground::default(),
            voids: Voids::new(nozzle_mm),
            looks: Looks::default(),
            walls: Walls::new(),
            runs: Runs::default(),
            left_out: Vec::new(),
            unknown_layers: 0,
            first_unknown_layer: None,
            held: Vec::new(),
            holds: true,
            z_mm: f64::MAX,
            bed_z_mm: f64::MAX,
        }
    }

    fn cell_mm(&self) -> f64 {
        CELL_NOZZLES * self.nozzle_mm
    }

    /// Processes the next layer; returns the excess plastic on its outside, mm³: skirts and the like counted
    /// on the first layers.
    pub fn layer(&mut self, layer: Layer) -> f64 {
        let prints = !layer.path.is_empty();
        if prints {
            if layer.z_mm < self.z_mm && layer.z_mm <= self.bed_z_mm + BED_MM {
                // The first layer of a part.
                self.release();
                self.holds = true;
            }
            self.z_mm = layer.z_mm;
            self.bed_z_mm = self.bed_z_mm.min(layer.z_mm);
        }
        let held = self.look(layer);
        let outer_mm3 = held.outer_mm3();
        self.held.push(held);
        let drawn = self.held.iter().filter_map(Held::grid);
        let (printed, tiles) = drawn.fold((0, 0), |(n, tiles), g| (n + 1, tiles + g.drawn.len()));
        let beads: usize = self.held.iter().map(|h| h.layer.bead_count()).sum();
        let enough = printed >= first_layers::HELD_MAX;
        if !self.holds || enough || beads > HELD_BEADS_MAX || tiles > HELD_TILES_MAX {
            self.release();
            self.holds = false;
        }
        outer_mm3
    }

    /// Draws a layer, and finds its lines and what its islands stand on.
    fn look(&mut self, layer: Layer) -> Held {
        self.budget.earn(layer.bead_count());
        let look = if layer.path.is_empty() || layer.cut {
            None
        } else {
            let look = self.looks.at(&layer, self.cell_mm(), &mut self.budget);
            look.filter(|(look, _)| self.ground.fits(&look.grid))
        };
        let Some((look, again)) = look else {
            return Held::blank(layer);
        };
        let laid = Laid {
            number: layer.number,
            z_mm: layer.z_mm,
            height_mm: layer.height_mm,
            bed: self.held.iter().all(|h| h.look.is_none()) && self.holds,
            whole: self.whole,
        };
        let columns = self
            .ground
            .lay(&look.grid, &look.islands, &look.shapes, &laid);
        Held::new(layer, look, again, columns)
    }

    /// Works off what is held.
    fn release(&mut self) {
        let mut held = std::mem::take(&mut self.held);
        if self.holds && !self.whole {
            first_layers::sift(&mut held, &mut self.ground, &mut self.left_out);
        }
        for held in held {
            self.settle(held);
        }
    }

    fn settle(&mut self, mut held: Held) {
        let Some(look) = held.look.clone() else {
            let unknown = !held.layer.path.is_empty();
            if unknown {
                self.is_unknown(&held.layer);
            }
            let nothing: &[Faced] = &[];
            self.runs.layer(&held.layer, unknown.then_some(nothing));
            return;
        };
        let loops = !self.whole && self.leave_open_lines(&mut held);
        let kept = held.lines.iter().filter(|l| l.out.is_none()).count();
        let mut faced = vec![Faced::LEFT_OUT; held.layer.bead_count()];
        if kept == held.lines.len() {
            let drawn = Drawn {
                grid: &look.grid,
                seen: look.faces(&held.layer),
                again: held.again,
            };
            self.face(&held, &drawn, loops, &mut faced);
        } else if kept > 0 {
            let lines = held.lines.iter().filter(|l| l.out.is_none());
            let beads = lines.flat_map(|l| held.layer.beads_of(&l.chain));
            match Grid::new(beads, self.cell_mm(), &mut self.budget) {
                Some(grid) => {
                    let drawn = Drawn {
                        seen: &seen_of(&held, &grid),
                        grid: &Arc::new(grid),
                        again: false,
                    };
                    self.face(&held, &drawn, loops, &mut faced);
                }
                None => {
                    self.is_unknown(&held.layer);
                    faced.fill(Faced::UNKNOWN);
                }
            }
        }
        self.runs.layer(&held.layer, Some(&faced));
        if self.runs.are_many() {
            let (voids, ground) = (&mut self.voids, &mut self.ground);
            self.runs.merge(|v| voids.root(v), |c| ground.root(c));
        }
    }

    fn is_unknown(&mut self, layer: &Layer) {
        self.unknown_layers += 1;
        self.first_unknown_layer.get_or_insert(layer.number);
    }

    /// Leaves out islands without loops, where others have loops; returns whether any has.
    fn leave_open_lines(&mut self, held: &mut Held) -> bool {
        let number = held.layer.number;
        let mut has_loops = vec![false; held.columns.len()];
        for line in &mut held.lines {
            if line.out.is_none() {
                line.out = self
                    .ground
                    .column(held.columns[line.island as usize])
                    .left_out;
            }
            has_loops[line.island as usize] |= line.closed && line.out.is_none();
        }
        if !has_loops.contains(&true) {
            return false;
        }
        for line in held.lines.iter_mut().filter(|l| l.out.is_none()) {
            if !has_loops[line.island as usize] {
                line.out = Some(Why::OpenColumn);
                let column = self.ground.column(held.columns[line.island as usize]);
                if column.loops {
                    leave_out(&mut self.left_out, Why::OpenLine, 1, [number, number]);
                } else {
                    column.left_out = Some(Why::OpenColumn);
                }
            }
        }
        true
    }

    /// Works out what the beads of a layer face.
    fn face(&mut self, held: &Held, drawn: &Drawn, loops: bool, faced: &mut [Faced]) {
        let layer = &held.layer;
        let voids = self.voids.layer(drawn.grid, drawn.again, layer.z_mm);
        let mut open_lines = 0;
        for line in held.lines.iter().filter(|l| l.out.is_none()) {
            let column = held.columns[line.island as usize];
            let no_wall = loops && !line.closed;
            let mut outer_mm2 = 0.0;
            let mut was_wall = false;
            for (k, bead) in layer.beads_of(&line.chain).enumerate() {
                let seen = drawn.seen[line.chain.first_bead + k];
                let own = &mut faced[line.chain.first_bead + k];
                *own = match seen.label {
                    OUTSIDE if no_wall => Faced::LEFT_OUT,
                    OUTSIDE => Faced::outer(column),
                    void if is_void(void) => {
                        let void = voids[void as usize];
                        if self.voids.is_open(void) {
                            Faced::hole(column)
                        } else {
                            Faced::void(void, column)
                        }
                    }
                    _ => Faced::inner(column),
                };
                was_wall |= seen.label == OUTSIDE;
                if seen.outer() > 0.0 {
                    outer_mm2 += seen.outer() * length_mm(&bead) * layer.height_mm;
                }
            }
            if no_wall {
                open_lines += u64::from(was_wall);
            } else {
                self.ground.column(column).outer_mm2 += outer_mm2;
            }
        }
        if open_lines > 0 {
            let layers = [layer.number; 2];
            leave_out(&mut self.left_out, Why::OpenLine, open_lines, layers);
        }
        if self.walls_wanted {
            self.keep_walls(held, drawn.grid, loops);
        }
        self.voids
            .lies_below(drawn.grid, drawn.again, voids, layer.z_mm);
    }

    fn keep_walls(&mut self, held: &Held, grid: &Grid, loops: bool) {
        let layer = &held.layer;
        let walls = held
            .lines
            .iter()
            .filter(|l| l.out.is_none() && (l.closed || !loops));
        let beads = walls.flat_map(|line| {
            let column = held.columns[line.island as usize];
            let beads = layer.beads_of(&line.chain).enumerate();
            beads.map(move |(k, bead)| {
                let speed = layer.speeds.get(line.chain.first_bead + k);
                (bead, column, speed.copied().unwrap_or(SPEED_BINS as u8 - 1))
            })
        });
        self.walls.layer(layer.number, layer.z_mm, beads, grid);
    }

    /// Ends the job: what is open above is seen.
    pub fn finish(mut self) -> Exposure {
        self.release();
        self.voids.end();
        let mut columns = Vec::new();
        for root in self.ground.roots() {
            let column = *self.ground.column(root);
            let roofed = !self.whole && column.ends_below_roof();
            let why = if roofed {
                Some(Why::BelowRoof)
            } else {
                column.left_out
            };
            match why {
                // Told already.
                Some(Why::NothingStandsOn) => {}
                Some(why) => {
                    let layers = [column.first_layer, column.last_layer];
                    leave_out(&mut self.left_out, why, 1, layers);
                }
                None => columns.push(root),
            }
        }
        let (parts, of) = parts(&columns, &mut self.ground);
        let part = |ground: &mut Ground, node: u32| of.get(&ground.root(node)).copied();
        self.left_out.sort_by_key(|l| l.why);
        let ground = &mut self.ground;
        self.walls.finish(|node| Some(part(ground, node)? as u32));
        let faces = self.runs.finish(&mut self.voids, |node| part(ground, node));
        Exposure {
            faces,
            outer_mm2: parts.iter().map(|p| p.outer_mm2).sum(),
            parts,
            left_out: self.left_out,
            unknown_layers: self.unknown_layers,
            first_unknown_layer: self.first_unknown_layer,
            walls: self.walls.points,
            wall_mm: self.walls.length_mm,
        }
    }
}

/// What each bead of the lines that are part faces on a grid that has only these.
fn seen_of(held: &Held, grid: &Grid) -> Vec<Seen> {
    let mut all = vec![Seen::NOTHING; held.layer.bead_count()];
    let mut before = None;
    for line in held.lines.iter().filter(|l| l.out.is_none()) {
        let beads = held.layer.beads_of(&line.chain);
        for (seen, bead) in all[line.chain.first_bead..].iter_mut().zip(beads) {
            *seen = ask(grid, &bead, &mut before);
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A layer of some pattern: a wall around a grid of lines, in which voids begin, shift and end from pattern to
    /// pattern, and now and then a support beside it.
    fn patterned(number: u32, pattern: u32) -> Layer {
        let mut layer = Layer::new(number, f64::from(number + 1) * 0.2);
        layer.height_mm = 0.2;
        layer.z_mm = f64::from(number + 1) * 0.2;
        let side = if pattern == 3 { 12.0 } else { 16.0 };
        let mut line = |points: &[[f32; 2]]| {
            layer.blocks += 1;
            for two in points.windows(2) {
                layer.blocks += 1;
                layer.bead(two[0], two[1], 0.45);
            }
        };
        line(&[
            [0.0, 0.0],
            [side, 0.0],
            [side, side],
            [0.0, side],
            [0.0, 0.0],
        ]);
        let lines = [3, 5, 2, 0, 30][pattern as usize];
        for k in 1..=lines {
            let at = side * k as f32 / (lines + 1) as f32;
            line(&[[at, 0.2], [at, side - 0.2]]);
            line(&[[0.2, at], [side - 0.2, at]]);
        }
        if pattern == 2 {
            line(&[[30.0, 0.0], [30.0, 8.0], [31.5, 8.0], [31.5, 0.0]]);
        }
        layer
    }

    #[test]
    fn layers_that_come_again_are_as_if_they_were_new() {
        let mut state = 5u64;
        let mut random = |most: u64| {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (state >> 33) % most
        };
        let mut surfaces = [0; 3];
        for job in 0..60 {
            let some = 1 + job % 5;
            let patterns: Vec<u32> = (0..24).map(|_| random(some) as u32).collect();
            let exposure = |looks: Looks| {
                let mut shell = Shell::new(0.4, true, false);
                shell.looks = looks;
                for (number, pattern) in patterns.iter().enumerate() {
                    shell.layer(patterned(number as u32, *pattern));
                }
                shell.finish()
            };
            let (again, anew) = (exposure(Looks::default()), exposure(Looks::keeping(0)));
            assert_eq!(again, anew, "{patterns:?}");
            for block in 0..again.faces.block_count() {
                if let Some(surface) = again.of(block) {
                    surfaces[surface as usize] += 1;
                }
            }
        }
        assert!(surfaces.iter().all(|n| *n > 1000), "{surfaces:?}");
    }
}
