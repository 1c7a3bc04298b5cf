//! Values of arguments, read and checked.

use headstall::study::explain::view::Window;

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
    if to_deg == from_deg || turn <= 0.0 {
        return Err(
            "the second angle must lie counter-clockwise from the first; 0,360 is all around"
                .to_string(),
        );
    }
    if low_mm >= high_mm {
        return Err("the second height must be greater than the first".to_string());
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
    let degrees: Option<f64> = text.parse().ok();
    degrees
        .filter(|d| (0.0..=45.0).contains(d))
        .ok_or_else(|| "must be a number of degrees from 0 to 45".to_string())
}

/// An error of heights, mm.
pub fn z_err(text: &str) -> Result<f64, String> {
    let mm: Option<f64> = text.parse().ok();
    mm.filter(|mm| (0.0..=20.0).contains(mm))
        .ok_or_else(|| "must be a number of mm from 0 to 20".to_string())
}
