//! How well bumps keep step with a wave along the job: a sum over pairs of bumps, pairs that lie far apart
//! along the job counting less.

use super::numbers::{Complex, re_conj};

/// Pairs count less by 1/e for each so many periods between them: a clock may drift.
pub const COHERENT_PERIODS: f64 = 50.0;
/// The least skewness.
const SKEWNESS_MIN: f64 = 1e-6;

/// The sums over pairs and triples of bumps.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sums {
    /// Sum over pairs of kernel times the real part of the product.
    pub pairs: f64,
    /// Its variance over permutations.
    pub variance: f64,
    /// Half its third moment over permutations; see [`Sums::normal_scale`].
    pub third: f64,
}

impl Sums {
    /// The sum on a scale where chance gives about a standard normal: a gamma distribution with its
    /// skewness, by the cube root of Wilson & Hilferty (1931, PNAS 17:684, from memory).
    pub fn normal_scale(&self) -> f64 {
        Scale::new(self.variance, self.third).of(self.pairs)
    }
}

/// What turns a sum over pairs into [`Sums::normal_scale`].
#[derive(Clone, Copy, Debug)]
pub struct Scale {
    skewness: f64,
    deviation: f64,
}

impl Scale {
    /// The scale for a variance and a third moment.
    pub fn new(variance: f64, third: f64) -> Self {
        let spread = variance.powf(1.5);
        let skewness = if spread > 0.0 {
            third / (2.0 * spread)
        } else {
            0.0
        };
        Scale {
            skewness: skewness.max(SKEWNESS_MIN),
            deviation: variance.sqrt(),
        }
    }

    /// A sum on this scale.
    #[inline]
    pub fn of(&self, pairs: f64) -> f64 {
        let g = self.skewness;
        let z = if self.deviation > 0.0 {
            pairs / self.deviation
        } else {
            0.0
        };
        3.0 / g * ((1.0 + g * z).max(0.0).cbrt() - 1.0 + g * g / 9.0)
    }
}

/// A bump, in order of layers.
#[derive(Clone, Copy, Debug)]
pub struct Beat {
    /// Its phasor, centred.
    pub centred: Complex,
    /// The mean square of centred phasors on its layer.
    pub power: f64,
    /// The kernel between it and the bump before it.
    pub fade: f64,
}

/// The sums over bumps in order of layers. With a kernel that falls exponentially each bump meets all before it
/// at once.
pub fn sums(beats: impl Iterator<Item = Beat>) -> Sums {
    let mut sums = Sums::default();
    let (mut a, mut b, mut d) = ([0.0, 0.0], 0.0, 0.0);
    for Beat {
        centred: c,
        power: v,
        fade,
    } in beats
    {
        let fade_2 = fade * fade;
        a = [a[0] * fade, a[1] * fade];
        b *= fade_2;
        d *= fade_2;
        sums.pairs += re_conj(a, c);
        sums.variance += v * b / 2.0;
        sums.third += 1.5 * v * d;
        d += v * b;
        a = [a[0] + c[0], a[1] + c[1]];
        b += v;
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The recursion against its definition: sums over all pairs and triples.
    #[test]
    fn sums_are_those_over_pairs_and_triples() {
        let at = [0.0f64, 0.4, 0.4, 1.7, 2.0];
        let c: Vec<Complex> = (0..5)
            .map(|i| [(1.3 * f64::from(i)).cos(), (2.1 * f64::from(i)).sin()])
            .collect();
        let v = [0.9, 0.5, 0.7, 0.3, 0.8];
        let k = |i: usize, j: usize| (-(at[i] - at[j]).abs()).exp();
        let mut slow = Sums::default();
        for i in 0..5 {
            for j in i + 1..5 {
                slow.pairs += k(i, j) * re_conj(c[i], c[j]);
                slow.variance += 0.5 * k(i, j).powi(2) * v[i] * v[j];
                for l in j + 1..5 {
                    slow.third += 1.5 * v[i] * v[j] * v[l] * k(i, j) * k(j, l) * k(l, i);
                }
            }
        }
        let fast = sums((0..5).map(|i| Beat {
            centred: c[i],
            power: v[i],
            fade: if i == 0 { 0.0 } else { k(i, i - 1) },
        }));
        assert!((fast.pairs - slow.pairs).abs() < 1e-12);
        assert!((fast.variance - slow.variance).abs() < 1e-12);
        assert!((fast.third - slow.third).abs() < 1e-12);
    }
}
