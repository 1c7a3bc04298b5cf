//! A run of extruding moves as it passes: how much it turns and how many moves a second it asks for
//! around each place.

use std::collections::VecDeque;

use super::moves::Move;

/// Turning counts within this length of path on either side, mm.
const TURN_MM: f64 = 1.0;
/// Moves on either side over which the demand is measured.
const BESIDE: usize = 5;

/// A move of the run.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// The move.
    pub mv: Move,
    /// Filament before it, mm.
    pub filament_mm: f64,
    /// Path of the run before it, mm.
    from_mm: f64,
    /// Path of the run up to its end, mm.
    to_mm: f64,
    /// Turning of all joints of the run up to its start, rad.
    turned: f64,
}

/// What a place of the run is like.
#[derive(Clone, Copy, Debug)]
pub struct Crossing {
    /// Turning of the path around it, rad/mm.
    pub curvature_per_mm: f64,
    /// Moves that the path asks for around it, 1/s.
    pub demand_per_s: f64,
    /// Number of the run.
    pub run: u32,
}

/// The run, as much of it as is needed around the move that is looked at.
#[derive(Clone, Debug, Default)]
pub struct Track {
    steps: VecDeque<Step>,
    /// The move that is looked at, among `steps`.
    at: usize,
    ended: bool,
    run: u32,
}

impl Track {
    /// Takes the next move of the run; `filament_mm`: filament before it.
    pub fn extend(&mut self, mv: &Move, filament_mm: f64) {
        let (from_mm, turned) = match self.steps.back() {
            Some(last) => (last.to_mm, last.turned + turn(&last.mv, mv)),
            None => {
                self.run += 1;
                (0.0, 0.0)
            }
        };
        self.steps.push_back(Step {
            mv: *mv,
            filament_mm,
            from_mm,
            to_mm: from_mm + mv.plane_mm(),
            turned,
        });
    }

    /// The run has ended.
    pub fn end(&mut self) {
        self.ended = true;
    }

    /// Forgets the run.
    pub fn clear(&mut self) {
        self.steps.clear();
        self.at = 0;
        self.ended = false;
    }

    /// Whether all that is needed around the move that is looked at has come.
    pub fn is_ready(&self) -> bool {
        let Some(step) = self.steps.get(self.at) else {
            return false;
        };
        let behind = self.steps.len() - self.at > BESIDE;
        let reach = self.steps.back().map_or(0.0, |s| s.from_mm);
        self.ended || behind && reach > step.to_mm + TURN_MM
    }

    /// The move that is looked at.
    pub fn ready(&self) -> &Step {
        &self.steps[self.at]
    }

    /// Goes on to the next move.
    pub fn pass(&mut self) {
        self.at += 1;
        let Some(from_mm) = self.steps.get(self.at).map(|s| s.from_mm) else {
            return;
        };
        while self.at > BESIDE && self.steps[1].from_mm < from_mm - TURN_MM {
            self.steps.pop_front();
            self.at -= 1;
        }
    }

    /// What the path is like at a fraction of the move that is looked at.
    pub fn crossing(&self, fraction: f64) -> Crossing {
        let step = &self.steps[self.at];
        let place = step.from_mm + fraction * (step.to_mm - step.from_mm);
        // Turning of the joints up to a place, that at the place itself left out or not.
        let turned = |count: usize| match count.checked_sub(1) {
            Some(last) => self.steps[last].turned,
            None => 0.0,
        };
        let before = self.steps.partition_point(|s| s.from_mm < place - TURN_MM);
        let within = self.steps.partition_point(|s| s.from_mm <= place + TURN_MM);
        // A run that was cut at its front has no joint there within reach.
        let low = if before == 0 {
            self.steps[0].turned
        } else {
            turned(before)
        };
        let first = self.at.saturating_sub(BESIDE);
        let last = (self.at + BESIDE).min(self.steps.len() - 1);
        let ideal_s: f64 = self.steps.range(first..=last).map(|s| s.mv.ideal_s).sum();
        let moves = (last + 1 - first) as f64;
        Crossing {
            curvature_per_mm: (turned(within) - low).max(0.0) / (2.0 * TURN_MM),
            demand_per_s: if ideal_s > 0.0 { moves / ideal_s } else { 0.0 },
            run: self.run,
        }
    }
}

/// By how much the path turns from one move to the next, rad.
fn turn(before: &Move, after: &Move) -> f64 {
    let along = |m: &Move| [m.to_mm[0] - m.from_mm[0], m.to_mm[1] - m.from_mm[1]];
    let ([ax, ay], [bx, by]) = (along(before), along(after));
    (ax * by - ay * bx).atan2(ax * bx + ay * by).abs()
}
