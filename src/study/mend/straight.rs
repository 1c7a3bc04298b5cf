//! Whether one straight move may stand for several.

use crate::job::state::Move;

use super::space::{distance_mm, dot, length_mm, span, xyz};

/// Bounds that come nearer than this share to what is allowed prove nothing.
const SURE: f64 = 1e-6;

/// How far the path moves where one straight move stands for these, mm; `None` beyond `within_mm`, or where one of them runs back.
///
/// Path and move run between the same ends, and each point of the move is the foot of one of the path's, so that the farthest
/// corner bounds the distance both ways (Hausdorff). Where none runs back it is the Fréchet distance too.
pub fn straight(chords: &[Move], within_mm: f64) -> Option<f64> {
    let (a, b) = ends(chords);
    let along: [f64; 3] = std::array::from_fn(|k| b[k] - a[k]);
    let mut farthest_mm: f64 = 0.0;
    for (k, chord) in chords.iter().enumerate() {
        if dot(span(chord), along) < 0.0 {
            return None;
        }
        if k + 1 < chords.len() {
            farthest_mm = farthest_mm.max(distance_mm(xyz(&chord.to_mm), a, b));
        }
        if farthest_mm > within_mm {
            return None;
        }
    }
    Some(farthest_mm)
}

fn ends(chords: &[Move]) -> ([f64; 3], [f64; 3]) {
    let last = &chords[chords.len() - 1];
    (xyz(&chords[0].from_mm), xyz(&last.to_mm))
}

/// Moves that grow by one at a time, one straight move in their place: the same answers as [`straight`], mostly
/// without looking at all of them again.
///
/// When the line from the first corner turns to a new end, a point of it moves no farther than the old end, which
/// becomes a corner, lies from the new line; and no cosine between a move and the line falls by more than
/// the line's unit vector moves. While both bounds hold, no corner can be too far off and no move can run back.
#[derive(Clone, Copy, Debug)]
pub struct Growing {
    /// No corner is farther off than this, mm.
    farthest_mm: f64,
    /// No move's cosine with the line is less than this.
    cosine: f64,
    /// The line's direction.
    along: [f64; 3],
}

impl Default for Growing {
    /// Nothing yet: the first answer looks at all moves.
    fn default() -> Self {
        Growing {
            farthest_mm: f64::INFINITY,
            cosine: -1.0,
            along: [0.0; 3],
        }
    }
}

impl Growing {
    /// Whether one straight move may stand for these, which are those of the last question and one more.
    pub fn may(&mut self, chords: &[Move], within_mm: f64) -> bool {
        let (a, b) = ends(chords);
        let along = direction(a, b);
        let last = &chords[chords.len() - 1];
        let turned = distance_mm(along, self.along, self.along);
        let cosine = (self.cosine - turned).min(cosine(last, along));
        let farthest_mm = self.farthest_mm + distance_mm(xyz(&last.from_mm), a, b);
        if cosine > SURE && farthest_mm < within_mm * (1.0 - SURE) {
            *self = Growing {
                farthest_mm,
                cosine,
                along,
            };
            return true;
        }
        let Some(farthest_mm) = straight(chords, within_mm) else {
            return false;
        };
        let cosines = chords.iter().map(|m| self::cosine(m, along));
        *self = Growing {
            farthest_mm,
            cosine: cosines.fold(1.0, f64::min),
            along,
        };
        true
    }
}

/// From one point to another, at length 1; 0 where they are the same.
fn direction(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    let length_mm = distance_mm(b, a, a);
    let unit = |k: usize| (b[k] - a[k]) / length_mm;
    if length_mm > 0.0 {
        std::array::from_fn(unit)
    } else {
        [0.0; 3]
    }
}

/// The cosine between a move and a direction; of a move without length it is 1, as it runs nowhere.
fn cosine(m: &Move, along: [f64; 3]) -> f64 {
    let length_mm = length_mm(m);
    if length_mm > 0.0 {
        dot(span(m), along) / length_mm
    } else {
        1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A walk of moves of about `step_mm` that turn by up to `turn` each.
    fn walk(seed: u64, step_mm: f64, turn: f64) -> Vec<Move> {
        let (mut state, mut at, mut heading) = (seed, [0.0; 4], 0.0_f64);
        let mut random = move || {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (state >> 11) as f64 / (1u64 << 53) as f64
        };
        let step = |_| {
            heading += turn * (2.0 * random() - 1.0);
            let long_mm = step_mm * random();
            let (sin, cos) = heading.sin_cos();
            let to = [at[0] + long_mm * cos, at[1] + long_mm * sin, at[2], 0.0];
            let from = std::mem::replace(&mut at, to);
            Move {
                from_mm: from,
                to_mm: to,
                e_mm: 0.1,
                feed_mm_s: 50.0,
                circle: None,
            }
        };
        (0..200).map(step).collect()
    }

    #[test]
    fn growing_moves_get_the_same_answers() {
        let (mut yes, mut no) = (0, 0);
        for seed in 0..300 {
            let moves = walk(seed, 0.05, [0.002, 0.03, 0.3, 2.0][seed as usize % 4]);
            let mut growing = Growing::default();
            for to in 1..=moves.len() {
                let plain = straight(&moves[..to], 0.02).is_some();
                assert_eq!(growing.may(&moves[..to], 0.02), plain, "{seed}, {to}");
                if !plain {
                    no += 1;
                    break;
                }
                yes += 1;
            }
        }
        assert!(yes > 5000 && no > 200, "{yes} {no}");
    }
}
