//! Regular in x or y, or in height: the largest Rayleigh statistic over a range of periods.

use super::draws::{Draws, Purpose, p_value};
use super::huddle::{Groups, apart_deg};
use super::numbers::{Complex, phasor};
use super::strewn::Strewn;
use super::view::View;
use super::wall::AROUND;

/// At least so many periods lie within the window.
const PERIODS_MIN: f64 = 3.0;
/// Frequencies a step apart of one over this many ranges.
const STEPS_A_RANGE: f64 = 4.0;
/// A period is at least this many errors long.
const ERRORS: f64 = 4.0;
/// The shortest period in x and y, mm.
const PERIOD_MIN_MM: f64 = 2.0;
/// The least variance of a phasor.
const VARIANCE_MIN: f64 = 1e-6;
/// Bumps within so many errors belong to one upright line or band.
const LINE_ERRORS: f64 = 3.0;

/// A direction in which bumps may be regular.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Axis {
    /// x.
    X,
    /// y.
    Y,
    /// The middle of the layer.
    Height,
}

/// One frequency on one axis.
#[derive(Clone, Debug)]
pub struct Wave {
    /// The axis.
    pub axis: Axis,
    /// Cycles a mm.
    pub per_mm: f64,
    /// The mean phasor of bumps strewn evenly.
    mean: Complex,
    /// Phasors by layer, for heights.
    by_layer: Vec<Complex>,
}

/// All frequencies that are tried.
#[derive(Clone, Debug)]
pub struct Regular<'a> {
    view: &'a View<'a>,
    /// The frequencies.
    pub waves: Vec<Wave>,
}

/// The strongest regularity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strongest {
    /// The statistic.
    pub statistic: f64,
    /// The wave, by number.
    pub wave: usize,
    /// The bumps' mean phase on it, turns.
    pub phase_turns: f64,
}

/// Stripes of a regular step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stripes {
    /// The axis.
    pub axis: Axis,
    /// The step, mm.
    pub period_mm: f64,
    /// Where a stripe lies: place / step - phase is whole there.
    pub phase_turns: f64,
}

/// The Rayleigh statistic n R² of phasors whose mean would be `mean` by chance (Mardia & Jupp, Directional
/// Statistics, 2000); and their summed deviation from it.
pub fn rayleigh(phasors: impl Iterator<Item = Complex>, mean: Complex) -> (f64, Complex) {
    let (mut n, mut sum) = (0.0, [0.0, 0.0]);
    for e in phasors {
        n += 1.0;
        sum[0] += e[0] - mean[0];
        sum[1] += e[1] - mean[1];
    }
    let variance = 1.0 - (mean[0] * mean[0] + mean[1] * mean[1]);
    let power = sum[0] * sum[0] + sum[1] * sum[1];
    (power / (n * variance.max(VARIANCE_MIN)), sum)
}

impl<'a> Regular<'a> {
    /// Frequencies in x and y. None where the window is too narrow.
    pub fn across(view: &'a View, strewn: &Strewn) -> Self {
        let radii = view.cells.iter().map(|c| view.at(*c).radius_mm);
        let radius_mm = radii.sum::<f64>() / view.cells.len() as f64;
        let error_mm = view.errors.angle_deg.to_radians() * radius_mm;
        let least_mm = (ERRORS * error_mm).max(PERIOD_MIN_MM);
        Regular::new(view, strewn, &[Axis::X, Axis::Y], least_mm)
    }

    /// Frequencies in height. None where the window is too low.
    pub fn upright(view: &'a View, strewn: &Strewn) -> Self {
        let least_mm = (ERRORS * view.errors.z_mm).max(2.0 * view.wall.layer_mm);
        Regular::new(view, strewn, &[Axis::Height], least_mm)
    }

    fn new(view: &'a View, strewn: &Strewn, axes: &[Axis], least_mm: f64) -> Self {
        let mut regular = Regular {
            view,
            waves: Vec::new(),
        };
        for &axis in axes {
            let at = |c: &usize| regular.place_mm(axis, *c);
            let low = view.cells.iter().map(at).fold(f64::INFINITY, f64::min);
            let high = view.cells.iter().map(at).fold(f64::NEG_INFINITY, f64::max);
            let range_mm = high - low;
            if range_mm <= 0.0 {
                continue;
            }
            for k in 0.. {
                let per_mm = PERIODS_MIN / range_mm + k as f64 / (STEPS_A_RANGE * range_mm);
                if per_mm > 1.0 / least_mm {
                    break;
                }
                let wave = regular.wave(axis, per_mm, strewn);
                regular.waves.push(wave);
            }
        }
        regular
    }

    fn wave(&self, axis: Axis, per_mm: f64, strewn: &Strewn) -> Wave {
        let mut wave = Wave {
            axis,
            per_mm,
            mean: [0.0, 0.0],
            by_layer: match axis {
                Axis::Height => {
                    let middles = self.view.wall.middle_mm.iter();
                    middles.map(|z| phasor(z * per_mm)).collect()
                }
                _ => Vec::new(),
            },
        };
        let mut mean = [0.0, 0.0];
        for &cell in &self.view.cells {
            let e = self.phasor(&wave, cell);
            let u = strewn.density[cell];
            mean = [mean[0] + u * e[0], mean[1] + u * e[1]];
        }
        wave.mean = mean;
        wave
    }

    /// Where a cell lies on an axis, mm.
    pub fn place_mm(&self, axis: Axis, cell: usize) -> f64 {
        match axis {
            Axis::X => self.view.at(cell).place_mm[0],
            Axis::Y => self.view.at(cell).place_mm[1],
            Axis::Height => self.view.wall.middle_mm[cell / AROUND],
        }
    }

    fn phasor(&self, wave: &Wave, cell: usize) -> Complex {
        match wave.axis {
            Axis::Height => wave.by_layer[cell / AROUND],
            _ => phasor(self.place_mm(wave.axis, cell) * wave.per_mm),
        }
    }

    /// The strongest regularity of bumps in these cells; `None` where no frequency could be tried.
    pub fn strongest(&self, cells: &[usize]) -> Option<Strongest> {
        let mut best: Option<Strongest> = None;
        for (number, wave) in self.waves.iter().enumerate() {
            let phasors = cells.iter().map(|c| self.phasor(wave, *c));
            let (statistic, sum) = rayleigh(phasors, wave.mean);
            if best.is_none_or(|b| statistic > b.statistic) {
                best = Some(Strongest {
                    statistic,
                    wave: number,
                    phase_turns: sum[1].atan2(sum[0]) / std::f64::consts::TAU,
                });
            }
        }
        best
    }

    /// The chance of a regularity as strong as `observed` if whole upright lines, or whole bands, of
    /// bumps lay where chance puts them.
    pub fn p_of_lines(&self, observed: f64, strewn: &Strewn, seed: u64, draws: usize) -> f64 {
        let upright = self.waves.first().is_some_and(|w| w.axis == Axis::Height);
        let groups = if upright { self.bands() } else { self.lines() };
        let purpose = if upright {
            Purpose::Bands
        } else {
            Purpose::Lines
        };
        let numbers = Draws::new(seed, purpose);
        let by_chance: Vec<f64> = (0..draws)
            .map(|draw| {
                let moved: Vec<usize> = (0..groups.leaders.len())
                    .map(|k| strewn.cell(numbers.uniform(draw, k)))
                    .collect();
                let each = (0..self.view.bumps.len()).map(|i| {
                    let to = moved[groups.of[i]];
                    if upright {
                        self.in_band(i, groups.leader(i), to)
                    } else {
                        self.in_line(i, groups.leader(i), to)
                    }
                });
                let cells: Vec<usize> = each.collect();
                self.strongest(&cells).map_or(0.0, |s| s.statistic)
            })
            .collect();
        p_value(observed, &by_chance)
    }

    /// Bumps by upright lines.
    fn lines(&self) -> Groups {
        let (bumps, view) = (&self.view.bumps, self.view);
        let turn = |i: usize| (bumps[i].angle_deg - view.window.from_deg).rem_euclid(360.0);
        let mut order: Vec<usize> = (0..bumps.len()).collect();
        order.sort_by(|a, b| {
            let by_angle = turn(*a).total_cmp(&turn(*b));
            by_angle.then(bumps[*a].z_mm.total_cmp(&bumps[*b].z_mm))
        });
        let reach = LINE_ERRORS * view.errors.angle_deg;
        Groups::gather(&order, |l, i| {
            apart_deg(bumps[l].angle_deg, bumps[i].angle_deg) <= reach
        })
    }

    /// Bumps by bands of height.
    fn bands(&self) -> Groups {
        let bumps = &self.view.bumps;
        let mut order: Vec<usize> = (0..bumps.len()).collect();
        order.sort_by(|a, b| {
            let by_height = bumps[*a].z_mm.total_cmp(&bumps[*b].z_mm);
            by_height.then(bumps[*a].angle_deg.total_cmp(&bumps[*b].angle_deg))
        });
        let reach = LINE_ERRORS * self.view.errors.z_mm;
        Groups::gather(&order, |l, i| {
            (bumps[l].z_mm - bumps[i].z_mm).abs() <= reach
        })
    }

    /// Where a bump comes to lie when its line moves to the degree of a cell.
    fn in_line(&self, bump: usize, leader: usize, to: usize) -> usize {
        let (own, lead) = (self.view.bumps[bump], self.view.bumps[leader]);
        let degree = (to % AROUND + AROUND + own.degree - lead.degree) % AROUND;
        let tries = [degree, to % AROUND].map(|b| own.layer * AROUND + b);
        let free = tries.into_iter().find(|c| self.view.has(*c));
        free.unwrap_or(own.cell())
    }

    /// Where a bump comes to lie when its band moves to the layer of a cell.
    fn in_band(&self, bump: usize, leader: usize, to: usize) -> usize {
        let (own, lead) = (self.view.bumps[bump], self.view.bumps[leader]);
        let by = own.layer as i64 - lead.layer as i64;
        let layer = self.view.layer_above(to / AROUND, by);
        let tries = [layer, to / AROUND].map(|l| l * AROUND + own.degree);
        let free = tries.into_iter().find(|c| self.view.has(*c));
        free.unwrap_or(own.cell())
    }
}
