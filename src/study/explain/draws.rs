//! Random numbers of `explain`, fixed by the seed: any draw can be made by itself, in any order.

/// The step between two states of SplitMix64.
const GAMMA: u64 = 0x9E37_79B9_7F4A_7C15;
/// Numbers that a draw may use.
const NUMBERS_A_DRAW: u64 = 4096;

/// What a draw is for: each purpose has numbers of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// Permutations of the heights, to see whether bumps huddle.
    Huddles = 1,
    /// Permutations of the layers, for what is regular along the job.
    Permutations = 2,
    /// Cells of the wall, for places.
    Cells = 3,
    /// Cells for whole upright lines of bumps.
    Lines = 4,
    /// Cells for whole bands of bumps.
    Bands = 5,
    /// Simulated prints, to tell how likely each explanation was to be recognised.
    Power = 6,
    /// By how much the clock of another run is off.
    OtherLuck = 7,
}

/// The finaliser of SplitMix64 (Steele, Lea & Flood, "Fast splittable pseudorandom number
/// generators", OOPSLA 2014).
pub fn mix(mut x: u64) -> u64 {
    x ^= x >> 30;
    x = x.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x ^= x >> 27;
    x = x.wrapping_mul(0x94D0_49BB_1331_11EB);
    x ^ (x >> 31)
}

/// Draws for one seed and purpose.
#[derive(Clone, Copy, Debug)]
pub struct Draws {
    start: u64,
}

impl Draws {
    /// The draws of this seed for this purpose.
    pub fn new(seed: u64, purpose: Purpose) -> Self {
        Draws {
            start: mix(seed.wrapping_mul(GAMMA).wrapping_add(purpose as u64)),
        }
    }

    /// Number `k` of draw `draw`, from 0 (inclusive) to 1 (exclusive).
    pub fn uniform(&self, draw: usize, k: usize) -> f64 {
        let step = NUMBERS_A_DRAW * draw as u64 + k as u64 + 1;
        let bits = mix(self.start.wrapping_add(step.wrapping_mul(GAMMA)));
        (bits >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Permutation `draw` of `0..n` (R. Durstenfeld 1964, from memory: swaps from the end).
    pub fn permutation(&self, draw: usize, n: usize) -> Vec<usize> {
        let mut order: Vec<usize> = (0..n).collect();
        for i in (1..n).rev() {
            let j = (self.uniform(draw, n - 1 - i) * (i + 1) as f64) as usize;
            order.swap(i, j);
        }
        order
    }
}

/// The p-value of an observed statistic among its draws: (b + 1)/(M + 1), where b draws reach it
/// (Phipson & Smyth 2010, Stat. Appl. Genet. Mol. Biol. 9:39).
pub fn p_value(observed: f64, draws: &[f64]) -> f64 {
    let reached = draws.iter().filter(|s| **s >= observed - 1e-9).count();
    (reached + 1) as f64 / (draws.len() + 1) as f64
}
