//! The colours, as eyes of all kinds see them.

use headstall::replay::cause::Cause;
use headstall::report::look::palette;
use serde_json::Value;

/// CIE L* of linear sRGB.
fn lightness([r, g, b]: [f64; 3]) -> f64 {
    let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    if y > 0.008856 {
        116.0 * y.cbrt() - 16.0
    } else {
        903.3 * y
    }
}

fn linear(c: u8) -> f64 {
    let c = f64::from(c) / 255.0;
    if c <= 0.04045 {
        c / 12.92
    } else {
        ((c + 0.055) / 1.055).powf(2.4)
    }
}

/// Machado, Oliveira & Fernandes, "A Physiologically-based Model for Simulation of Color Vision
/// Deficiency", IEEE TVCG 15(6), 2009: matrices of severity 1 on linear RGB (checked against colorspacious below).
const VISIONS: [[[f64; 3]; 3]; 4] = [
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
    [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
];

#[test]
fn the_scale_grows_lighter_for_every_eye() {
    for vision in VISIONS {
        let seen = |t: f64| {
            let rgb = palette::speed(t).map(linear);
            lightness(vision.map(|row| {
                row.iter()
                    .zip(rgb)
                    .map(|(m, c)| m * c)
                    .sum::<f64>()
                    .clamp(0.0, 1.0)
            }))
        };
        let steps: Vec<f64> = (0..=15).map(|k| seen(f64::from(k) / 15.0)).collect();
        for pair in steps.windows(2) {
            assert!(pair[1] > pair[0] + 1.5, "{steps:?}");
        }
        assert!(steps[15] - steps[0] > 60.0);
        // Full speed is still seen on the white card.
        assert!(steps[15] < 92.0, "{}", steps[15]);
    }
}

fn seen(vision: &[[f64; 3]; 3], rgb: [u8; 3]) -> [f64; 3] {
    let rgb = rgb.map(linear);
    vision.map(|row| row.iter().zip(rgb).map(|(m, c)| m * c).sum::<f64>())
}

/// The formulas above against the reference library (`tests/vectors/vision.py`).
#[test]
fn the_eyes_are_those_of_the_reference() {
    let all: Value = serde_json::from_str(include_str!("../vectors/vision.json")).unwrap();
    let rgb = |v: &Value| [0, 1, 2].map(|k| v["rgb"][k].as_u64().unwrap() as u8);
    let kinds = ["", "protanomaly", "deuteranomaly", "tritanomaly"];
    for v in all["seen"].as_array().unwrap() {
        let kind = kinds.iter().position(|k| v["vision"] == *k).unwrap();
        let found = seen(&VISIONS[kind], rgb(v));
        for k in 0..3 {
            let expected = v["linear"][k].as_f64().unwrap();
            assert!((found[k] - expected).abs() < 2e-4, "{v} {found:?}");
        }
    }
    for v in all["lightness"].as_array().unwrap() {
        let found = lightness(rgb(v).map(linear));
        assert!(
            (found - v["lightness"].as_f64().unwrap()).abs() < 0.05,
            "{v} {found}"
        );
    }
}

/// Causes that lie side by side in a bar differ in lightness, for every eye and in grey print; their
/// names stand out from them (contrast of 4.5 by WCAG 2.1, 1.4.3).
#[test]
fn causes_are_told_apart() {
    let of = |hex: &str| [1, 3, 5].map(|k| u8::from_str_radix(&hex[k..k + 2], 16).unwrap());
    for vision in VISIONS {
        let all: Vec<f64> = Cause::ALL
            .iter()
            .map(|k| lightness(seen(&vision, of(&palette::cause(*k))).map(|c| c.clamp(0.0, 1.0))))
            .collect();
        for pair in all.windows(2) {
            assert!((pair[0] - pair[1]).abs() > 9.0, "{all:?}");
        }
    }
    let luminance = |rgb: [u8; 3]| {
        let [r, g, b] = rgb.map(linear);
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    for k in Cause::ALL {
        let (a, b) = (
            luminance(of(&palette::cause(k))),
            luminance(of(palette::cause_ink(k))),
        );
        let contrast = (a.max(b) + 0.05) / (a.min(b) + 0.05);
        assert!(contrast >= 4.5, "{}: {contrast}", k.name());
    }
}

/// Text on the card, and what marks are drawn with.
#[test]
fn inks_stand_out() {
    let of = |hex: &str| [1, 3, 5].map(|k| u8::from_str_radix(&hex[k..k + 2], 16).unwrap());
    let light = |hex: &str| lightness(of(hex).map(linear));
    assert!(light(palette::CARD) - light(palette::INK) > 80.0);
    assert!(light(palette::CARD) - light(palette::INK_SOFT) > 55.0);
}
