//! Decimal numbers of job lines.

use super::words::is_blank;

/// Exact powers of ten.
pub const POWERS_OF_TEN: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// Digits up to which a number is the quotient of two exact doubles.
pub const EXACT_DIGITS: usize = 15;
/// How many bytes of a number say nothing: zeros at its end behind the point, with the point if
/// nothing is left behind it, and decimals beyond the fifth.
#[inline]
pub fn spare(mantissa: u64, behind: usize, point: bool) -> u32 {
    if !point {
        return 0;
    }
    let mut spare = behind.saturating_sub(DECIMALS_MAX);
    let mut rest = mantissa;
    if spare == 0 {
        while spare < behind && rest.is_multiple_of(10) {
            rest /= 10;
            spare += 1;
        }
    }
    (spare + usize::from(spare == behind)) as u32
}

/// Decimals that are worth a byte: the fifth is a hundredth of a micrometre.
const DECIMALS_MAX: usize = 5;

/// A decimal number without exponent, blanks inside it ignored, rounded correctly.
///
/// Up to 15 digits the quotient of two exact doubles is the nearest double (Clinger 1990, from
/// memory); longer ones go through the standard library.
///
/// Also tells where it ends, and how many of its bytes say nothing.
pub fn decimal(text: &[u8], from: usize) -> (Option<f64>, usize, u32) {
    let mut at = from;
    let negative = text[at] == b'-';
    if matches!(text[at], b'-' | b'+') {
        at += 1;
    }
    let mut mantissa = 0u64;
    let mut digits = 0usize;
    let mut behind_point = 0usize;
    let mut point = false;
    let mut end = at;
    while let Some(&b) = text.get(at) {
        match b {
            b'0'..=b'9' => {
                if digits < 19 {
                    mantissa = mantissa * 10 + u64::from(b - b'0');
                }
                digits += 1;
                behind_point += usize::from(point);
                end = at + 1;
            }
            b'.' if !point => {
                point = true;
                end = at + 1;
            }
            _ if is_blank(b) => {}
            _ => break,
        }
        at += 1;
    }
    if digits == 0 {
        return (None, end.max(from + 1), 0);
    }
    let spare = if digits <= EXACT_DIGITS {
        spare(mantissa, behind_point, point)
    } else {
        behind_point.saturating_sub(DECIMALS_MAX) as u32
    };
    let size = if digits <= EXACT_DIGITS {
        mantissa as f64 / POWERS_OF_TEN[behind_point]
    } else {
        let clean: String = text[from..end]
            .iter()
            .filter(|b| b.is_ascii_digit() || **b == b'.')
            .map(|b| *b as char)
            .collect();
        match clean.parse::<f64>() {
            Ok(value) => value,
            Err(_) => return (None, end, 0),
        }
    };
    (Some(if negative { -size } else { size }), end, spare)
}
