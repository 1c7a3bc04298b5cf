//! Points and moves in space.

use crate::job::state::Move;

/// Length of a move in space, mm.
pub fn length_mm(m: &Move) -> f64 {
    span(m).iter().map(|d| d * d).sum::<f64>().sqrt()
}

/// From a move's start to its end, mm.
pub fn span(m: &Move) -> [f64; 3] {
    std::array::from_fn(|k| m.to_mm[k] - m.from_mm[k])
}

/// The scalar product.
pub fn dot(u: [f64; 3], v: [f64; 3]) -> f64 {
    u[0] * v[0] + u[1] * v[1] + u[2] * v[2]
}

/// Distance of a point from a straight piece, mm.
pub fn distance_mm(p: [f64; 3], a: [f64; 3], b: [f64; 3]) -> f64 {
    let along: [f64; 3] = std::array::from_fn(|k| b[k] - a[k]);
    let off: [f64; 3] = std::array::from_fn(|k| p[k] - a[k]);
    let long = dot(along, along);
    let t = if long > 0.0 {
        (dot(off, along) / long).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let d: [f64; 3] = std::array::from_fn(|k| off[k] - t * along[k]);
    dot(d, d).sqrt()
}

/// The first three of a point's coordinates.
pub fn xyz(point: &[f64; 4]) -> [f64; 3] {
    [point[0], point[1], point[2]]
}

/// How far the middle of a chord lies from its arc, mm: r - sqrt(r² - (c/2)²).
pub fn sagitta_mm(radius_mm: f64, chord_mm: f64) -> f64 {
    let half = (chord_mm / 2.0).min(radius_mm);
    radius_mm - (radius_mm * radius_mm - half * half).sqrt()
}
