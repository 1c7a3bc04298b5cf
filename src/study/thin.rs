//! Fewer points for the same line.

/// Leaves points out of a polyline so that none of those left out lies farther than `tolerance`
/// from the line that remains: from each kept point on, directions that pass all later points
/// within the tolerance form a wedge; a point outside it is where the next piece begins.
///
/// Returns the places of the points that remain.
pub fn kept(points: &[(f64, f64)], tolerance: f64) -> Vec<usize> {
    let mut kept = Vec::new();
    let Some(first) = points.first() else {
        return kept;
    };
    kept.push(0);
    let mut anchor = *first;
    let mut wedge: Option<(f64, f64)> = None;
    let mut farthest = 0.0;
    let mut before = *first;
    for (k, &point) in points.iter().enumerate().skip(1) {
        let fits = |anchor: (f64, f64), wedge: Option<(f64, f64)>, farthest: f64| {
            let (dx, dy) = (point.0 - anchor.0, point.1 - anchor.1);
            let away = dx.hypot(dy);
            if away <= tolerance {
                // As good as at the anchor: says nothing about the direction.
                return (farthest <= tolerance).then_some((wedge, farthest));
            }
            let direction = dy.atan2(dx);
            let slack = (tolerance / away).asin();
            let Some((middle, half)) = wedge else {
                return Some((Some((direction, slack)), away));
            };
            let turn = angle(direction - middle);
            let low = (turn - slack).max(-half);
            let high = (turn + slack).min(half);
            let ahead = away >= farthest - tolerance;
            (turn.abs() <= half && low <= high && ahead).then_some((
                Some((middle + (low + high) / 2.0, (high - low) / 2.0)),
                away.max(farthest),
            ))
        };
        if let Some((now, away)) = fits(anchor, wedge, farthest) {
            (wedge, farthest) = (now, away);
        } else {
            kept.push(k - 1);
            anchor = before;
            (wedge, farthest) = fits(anchor, None, 0.0).unwrap_or((None, 0.0));
        }
        before = point;
    }
    if points.len() > 1 {
        kept.push(points.len() - 1);
    }
    kept
}

/// The points that remain.
pub fn thin(points: &[(f64, f64)], tolerance: f64) -> Vec<(f64, f64)> {
    kept(points, tolerance)
        .into_iter()
        .map(|k| points[k])
        .collect()
}

fn angle(turn: f64) -> f64 {
    use std::f64::consts::{PI, TAU};
    (turn + PI).rem_euclid(TAU) - PI
}

#[cfg(test)]
mod tests {
    use super::*;

    fn from_line(p: (f64, f64), a: (f64, f64), b: (f64, f64)) -> f64 {
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let long = dx * dx + dy * dy;
        let t = if long > 0.0 {
            ((p.0 - a.0) * dx + (p.1 - a.1) * dy) / long
        } else {
            0.0
        };
        let t = t.clamp(0.0, 1.0);
        (p.0 - a.0 - t * dx).hypot(p.1 - a.1 - t * dy)
    }

    #[test]
    fn a_circle_keeps_its_shape_with_few_points() {
        let circle: Vec<(f64, f64)> = (0..=5000)
            .map(|k| f64::from(k) / 5000.0 * 6.2)
            .map(|a| (20.0 * a.cos(), 20.0 * a.sin()))
            .collect();
        let kept = thin(&circle, 0.05);
        assert!(kept.len() < 100 && kept.len() > 20, "{}", kept.len());
        for p in &circle {
            let off = kept
                .windows(2)
                .map(|w| from_line(*p, w[0], w[1]))
                .fold(f64::MAX, f64::min);
            assert!(off <= 0.1001, "{off}");
        }
        assert_eq!((kept[0], kept[kept.len() - 1]), (circle[0], circle[5000]));
    }

    #[test]
    fn a_spike_stays() {
        let spike = [(0.0, 0.0), (5.0, 0.0), (5.0, 3.0), (5.0, 0.0), (10.0, 0.0)];
        assert_eq!(thin(&spike, 0.1), spike);
        assert_eq!(thin(&[(0.0, 0.0), (5.0, 0.0), (2.0, 0.0)], 0.1).len(), 3);
    }
}
