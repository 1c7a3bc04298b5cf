//! Where a recording rests: presence over time, a threshold, and the rules of what a rest is.

/// Shorter rests are closed, shorter sounds dropped, s.
const CLOSE_S: f64 = 0.05;
const TICK_S: f64 = 0.02;
/// Shortest rest between sections, s; at the recording's end a shorter one does.
const REST_S: f64 = 2.4;
const LAST_REST_S: f64 = 1.0;
/// A rest comes behind this much sound, s, and this share of it must be sound: the hop at a section's end.
const FIRM_S: f64 = 0.3;
const FIRM: f64 = 0.8;
/// A bang within a rest: its length at most, and what the rest is with it, s.
const BANG_S: f64 = 0.7;
const BANGED_REST_S: [f64; 2] = [2.8, 3.4];

/// A rest: first frame, and the frame behind the last.
pub type Rest = [usize; 2];

/// Stretches of frames at which `on` has this value.
fn stretches(on: &[bool], value: bool) -> Vec<Rest> {
    let mut found = Vec::new();
    let mut from = None;
    for (k, is) in on.iter().chain([&!value]).enumerate() {
        match (from, *is == value) {
            (None, true) => from = Some(k),
            (Some(begin), false) => {
                found.push([begin, k]);
                from = None;
            }
            _ => {}
        }
    }
    found
}

/// The long rests behind firm sound.
pub fn rests(mut on: Vec<bool>, hop_s: f64) -> Vec<Rest> {
    let length_s = |[from, to]: Rest| (to - from) as f64 * hop_s;
    for rest in stretches(&on, false) {
        if length_s(rest) < CLOSE_S && rest[0] > 0 && rest[1] < on.len() {
            on[rest[0]..rest[1]].fill(true);
        }
    }
    for sound in stretches(&on, true) {
        if length_s(sound) < TICK_S {
            on[sound[0]..sound[1]].fill(false);
        }
    }
    let firm = (FIRM_S / hop_s) as usize;
    let is_firm = |on: &[bool], at: usize| {
        at >= firm && {
            let sounds = on[at - firm..at].iter().filter(|o| **o).count();
            sounds as f64 > FIRM * firm as f64
        }
    };
    let mut quiet = stretches(&on, false);
    let mut k = 0;
    while k + 1 < quiet.len() {
        let [first, second] = [quiet[k], quiet[k + 1]];
        let whole_s = length_s([first[0], second[1]]);
        let is_bang = length_s(first) < REST_S
            && length_s([first[1], second[0]]) <= BANG_S
            && (BANGED_REST_S[0]..=BANGED_REST_S[1]).contains(&whole_s)
            && is_firm(&on, first[0]);
        if is_bang {
            on[first[1]..second[0]].fill(false);
            quiet[k] = [first[0], second[1]];
            quiet.remove(k + 1);
        } else {
            k += 1;
        }
    }
    let is_last = |rest: &Rest| rest[1] + 1 >= on.len();
    let long = |rest: &Rest| length_s(*rest) >= if is_last(rest) { LAST_REST_S } else { REST_S };
    quiet.retain(|rest| long(rest) && is_firm(&on, rest[0]));
    quiet
}

/// Otsu's cut between two heaps of values (N. Otsu, IEEE Transactions on Systems, Man and Cybernetics 9, 1979,
/// p. 62), on a histogram of 200 classes between the 1 % and the 99 % quantile.
pub fn otsu(values: &[f32]) -> f64 {
    const CLASSES: usize = 200;
    let mut sorted = values.to_vec();
    let [low, high] = [0.01, 0.99].map(|q| f64::from(quantile(&mut sorted, q)));
    let width = (high - low).max(1e-12) / CLASSES as f64;
    let mut counts = [0.0; CLASSES];
    for value in values {
        let class = (f64::from(*value).clamp(low, high) - low) / width;
        counts[(class as usize).min(CLASSES - 1)] += 1.0;
    }
    let centre = |k: usize| low + (k as f64 + 0.5) * width;
    let all: f64 = counts.iter().sum();
    let mass: f64 = (0..CLASSES).map(|k| counts[k] * centre(k)).sum();
    let (mut below, mut mass_below) = (0.0, 0.0);
    let mut best = (f64::NEG_INFINITY, low);
    for (k, count) in counts.iter().enumerate() {
        below += count;
        mass_below += count * centre(k);
        let above = all - below;
        let apart = mass_below / below.max(1.0) - (mass - mass_below) / above.max(1.0);
        let between = below * above * apart * apart;
        if between > best.0 {
            best = (between, centre(k));
        }
    }
    best.1
}

/// A quantile, linear between order statistics; the values change places.
///
/// # Panics
/// If there are no values.
pub fn quantile(values: &mut [f32], share: f64) -> f32 {
    let at = share * (values.len() - 1) as f64;
    let (low, part) = (at.floor() as usize, at.fract() as f32);
    let (_, first, above) = values.select_nth_unstable_by(low, f32::total_cmp);
    let first = *first;
    let next = above
        .iter()
        .copied()
        .min_by(f32::total_cmp)
        .unwrap_or(first);
    first + part * (next - first)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frames of 10 ms from lengths in s, sound first.
    fn frames(lengths: &[f64]) -> Vec<bool> {
        let pieces = lengths.iter().enumerate();
        pieces
            .flat_map(|(k, s)| std::iter::repeat_n(k % 2 == 0, (s * 100.0).round() as usize))
            .collect()
    }

    #[test]
    fn a_rest_is_long_and_behind_firm_sound() {
        let found = |lengths: &[f64]| rests(frames(lengths), 0.01).len();
        assert_eq!(found(&[1.0, 3.0, 1.0, 3.0, 1.0]), 2);
        assert_eq!(found(&[1.0, 2.0, 1.0]), 0, "too short");
        assert_eq!(found(&[1.0, 1.2]), 1, "shorter at the end");
        assert_eq!(
            found(&[1.0, 3.0, 0.1, 3.0, 1.0]),
            1,
            "a tick ends no section"
        );
        assert_eq!(found(&[0.5, 0.04, 0.5, 3.0]), 1, "a gap of 40 ms is closed");
        assert_eq!(
            found(&[1.0, 1.5, 0.4, 1.2, 1.0, 3.0, 1.0]),
            2,
            "a bang is forgiven"
        );
        assert_eq!(
            found(&[1.0, 1.5, 0.4, 2.0, 1.0, 3.0, 1.0]),
            1,
            "but not in a longer rest"
        );
    }

    #[test]
    fn otsu_parts_two_heaps() {
        let values: Vec<f32> = (0..1000)
            .map(|k| if k % 3 == 0 { 10.0 } else { 0.0 } + (k % 7) as f32 * 0.1)
            .collect();
        let cut = otsu(&values);
        assert!(cut > 0.5 && cut < 10.0, "{cut}");
    }

    #[test]
    fn quantiles_are_linear_between() {
        let mut values = [4.0, 1.0, 3.0, 2.0];
        assert!((quantile(&mut values, 0.5) - 2.5).abs() < 1e-6);
        assert!((quantile(&mut values, 1.0) - 4.0).abs() < 1e-6);
    }
}
