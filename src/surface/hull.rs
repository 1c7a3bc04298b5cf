//! The pairs of samples that may be the bump of a piece: those on the upper concave hull when surplus is drawn
//! against the length of the stretch. `bump.rs` explains why no other pair can be the bump.

/// Two samples of the surplus X, given by their places on the path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// The earlier sample's place, mm along the path.
    pub from_mm: f64,
    /// The later sample's place, mm along the path.
    pub to_mm: f64,
    /// Surplus laid between them, mm³.
    pub surplus_mm3: f64,
}

impl Pair {
    /// Length of the stretch between them, mm.
    pub fn stretch_mm(&self) -> f64 {
        self.to_mm - self.from_mm
    }

    /// The middle of the stretch, mm along the path.
    pub fn middle_mm(&self) -> f64 {
        (self.from_mm + self.to_mm) / 2.0
    }
}

/// Pairs in the order of their stretch. Each has more surplus than the one before it, and the slope from pair to
/// pair falls.
#[derive(Clone, Debug, Default)]
pub struct Hull {
    pairs: Vec<Pair>,
}

/// Whether `b` lies on or below the line from `a` to `c`.
fn below(a: &Pair, b: &Pair, c: &Pair) -> bool {
    let (l, m) = (a.stretch_mm(), a.surplus_mm3);
    (b.surplus_mm3 - m) * (c.stretch_mm() - l) <= (c.surplus_mm3 - m) * (b.stretch_mm() - l)
}

impl Hull {
    /// Adds a pair if it lies above the hull, and removes the pairs that are no longer on it.
    pub fn offer(&mut self, pair: Pair) {
        let stretch_mm = pair.stretch_mm();
        // From the longest on: most pairs that come are long.
        let shorter = self
            .pairs
            .iter()
            .rposition(|p| p.stretch_mm() <= stretch_mm);
        let place = shorter.map_or(0, |k| k + 1);
        if let Some(shorter) = place.checked_sub(1).map(|k| &self.pairs[k]) {
            let longer = self.pairs.get(place);
            if shorter.surplus_mm3 >= pair.surplus_mm3
                || longer.is_some_and(|longer| below(shorter, &pair, longer))
            {
                return;
            }
        }
        // Remove pairs that are at least as long and hold no more, then those that now lie below the hull.
        let mut end = place;
        while self
            .pairs
            .get(end)
            .is_some_and(|p| p.surplus_mm3 <= pair.surplus_mm3)
        {
            end += 1;
        }
        while end + 1 < self.pairs.len() && below(&pair, &self.pairs[end], &self.pairs[end + 1]) {
            end += 1;
        }
        let mut begin = place;
        if begin > 0 && self.pairs[begin - 1].stretch_mm() == stretch_mm {
            begin -= 1;
        }
        while begin > 1 && below(&self.pairs[begin - 2], &self.pairs[begin - 1], &pair) {
            begin -= 1;
        }
        self.pairs.splice(begin..end, [pair]);
    }

    /// Removes pairs that cannot be the bump. The bump is the pair at which a line of slope height × growth touches
    /// the hull. That slope is at least `least`, and no greater than `most` of the pair that it touches. The line
    /// touches a pair rather than the next one if its slope is greater than the slope between the two.
    pub fn narrow(&mut self, least: f64, most: impl Fn(&Pair) -> f64) {
        let slope = |a: &Pair, b: &Pair| {
            (b.surplus_mm3 - a.surplus_mm3) / (b.stretch_mm() - a.stretch_mm())
        };
        let dear = self
            .pairs
            .windows(2)
            .position(|two| slope(&two[0], &two[1]) < least);
        if let Some(last) = dear {
            self.pairs.truncate(last + 1);
        }
        let cheap = self.pairs.windows(2);
        let cheap = cheap
            .take_while(|two| slope(&two[0], &two[1]) > most(&two[0]))
            .count();
        self.pairs.drain(..cheap);
        self.pairs.retain(|pair| most(pair) >= least);
    }

    /// Takes all pairs out, the shortest first.
    pub fn drain(&mut self) -> std::vec::Drain<'_, Pair> {
        self.pairs.drain(..)
    }

    /// The pairs so far.
    pub fn pairs(&self) -> &[Pair] {
        &self.pairs
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// For a line of any slope, the best pair of the hull is the best of all pairs, and every pair on the hull is
        /// the best for some slope.
        #[test]
        fn holds_the_best(pairs in prop::collection::vec((0..20u8, 0..30u8), 1..60), price in 0.0..20.0f64) {
            let pairs: Vec<Pair> = pairs.iter().map(|&(l, m)| Pair {
                from_mm: 0.0, to_mm: f64::from(l), surplus_mm3: f64::from(m) }).collect();
            let mut hull = Hull::default();
            pairs.iter().for_each(|p| hull.offer(*p));
            let best = |of: &[Pair]| of.iter().map(|p| p.surplus_mm3 - price * p.stretch_mm())
                .fold(f64::NEG_INFINITY, f64::max);
            prop_assert_eq!(best(hull.pairs()), best(&pairs));
            for three in hull.pairs().windows(3) {
                prop_assert!(!below(&three[0], &three[1], &three[2]));
            }
            for two in hull.pairs().windows(2) {
                prop_assert!(two[0].stretch_mm() < two[1].stretch_mm() && two[0].surplus_mm3 < two[1].surplus_mm3);
            }
        }
    }
}
