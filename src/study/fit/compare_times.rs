//! Two lists of times of one coupon: which sections differ, and what that points to.

use statrs::distribution::{ContinuousCDF, Normal};

use super::coupon::points_to;
use super::problem::Reading;
use crate::study::stats::holm;

/// A difference is told where its adjusted p-value is below this.
const ALPHA: f64 = 0.05;
/// Deviation of what all readings of one list may be too long by, s.
const EDGE_SD_S: f64 = 0.05;

/// A section in two lists of times.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// The section, from 0.
    pub section: usize,
    /// Its time in either list, s: the mean of all its readings.
    pub seconds: [f64; 2],
    /// The second less the first, s.
    pub change_s: f64,
    /// The change's standard deviation: readings and the board's luck; s.
    pub deviation_s: f64,
    /// Two-sided p-value of no difference, adjusted for the number of sections (Holm 1979).
    pub p_adjusted: f64,
    /// Whether the sections differ.
    pub differs: bool,
    /// What it points to, where the section is one of ours.
    pub points_to: Option<&'static str>,
}

/// The sections that both lists have. `luck`: variance of each section by the board's luck, s²; `names` of the
/// sections.
pub fn compare(
    first: &[Reading],
    second: &[Reading],
    luck: &[f64],
    names: &[String],
) -> Vec<Difference> {
    let mean = |list: &[Reading], section: usize| {
        let of: Vec<&Reading> = list.iter().filter(|r| r.section == section).collect();
        let count = of.len() as f64;
        let sigmas: f64 = of.iter().map(|r| r.sigma_s.powi(2) + luck[section]).sum();
        (!of.is_empty()).then(|| {
            let seconds = of.iter().map(|r| r.seconds).sum::<f64>() / count;
            (seconds, sigmas / (count * count))
        })
    };
    let least_s = first
        .iter()
        .chain(second)
        .map(|r| r.sigma_s)
        .fold(EDGE_SD_S, f64::min);
    let mut all: Vec<Difference> = (0..luck.len())
        .filter_map(|section| {
            let (a, b) = (mean(first, section)?, mean(second, section)?);
            Some(Difference {
                section,
                seconds: [a.0, b.0],
                change_s: b.0 - a.0,
                deviation_s: (a.1 + b.1 + 2.0 * least_s.powi(2)).sqrt(),
                p_adjusted: 1.0,
                differs: false,
                points_to: points_to(names.get(section).map_or("", String::as_str)),
            })
        })
        .collect();
    let tail = |d: &Difference| 2.0 * Normal::standard().sf((d.change_s / d.deviation_s).abs());
    let adjusted = holm(&all.iter().map(tail).collect::<Vec<f64>>());
    for (difference, p) in all.iter_mut().zip(adjusted) {
        difference.p_adjusted = p;
        difference.differs = p < ALPHA;
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn list(seconds: &[f64]) -> Vec<Reading> {
        let one = |(section, seconds): (usize, &f64)| Reading {
            section,
            seconds: *seconds,
            sigma_s: 0.15,
            run: 0,
        };
        seconds.iter().enumerate().map(one).collect()
    }

    #[test]
    fn only_what_differs_is_told() {
        let names = vec!["comments".to_string(), "own".to_string(), String::new()];
        let found = compare(
            &list(&[10.0, 5.0, 7.0]),
            &list(&[13.0, 5.2, 6.9]),
            &[0.0; 3],
            &names,
        );
        assert_eq!(
            found.iter().map(|d| d.differs).collect::<Vec<_>>(),
            [true, false, false]
        );
        assert_eq!(
            found[0].points_to,
            Some("what a byte costs: the card, or the processor")
        );
        // 0.2 s over a deviation of sqrt(2 · 0.15² + 2 · 0.05²) = 0.2236 s: p = 0.371, times 2 by Holm.
        assert!(
            (found[1].p_adjusted - 0.742).abs() < 0.002,
            "{}",
            found[1].p_adjusted
        );
    }
}
