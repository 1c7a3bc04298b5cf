//! Colours: one scale whose lightness falls steadily, so that it reads in grey and to the
//! colour-blind; and the inks.
//!
//! Mixed in OKLab (B. Ottosson, "A perceptual color space for image processing", 2020; the
//! matrices are from memory), in which equal steps look equal.

use crate::replay::cause::Cause;

/// Text and marks.
pub const INK: &str = "#1d2430";
/// Text of less weight.
pub const INK_SOFT: &str = "#566070";
/// Moves without printing, rules.
pub const INK_FAINT: &str = "#c3c9d1";
/// The card on which pictures are drawn.
pub const CARD: &str = "#ffffff";

/// What the head did, over time.
pub const DONE: &str = "#8fc1e3";
/// A bump among marks of stalls.
pub const BUMP: &str = "#1f5fa8";
/// A bare wall, unrolled.
pub const GROUND: &str = "#eef4f8";
/// A wall that is thicker, from little to much.
pub const TINTS: [&str; 4] = ["#f6e3b8", "#eec57c", "#de9a45", "#c4702c"];

/// Points of the scale, from stopped to full speed: lightness, chroma, hue in degrees.
const POINTS: [[f64; 3]; 4] = [
    [0.27, 0.10, 15.0],
    [0.50, 0.17, 35.0],
    [0.72, 0.14, 70.0],
    [0.86, 0.045, 230.0],
];

/// The colour of a speed ratio: 0 stopped, 1 full speed.
pub fn speed(ratio: f64) -> [u8; 3] {
    let at = ratio.clamp(0.0, 1.0) * (POINTS.len() - 1) as f64;
    let i = (at as usize).min(POINTS.len() - 2);
    let part = at - i as f64;
    let [from, to] = [lab(POINTS[i]), lab(POINTS[i + 1])];
    srgb(std::array::from_fn(|k| from[k] + (to[k] - from[k]) * part))
}

/// A colour as SVG writes it.
pub fn hex([r, g, b]: [u8; 3]) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

fn lab([lightness, chroma, hue_deg]: [f64; 3]) -> [f64; 3] {
    let hue = hue_deg.to_radians();
    [lightness, chroma * hue.cos(), chroma * hue.sin()]
}

/// OKLab → sRGB, clipped.
fn srgb([l, a, b]: [f64; 3]) -> [u8; 3] {
    let cone = [
        l + 0.396_337_777_4 * a + 0.215_803_757_3 * b,
        l - 0.105_561_345_8 * a - 0.063_854_172_8 * b,
        l - 0.089_484_177_5 * a - 1.291_485_548_0 * b,
    ]
    .map(|c| c * c * c);
    let linear = [
        4.076_741_662_1 * cone[0] - 3.307_711_591_3 * cone[1] + 0.230_969_929_2 * cone[2],
        -1.268_438_004_6 * cone[0] + 2.609_757_401_1 * cone[1] - 0.341_319_396_5 * cone[2],
        -0.004_196_086_3 * cone[0] - 0.703_418_614_7 * cone[1] + 1.707_614_701_0 * cone[2],
    ];
    linear.map(|c| {
        let c = c.clamp(0.0, 1.0);
        let shown = if c <= 0.003_130_8 {
            12.92 * c
        } else {
            1.055 * c.powf(1.0 / 2.4) - 0.055
        };
        (shown * 255.0).round() as u8
    })
}

/// The colour of a cause.
pub fn cause(cause: Cause) -> String {
    hex(srgb(lab(cause.about().colour)))
}

/// An ink that reads on that colour.
pub fn cause_ink(cause: Cause) -> &'static str {
    if cause.about().colour[0] > 0.6 {
        INK
    } else {
        CARD
    }
}
