//! The lesser and the greater of two numbers, one instruction each: `f64::min` and `max` also ask for NaN.

/// The lesser of two numbers, neither of them NaN.
#[inline(always)]
pub fn lesser(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

/// The greater of two numbers, neither of them NaN.
#[inline(always)]
pub fn greater(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}
