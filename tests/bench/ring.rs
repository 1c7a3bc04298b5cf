//! The job that is measured: a fluted ring of short chords, layer upon layer.

/// What comes before the first layer.
pub const BEGINNING: &str = "M83\nG1 F4800\n";

/// A layer, from 1.
pub fn layer(layer: u32) -> String {
    let mut text = format!("G0 Z{:.2}\n", f64::from(layer) * 0.2);
    for k in 0..3000 {
        let a = f64::from(k) / 3000.0 * std::f64::consts::TAU;
        let r = 40.0 + 3.0 * (10.0 * a).sin().abs();
        let (x, y) = (100.0 + r * a.cos(), 100.0 + r * a.sin());
        text += &format!("G1 X{x:.3} Y{y:.3} E0.00412\n");
    }
    text
}
