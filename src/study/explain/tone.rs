//! One frequency along the job: the phasors of all bumps on all layers that they may be dealt to, and how well
//! they keep step.

use super::coherence::{Beat, COHERENT_PERIODS, Scale, Sums, sums};
use super::numbers::Complex;

/// Frequencies where phasors vary less than this over the bumps say nothing.
const POWER_MIN: f64 = 0.1;
/// Phasors whose mean square is at least this have survived the error of heights.
pub(super) const SEEN_MIN: f64 = 0.3;
/// A frequency that was tried.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tone {
    /// Its place in the grid of frequencies.
    pub step: usize,
    /// Cycles for each s, line or mm of filament.
    pub frequency: f64,
    /// How well the bumps keep step with it: a standard normal by chance.
    pub q: f64,
}

/// Bumps dealt over layers, in the order of layers.
#[derive(Clone, Debug)]
pub(super) struct Deal {
    /// Degree and layer of each bump, as numbers in the table of phasors.
    pub places: Vec<(u32, u32)>,
}

/// One coordinate, with all that the draws need of it.
pub(super) struct Ear {
    /// The coordinate of each layer that bumps are dealt to.
    pub layers: Vec<f64>,
    pub sources: Vec<Vec<f64>>,
}

/// What some frequencies gave.
pub(super) struct Batch {
    pub tones: Vec<Tone>,
    pub seen: usize,
    pub most: Vec<f64>,
}

/// The kernel between layers, as quotients of powers that neither over- nor underflow.
#[derive(Clone, Copy, Debug)]
struct Level {
    block: i32,
    power: f64,
}

/// Exponents of a block of levels.
const BLOCK: f64 = 300.0;

impl Level {
    fn new(exponent: f64) -> Self {
        let block = (exponent / BLOCK).floor();
        Level {
            block: block as i32,
            power: (block * BLOCK - exponent).exp(),
        }
    }

    /// The kernel between this and an earlier level.
    fn after(self, before: Level) -> f64 {
        match self.block - before.block {
            0 => self.power / before.power,
            1 => self.power / before.power * (-BLOCK).exp(),
            _ => 0.0,
        }
    }
}

/// All phasors of one frequency, centred.
pub(super) struct ToneTable<'t> {
    frequency: f64,
    centred: &'t [Complex],
    width: usize,
    /// The mean phasor of each layer.
    mean: Vec<Complex>,
    /// The mean square of each layer's centred phasors.
    power: Vec<f64>,
    levels: Vec<Level>,
    /// See [`ToneTable::draws`].
    fades: Vec<f64>,
}

impl<'t> ToneTable<'t> {
    pub fn new(ear: &Ear, frequency: f64, table: &'t mut [Complex], counts: &[f64]) -> Self {
        let width = counts.len();
        let n: f64 = counts.iter().sum();
        let mut mean = Vec::with_capacity(ear.layers.len());
        let mut power = Vec::with_capacity(ear.layers.len());
        for row in table.chunks_mut(width) {
            let mut sum = [0.0, 0.0];
            for (z, m) in row.iter().zip(counts) {
                sum = [sum[0] + m * z[0], sum[1] + m * z[1]];
            }
            let middle = [sum[0] / n, sum[1] / n];
            let mut square = 0.0;
            for (z, m) in row.iter_mut().zip(counts) {
                *z = [z[0] - middle[0], z[1] - middle[1]];
                square += m * (z[0] * z[0] + z[1] * z[1]);
            }
            mean.push(middle);
            power.push(square / n);
        }
        let first = ear.layers.first().copied().unwrap_or(0.0);
        let level = |u: &f64| Level::new((u - first) * frequency / COHERENT_PERIODS);
        ToneTable {
            frequency,
            centred: table,
            width,
            mean,
            power,
            levels: ear.layers.iter().map(level).collect(),
            fades: Vec::new(),
        }
    }

    fn centred(&self, place: (u32, u32)) -> Complex {
        self.centred[place.1 as usize * self.width + place.0 as usize]
    }

    fn fade(&self, deal: &Deal, i: usize) -> f64 {
        let Some(before) = i.checked_sub(1) else {
            return 0.0;
        };
        let [from, to] = [before, i].map(|i| self.levels[deal.places[i].1 as usize]);
        to.after(from)
    }

    fn sums(&self, deal: &Deal) -> Sums {
        sums(deal.places.iter().enumerate().map(|(i, place)| Beat {
            centred: self.centred(*place),
            power: self.power[place.1 as usize],
            fade: self.fade(deal, i),
        }))
    }

    /// The mean square of the phasors over the bumps' layers.
    fn power(&self, deal: &Deal) -> f64 {
        let powers = deal.places.iter().map(|p| self.power[p.1 as usize]);
        powers.sum::<f64>() / deal.places.len() as f64
    }

    /// The q of bumps at this frequency; `None` where it says nothing.
    pub fn q(&self, bumps: &Deal) -> Option<f64> {
        (self.power(bumps) >= POWER_MIN).then(|| self.sums(bumps).normal_scale())
    }

    /// The observed bumps at this frequency; whether it says anything.
    pub fn hear(&mut self, observed: &Deal, step: usize, batch: &mut Batch) -> bool {
        let Some(q) = self.q(observed) else {
            return false;
        };
        batch.tones.push(Tone {
            step,
            frequency: self.frequency,
            q,
        });
        let whole = observed.places.iter().map(|p| {
            let (c, m) = (self.centred(*p), self.mean[p.1 as usize]);
            (c[0] + m[0]).powi(2) + (c[1] + m[1]).powi(2)
        });
        let mean = whole.sum::<f64>() / observed.places.len() as f64;
        batch.seen += usize::from(mean >= SEEN_MIN);
        true
    }

    /// The q of each draw, where it is larger than those before. Where each bump is dealt by itself the
    /// layers are the same in all draws, and so is all but the sum over pairs.
    pub fn draws(&mut self, observed: &Deal, deals: &[Deal], singles: bool, most: &mut [f64]) {
        if !singles {
            for (deal, most) in deals.iter().zip(most) {
                *most = most.max(self.sums(deal).normal_scale());
            }
            return;
        }
        let own = self.sums(observed);
        let scale = Scale::new(own.variance, own.third);
        self.fades = (0..observed.places.len())
            .map(|i| self.fade(observed, i))
            .collect();
        for (deal, most) in deals.iter().zip(most) {
            let (mut a, mut pairs) = ([0.0, 0.0], 0.0);
            for (place, fade) in deal.places.iter().zip(&self.fades) {
                let c = self.centred(*place);
                a = [a[0] * fade, a[1] * fade];
                pairs += a[0] * c[0] + a[1] * c[1];
                a = [a[0] + c[0], a[1] + c[1]];
            }
            *most = most.max(scale.of(pairs));
        }
    }
}
