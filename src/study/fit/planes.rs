//! Planes through clouds of replays: weighted ridge regression of each section's duration on the unknowns.

use nalgebra::{DMatrix, DVector};

/// The ridge, in units of the sum of weights, on standardised columns.
const RIDGE: f64 = 0.01;

/// One plane for each output, over the same standardised inputs.
#[derive(Clone, Debug)]
pub struct Planes {
    middle: Vec<f64>,
    scale: Vec<f64>,
    /// By output: the value at the middle, then the slopes.
    coefficients: Vec<Vec<f64>>,
    /// By output: variance of what the plane leaves, corrected for the coefficients.
    pub residual: Vec<f64>,
}

/// Effective number of weighted points: (sum w)² / sum w².
pub fn effective(weights: &[f64]) -> f64 {
    let sum: f64 = weights.iter().sum();
    sum * sum / weights.iter().map(|w| w * w).sum::<f64>()
}

impl Planes {
    /// The planes through `outputs` at `inputs`, one row a point.
    pub fn new(inputs: &[Vec<f64>], outputs: &[Vec<f64>], weights: &[f64]) -> Self {
        let columns = inputs[0].len();
        let sum: f64 = weights.iter().sum();
        let average = |value: &dyn Fn(&[f64]) -> f64| {
            inputs
                .iter()
                .zip(weights)
                .map(|(x, w)| w * value(x))
                .sum::<f64>()
                / sum
        };
        let middle: Vec<f64> = (0..columns).map(|k| average(&|x| x[k])).collect();
        let scale: Vec<f64> = (0..columns)
            .map(|k| average(&|x| (x[k] - middle[k]).powi(2)).sqrt())
            .map(|sd| if sd < 1e-9 { 1.0 } else { sd })
            .collect();
        let design = DMatrix::from_fn(inputs.len(), columns + 1, |row, column| match column {
            0 => 1.0,
            k => (inputs[row][k - 1] - middle[k - 1]) / scale[k - 1],
        });
        let seen = DMatrix::from_fn(outputs.len(), outputs[0].len(), |r, c| outputs[r][c]);
        let weigh = DVector::from_column_slice(weights);
        let mut weighed = design.clone();
        for (mut row, w) in weighed.row_iter_mut().zip(weigh.iter()) {
            row *= *w;
        }
        let mut normal = design.transpose() * &weighed;
        for k in 1..=columns {
            normal[(k, k)] += RIDGE * sum;
        }
        let right = weighed.transpose() * &seen;
        let solved = normal
            .clone()
            .cholesky()
            .map(|c| c.solve(&right))
            .or_else(|| normal.lu().solve(&right))
            .unwrap_or_else(|| DMatrix::zeros(columns + 1, seen.ncols()));
        let left = &seen - &design * &solved;
        let points = effective(weights);
        let correction = points / (points - columns as f64 - 1.0).max(1.0) / sum;
        let residual = left
            .column_iter()
            .map(|c| c.iter().zip(weights).map(|(r, w)| w * r * r).sum::<f64>() * correction)
            .collect();
        Planes {
            middle,
            scale,
            coefficients: solved
                .column_iter()
                .map(|c| c.iter().copied().collect())
                .collect(),
            residual,
        }
    }

    /// The planes' values at some inputs, put into `outputs`.
    pub fn at(&self, inputs: &mut [f64], outputs: &mut [f64]) {
        for ((x, m), s) in inputs.iter_mut().zip(&self.middle).zip(&self.scale) {
            *x = (*x - m) / s;
        }
        for (out, c) in outputs.iter_mut().zip(&self.coefficients) {
            *out = c[0] + c[1..].iter().zip(&*inputs).map(|(c, x)| c * x).sum::<f64>();
        }
    }
}

/// The lower Cholesky factor of the covariance of some points, with a little added to its diagonal.
pub fn spread(points: &[Vec<f64>], little: f64) -> DMatrix<f64> {
    let columns = points[0].len();
    let count = points.len() as f64;
    let middle: Vec<f64> = (0..columns)
        .map(|k| points.iter().map(|p| p[k]).sum::<f64>() / count)
        .collect();
    let off = DMatrix::from_fn(points.len(), columns, |r, k| points[r][k] - middle[k]);
    let mut covariance = off.transpose() * &off / (count - 1.0);
    for k in 0..columns {
        covariance[(k, k)] += little;
    }
    let diagonal = || DMatrix::from_diagonal(&covariance.diagonal().map(f64::sqrt));
    covariance
        .clone()
        .cholesky()
        .map_or_else(diagonal, |c| c.l())
}
