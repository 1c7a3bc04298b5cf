//! Regular along the job: in time, in lines or in filament. A stack of periodograms over windows of some 50
//! periods (M. S. Bartlett 1948, Nature 161:686, from memory), with a smooth window; chance deals the
//! layers out anew among the bumps.

use crate::study::parallel;

use super::blur::Blur;
use super::draws::{Draws, Purpose};
use super::huddle::Groups;
use super::numbers::{Complex, median};
use super::phases::Phases;
use super::tone::{Batch, Deal, Ear, Tone, ToneTable};
use super::view::{Bump, View};
use super::wall::{AROUND, Along, Wall, filled};

/// Frequencies an octave.
const STEPS: f64 = 160.0;
/// The longest period, s.
const PERIOD_MAX_S: f64 = 120.0;
/// The shortest period, s.
const PERIOD_MIN_S: f64 = 0.3;
/// The shortest period in errors of the angle.
const ERRORS: f64 = 4.0;
/// Frequencies that one thread takes at a time.
const BATCH: usize = 32;

/// All frequencies of one coordinate that could be tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Spectrum {
    /// The coordinate.
    pub along: Along,
    /// The tones, from low to high.
    pub tones: Vec<Tone>,
}

impl Spectrum {
    /// The tone that the bumps keep step with best.
    pub fn best(&self) -> Option<Tone> {
        let first = *self.tones.first()?;
        Some(
            self.tones
                .iter()
                .fold(first, |b, t| if t.q > b.q { *t } else { b }),
        )
    }

    /// Periods that fit nearly as well as the best: runs of tones within `less` of it, half a step wider on
    /// either side; from long to short, each as (shortest, longest).
    pub fn periods(&self, less: f64) -> Vec<[f64; 2]> {
        let Some(best) = self.best() else {
            return Vec::new();
        };
        let half = 2f64.powf(0.5 / STEPS);
        let mut runs: Vec<(usize, [f64; 2])> = Vec::new();
        for tone in self.tones.iter().filter(|t| t.q >= best.q - less) {
            let (short, long) = (1.0 / (tone.frequency * half), half / tone.frequency);
            match runs.last_mut() {
                Some((step, run)) if *step + 1 == tone.step => {
                    *step = tone.step;
                    run[0] = short;
                }
                _ => runs.push((tone.step, [short, long])),
            }
        }
        runs.into_iter().map(|(_, run)| run).collect()
    }
}

/// What was heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// By coordinate.
    pub spectra: [Spectrum; 3],
    /// The largest q.
    pub statistic: f64,
    /// The largest q of each permutation.
    pub draws: Vec<f64>,
    /// The share of frequencies in time that the error of heights has left.
    pub seen_share: f64,
}

/// Bumps that may keep time.
#[derive(Debug)]
pub struct Clock<'a> {
    view: &'a View<'a>,
    blur: &'a Blur,
    bumps: &'a [Bump],
    /// Their degrees, each once.
    degrees: Vec<usize>,
    /// How many bumps each has.
    counts: Vec<f64>,
}

impl<'a> Clock<'a> {
    /// For these bumps on a view's wall.
    pub fn new(view: &'a View<'a>, blur: &'a Blur, bumps: &'a [Bump]) -> Self {
        let degrees = distinct(bumps.iter().map(|b| b.degree).collect());
        let count = |d: &usize| bumps.iter().filter(|b| b.degree == *d).count() as f64;
        Clock {
            view,
            blur,
            bumps,
            counts: degrees.iter().map(count).collect(),
            degrees,
        }
    }

    /// The coordinate of each layer: the median over the bumps' degrees.
    pub fn layer_coordinates(&self, along: Along) -> Vec<f64> {
        layer_coordinates(self.view.wall, self.bumps, along)
    }

    /// The grid of frequencies of a coordinate: places and frequencies.
    fn grid(&self, along: Along) -> Vec<f64> {
        let wall = self.view.wall;
        let range = |k: usize| {
            let (low, high) = wall
                .cells
                .iter()
                .flatten()
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), c| {
                    (low.min(c.along[k]), high.max(c.along[k]))
                });
            high - low
        };
        let rate = range(along as usize) / range(0);
        let step = |c: &usize| {
            let next = Wall::index(c / AROUND, (c % AROUND) as i64 + 1);
            let [a, b] = [*c, next].map(|c| self.view.wall.cells[c].as_ref());
            let both = (a?, b?);
            let u = |cell: &super::wall::Cell| cell.along[along as usize];
            self.view.has(next).then(|| (u(both.1) - u(both.0)).abs())
        };
        let a_degree = median(self.view.cells.iter().filter_map(step)).unwrap_or(0.0);
        let longest = PERIOD_MAX_S * rate;
        let shortest = (PERIOD_MIN_S * rate).max(ERRORS * self.view.errors.angle_deg * a_degree);
        if !(shortest > 0.0 && longest.is_finite() && shortest <= longest) {
            return Vec::new();
        }
        let octaves = (longest / shortest).log2();
        let last = (STEPS * octaves + 1e-9) as usize;
        let one = |k: usize| 2f64.powf(k as f64 / STEPS) / longest;
        (0..=last).map(one).collect()
    }

    /// Listens to all frequencies, with so many permutations of the layers.
    /// `None` where no frequency could be tried.
    pub fn listen(
        &self,
        groups: &Groups,
        seed: u64,
        draws: usize,
        threads: usize,
    ) -> Option<Heard> {
        let dealt: Vec<Vec<usize>> = self.dealt(groups, seed, draws);
        let mut layers: Vec<usize> = dealt.iter().flatten().copied().collect();
        layers.extend(self.bumps.iter().map(|b| b.layer));
        let layers = distinct(layers);
        let own: Vec<usize> = self.bumps.iter().map(|b| b.layer).collect();
        let observed = self.deal(&own, &layers);
        let deals: Vec<Deal> = dealt.iter().map(|d| self.deal(d, &layers)).collect();
        let singles = groups.leaders.len() == self.bumps.len();
        let phases = Phases::new(self.view.wall, self.blur, &self.degrees, &layers);
        let grids = Along::ALL.map(|along| self.grid(along));
        let ears = Along::ALL.map(|along| self.ear(&phases, &layers, along));
        let batches: Vec<(usize, usize)> = (0..3)
            .flat_map(|k| {
                (0..grids[k].len())
                    .step_by(BATCH)
                    .map(move |from| (k, from))
            })
            .collect();
        let each = parallel::map(batches.len(), threads, &|_| {}, &|number| {
            let (k, from) = batches[number];
            let to = (from + BATCH).min(grids[k].len());
            let mut batch = Batch {
                tones: Vec::new(),
                seen: 0,
                most: vec![f64::NEG_INFINITY; deals.len()],
            };
            let mut table = Vec::new();
            for (step, &frequency) in grids[k].iter().enumerate().take(to).skip(from) {
                phases.at(&ears[k].sources, frequency, &mut table);
                let mut tone = ToneTable::new(&ears[k], frequency, &mut table, &self.counts);
                if tone.hear(&observed, step, &mut batch) {
                    tone.draws(&observed, &deals, singles, &mut batch.most);
                }
            }
            batch
        });
        let along: Vec<usize> = batches.iter().map(|b| b.0).collect();
        gathered(&along, each, draws)
    }

    /// Listens to some frequencies as [`Clock::listen`] does, without draws, and hands on the number and q of each that
    /// says anything, until `enough`.
    pub fn hear(&self, tones: &[(Along, f64)], mut enough: impl FnMut(usize, f64) -> bool) {
        if self.bumps.is_empty() {
            return;
        }
        let own: Vec<usize> = self.bumps.iter().map(|b| b.layer).collect();
        let layers = distinct(own.clone());
        let observed = self.deal(&own, &layers);
        let phases = Phases::new(self.view.wall, self.blur, &self.degrees, &layers);
        let mut ears = [const { None }; 3];
        let mut table = Vec::new();
        for (number, &(along, frequency)) in tones.iter().enumerate() {
            let ear = ears[along as usize].get_or_insert_with(|| self.ear(&phases, &layers, along));
            phases.at(&ear.sources, frequency, &mut table);
            let tone = ToneTable::new(ear, frequency, &mut table, &self.counts);
            if let Some(q) = tone.q(&observed)
                && enough(number, q)
            {
                return;
            }
        }
    }

    /// What is needed of a coordinate to hear the bumps on these layers.
    fn ear(&self, phases: &Phases, layers: &[usize], along: Along) -> Ear {
        let by_layer = self.layer_coordinates(along);
        Ear {
            layers: layers.iter().map(|l| by_layer[*l]).collect(),
            sources: phases.sources(self.view.wall, along),
        }
    }

    /// The layers of all bumps, dealt out anew.
    fn dealt(&self, groups: &Groups, seed: u64, draws: usize) -> Vec<Vec<usize>> {
        let numbers = Draws::new(seed, Purpose::Permutations);
        let count = groups.leaders.len();
        let singles = count == self.bumps.len();
        let one = |draw: usize| -> Vec<usize> {
            let order = numbers.permutation(draw, count);
            let layer = |i: usize| {
                if singles {
                    return self.bumps[order[i]].layer;
                }
                let to = &self.bumps[groups.leaders[order[groups.of[i]]]];
                let lead = &self.bumps[groups.leader(i)];
                self.view
                    .layer_at(to.z_mm + (self.bumps[i].z_mm - lead.z_mm))
            };
            (0..self.bumps.len()).map(layer).collect()
        };
        (0..draws).map(one).collect()
    }

    /// Bumps on these layers, in order.
    fn deal(&self, dealt: &[usize], layers: &[usize]) -> Deal {
        let place = |(bump, layer): (&Bump, &usize)| {
            let degree = self.degrees.partition_point(|d| *d < bump.degree);
            let layer = layers.partition_point(|l| *l < *layer);
            (degree as u32, layer as u32)
        };
        let mut places: Vec<(u32, u32)> = self.bumps.iter().zip(dealt).map(place).collect();
        places.sort_by_key(|p| p.1);
        Deal { places }
    }
}

/// Each once, in order.
fn distinct(mut numbers: Vec<usize>) -> Vec<usize> {
    numbers.sort_unstable();
    numbers.dedup();
    numbers
}

/// What all batches gave; `along`: the coordinate of each.
fn gathered(along: &[usize], batches: Vec<Batch>, draws: usize) -> Option<Heard> {
    let mut heard = Heard {
        spectra: Along::ALL.map(|along| Spectrum {
            along,
            tones: Vec::new(),
        }),
        statistic: f64::NEG_INFINITY,
        draws: vec![f64::NEG_INFINITY; draws],
        seen_share: 0.0,
    };
    let mut seen = 0;
    for (k, batch) in along.iter().zip(batches) {
        let best = batch.tones.iter().map(|t| t.q);
        heard.statistic = best.fold(heard.statistic, f64::max);
        heard.spectra[*k].tones.extend(batch.tones);
        for (all, own) in heard.draws.iter_mut().zip(&batch.most) {
            *all = all.max(*own);
        }
        if *k == Along::Time as usize {
            seen += batch.seen;
        }
    }
    let in_time = heard.spectra[0].tones.len();
    heard.seen_share = if in_time > 0 {
        seen as f64 / in_time as f64
    } else {
        0.0
    };
    heard.statistic.is_finite().then_some(heard)
}

/// The coordinate of each layer: the median over some bumps' degrees; layers without wall there
/// interpolated.
pub fn layer_coordinates(wall: &Wall, bumps: &[Bump], along: Along) -> Vec<f64> {
    let layer = |cells: &[Option<super::wall::Cell>]| {
        let own = bumps.iter().filter_map(|b| cells[b.degree]);
        median(own.map(|c| c.along[along as usize]))
    };
    let known: Vec<Option<f64>> = wall.cells.chunks(AROUND).map(layer).collect();
    filled(&known).unwrap_or_else(|| vec![0.0; wall.layers()])
}

/// The phasor of any cell of the wall at one frequency, as the error of heights leaves it.
pub fn phasor_at(wall: &Wall, blur: &Blur, along: Along, frequency: f64, cell: usize) -> Complex {
    let (layer, degree) = (cell / AROUND, cell % AROUND);
    let (mut sum, mut whole) = ([0.0, 0.0], 0.0);
    for (l, w) in &blur.near[layer] {
        if let Some(source) = &wall.cells[l * AROUND + degree] {
            let e = super::numbers::phasor(source.along[along as usize] * frequency);
            sum = [sum[0] + w * e[0], sum[1] + w * e[1]];
            whole += w;
        }
    }
    if whole > 0.0 {
        [sum[0] / whole, sum[1] / whole]
    } else {
        sum
    }
}
