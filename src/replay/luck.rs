//! Draws: every random quantity has its own stream, and its k-th use the stream's k-th draw.
//!
//! So two boards that differ in one thing see the same luck in all else (common random numbers).

use rand::RngExt;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use statrs::distribution::{ContinuousCDF, Normal};

use crate::board::types::Span;

/// One quantity's stream of draws.
#[derive(Clone, Debug)]
pub struct Stream {
    rng: ChaCha8Rng,
    next: u64,
    /// The last draw: it is often asked for again.
    last: Option<(u64, f64)>,
    /// The standard normal's 99th percentile.
    z99: f64,
    /// The last lognormal's p99/median, and its sigma: mostly the same again.
    sigma: (f64, f64),
}

/// Words of 32 bits that one draw takes from the generator.
const WORDS_PER_DRAW: u128 = 2;

impl Stream {
    /// The stream of the quantity `name` under `seed`.
    pub fn new(seed: u64, name: &str) -> Self {
        // FNV-1a (from memory) tells the names apart; the generator does the mixing.
        let mut hash = 0xcbf2_9ce4_8422_2325u64;
        for byte in name.bytes() {
            hash = (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(hash);
        Stream {
            rng,
            next: 0,
            last: None,
            z99: Normal::standard().inverse_cdf(0.99),
            sigma: (1.0, 0.0),
        }
    }

    /// The k-th draw: uniform on [0, 1).
    pub fn uniform(&mut self, k: u64) -> f64 {
        if let Some((last, value)) = self.last
            && last == k
        {
            return value;
        }
        if k != self.next {
            self.rng.set_word_pos(u128::from(k) * WORDS_PER_DRAW);
        }
        self.next = k.wrapping_add(1);
        let value = self.rng.random::<f64>();
        self.last = Some((k, value));
        value
    }

    /// Whether something of this chance happens at its k-th use.
    pub fn happens(&mut self, chance: f64, k: u64) -> bool {
        chance > 0.0 && self.uniform(k) < chance
    }

    /// The k-th draw of a duration, s.
    pub fn draw_s(&mut self, span: &Span, k: u64) -> f64 {
        match *span {
            Span::Fixed(s) => s,
            Span::Uniform { min, max } => min + (max - min) * self.uniform(k),
            Span::Exponential { mean } => -mean * (1.0 - self.uniform(k)).ln(),
            Span::Lognormal { median, p99 } => {
                let normal = Normal::standard();
                let ratio = p99 / median;
                if ratio != self.sigma.0 {
                    self.sigma = (ratio, ratio.ln() / self.z99);
                }
                let z = normal.inverse_cdf(self.uniform(k).max(f64::MIN_POSITIVE));
                median * (self.sigma.1 * z).exp()
            }
        }
    }
}
