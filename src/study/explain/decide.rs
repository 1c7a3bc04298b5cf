//! Which explanations are named, which cannot be told apart from a named one, and which are explained by
//! one: all on one scale of log likelihood.

use super::mixture;

/// An explanation is named where it adds at least this much: 20 to 1.
const ENOUGH: f64 = 3.0;

/// The explanations.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Name {
    /// The stalls that this replay predicts.
    Stalls,
    /// Something regular along the job.
    Clock,
    /// A regular step in x or y.
    Xy,
    /// A regular step in height.
    Height,
    /// The seam.
    Seam,
    /// Corners.
    Corners,
    /// Places where moves are shortest.
    ShortMoves,
}

impl Name {
    /// All of them.
    pub const ALL: [Name; 7] = [
        Name::Stalls,
        Name::Clock,
        Name::Xy,
        Name::Height,
        Name::Seam,
        Name::Corners,
        Name::ShortMoves,
    ];

    /// Its name in tables.
    pub fn key(self) -> &'static str {
        [
            "stalls",
            "clock",
            "xy",
            "height",
            "seam",
            "corners",
            "short_moves",
        ][self as usize]
    }

    /// What its free choice of period and phase costs, in log likelihood.
    pub fn cost(self) -> f64 {
        match self {
            Name::Clock => 5.0,
            Name::Xy | Name::Height => 3.0,
            _ => 0.0,
        }
    }
}

/// What became of an explanation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// The bumps agree with it.
    Named,
    /// It cannot be told apart from this named one.
    NotApart(Name),
    /// This named one explains what it would.
    Explained(Name),
    /// The bumps agree with it no better than chance would have them.
    NotFound,
    /// It could not be tested.
    NotTested,
}

/// An explanation that the bumps agree with better than chance.
#[derive(Clone, Debug, PartialEq)]
pub struct Contender {
    /// Which.
    pub name: Name,
    /// Each bump's density under it over that if strewn evenly.
    pub ratios: Vec<f64>,
    /// Its log likelihood alone.
    pub loglik: f64,
}

/// Log likelihood of some explanations together, less their costs.
fn worth(set: &[&Contender]) -> f64 {
    let cost: f64 = set.iter().map(|c| c.name.cost()).sum();
    let loglik = match set {
        [one] => one.loglik,
        _ => mixture::joint(&set.iter().map(|c| &c.ratios[..]).collect::<Vec<_>>()),
    };
    loglik - cost
}

/// What becomes of each contender.
pub fn decide(contenders: &[Contender]) -> Vec<(Name, State)> {
    let mut order: Vec<&Contender> = contenders.iter().collect();
    order.sort_by(|a, b| worth(&[b]).total_cmp(&worth(&[a])));
    let mut named: Vec<&Contender> = Vec::new();
    let mut states = Vec::new();
    for contender in order {
        let today = worth(&named);
        let mut with = named.clone();
        with.push(contender);
        if worth(&with) - today >= ENOUGH {
            named.push(contender);
            states.push((contender.name, State::Named));
            continue;
        }
        let in_place_of = |k: usize| {
            let mut set = named.clone();
            set[k] = contender;
            (k, worth(&set))
        };
        let best =
            (0..named.len())
                .map(in_place_of)
                .fold(None, |best: Option<(usize, f64)>, next| match best {
                    Some(b) if b.1 >= next.1 => best,
                    _ => Some(next),
                });
        let state = match best {
            None => State::NotFound,
            Some((k, worth)) if today - worth < ENOUGH => State::NotApart(named[k].name),
            Some((k, _)) => State::Explained(named[k].name),
        };
        states.push((contender.name, state));
    }
    states
}

#[cfg(test)]
mod tests {
    use super::*;

    fn contender(name: Name, ratios: &[f64]) -> Contender {
        Contender {
            name,
            ratios: ratios.to_vec(),
            loglik: mixture::fit(ratios).loglik,
        }
    }

    #[test]
    fn two_that_explain_different_bumps_are_both_named() {
        let one = contender(
            Name::Seam,
            &[9.0, 9.0, 9.0, 9.0, 9.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        );
        let other = contender(
            Name::Stalls,
            &[0.0, 0.0, 0.0, 0.0, 0.0, 8.0, 8.0, 8.0, 8.0, 8.0],
        );
        let states = decide(&[other, one]);
        assert_eq!(
            states,
            [(Name::Seam, State::Named), (Name::Stalls, State::Named)]
        );
    }

    #[test]
    fn the_better_of_two_alike_is_named() {
        let seam = contender(Name::Seam, &[9.0; 6]);
        let corners = contender(Name::Corners, &[8.0; 6]);
        let weak = contender(Name::ShortMoves, &[2.0; 6]);
        let states = decide(&[weak, corners, seam]);
        assert_eq!(states[0], (Name::Seam, State::Named));
        assert_eq!(states[1], (Name::Corners, State::NotApart(Name::Seam)));
        assert_eq!(states[2], (Name::ShortMoves, State::Explained(Name::Seam)));
    }
}
