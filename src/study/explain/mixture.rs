//! How much better bumps agree with an explanation than with bumps strewn evenly: the likelihood of a
//! mixture of both.

/// The largest share of bumps that an explanation may take.
const SHARE_MAX: f64 = 0.999;
/// Halvings of the bracket of the share: more than a double has bits.
const HALVINGS: usize = 60;
/// Steps of expectation and maximisation.
const STEPS: usize = 2000;

/// A log likelihood over that of evenly strewn bumps, and the explanation's share of the bumps.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Fit {
    /// The log likelihood, 0 or more.
    pub loglik: f64,
    /// The share of the bumps that the explanation takes, 0 to 0.999.
    pub share: f64,
}

/// The largest over 0 <= s <= 0.999 of the sum of log(1 + s (r - 1)), where `ratios` holds each bump's
/// density under the explanation over its density if strewn evenly. The sum is concave in s.
pub fn fit(ratios: &[f64]) -> Fit {
    let slope = |s: f64| -> f64 {
        let each = ratios.iter().map(|r| (r - 1.0) / (1.0 + s * (r - 1.0)));
        each.sum()
    };
    if slope(0.0) <= 0.0 {
        return Fit::default();
    }
    let (mut low, mut high) = (0.0, SHARE_MAX);
    if slope(high) >= 0.0 {
        low = high;
    }
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if slope(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    let share = 0.5 * (low + high);
    let terms = ratios.iter().map(|r| (share * (r - 1.0)).ln_1p());
    Fit {
        loglik: terms.sum(),
        share,
    }
}

/// The same for several explanations together, shares at least 0 and at most 1 in sum, by expectation and
/// maximisation (Dempster, Laird & Rubin 1977, from memory).
pub fn joint(sets: &[&[f64]]) -> f64 {
    match sets {
        [] => return 0.0,
        [one] => return fit(one).loglik,
        _ => {}
    }
    let n = sets[0].len();
    let mut shares = vec![1.0 / (sets.len() + 1) as f64; sets.len()];
    let density = |shares: &[f64], i: usize| -> f64 {
        let even = 1.0 - shares.iter().sum::<f64>();
        let explained = sets.iter().zip(shares).map(|(r, s)| s * r[i]);
        even.max(0.0) + explained.sum::<f64>()
    };
    for _ in 0..STEPS {
        let mut next = vec![0.0; sets.len()];
        for i in 0..n {
            let whole = density(&shares, i).max(f64::MIN_POSITIVE);
            for (k, set) in sets.iter().enumerate() {
                next[k] += shares[k] * set[i] / whole;
            }
        }
        next.iter_mut().for_each(|s| *s /= n as f64);
        shares = next;
    }
    (0..n).map(|i| density(&shares, i).ln()).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bump_strewn_evenly_speaks_for_nothing() {
        assert_eq!(fit(&[1.0; 5]), Fit::default());
        assert_eq!(joint(&[]), 0.0);
    }

    #[test]
    fn a_second_explanation_that_is_the_first_adds_nothing() {
        let r = [3.0, 0.2, 5.0, 0.0, 1.5];
        assert!((joint(&[&r, &r]) - fit(&r).loglik).abs() < 1e-6);
    }
}
