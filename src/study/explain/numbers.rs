//! Small sums that several explanations use.

use std::f64::consts::TAU;

/// A complex number: real and imaginary part.
pub type Complex = [f64; 2];

/// e^(2πi turns).
pub fn phasor(turns: f64) -> Complex {
    let (sin, cos) = (TAU * (turns - turns.round())).sin_cos();
    [cos, sin]
}

/// The real part of a times the conjugate of b.
pub fn re_conj(a: Complex, b: Complex) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

/// The median, the mean of the middle two where their number is even; `None` of nothing.
pub fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    (n > 0).then(|| (sorted[(n - 1) / 2] + sorted[n / 2]) / 2.0)
}

/// The first value at which the summed weights of the sorted values reach a share of the whole; `None`
/// where nothing weighs.
pub fn weighted_quantile(mut pairs: Vec<(f64, f64)>, share: f64) -> Option<f64> {
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let whole: f64 = pairs.iter().map(|(_, w)| w).sum();
    if whole <= 0.0 {
        return None;
    }
    let mut sum = 0.0;
    for (value, weight) in &pairs {
        sum += weight;
        if sum >= share * whole {
            return Some(*value);
        }
    }
    pairs.last().map(|(value, _)| *value)
}

/// The density of a normal distribution wrapped around a circle of circumference 1, at a distance from
/// its middle and with a standard deviation in turns. Its mean is 1 (Mardia & Jupp, Directional
/// Statistics, 2000, from memory).
pub fn wrapped_normal(turns: f64, sd_turns: f64) -> f64 {
    let near = turns - turns.round();
    let one = |k: i32| {
        let z = (near + f64::from(k)) / sd_turns;
        (-0.5 * z * z).exp()
    };
    (-6..=6).map(one).sum::<f64>() / (sd_turns * TAU.sqrt())
}

/// Two independent standard normal numbers from two uniform ones (Box & Muller 1958, from memory).
pub fn normal_pair(a: f64, b: f64) -> [f64; 2] {
    let radius = (-2.0 * (1.0 - a).ln()).sqrt();
    let (sin, cos) = (std::f64::consts::TAU * b).sin_cos();
    [radius * cos, radius * sin]
}
