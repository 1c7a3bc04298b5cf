//! How fast the join of two blocks may be taken ([model section 2](crate::model#2-block-limits-and-corners)).

use crate::board::types::Corner;

/// The speed that the corner rule allows where a block of direction `before` is followed by one
/// of direction `after`, in mm/s; infinite where it sets no limit.
///
/// Directions are (dx, dy, dz, de)/length. `accel_mm_s2` is the smaller of the two blocks'
/// accelerations. For `deviation` d: the circle tangent to both legs whose nearest point to the
/// corner is d away has radius d·s/(1-s) with s the sine of half the angle between the legs, and
/// v² = a·r on it (derivation: centripetal acceleration). Blocks of E alone are joined at rest by
/// the caller.
/// Where that is `enough_mm_s` or more it may be said to be infinite: for the deviation rule it then
/// takes no root. With c = a·d and s² from the legs alone, a·d·s/(1-s) >= v² is s >= v²/(c + v²).
#[inline]
pub fn speed_mm_s_below(
    rule: &Corner,
    before: &[f64; 4],
    after: &[f64; 4],
    accel_mm_s2: f64,
    enough_mm_s: f64,
) -> f64 {
    if let Corner::Deviation { mm } = rule {
        let sum = [
            before[0] + after[0],
            before[1] + after[1],
            before[2] + after[2],
        ];
        let s_sq = 0.25 * (sum[0] * sum[0] + sum[1] * sum[1] + sum[2] * sum[2]);
        let enough_sq = enough_mm_s * enough_mm_s;
        let both = accel_mm_s2 * mm + enough_sq;
        if s_sq * both * both >= enough_sq * enough_sq {
            return f64::INFINITY;
        }
    }
    speed_mm_s_max(rule, before, after, accel_mm_s2)
}

/// The speed that the corner rule allows, in full; see [`speed_mm_s_below`].
#[inline]
pub fn speed_mm_s_max(rule: &Corner, before: &[f64; 4], after: &[f64; 4], accel_mm_s2: f64) -> f64 {
    match rule {
        Corner::Deviation { mm } => {
            let sum = [
                before[0] + after[0],
                before[1] + after[1],
                before[2] + after[2],
            ];
            let s = 0.5 * (sum[0] * sum[0] + sum[1] * sum[1] + sum[2] * sum[2]).sqrt();
            if s > 1.0 - 1e-9 {
                f64::INFINITY
            } else {
                (accel_mm_s2 * mm * s / (1.0 - s)).sqrt()
            }
        }
        Corner::Jump { mm_s } => {
            let mut speed = f64::INFINITY;
            for axis in 0..4 {
                let change = (after[axis] - before[axis]).abs();
                if change > 1e-12 {
                    speed = speed.min(mm_s[axis] / change);
                }
            }
            speed
        }
    }
}
