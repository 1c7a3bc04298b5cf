//! Values of arguments, read and checked.

use std::path::PathBuf;

use clap::builder::{PathBufValueParser, TypedValueParser};
use headstall::study::explain::view::Window;
use headstall::study::mend::runs::WITHIN_MM;

/// Reads a number from `least` to `most`, or 0 where `or_zero` says so: a number too small to mean anything is a slip of
/// the hand, as one too large is.
fn number(text: &str, (least, most): (f64, f64), or_zero: bool, of: &str) -> Result<f64, String> {
    let number: Option<f64> = text.parse().ok();
    let allowed = |n: &f64| (least..=most).contains(n) || or_zero && *n == 0.0;
    number.filter(allowed).ok_or_else(|| {
        if or_zero {
            format!("must be a number of {of} from 0 to {most}, and 0 or at least {least}")
        } else {
            format!("must be a number of {of} from {least} to {most}")
        }
    })
}

/// What is said where an option stands in place of a value: a value may begin with one dash, not with two.
const NO_VALUE: &str = "must be a name; one that begins with two dashes is an option, and a file of such a name is ./--name";

/// A file or a folder.
pub fn path() -> impl TypedValueParser<Value = PathBuf> {
    PathBufValueParser::new().try_map(|path| {
        if path.as_os_str().as_encoded_bytes().starts_with(b"--") {
            Err(NO_VALUE)
        } else {
            Ok(path)
        }
    })
}

/// A board that comes with the program, or a file.
pub fn board(text: &str) -> Result<String, &'static str> {
    if text.starts_with("--") {
        Err(NO_VALUE)
    } else {
        Ok(text.to_string())
    }
}

/// Height from which a bump is visible, mm.
pub fn visible(text: &str) -> Result<f64, String> {
    number(text, (0.001, 100.0), true, "mm")
}

/// How far a path may move, mm.
pub fn within(text: &str) -> Result<f64, String> {
    number(text, (*WITHIN_MM.start(), *WITHIN_MM.end()), false, "mm")
        .map_err(|why| format!("{why}; to leave the path as it is, use --allow pace,strip"))
}

/// An error of times, s.
pub fn sigma(text: &str) -> Result<f64, String> {
    number(text, (0.001, 60.0), false, "seconds")
}

/// Heights of a window reach so far, mm.
const HEIGHT_MAX_MM: f64 = 1e4;
/// A window is at least so wide, degrees, and so high, mm.
const WIDTH_MIN_DEG: f64 = 0.1;
const HEIGHT_MIN_MM: f64 = 0.001;

/// A window of the wall: two angles in degrees, two heights in mm.
pub fn window(text: &str) -> Result<Window, String> {
    let numbers: Vec<f64> = text
        .split(',')
        .map(|n| n.trim().parse().ok().filter(|v: &f64| v.is_finite()))
        .collect::<Option<_>>()
        .ok_or("must be four numbers A0,A1,Z0,Z1")?;
    let [from_deg, to_deg, low_mm, high_mm] = numbers[..] else {
        return Err("must be four numbers A0,A1,Z0,Z1".to_string());
    };
    if from_deg.abs() > 720.0 || to_deg.abs() > 720.0 {
        return Err("angles must be from -720 to 720 degrees".to_string());
    }
    let mut turn = to_deg - from_deg;
    if turn <= 0.0 {
        turn += 360.0 * (1.0 - (turn / 360.0).ceil()).max(1.0);
    }
    if to_deg == from_deg || turn < WIDTH_MIN_DEG {
        return Err(format!(
            "the second angle must lie counter-clockwise from the first, by {WIDTH_MIN_DEG} degrees or more; 0,360 is \
             all around"
        ));
    }
    if low_mm.abs() > HEIGHT_MAX_MM || high_mm.abs() > HEIGHT_MAX_MM {
        return Err(format!(
            "heights must be from -{HEIGHT_MAX_MM} to {HEIGHT_MAX_MM} mm"
        ));
    }
    if high_mm - low_mm < HEIGHT_MIN_MM {
        return Err(format!(
            "the second height must be greater than the first, by {HEIGHT_MIN_MM} mm or more"
        ));
    }
    Ok(Window {
        from_deg,
        to_deg: from_deg + turn,
        low_mm,
        high_mm,
    })
}

/// An error of angles, degrees.
pub fn angle_err(text: &str) -> Result<f64, String> {
    number(text, (0.001, 45.0), true, "degrees")
}

/// An error of heights, mm.
pub fn z_err(text: &str) -> Result<f64, String> {
    number(text, (0.001, 20.0), true, "mm")
}
