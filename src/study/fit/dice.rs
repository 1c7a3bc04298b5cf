//! Draws of the fit: one seeded stream for all of it, so that the same seed gives the same answer.

use std::f64::consts::TAU;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A stream of draws.
pub struct Dice(ChaCha8Rng);

impl Dice {
    /// The stream of this seed.
    pub fn new(seed: u64) -> Self {
        Dice(ChaCha8Rng::seed_from_u64(seed))
    }

    /// Uniform on [0, 1).
    pub fn uniform(&mut self) -> f64 {
        self.0.random()
    }

    /// Uniform on 0 to `count` - 1.
    pub fn index(&mut self, count: usize) -> usize {
        ((self.uniform() * count as f64) as usize).min(count - 1)
    }

    /// Standard normal (G. E. P. Box, M. E. Muller, Annals of Mathematical Statistics 29, 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (TAU * self.uniform()).cos()
    }

    /// `count` standard normals.
    pub fn normals(&mut self, count: usize) -> Vec<f64> {
        (0..count).map(|_| self.normal()).collect()
    }

    /// `count` different numbers from 0 to `of` - 1.
    pub fn choice(&mut self, of: usize, count: usize) -> Vec<usize> {
        let mut all: Vec<usize> = (0..of).collect();
        for k in 0..count.min(of) {
            let other = k + self.index(of - k);
            all.swap(k, other);
        }
        all.truncate(count);
        all
    }
}
