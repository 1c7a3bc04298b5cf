//! Intervals and tests that the tables use.

use statrs::distribution::{Binomial, ContinuousCDF, DiscreteCDF, Normal};

/// Confidence of all intervals.
const CONFIDENCE: f64 = 0.95;

/// The interval of a chance seen `k` times in `n` (E. B. Wilson 1927; cases of R. G. Newcombe,
/// Statistics in Medicine 17, 1998).
pub fn wilson(k: u64, n: u64) -> [f64; 2] {
    if n == 0 {
        return [0.0, 1.0];
    }
    let z = Normal::standard().inverse_cdf(0.5 + CONFIDENCE / 2.0);
    let (p, n) = (k as f64 / n as f64, n as f64);
    let whole = 1.0 + z * z / n;
    let middle = (p + z * z / (2.0 * n)) / whole;
    let half = z * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt() / whole;
    [(middle - half).max(0.0), (middle + half).min(1.0)]
}

/// The ranks, from 1, of the two order statistics of `n` that hold the quantile `p` between them
/// with at least 95 %: P(x(l) <= Q <= x(u)) = B(u - 1) - B(l - 1), B the binomial distribution. The
/// narrowest such pair; `None` where there are too few.
pub fn quantile_ranks(n: u64, p: f64) -> Option<[u64; 2]> {
    let binomial = Binomial::new(p, n).ok()?;
    let below: Vec<f64> = (0..=n).map(|k| binomial.cdf(k)).collect();
    let mut best: Option<([u64; 2], f64)> = None;
    for low in 1..=n {
        for high in low + 1..=n {
            let cover = below[high as usize - 1] - below[low as usize - 1];
            let narrower = best
                .is_none_or(|([l, h], c)| high - low < h - l || (high - low == h - l && cover > c));
            if cover >= CONFIDENCE && narrower {
                best = Some(([low, high], cover));
            }
        }
    }
    best.map(|(ranks, _)| ranks)
}

/// Median of some values, with its interval where there are enough of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Median {
    /// The median.
    pub middle: f64,
    /// Its interval from order statistics.
    pub interval: Option<[f64; 2]>,
}

/// The median of `values` and its interval.
///
/// # Panics
/// If there are none.
pub fn median(values: &[f64]) -> Median {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    let middle = (sorted[(n - 1) / 2] + sorted[n / 2]) / 2.0;
    let interval =
        quantile_ranks(n as u64, 0.5).map(|ranks| ranks.map(|rank| sorted[rank as usize - 1]));
    Median { middle, interval }
}

/// Two-sided sign test of paired differences: the chance of signs as uneven as these, if either
/// were as likely. Differences of exactly 0 are left out.
pub fn sign_test(differences: &[f64]) -> f64 {
    let up = differences.iter().filter(|d| **d > 0.0).count() as u64;
    let down = differences.iter().filter(|d| **d < 0.0).count() as u64;
    match Binomial::new(0.5, up + down) {
        Ok(binomial) if up + down > 0 => (2.0 * binomial.cdf(up.min(down))).min(1.0),
        _ => 1.0,
    }
}

/// Holm's adjustment of several tests' p-values (S. Holm 1979).
pub fn holm(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|a, b| p[*a].total_cmp(&p[*b]));
    let mut adjusted = vec![0.0; p.len()];
    let mut largest: f64 = 0.0;
    for (k, i) in order.into_iter().enumerate() {
        largest = largest.max(((p.len() - k) as f64 * p[i]).min(1.0));
        adjusted[i] = largest;
    }
    adjusted
}
