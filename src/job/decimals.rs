//! Decimal numbers of job lines.

/// Exact powers of ten.
pub const POWERS_OF_TEN: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// The same as whole numbers.
const WHOLE_POWERS_OF_TEN: [u64; 8] = [1, 10, 100, 1_000, 10_000, 100_000, 1_000_000, 10_000_000];

/// Digits up to which a number is the quotient of two exact doubles.
const EXACT_DIGITS: usize = 15;

/// Whether a byte separates words; NUL counts as a blank.
pub(super) fn is_blank(b: u8) -> bool {
    matches!(b, b' ' | b'\t' | 0 | 0x0b | 0x0c)
}

/// An unsigned decimal as it stands: digits, or digits with a point among them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Digits {
    /// All its digits as one number.
    pub mantissa: u64,
    /// Digits behind the point.
    pub behind: usize,
    /// Its bytes.
    pub length: usize,
    /// How many of them say nothing.
    pub spare: u32,
}

const LOW_BITS: u64 = 0x7F7F_7F7F_7F7F_7F7F;
const HIGH_BITS: u64 = !LOW_BITS;

/// Eight bytes of text, the first lowest, each less `'0'`; and the high bit of each that is no digit.
#[inline(always)]
fn eight_of(text: &[u8; 8]) -> (u64, u64) {
    let values = u64::from_le_bytes(*text) ^ 0x3030_3030_3030_3030;
    // A digit plus 0x76 stays below 0x80.
    let others = (((values & LOW_BITS) + 0x7676_7676_7676_7676) | values) & HIGH_BITS;
    (values, others)
}

/// The number that eight digits make, the first lowest.
#[inline(always)]
fn number_of(eight: u64) -> u64 {
    let pairs = (eight.wrapping_mul(10) + (eight >> 8)) & 0x00FF_00FF_00FF_00FF;
    let fours = (pairs.wrapping_mul(100) + (pairs >> 16)) & 0x0000_FFFF_0000_FFFF;
    (fours.wrapping_mul(10_000) + (fours >> 32)) & 0xFFFF_FFFF
}

/// Bytes of text that [`digits`] looks at.
pub const DIGITS_BYTES: usize = 16;

/// Reads the decimal that `text` begins with, eight bytes at a time, if it has up to seven digits
/// before the point and no more than 15 in all; `None` says nothing of others.
#[inline(always)]
pub fn digits(text: &[u8; DIGITS_BYTES]) -> Option<Digits> {
    let (halves, _) = text.as_chunks::<8>();
    let (values, others) = eight_of(&halves[0]);
    // What is no digit marks the end of those before the point, in bits.
    let whole_bits = others.trailing_zeros() & !7;
    if whole_bits == 64 {
        return None;
    }
    if (values >> whole_bits) as u8 != b'.' ^ b'0' {
        // Zeros come in front of them.
        return (whole_bits > 0).then(|| Digits {
            mantissa: number_of(values << (64 - whole_bits)),
            behind: 0,
            length: whole_bits as usize / 8,
            spare: 0,
        });
    }
    // The point is taken out; what comes after it moves up by a byte.
    let before = (1u64 << whole_bits) - 1;
    let joined = (values & before) | ((values >> 8) & !before);
    let ends = (others & before) | ((others >> 8) & !before) | 1 << 63;
    let bits = ends.trailing_zeros() & !7;
    if bits == 0 {
        return None;
    }
    let mut eight = joined << (64 - bits);
    let mut mantissa = number_of(eight);
    let mut behind = ((bits - whole_bits) / 8) as usize;
    let mut length = bits as usize / 8 + 1;
    if bits == 56 {
        let (values, others) = eight_of(&halves[1]);
        let bits = others.trailing_zeros() & !7;
        if bits == 64 {
            return None;
        }
        if bits > 0 {
            let more = bits as usize / 8;
            eight = values << (64 - bits);
            mantissa = mantissa * WHOLE_POWERS_OF_TEN[more] + number_of(eight);
            behind += more;
            length += more;
        }
    }
    let ends_in_zero = eight >> 56 == 0;
    let spare = if ends_in_zero || behind == 0 || behind > DECIMALS_MAX {
        spare(mantissa, behind, true)
    } else {
        0
    };
    Some(Digits {
        mantissa,
        behind,
        length,
        spare,
    })
}

/// How many bytes of a number say nothing: zeros at its end behind the point, with the point if
/// nothing is left behind it, and decimals beyond the fifth.
fn spare(mantissa: u64, behind: usize, point: bool) -> u32 {
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
