//! Recordings built here, and what is heard in them.

use std::f64::consts::TAU;

use headstall::study::fit::sound::{Heard, Refused, hear};

const RATE_HZ: f64 = 22_050.0;

/// A telephone's recording to be: motors, room and background.
#[derive(Clone, Copy)]
struct Scene {
    /// Level of the motors against the background's, as a ratio of amplitudes.
    motors: f64,
    /// Mains hum and its harmonics, against the background.
    hum: f64,
    /// Time in which an echo falls by 60 dB, s; 0: none.
    echo_s: f64,
    /// Amplification before the samples are clipped to full scale.
    drive: f64,
    /// Bangs at these times, s.
    bangs_s: &'static [f64],
}

const QUIET: Scene = Scene {
    motors: 10.0,
    hum: 0.0,
    echo_s: 0.0,
    drive: 0.3,
    bangs_s: &[],
};

/// Durations of the sections, s.
const SECTIONS_S: [f64; 8] = [3.0, 7.25, 4.1, 2.4, 9.6, 5.0, 3.37, 6.02];
/// Homing and the rise, the pause between sections, what follows the last, s.
const HOMING_S: f64 = 4.0;
const PAUSE_S: f64 = 3.0;
const AFTER_S: f64 = 5.0;

/// A plain generator of noise (xorshift, G. Marsaglia 2003).
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
}

/// Start and end of each section, s.
fn edges_s(sections_s: &[f64]) -> Vec<[f64; 2]> {
    let mut at = HOMING_S + PAUSE_S;
    sections_s
        .iter()
        .map(|length| {
            let edges = [at, at + length];
            at += length + PAUSE_S;
            edges
        })
        .collect()
}

/// Step tone of the motors at this time within a section that lasts so long: a hop, a body that comes and goes in
/// tones and gaps of 30 ms, a hop of 0.6 s.
fn motor_hz(at_s: f64, length_s: f64) -> Option<f64> {
    if at_s < 0.1 || at_s > length_s - 0.6 {
        return Some(2000.0);
    }
    let beat = (at_s * 5.0).fract();
    (beat > 0.15).then(|| 400.0 + 300.0 * (at_s * 1.7).sin())
}

fn recording(scene: &Scene, sections_s: &[f64]) -> Vec<f32> {
    let edges = edges_s(sections_s);
    let end_s = edges[edges.len() - 1][1] + AFTER_S;
    let count = (end_s * RATE_HZ) as usize;
    let mut noise = Noise(88_172_645_463_325_252);
    let (mut phase, mut low) = (0.0, 0.0);
    let mut dry = Vec::with_capacity(count);
    for k in 0..count {
        let t = k as f64 / RATE_HZ;
        let hz = if (1.0..HOMING_S).contains(&t) {
            Some(1200.0)
        } else {
            let section = edges.iter().find(|e| (e[0]..e[1]).contains(&t));
            section.and_then(|e| motor_hz(t - e[0], e[1] - e[0]))
        };
        let mut sample = 0.0;
        if let Some(hz) = hz {
            phase += hz / RATE_HZ;
            let tones: f64 = (1..=4)
                .map(|n| (TAU * phase * f64::from(n)).sin() / f64::from(n))
                .sum();
            sample += 0.03 * scene.motors * (tones + 0.3 * noise.next());
        }
        // A fan: noise that is louder where it is lower, and the tone of its blades.
        low += 0.2 * (noise.next() - low);
        let fan = 0.06 * low + 0.01 * noise.next() + 0.01 * (TAU * 133.0 * t).sin();
        let hum: f64 = [50.0, 100.0, 150.0]
            .iter()
            .map(|f| (TAU * f * t).sin())
            .sum();
        sample += fan + 0.03 * scene.hum * hum;
        for bang in scene.bangs_s {
            let since = t - bang;
            if (0.0..0.25).contains(&since) {
                sample += 0.8 * noise.next() * (-since / 0.05).exp();
            }
        }
        dry.push(sample);
    }
    let wet = if scene.echo_s > 0.0 {
        echoed(&dry, scene.echo_s)
    } else {
        dry
    };
    wet.iter()
        .map(|s| (s * scene.drive).clamp(-1.0, 1.0) as f32)
        .collect()
}

/// Four delays fed back (combs after M. R. Schroeder 1962, from memory), each falling by 60 dB in `echo_s`.
fn echoed(dry: &[f64], echo_s: f64) -> Vec<f64> {
    let mut wet = dry.to_vec();
    for delay_s in [0.0297, 0.0371, 0.0411, 0.0437] {
        let delay = (delay_s * RATE_HZ) as usize;
        let gain = 10f64.powf(-3.0 * delay_s / echo_s);
        let mut comb = dry.to_vec();
        for k in delay..comb.len() {
            comb[k] += gain * comb[k - delay];
        }
        wet.iter_mut().zip(&comb).for_each(|(w, c)| *w += 0.1 * c);
    }
    wet
}

/// A recording of a coupon with these sections in a quiet room, as a WAV file.
pub fn write_wav(place: &std::path::Path, sections_s: &[f64]) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE_HZ as u32,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut wav = hound::WavWriter::create(place, spec).unwrap();
    for sample in recording(&QUIET, sections_s) {
        wav.write_sample(sample).unwrap();
    }
    wav.finalize().unwrap();
}

fn heard(scene: &Scene, sections: usize) -> Result<Heard, Refused> {
    hear(&recording(scene, &SECTIONS_S), RATE_HZ, sections)
}

/// All durations within `bias_s` of a common error and `spread_s` of each other's.
#[track_caller]
fn right(scene: &Scene, bias_s: f64, spread_s: f64) {
    let found = heard(scene, SECTIONS_S.len()).map_err(|r| r.why).unwrap();
    let off: Vec<f64> = found
        .readings
        .iter()
        .zip(SECTIONS_S)
        .map(|(r, s)| r.seconds - s)
        .collect();
    let mean = off.iter().sum::<f64>() / off.len() as f64;
    assert!(mean.abs() < bias_s, "common error {mean}, {off:?}");
    assert!(off.iter().all(|o| (o - mean).abs() < spread_s), "{off:?}");
    assert!(
        found
            .readings
            .iter()
            .all(|r| r.sigma_s >= 0.02 && r.sigma_s < 0.15)
    );
    assert!(
        found
            .edges_s
            .iter()
            .zip(edges_s(&SECTIONS_S))
            .all(|(f, e)| (f[0] - e[0]).abs() < 0.15)
    );
}

#[track_caller]
fn refused(scene: &Scene, sections: usize, why: &str) {
    let found = heard(scene, sections)
        .err()
        .map(|r| r.why)
        .unwrap_or_default();
    assert!(found.contains(why), "`{found}`");
}

#[test]
fn a_quiet_room() {
    right(&QUIET, 0.06, 0.03);
}

#[test]
fn a_fan_as_loud_as_the_motors_and_hum() {
    let scene = Scene {
        motors: 1.0,
        hum: 1.0,
        ..QUIET
    };
    right(&scene, 0.06, 0.06);
}

#[test]
fn a_room_with_echo() {
    let scene = Scene {
        echo_s: 0.5,
        ..QUIET
    };
    right(&scene, 0.15, 0.06);
}

#[test]
fn driven_into_clipping() {
    let scene = Scene {
        drive: 6.0,
        ..QUIET
    };
    right(&scene, 0.06, 0.04);
}

#[test]
fn a_bang_in_a_rest_is_forgiven() {
    // In the middle of the second rest between sections.
    const BANGS_S: &[f64] = &[HOMING_S + PAUSE_S + 3.0 + PAUSE_S + 7.25 + 1.4];
    let scene = Scene {
        bangs_s: BANGS_S,
        ..QUIET
    };
    right(&scene, 0.06, 0.06);
}

#[test]
fn motors_that_drown_are_refused() {
    let scene = Scene {
        motors: 0.05,
        ..QUIET
    };
    let found = heard(&scene, SECTIONS_S.len());
    assert!(found.is_err());
}

#[test]
fn another_count_than_the_coupons_is_refused() {
    refused(
        &QUIET,
        SECTIONS_S.len() + 1,
        "8 sections were heard where the coupon has 9",
    );
    refused(
        &QUIET,
        SECTIONS_S.len() - 1,
        "8 sections were heard where the coupon has 7",
    );
}

#[test]
fn what_is_too_short_or_silent_is_refused() {
    let short = hear(&[0.0; 22_050], RATE_HZ, 8).unwrap_err();
    assert!(short.why.contains("lasts 1 s"), "{}", short.why);
    assert!(hear(&[], RATE_HZ, 8).is_err());
    assert!(hear(&vec![0.0; 22_050 * 60], RATE_HZ, 8).is_err());
}
