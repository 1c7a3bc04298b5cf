//! Values of job lines, within the ranges that are taken at their word.

use std::ops::RangeInclusive;

use super::notices::NoticeKind;
use super::words::Words;

/// The longest dwell of one G4, s.
pub const DWELL_MAX_S: f64 = 1e6;

/// Limits that a job may set, as a board file may: accelerations, mm/s², and speeds, mm/s.
pub(super) const ACCELS: RangeInclusive<f64> = 1e-3..=1e9;
pub(super) const SPEEDS: RangeInclusive<f64> = 1e-6..=1e6;
/// And the corner's, as a board file may: jumps, mm/s, and the deviation, mm.
pub(super) const JUMPS: RangeInclusive<f64> = 0.0..=1e6;
pub(super) const DEVIATIONS: RangeInclusive<f64> = 0.0..=1e3;
/// Factors of speed and flow, per cent: beyond these no machine moves.
pub(super) const PERCENT: RangeInclusive<f64> = 1e-3..=1e6;

pub(super) fn within<const N: usize>(
    allowed: RangeInclusive<f64>,
    words: &Words,
    letters: [u8; N],
    odd: &mut impl FnMut(NoticeKind),
) -> [Option<f64>; N] {
    letters.map(|letter| {
        let value = words.value(letter)?;
        if allowed.contains(&value) {
            return Some(value);
        }
        odd(NoticeKind::NotPositive);
        None
    })
}

/// G4: how long to wait, s. S beats P, which is in milliseconds.
pub(super) fn dwell_s(words: &Words, odd: &mut impl FnMut(NoticeKind)) -> f64 {
    match words.value(b'S').or(words.value(b'P').map(|ms| ms / 1e3)) {
        Some(s) if s.is_finite() && s >= 0.0 => {
            if s > DWELL_MAX_S {
                odd(NoticeKind::LongDwell);
            }
            s.min(DWELL_MAX_S)
        }
        Some(_) => {
            odd(NoticeKind::NotPositive);
            0.0
        }
        None => 0.0,
    }
}
