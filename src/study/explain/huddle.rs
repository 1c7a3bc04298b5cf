//! Do bumps huddle? Then they are moved as groups wherever chance is asked.

use super::draws::{Draws, Purpose, p_value};

/// Bumps nearer than this in angle and in height are a near pair.
const NEAR_DEG: f64 = 12.0;
/// See [`NEAR_DEG`].
const NEAR_MM: f64 = 1.2;
/// Permutations of the heights.
const PERMUTATIONS: usize = 199;
/// Bumps huddle where the p-value of their near pairs is at most this.
const P_MAX: f64 = 0.1;

/// Bumps in groups.
#[derive(Clone, Debug, PartialEq)]
pub struct Groups {
    /// Each bump's group.
    pub of: Vec<usize>,
    /// Each group's leader, a bump.
    pub leaders: Vec<usize>,
}

impl Groups {
    /// Each bump by itself.
    pub fn single(n: usize) -> Self {
        Groups {
            of: (0..n).collect(),
            leaders: (0..n).collect(),
        }
    }

    /// Groups made by taking the bumps in this order: each joins the first group whose leader is near it,
    /// or else leads a new one.
    pub fn gather(order: &[usize], near: impl Fn(usize, usize) -> bool) -> Self {
        let mut groups = Groups {
            of: vec![0; order.len()],
            leaders: Vec::new(),
        };
        for &bump in order {
            let joined = groups.leaders.iter().position(|l| near(*l, bump));
            groups.of[bump] = joined.unwrap_or(groups.leaders.len());
            if joined.is_none() {
                groups.leaders.push(bump);
            }
        }
        groups
    }

    /// The leader of a bump's group.
    pub fn leader(&self, bump: usize) -> usize {
        self.leaders[self.of[bump]]
    }
}

/// Whether bumps huddle.
#[derive(Clone, Debug, PartialEq)]
pub struct Huddle {
    /// Pairs of bumps within 12 degrees and 1.2 mm of each other.
    pub near_pairs: usize,
    /// The chance of as many if heights were dealt out anew.
    pub p: f64,
    /// The groups, each bump by itself where they don't huddle.
    pub groups: Groups,
}

impl Huddle {
    /// Whether bumps huddle.
    pub fn is_one(&self) -> bool {
        self.p <= P_MAX
    }
}

/// The angle between two directions, 0 to 180 degrees.
pub fn apart_deg(a: f64, b: f64) -> f64 {
    let turn = (a - b).rem_euclid(360.0);
    turn.min(360.0 - turn)
}

fn near_pairs(angle_deg: &[f64], z_mm: impl Fn(usize) -> f64) -> usize {
    let n = angle_deg.len();
    let pairs = (0..n).flat_map(|i| (i + 1..n).map(move |j| (i, j)));
    pairs
        .filter(|(i, j)| {
            (z_mm(*i) - z_mm(*j)).abs() <= NEAR_MM
                && apart_deg(angle_deg[*i], angle_deg[*j]) <= NEAR_DEG
        })
        .count()
}

/// Groups of bumps within the box of near pairs, in order of height, then angle.
pub fn gather(angle_deg: &[f64], z_mm: &[f64]) -> Groups {
    let mut order: Vec<usize> = (0..z_mm.len()).collect();
    order.sort_by(|a, b| {
        let by_height = z_mm[*a].total_cmp(&z_mm[*b]);
        by_height.then(angle_deg[*a].total_cmp(&angle_deg[*b]))
    });
    Groups::gather(&order, |l, i| {
        apart_deg(angle_deg[l], angle_deg[i]) <= NEAR_DEG && (z_mm[l] - z_mm[i]).abs() <= NEAR_MM
    })
}

/// Whether bumps at these angles (degrees) and heights (mm) huddle.
pub fn huddle(angle_deg: &[f64], z_mm: &[f64], seed: u64) -> Huddle {
    let n = z_mm.len();
    let seen = near_pairs(angle_deg, |i| z_mm[i]);
    let draws = Draws::new(seed, Purpose::Huddles);
    let by_chance: Vec<f64> = (0..PERMUTATIONS)
        .map(|draw| {
            let order = draws.permutation(draw, n);
            near_pairs(angle_deg, |i| z_mm[order[i]]) as f64
        })
        .collect();
    let mut found = Huddle {
        near_pairs: seen,
        p: p_value(seen as f64, &by_chance),
        groups: Groups::single(n),
    };
    if found.is_one() {
        found.groups = gather(angle_deg, z_mm);
    }
    found
}
