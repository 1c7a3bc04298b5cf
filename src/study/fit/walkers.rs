//! Walkers that sample a density: the affine-invariant stretch move (J. Goodman, J. Weare, "Ensemble samplers
//! with affine invariance", Communications in Applied Mathematics and Computational Science 5, 2010, p. 65).

use super::dice::Dice;

/// The stretch move's parameter: factors are drawn from 1/A to A.
const STRETCH: f64 = 2.0;

/// Moves the walkers, an even number of points, `steps` times.
///
/// `log_density`: the density's logarithm but for a constant. `power`: to which power the density is raised; above
/// 1 the walkers draw together about its maximum. `dimensions`: of the space in which they differ.
pub fn walk(
    points: &mut [Vec<f64>],
    log_density: &dyn Fn(&[f64]) -> f64,
    steps: usize,
    power: f64,
    dimensions: usize,
    dice: &mut Dice,
) {
    let half = points.len() / 2;
    let mut logs: Vec<f64> = points.iter().map(|p| log_density(p)).collect();
    let (first, second) = points.split_at_mut(half);
    let mut tried = vec![0.0; first.first().map_or(0, Vec::len)];
    for _ in 0..steps {
        for turn in 0..2 {
            let (moving, others, logs) = if turn == 0 {
                (&mut *first, &*second, &mut logs[..half])
            } else {
                (&mut *second, &*first, &mut logs[half..])
            };
            for (point, log) in moving.iter_mut().zip(logs) {
                let z = ((STRETCH - 1.0) * dice.uniform() + 1.0).powi(2) / STRETCH;
                let other = &others[dice.index(others.len())];
                for ((t, p), o) in tried.iter_mut().zip(point.iter()).zip(other) {
                    *t = o + z * (p - o);
                }
                let new = log_density(&tried);
                let gain = (dimensions as f64 - 1.0) * z.ln() + (new - *log) * power;
                if dice.uniform().ln() < gain {
                    point.copy_from_slice(&tried);
                    *log = new;
                }
            }
        }
    }
}
