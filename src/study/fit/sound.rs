//! The sections' durations from a recording of the motors.
//!
//! What counts is presence: how far the power in the bands that tell most lies above the background, which is
//! taken from the rests between the sections themselves. Two thresholds must hear the same, and exactly as many
//! sections as the coupon has; all else is refused.

use super::problem::Reading;
use super::rests::{Rest, otsu, quantile, rests};
use super::spectrum::{BANDS, Spectrum, spectrum};

/// Lowest rate that is read, samples a second.
pub const RATE_MIN_HZ: u32 = 16_000;
/// Bands that presence goes by.
const TELLING: usize = 12;
/// Thresholds, as shares of the way from rest to sound.
const SHARES: [f32; 6] = [0.45, 0.35, 0.55, 0.25, 0.65, 0.18];
/// Two thresholds agree where no edge differs by more than this, s.
const AGREE_S: f64 = 0.12;
/// Least distance of sound from rest, in deviations of the rest.
const QUALITY_MIN: f64 = 3.0;
/// Rests that were commanded equal may differ by this much, s.
const REST_OFF_S: f64 = 0.25;
/// Least deviation that is claimed for a duration, s; a rest off by more than the second lends it to its neighbours.
const SIGMA_MIN_S: f64 = 0.02;
const LENT_S: f64 = 0.03;
/// Longest rest but for the last, s.
const REST_MAX_S: f64 = 4.5;

/// What was heard.
#[derive(Clone, Debug)]
pub struct Heard {
    /// Durations of the sections.
    pub readings: Vec<Reading>,
    /// Start and end of each section in the recording, s.
    pub edges_s: Vec<[f64; 2]>,
    /// Loudness for a picture.
    pub loudness: Loudness,
}

/// How far the motors stand out from the background over time.
#[derive(Clone, Debug, Default)]
pub struct Loudness {
    /// In deviations of the background.
    pub presence: Vec<f32>,
    /// Time from one value to the next, s.
    pub hop_s: f64,
}

/// Why a recording was not taken, with the loudness as far as it was worked out.
#[derive(Clone, Debug)]
pub struct Refused {
    /// Why, in words.
    pub why: String,
    /// Loudness for a picture.
    pub loudness: Loudness,
}

/// Hears the sections of a coupon of `sections` sections in a recording of one channel.
pub fn hear(samples: &[f32], rate_hz: f64, sections: usize) -> Result<Heard, Refused> {
    let heard = spectrum(samples, rate_hz);
    let refused = |why: String| Refused {
        why,
        loudness: Loudness::default(),
    };
    // Shorter than the rests of the coupon alone.
    if heard.rows.len() as f64 * heard.hop_s < 3.0 * sections as f64 {
        return Err(refused(format!(
            "lasts {:.0} s, which is shorter than a coupon of {sections} sections",
            samples.len() as f64 / rate_hz
        )));
    }
    segment(&heard, sections).or_else(|first| {
        // A telephone that turns its own gain: go by the level over the highest bands, where background rules.
        let mut level = heard.clone();
        for row in &mut level.rows {
            let top = row[BANDS - 3..].iter().sum::<f32>() / 3.0;
            row.iter_mut().for_each(|v| *v -= top);
        }
        segment(&level, sections).map_err(|_| first)
    })
}

/// The background: by frame and band its level, and by band its deviation in dB.
struct Background {
    level: Vec<[f32; BANDS]>,
    deviation_db: [f32; BANDS],
}

fn segment(heard: &Spectrum, sections: usize) -> Result<Heard, Refused> {
    let hop_s = heard.hop_s;
    let mut background = first_background(heard);
    let mut found: Option<Vec<Rest>> = None;
    let mut counts: Vec<usize> = Vec::new();
    let mut quality = 0.0;
    let mut loudness = Loudness::default();
    for turn in 0..3 {
        let presence = presence(heard, &background);
        let [m0, m1, sd0] = heaps(&presence);
        quality = f64::from((m1 - m0) / sd0);
        let mut agree: Vec<Vec<Rest>> = Vec::new();
        let mut guess = None;
        counts.clear();
        for share in SHARES {
            let threshold = m0 + share * (m1 - m0);
            let all = rests(presence.iter().map(|p| *p > threshold).collect(), hop_s);
            counts.push(all.len());
            let last = all.last().copied();
            let fits = |r: &Rest| {
                (r[1] - r[0]) as f64 * hop_s <= REST_MAX_S
                    || r[1] + 2 >= presence.len()
                    || Some(*r) == last
            };
            let kept: Vec<Rest> = all.iter().copied().filter(fits).collect();
            if kept.len() == sections + 1 {
                agree.push(kept);
            } else if kept.len() > 3 && guess.is_none() {
                guess = Some(kept);
            }
        }
        loudness = Loudness { presence, hop_s };
        found = agreed(&agree, hop_s);
        let Some(known) = found.clone().or(guess.filter(|_| turn == 0)) else {
            break;
        };
        background = background_of(heard, &known);
    }
    let refused = |why: String| {
        let loudness = loudness.clone();
        Err(Refused { why, loudness })
    };
    let Some(found) = found else {
        return refused(miscounted(counts, sections));
    };
    if quality < QUALITY_MIN {
        return refused(format!(
            "the motors hardly stand out from the background ({quality:.1} deviations; at least {QUALITY_MIN} are needed)"
        ));
    }
    measured(&found, sections, loudness)
}

fn miscounted(mut counts: Vec<usize>, sections: usize) -> String {
    counts.sort_unstable();
    counts.dedup();
    let heard: Vec<String> = counts
        .iter()
        .map(|c| c.saturating_sub(1).to_string())
        .collect();
    if counts == [sections + 1] {
        return "no two thresholds agree on where the sections begin and end".to_string();
    }
    format!(
        "{} sections were heard where the coupon has {sections}",
        heard.join(" or ")
    )
}

/// The first list of rests that another one agrees with.
fn agreed(all: &[Vec<Rest>], hop_s: f64) -> Option<Vec<Rest>> {
    let same = |a: &[Rest], b: &[Rest]| {
        let pairs = a.iter().zip(b).enumerate();
        let edge = |(k, (a, b)): (usize, (&Rest, &Rest))| {
            let ends = if k + 1 == all[0].len() {
                0
            } else {
                a[1].abs_diff(b[1])
            };
            a[0].abs_diff(b[0]).max(ends)
        };
        pairs.map(edge).max().unwrap_or(0) as f64 * hop_s < AGREE_S
    };
    let pairs = all.iter().enumerate();
    let with_twin = |(k, a): &(usize, &Vec<Rest>)| all[k + 1..].iter().any(|b| same(a, b));
    pairs.into_iter().find(with_twin).map(|(_, a)| a.clone())
}

/// Durations and their deviations, from the rests around them.
fn measured(rests: &[Rest], sections: usize, loudness: Loudness) -> Result<Heard, Refused> {
    let hop_s = loudness.hop_s;
    let lengths_s: Vec<f64> = rests[..sections]
        .iter()
        .map(|r| (r[1] - r[0]) as f64 * hop_s)
        .collect();
    let middle_s = median(&lengths_s);
    let off_s: Vec<f64> = lengths_s.iter().map(|l| (l - middle_s).abs()).collect();
    // The first rest follows homing and the rise, which rest where they like.
    if off_s.iter().any(|off| *off > REST_OFF_S) {
        let shown: Vec<String> = lengths_s.iter().map(|l| format!("{l:.2}")).collect();
        return Err(Refused {
            why: format!(
                "the rests between sections were commanded equal and are not: {} s",
                shown.join(", ")
            ),
            loudness,
        });
    }
    // 1.4826: from the median of absolute deviations to a normal's deviation.
    let spread_s = 1.4826 * median(&off_s);
    let lent = |off: Option<&f64>| off.copied().filter(|o| *o > LENT_S).unwrap_or(0.0);
    let edges_s: Vec<[f64; 2]> = rests
        .windows(2)
        .map(|pair| [pair[0][1] as f64 * hop_s, pair[1][0] as f64 * hop_s])
        .collect();
    let readings = edges_s
        .iter()
        .enumerate()
        .map(|(k, edges)| Reading {
            section: k,
            seconds: edges[1] - edges[0],
            sigma_s: SIGMA_MIN_S
                .max(spread_s)
                .max(lent(off_s.get(k)))
                .max(lent(off_s.get(k + 1))),
            run: 0,
        })
        .collect();
    Ok(Heard {
        readings,
        edges_s,
        loudness,
    })
}

fn median(values: &[f64]) -> f64 {
    super::quantiles::quantile(&mut values.to_vec(), 0.5)
}

/// A low quantile of each band over 25 s.
fn first_background(heard: &Spectrum) -> Background {
    const SPAN_S: f64 = 25.0;
    const STEP_S: f64 = 2.0;
    const SHARE: f64 = 0.08;
    let count = heard.rows.len();
    let half = (SPAN_S / 2.0 / heard.hop_s) as usize;
    let step = ((STEP_S / heard.hop_s) as usize).max(1);
    let knots: Vec<(usize, [f32; BANDS])> = (0..count)
        .step_by(step)
        .map(|at| {
            let span = &heard.rows[at.saturating_sub(half)..(at + half).min(count)];
            // 0.15 in log10: a low quantile lies below the middle.
            let band = |b: usize| {
                let mut values: Vec<f32> = span.iter().map(|r| r[b]).collect();
                quantile(&mut values, SHARE) + 0.15
            };
            (at, std::array::from_fn(band))
        })
        .collect();
    Background {
        level: between(&knots, count),
        deviation_db: [3.0; BANDS],
    }
}

/// Mean and deviation over the rests themselves.
fn background_of(heard: &Spectrum, rests: &[Rest]) -> Background {
    let (skip, drop) = ((0.7 / heard.hop_s) as usize, (0.1 / heard.hop_s) as usize);
    let mut knots = Vec::new();
    let mut deviations: Vec<[f32; BANDS]> = Vec::new();
    for [from, to] in rests {
        let inner = &heard.rows[from + skip..(*to - drop).max(from + skip + 1)];
        let count = inner.len() as f32;
        let mean: [f32; BANDS] =
            std::array::from_fn(|b| inner.iter().map(|r| r[b]).sum::<f32>() / count);
        let deviation = |b: usize| {
            let square = inner.iter().map(|r| (r[b] - mean[b]).powi(2)).sum::<f32>() / count;
            10.0 * square.sqrt()
        };
        knots.push(((from + to) / 2, mean));
        deviations.push(std::array::from_fn(deviation));
    }
    let middle = |b: usize| {
        let mut all: Vec<f32> = deviations.iter().map(|d| d[b]).collect();
        quantile(&mut all, 0.5)
    };
    Background {
        level: between(&knots, heard.rows.len()),
        deviation_db: std::array::from_fn(middle),
    }
}

/// Rows between knots, linear.
fn between(knots: &[(usize, [f32; BANDS])], count: usize) -> Vec<[f32; BANDS]> {
    let mut next = 0;
    (0..count)
        .map(|at| {
            while next < knots.len() && knots[next].0 <= at {
                next += 1;
            }
            match (next.checked_sub(1).map(|k| &knots[k]), knots.get(next)) {
                (Some((a, low)), Some((b, high))) => {
                    let part = (at - a) as f32 / (b - a) as f32;
                    std::array::from_fn(|k| low[k] + part * (high[k] - low[k]))
                }
                (Some((_, only)), None) | (None, Some((_, only))) => *only,
                (None, None) => [0.0; BANDS],
            }
        })
        .collect()
}

/// Decibels above the background in deviations of it, over the bands that tell most.
fn presence(heard: &Spectrum, background: &Background) -> Vec<f32> {
    let count = heard.rows.len();
    let mut bands: Vec<(f32, Vec<f32>)> = (0..BANDS)
        .map(|b| {
            let scale = background.deviation_db[b].max(0.8);
            let raw: Vec<f32> = (0..count)
                .map(|k| {
                    (10.0 * (heard.rows[k][b] - background.level[k][b])).clamp(-6.0, 30.0) / scale
                })
                .collect();
            let value = |k: usize| raw.get(k).copied().unwrap_or(0.0);
            let smooth: Vec<f32> = (0..count)
                .map(|k| (value(k.wrapping_sub(1)) + raw[k] + value(k + 1)) / 3.0)
                .collect();
            let mut sorted = smooth.clone();
            let apart = quantile(&mut sorted, 0.75) - quantile(&mut sorted, 0.10);
            (apart, smooth)
        })
        .collect();
    bands.sort_by(|a, b| b.0.total_cmp(&a.0));
    let best = &bands[..TELLING];
    (0..count)
        .map(|k| best.iter().map(|(_, v)| v[k]).sum::<f32>() / TELLING as f32)
        .collect()
}

/// Medians below and above Otsu's cut, and the deviation below it.
fn heaps(presence: &[f32]) -> [f32; 3] {
    let cut = otsu(presence) as f32;
    let (mut below, mut above): (Vec<f32>, Vec<f32>) = presence.iter().partition(|p| **p <= cut);
    if below.is_empty() || above.is_empty() {
        return [cut, cut, 1.0];
    }
    let count = below.len() as f32;
    let mean = below.iter().sum::<f32>() / count;
    let square = below.iter().map(|v| (v - mean).powi(2)).sum::<f32>() / count;
    let m0 = quantile(&mut below, 0.5);
    [m0, quantile(&mut above, 0.5), square.sqrt() + 1e-9]
}
