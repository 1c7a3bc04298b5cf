//! What is to be fitted: unknowns, readings, a model, and how well they agree.

use super::planes::Planes;

/// What an unknown does to the durations.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// The logarithm of a cost: durations are nearly linear in the cost itself.
    Cost,
    /// Durations are nearly linear in the unknown.
    Plain,
    /// The logarithm of a factor on all durations.
    Clock,
    /// Seconds added to all durations.
    Edge,
}

/// One unknown, with a normal prior about 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unknown {
    /// The prior's standard deviation.
    pub sd: f64,
    /// What it does.
    pub role: Role,
}

/// One measured duration.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The section, from 0.
    pub section: usize,
    /// From the first movement to the last standstill, s.
    pub seconds: f64,
    /// Its standard deviation, s.
    pub sigma_s: f64,
    /// Which run of the coupon it is from, from 0.
    pub run: usize,
}

/// The model: durations of all sections at some values of the unknowns. Clock and edge are not its business.
pub trait Forward: Sync {
    /// Durations, s; `None` where the model has no answer.
    fn durations(&self, theta: &[f64]) -> Option<Vec<f64>>;
    /// The point that `durations` really takes: whole numbers are rounded.
    fn rounded(&self, theta: &[f64]) -> Vec<f64>;
    /// Variance of each duration by luck alone, from this many replays, s²; `None` where there is no luck.
    fn luck(&self, theta: &[f64], replays: usize, threads: usize) -> Option<Vec<f64>>;
}

/// All that a fit goes by.
pub struct Problem<'a, F> {
    /// The model.
    pub forward: &'a F,
    /// The unknowns.
    pub unknowns: Vec<Unknown>,
    /// The readings.
    pub readings: Vec<Reading>,
    /// Degrees of freedom of Student's t, by which readings are weighed: a botched one counts for little
    /// (K. L. Lange, R. J. A. Little, J. M. G. Taylor, JASA 84, 1989, p. 881).
    pub freedom: f64,
    /// What the model itself is trusted to, as a share of a duration.
    pub trust: f64,
}

/// Variances, by section, beside a reading's own, s².
#[derive(Clone, Debug, Default)]
pub struct Doubt {
    /// By the board's luck.
    pub luck: Vec<f64>,
}

impl<F: Forward> Problem<'_, F> {
    /// Readings of each reading's section: what the model is off by is the same in all of them.
    fn twins(&self, reading: &Reading) -> f64 {
        let same = self
            .readings
            .iter()
            .filter(|r| r.section == reading.section);
        same.count() as f64
    }

    /// A model's duration as it would be read: by another clock, with edges early or late; s.
    pub fn as_read(&self, theta: &[f64], duration_s: f64) -> f64 {
        let (factor, late_s) = self.clock_and_edge(theta);
        duration_s * factor + late_s
    }

    fn clock_and_edge(&self, theta: &[f64]) -> (f64, f64) {
        let sum = |role| {
            let pairs = self.unknowns.iter().zip(theta);
            pairs
                .filter(|(u, _)| u.role == role)
                .map(|(_, t)| t)
                .sum::<f64>()
        };
        (sum(Role::Clock).exp(), sum(Role::Edge))
    }

    fn prior(&self, theta: &[f64]) -> f64 {
        let pairs = self.unknowns.iter().zip(theta);
        0.5 * pairs.map(|(u, t)| (t / u.sd).powi(2)).sum::<f64>()
    }

    /// Variance of a reading about a duration, s².
    pub fn variance(&self, k: usize, beside: f64, duration_s: f64) -> f64 {
        let reading = &self.readings[k];
        let model = (self.trust * duration_s).powi(2) * self.twins(reading);
        reading.sigma_s.powi(2) + beside + model
    }

    /// Minus the logarithm of the posterior at a point that was replayed, but for a constant.
    pub fn misfit(&self, theta: &[f64], durations_s: &[f64], doubt: &Doubt) -> f64 {
        let (factor, late_s) = self.clock_and_edge(theta);
        let one = |(k, reading): (usize, &Reading)| {
            let read_s = durations_s[reading.section] * factor + late_s;
            let variance = self.variance(k, doubt.luck[reading.section], read_s);
            let off = (reading.seconds - read_s).powi(2) / variance;
            0.5 * (self.freedom + 1.0) * (off / self.freedom).ln_1p() + 0.5 * variance.ln()
        };
        let readings = self.readings.iter().enumerate();
        readings.map(one).sum::<f64>() + self.prior(theta)
    }

    /// Variances of all readings on the planes, s².
    pub fn plane_variances(&self, planes: &Planes, doubt: &Doubt) -> Vec<f64> {
        let one = |(k, r): (usize, &Reading)| {
            let plane = planes.residual[r.section] * self.twins(r);
            self.variance(k, doubt.luck[r.section].max(plane), r.seconds)
        };
        self.readings.iter().enumerate().map(one).collect()
    }

    /// The logarithm of the posterior on the planes, but for a constant.
    pub fn log_posterior(
        &self,
        theta: &[f64],
        planes: &Planes,
        variances: &[f64],
        room: &mut Room,
    ) -> f64 {
        room.inputs.clear();
        room.inputs.extend(self.features(theta));
        room.outputs.resize(planes.residual.len(), 0.0);
        planes.at(&mut room.inputs, &mut room.outputs);
        let (factor, late_s) = self.clock_and_edge(theta);
        let mut off = 1.0;
        let mut sum = 0.0;
        // One logarithm for several readings: their product stays in range.
        for (k, (reading, variance)) in self.readings.iter().zip(variances).enumerate() {
            let read_s = room.outputs[reading.section] * factor + late_s;
            off *= 1.0 + (reading.seconds - read_s).powi(2) / (variance * self.freedom);
            if k % 8 == 7 {
                sum += f64::ln(off);
                off = 1.0;
            }
        }
        -0.5 * (self.freedom + 1.0) * (sum + off.ln()) - self.prior(theta)
    }

    /// What durations are nearly linear in.
    pub fn features<'t>(&'t self, theta: &'t [f64]) -> impl Iterator<Item = f64> + 't {
        self.unknowns
            .iter()
            .zip(theta)
            .filter_map(|(u, t)| match u.role {
                Role::Cost => Some(t.exp()),
                Role::Plain => Some(*t),
                Role::Clock | Role::Edge => None,
            })
    }
}

/// Memory that is used again and again.
#[derive(Default)]
pub struct Room {
    inputs: Vec<f64>,
    outputs: Vec<f64>,
}
