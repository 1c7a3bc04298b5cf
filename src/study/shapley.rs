//! The Shapley value of a game over a few players.
//!
//! Shapley, L. S. (1953), "A value for n-person games", in Contributions to the Theory of Games
//! II: a player's value is the mean of what it adds, over all orders of joining.

/// The value of `player`, of `players`, where `worth(s)` is the worth of the coalition with bit
/// set `s`.
///
/// Summed over what the player adds to each coalition, so that a player that adds nothing gets
/// exactly 0.
pub fn value(players: usize, player: usize, worth: impl Fn(usize) -> f64) -> f64 {
    let bit = 1 << player;
    (0..1usize << players)
        .filter(|s| s & bit == 0)
        .map(|s| weight(s.count_ones() as usize, players) * (worth(s | bit) - worth(s)))
        .sum()
}

/// The share of all orders in which just `before` of the other players come first:
/// `before! (players - before - 1)! / players!`.
fn weight(before: usize, players: usize) -> f64 {
    let after = players - before - 1;
    (1..=before).fold(1.0 / players as f64, |w, k| {
        w * k as f64 / (after + k) as f64
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(players: usize, worth: impl Fn(usize) -> f64, expected: &[f64]) {
        assert_eq!(players, expected.len());
        for (player, expected) in expected.iter().enumerate() {
            let value = value(players, player, &worth);
            assert!(
                (value - expected).abs() < 1e-12,
                "{player}: {value} {expected}"
            );
        }
    }

    /// Shapley 1953's own kind of example: one right glove holder, two left (players 0 and 1).
    #[test]
    fn glove_game() {
        let worth = |s: usize| f64::from(u8::from(s & 4 != 0 && s & 3 != 0));
        check(3, worth, &[1.0 / 6.0, 1.0 / 6.0, 2.0 / 3.0]);
    }

    /// The airport game: a runway costs what its largest aeroplane needs (published example,
    /// costs 40 to 90, six times the values printed).
    #[test]
    fn airport_game() {
        let worth = |s: usize| {
            let costs = [40.0, 50.0, 60.0, 70.0, 80.0, 90.0];
            (0..6)
                .filter(|p| s & 1 << p != 0)
                .map(|p| costs[p])
                .fold(0.0, f64::max)
        };
        check(
            6,
            worth,
            &[40.0, 52.0, 67.0, 87.0, 117.0, 177.0].map(|v| v / 6.0),
        );
    }

    /// A game of three in which all coalitions differ (computed by an independent script).
    #[test]
    fn a_game_of_three() {
        let worth = |s: usize| [0.0, 10.0, 4.0, 20.0, 1.0, 12.0, 5.0, 25.0][s];
        check(3, worth, &[14.5, 8.0, 2.5]);
    }

    #[test]
    fn one_player_takes_all() {
        check(1, |s| 3.0 * s as f64, &[3.0]);
    }
}
