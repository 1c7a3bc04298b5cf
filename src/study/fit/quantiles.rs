//! Quantiles of samples.

/// A quantile, linear between order statistics; sorts the values.
///
/// # Panics
/// If there are no values.
pub fn quantile(values: &mut [f64], share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    let at = share * (values.len() - 1) as f64;
    let (low, part) = (at.floor() as usize, at.fract());
    let high = (low + 1).min(values.len() - 1);
    values[low] + part * (values[high] - values[low])
}

/// Median and 95 % interval.
pub fn middle(mut values: Vec<f64>) -> [f64; 3] {
    [0.5, 0.025, 0.975].map(|share| quantile(&mut values, share))
}
