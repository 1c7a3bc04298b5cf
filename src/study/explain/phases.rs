//! Phasors of the wall along the job, as the error of heights leaves them: for many frequencies, over the
//! degrees and layers that are needed.

use super::blur::Blur;
use super::numbers::{Complex, phasor};
use super::wall::{AROUND, Along, Wall};

/// Which layers a degree's phasor on a layer is the mean of, and with what weights.
#[derive(Clone, Debug)]
struct Column {
    degree: usize,
    /// Layers with wall that are needed.
    sources: Vec<usize>,
    /// For each wanted layer, where its weights end.
    ends: Vec<usize>,
    /// Sources by number, and weights; sum 1 a layer, or none.
    weights: Vec<(u32, f64)>,
}

/// The phasors of some degrees on some layers.
#[derive(Clone, Debug)]
pub struct Phases {
    columns: Vec<Column>,
    layer_count: usize,
}

impl Phases {
    /// For these degrees and layers.
    pub fn new(wall: &Wall, blur: &Blur, degrees: &[usize], layers: &[usize]) -> Self {
        let column = |&degree: &usize| {
            let on_wall = |l: usize| wall.cells[l * AROUND + degree].is_some();
            let near = layers.iter().flat_map(|l| &blur.near[*l]).map(|n| n.0);
            let mut sources: Vec<usize> = near.filter(|l| on_wall(*l)).collect();
            sources.sort_unstable();
            sources.dedup();
            let (mut ends, mut weights) = (Vec::new(), Vec::new());
            for &layer in layers {
                let row = blur.near[layer].iter().filter(|n| on_wall(n.0));
                let whole: f64 = row.clone().map(|n| n.1).sum();
                weights.extend(row.filter_map(|(l, w)| {
                    let source = sources.binary_search(l).ok()?;
                    Some((source as u32, w / whole))
                }));
                ends.push(weights.len());
            }
            Column {
                degree,
                sources,
                ends,
                weights,
            }
        };
        Phases {
            columns: degrees.iter().map(column).collect(),
            layer_count: layers.len(),
        }
    }

    /// The coordinate of all sources.
    pub fn sources(&self, wall: &Wall, along: Along) -> Vec<Vec<f64>> {
        let at = |degree: usize, layer: &usize| {
            let cell = &wall.cells[layer * AROUND + degree];
            cell.as_ref().map_or(0.0, |c| c.along[along as usize])
        };
        let column = |c: &Column| c.sources.iter().map(|l| at(c.degree, l)).collect();
        self.columns.iter().map(column).collect()
    }

    /// The phasors at a frequency, by layer, then degree; `sources` as from [`Phases::sources`].
    pub fn at(&self, sources: &[Vec<f64>], frequency: f64, table: &mut Vec<Complex>) {
        let width = self.columns.len();
        table.clear();
        table.resize(width * self.layer_count, [0.0, 0.0]);
        let mut waves: Vec<Complex> = Vec::new();
        for (d, (column, along)) in self.columns.iter().zip(sources).enumerate() {
            waves.clear();
            waves.extend(along.iter().map(|u| phasor(u * frequency)));
            let mut from = 0;
            for (l, &end) in column.ends.iter().enumerate() {
                let mut sum = [0.0, 0.0];
                for (source, w) in &column.weights[from..end] {
                    let e = waves[*source as usize];
                    sum = [sum[0] + w * e[0], sum[1] + w * e[1]];
                }
                table[l * width + d] = sum;
                from = end;
            }
        }
    }
}
