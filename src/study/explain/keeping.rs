//! How likely bumps are under a clock, under a regular step, and whether places follow from layer to layer
//! at equal steps.

use super::blur::Blur;
use super::clock::{Heard, layer_coordinates, phasor_at};
use super::coherence::COHERENT_PERIODS;
use super::mixture::{self, Fit};
use super::numbers::{Complex, median, phasor, re_conj, wrapped_normal};
use super::regular::{Regular, Strongest};
use super::strewn::Strewn;
use super::view::{Bump, View};
use super::wall::{AROUND, Along};

/// Concentrations that are tried.
const KAPPAS: [f64; 5] = [1.0, 2.0, 4.0, 8.0, 16.0];
/// Widths of stripes that are tried, turns.
const STRIPES_TURNS: [f64; 5] = [0.03, 0.05, 0.08, 0.12, 0.17];
/// Coordinates whose log likelihood is within this of the best are kept.
const KEPT: f64 = 5.0;
/// Periods whose q is within this of the best are told.
const PERIODS_LESS: f64 = 3.0;
/// The longest period, s.
const PERIOD_MAX_S: f64 = 120.0;

/// How a coordinate fits.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    /// The coordinate.
    pub along: Along,
    /// How far its log likelihood is below that of the best coordinate.
    pub below_best: f64,
    /// The period that the bumps keep step with best: s, lines or mm of filament.
    pub period: f64,
    /// Periods that fit as well, each as (shortest, longest).
    pub periods: Vec<[f64; 2]>,
}

impl Kept {
    /// Whether it fits about as well as the best.
    pub fn fits(&self) -> bool {
        self.below_best < KEPT
    }
}

/// How likely bumps are under a clock.
#[derive(Clone, Debug, PartialEq)]
pub struct Rhythm {
    /// The coordinate that fits best.
    pub along: Along,
    /// Its best frequency.
    pub frequency: f64,
    /// Each bump's ratio.
    pub ratios: Vec<f64>,
    /// How well they fit.
    pub fit: Fit,
    /// Each bump's phase against that of the bumps near it along the job, turns.
    pub turns: Vec<f64>,
}

/// The clock's likelihood, and the coordinates that may be meant.
pub fn clock(view: &View, blur: &Blur, strewn: &Strewn, heard: &Heard) -> (Rhythm, Vec<Kept>) {
    let fits: Vec<Rhythm> = heard
        .spectra
        .iter()
        .filter_map(|s| Some((s, s.best()?)))
        .map(|(s, best)| rhythm(view, blur, strewn, s.along, best.frequency))
        .collect();
    let better = |b: Rhythm, f: &Rhythm| {
        if f.fit.loglik > b.fit.loglik {
            f.clone()
        } else {
            b
        }
    };
    let first = fits.first().expect("a coordinate was heard").clone();
    let best = fits.iter().fold(first, better);
    let kept = fits.iter().map(|own| Kept {
        along: own.along,
        below_best: best.fit.loglik - own.fit.loglik,
        period: 1.0 / own.frequency,
        periods: periods(view, heard, own.along),
    });
    let kept = kept
        .filter(|k| k.along == Along::Time || k.fits())
        .collect();
    (best, kept)
}

/// Each bump's ratio under a clock of this frequency: how well it keeps step with the others.
fn rhythm(view: &View, blur: &Blur, strewn: &Strewn, along: Along, frequency: f64) -> Rhythm {
    let by_layer = layer_coordinates(view.wall, &view.bumps, along);
    let at = |cell: usize| phasor_at(view.wall, blur, along, frequency, cell);
    let z: Vec<Complex> = view.bumps.iter().map(|b| at(b.cell())).collect();
    let kernel = |a: &Bump, b: &Bump| {
        let apart = (by_layer[a.layer] - by_layer[b.layer]).abs();
        (-apart * frequency / COHERENT_PERIODS).exp()
    };
    let others = |i: usize| -> Complex {
        let (mut sum, mut whole) = ([0.0, 0.0], 1.0);
        for (j, other) in view.bumps.iter().enumerate().filter(|(j, _)| *j != i) {
            let k = kernel(&view.bumps[i], other);
            sum = [sum[0] + k * z[j][0], sum[1] + k * z[j][1]];
            whole += k;
        }
        [sum[0] / whole, sum[1] / whole]
    };
    let mean: Vec<Complex> = (0..z.len()).map(others).collect();
    // The phasors all around the layers that have bumps, with the density of strewn ones.
    let mut rows: Vec<Option<Vec<(Complex, f64)>>> = vec![None; view.wall.layers()];
    for bump in &view.bumps {
        rows[bump.layer].get_or_insert_with(|| {
            let cells = bump.layer * AROUND..(bump.layer + 1) * AROUND;
            let own = cells.filter(|c| view.has(*c));
            own.map(|c| (at(c), strewn.density[c])).collect()
        });
    }
    let ratios = |kappa: f64| -> Vec<f64> {
        let one = |i: usize| {
            let (mut sum, mut whole) = (0.0, 0.0);
            for (e, u) in rows[view.bumps[i].layer].iter().flatten() {
                sum += u * (kappa * re_conj(*e, mean[i])).exp();
                whole += u;
            }
            if whole == 0.0 {
                // A layer whose wall has no length: nothing to compare with.
                return 1.0;
            }
            (kappa * re_conj(z[i], mean[i])).exp() / (sum / whole)
        };
        (0..z.len()).map(one).collect()
    };
    let (ratios, fit) = best_of(KAPPAS.map(ratios));
    let turn = |(e, m): (&Complex, &Complex)| {
        let across = e[1] * m[0] - e[0] * m[1];
        across.atan2(re_conj(*e, *m)) / std::f64::consts::TAU
    };
    Rhythm {
        along,
        frequency,
        ratios,
        fit,
        turns: z.iter().zip(&mean).map(turn).collect(),
    }
}

/// The ratios that fit best.
fn best_of(all: [Vec<f64>; 5]) -> (Vec<f64>, Fit) {
    let mut best: Option<(Vec<f64>, Fit)> = None;
    for ratios in all {
        let fit = mixture::fit(&ratios);
        if best.as_ref().is_none_or(|b| fit.loglik > b.1.loglik) {
            best = Some((ratios, fit));
        }
    }
    best.expect("five were tried")
}

/// Periods that fit; in time also with one turn more or less a layer, which bumps cannot tell apart.
fn periods(view: &View, heard: &Heard, along: Along) -> Vec<[f64; 2]> {
    let mut periods = heard.spectra[along as usize].periods(PERIODS_LESS);
    if along == Along::Time
        && let Some(step_s) = layer_step(view, along)
    {
        for [short, long] in &mut periods {
            *short = 1.0 / (1.0 / *short + 1.0 / step_s);
            *long = 1.0 / (1.0 / *long - 1.0 / step_s).max(1.0 / PERIOD_MAX_S);
        }
    }
    periods.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let mut joined: Vec<[f64; 2]> = Vec::new();
    for period in periods {
        match joined.last_mut() {
            Some(last) if period[0] <= last[1] => last[1] = last[1].max(period[1]),
            _ => joined.push(period),
        }
    }
    joined
}

/// The median step of a coordinate from layer to layer, from the bumps' lowest layer to their highest.
fn layer_step(view: &View, along: Along) -> Option<f64> {
    let by_layer = layer_coordinates(view.wall, &view.bumps, along);
    let low = view.bumps.iter().map(|b| b.layer).min()?;
    let high = view.bumps.iter().map(|b| b.layer).max()?;
    let steps = by_layer[low..=high].windows(2).map(|w| w[1] - w[0]);
    median(steps).filter(|s| *s > 0.0)
}

/// Each bump's ratio under stripes at the strongest wave.
pub fn stripes(
    view: &View,
    strewn: &Strewn,
    regular: &Regular,
    strongest: &Strongest,
) -> (Vec<f64>, Fit) {
    let wave = &regular.waves[strongest.wave];
    let turns =
        |cell: usize| regular.place_mm(wave.axis, cell) * wave.per_mm - strongest.phase_turns;
    let ratios = |sd: f64| -> Vec<f64> {
        let density = |cell: usize| wrapped_normal(turns(cell), sd);
        let cells = view.cells.iter();
        let mean: f64 = cells.map(|c| strewn.density[*c] * density(*c)).sum();
        let bumps = view.bumps.iter();
        bumps.map(|b| density(b.cell()) / mean).collect()
    };
    best_of(STRIPES_TURNS.map(ratios))
}

/// How places follow from layer to layer along a coordinate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LayerStep {
    /// The coordinate.
    pub along: Along,
    /// The median step: s, lines or mm of filament.
    pub step: f64,
    /// How well one step fits all layers, at most 1.
    pub coherence: f64,
}

/// Layers follow at equal steps where the coherence is at least this.
const EQUAL_STEPS: f64 = 0.9;
/// Fewer bumps of a place than this are no row.
const ROW_MIN: usize = 5;
/// Steps within this many thousandths are tried.
const THOUSANDTHS: i32 = 20;

/// The coordinates along which the layers follow at equal steps where a place has its bumps: a clock that
/// keeps step with the layers would look the same.
pub fn same_each_layer(view: &View, ratios: &[f64], fit: Fit) -> Vec<LayerStep> {
    let belongs = |r: &f64| fit.share * r >= 0.5 * (1.0 + fit.share * (r - 1.0));
    let own: Vec<Bump> = view
        .bumps
        .iter()
        .zip(ratios)
        .filter(|(_, r)| belongs(r))
        .map(|(b, _)| *b)
        .collect();
    if own.len() < ROW_MIN {
        return Vec::new();
    }
    let low = own.iter().map(|b| b.layer).min().unwrap_or(0);
    let high = own.iter().map(|b| b.layer).max().unwrap_or(0);
    let one = |along: Along| {
        let x = layer_coordinates(view.wall, &own, along);
        let x = &x[low..=high];
        let step = median(x.windows(2).map(|w| w[1] - w[0])).filter(|s| *s > 0.0)?;
        let coherence = (-THOUSANDTHS..=THOUSANDTHS)
            .map(|j| coherence(x, step * (1.0 + f64::from(j) / 1000.0)))
            .fold(f64::NEG_INFINITY, f64::max);
        (coherence >= EQUAL_STEPS).then_some(LayerStep {
            along,
            step,
            coherence,
        })
    };
    Along::ALL.into_iter().filter_map(one).collect()
}

/// The mean cosine of the phases between two layers, those far apart counting less.
fn coherence(x: &[f64], period: f64) -> f64 {
    // One pass each way: the kernel falls exponentially from layer to layer.
    let (mut sum, mut whole) = (0.0, 0.0);
    let (mut waves, mut weight) = ([0.0, 0.0], 0.0);
    for (i, u) in x.iter().enumerate() {
        let fade = match i.checked_sub(1) {
            Some(before) => (-(u - x[before]).abs() / (COHERENT_PERIODS * period)).exp(),
            None => 0.0,
        };
        let e = phasor(u / period);
        waves = [waves[0] * fade, waves[1] * fade];
        weight *= fade;
        sum += re_conj(waves, e);
        whole += weight;
        waves = [waves[0] + e[0], waves[1] + e[1]];
        weight += 1.0;
    }
    sum / whole
}
