//! The six causes of lost time ([model section 9](crate::model#9-causes)): what each is called, how it is shown, and how it is
//! removed from a board. A further cause is one more row of [`Cause::about`].

use std::ops::{Index, IndexMut};

use serde::{Serialize, Serializer};

use crate::board::types::{Board, Costs, Link, SaveWhen, Span};

use super::duties::CHORE_RUNS_MAX;

/// What a block was late by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// Reading sectors; waiting for lines from a host.
    Link,
    /// A card's hiccup, a line sent again.
    Hiccup,
    /// Saving state.
    Save,
    /// Chores.
    Chore,
    /// Decoding and planning.
    Compute,
    /// The planner queue was full and yet too short.
    Depth,
}

/// All that the program knows of one cause.
pub struct About {
    /// Its name in tables.
    pub name: &'static str,
    /// What it is, as a key to a picture says it.
    pub what: &'static str,
    /// What the main loop does in that time; `None` for the planner queue's depth, which takes none of its time.
    pub doing: Option<&'static str>,
    /// Why the head was held up, as part of a sentence.
    pub why: &'static str,
    /// Its colour: lightness, chroma and hue (degrees) in OKLCH. Lightness differs from each to the next, so
    /// that neighbours in a bar stay apart in grey too.
    pub colour: [f64; 3],
    /// Whether removing it from this board changes anything.
    is_present: fn(&Board) -> bool,
    /// Removes it.
    remove: fn(&mut Setup),
}

impl Cause {
    /// All of them, in the order of [model section 9](crate::model#9-causes).
    pub const ALL: [Cause; 6] = [
        Cause::Link,
        Cause::Hiccup,
        Cause::Save,
        Cause::Chore,
        Cause::Compute,
        Cause::Depth,
    ];

    /// Its name in tables.
    pub fn name(self) -> &'static str {
        self.about().name
    }

    /// All that is known of it.
    pub fn about(self) -> &'static About {
        match self {
            Cause::Link => &About {
                name: "link",
                what: "card or wire too slow",
                doing: Some("reads the card, or waits for the wire"),
                why: "lines come too slowly",
                colour: [0.55, 0.12, 250.0],
                is_present: |board| match &board.link {
                    Link::Card(card) => !card.sector.is_zero() || card.chain_s > 0.0,
                    Link::Serial(_) => true,
                },
                remove: |setup| match &mut setup.board.link {
                    Link::Card(card) => {
                        card.sector = Span::ZERO;
                        card.chain_s = 0.0;
                    }
                    Link::Serial(_) => setup.at_hand = true,
                },
            },
            Cause::Hiccup => &About {
                name: "hiccup",
                what: "card busy with itself, or a line sent again",
                doing: Some("waits for a card that is busy with itself, or for a line sent again"),
                why: "the card is busy with itself, or a line is sent again",
                colour: [0.80, 0.10, 90.0],
                is_present: |board| match &board.link {
                    Link::Card(card) => card.hiccup_chance > 0.0 && !card.hiccup.is_zero(),
                    Link::Serial(serial) => serial.resend_chance > 0.0,
                },
                remove: |setup| match &mut setup.board.link {
                    Link::Card(card) => card.hiccup_chance = 0.0,
                    Link::Serial(serial) => serial.resend_chance = 0.0,
                },
            },
            Cause::Save => &About {
                name: "save",
                what: "state saved for a power cut",
                doing: Some("saves state for a power cut"),
                why: "a save holds the main loop",
                colour: [0.42, 0.14, 20.0],
                is_present: |board| board.save.when != SaveWhen::Off,
                remove: |setup| setup.board.save.when = SaveWhen::Off,
            },
            Cause::Chore => &About {
                name: "chore",
                what: "display, sensors and the like",
                doing: Some("display, sensors and the like"),
                why: "a chore holds the main loop",
                colour: [0.86, 0.05, 160.0],
                is_present: |board| board.chores.iter().any(|c| !c.work.is_zero()),
                remove: |setup| setup.board.chores.clear(),
            },
            Cause::Compute => &About {
                name: "compute",
                what: "decoding and planning",
                doing: Some("decodes and plans"),
                why: "planning takes longer than the moves",
                colour: [0.66, 0.13, 50.0],
                is_present: |board| board.costs != without_work(&board.costs),
                remove: |setup| setup.board.costs = without_work(&setup.board.costs),
            },
            Cause::Depth => &About {
                name: "depth",
                what: "planner queue too short",
                doing: None,
                why: "the planner queue is too short",
                colour: [0.35, 0.05, 280.0],
                is_present: |_| true,
                remove: |setup| {
                    setup.room_blocks = usize::MAX;
                    setup.board.queue.restart_blocks = 1;
                    setup.board.queue.restart_wait_s = 0.0;
                    setup.board.queue.stretch_s = 0.0;
                },
            },
        }
    }
}

/// The costs with no work left in them.
fn without_work(costs: &Costs) -> Costs {
    Costs {
        line_s: 0.0,
        byte_s: 0.0,
        block_s: 0.0,
        pass_s: 0.0,
        chord_s: 0.0,
        step_s: 0.0,
        load_max: costs.load_max,
    }
}

/// One value for each cause; in JSON an object with the causes' names as keys.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PerCause<T>([T; Cause::ALL.len()]);

impl<T> PerCause<T> {
    /// The value of each cause.
    pub fn from_fn(of: impl FnMut(Cause) -> T) -> Self {
        PerCause(Cause::ALL.map(of))
    }

    /// These values, in the order of [`Cause::ALL`].
    pub fn from_array(values: [T; Cause::ALL.len()]) -> Self {
        PerCause(values)
    }

    /// The causes and their values, in the order of [`Cause::ALL`].
    pub fn iter(&self) -> impl Iterator<Item = (Cause, &T)> {
        Cause::ALL.into_iter().zip(&self.0)
    }

    /// The values, in the order of [`Cause::ALL`].
    pub fn values(self) -> [T; Cause::ALL.len()] {
        self.0
    }
}

impl PerCause<f64> {
    /// Sum of all values.
    pub fn sum(&self) -> f64 {
        self.0.iter().sum()
    }

    /// The causes with their values, the largest value first.
    pub fn ranked(&self) -> Vec<(Cause, f64)> {
        let mut all: Vec<(Cause, f64)> = self.iter().map(|(c, v)| (c, *v)).collect();
        all.sort_by(|a, b| b.1.total_cmp(&a.1));
        all
    }

    /// The causes with their shares of the sum, the largest first; none where there is nothing to share, or
    /// where what is shared is mere rounding beside `of`.
    pub fn shares(&self, of: f64) -> Vec<(Cause, f64)> {
        let sum = self.sum();
        if sum <= 1e-9 * of.abs().max(1e-3) {
            return Vec::new();
        }
        self.ranked()
            .into_iter()
            .map(|(c, v)| (c, v / sum))
            .collect()
    }
}

impl<T> Index<Cause> for PerCause<T> {
    type Output = T;

    #[inline]
    fn index(&self, cause: Cause) -> &T {
        &self.0[cause as usize]
    }
}

impl<T> IndexMut<Cause> for PerCause<T> {
    #[inline]
    fn index_mut(&mut self, cause: Cause) -> &mut T {
        &mut self.0[cause as usize]
    }
}

impl<T: Serialize> Serialize for PerCause<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.iter().map(|(cause, value)| (cause.name(), value)))
    }
}

/// A set of causes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Causes(u8);

impl Causes {
    /// None of them.
    pub const NONE: Causes = Causes(0);
    /// All of them.
    pub const ALL: Causes = Causes((1 << Cause::ALL.len()) - 1);

    /// Whether `cause` is in it.
    #[inline]
    pub fn has(self, cause: Cause) -> bool {
        self.0 & (1 << cause as u8) != 0
    }

    /// With `cause` in it.
    pub fn with(self, cause: Cause) -> Self {
        Causes(self.0 | 1 << cause as u8)
    }

    /// Those in it.
    pub fn list(self) -> impl Iterator<Item = Cause> {
        Cause::ALL.into_iter().filter(move |c| self.has(*c))
    }

    /// The causes that this board has: those whose removal changes it.
    pub fn of(board: &Board) -> Self {
        let present = Cause::ALL
            .into_iter()
            .filter(|c| (c.about().is_present)(board));
        present.fold(Causes::NONE, Causes::with)
    }
}

/// A board of which only some causes are left.
#[derive(Clone, Debug)]
pub struct Setup {
    /// The board with what is removed set to nothing.
    pub board: Board,
    /// Most blocks in the planner queue; the look-ahead's cost goes by the board's own number.
    pub room_blocks: usize,
    /// Whether every line is there at t = 0.
    pub at_hand: bool,
    /// Runs of chores after which the replay is given up.
    pub chore_runs_max: u64,
}

impl Setup {
    /// The board as it is.
    pub fn whole(board: &Board) -> Self {
        Setup {
            board: board.clone(),
            room_blocks: board.queue.blocks,
            at_hand: false,
            chore_runs_max: CHORE_RUNS_MAX,
        }
    }

    /// The board with only these causes.
    pub fn only(board: &Board, causes: Causes) -> Self {
        let mut setup = Setup::whole(board);
        for cause in Cause::ALL.into_iter().filter(|c| !causes.has(*c)) {
            (cause.about().remove)(&mut setup);
        }
        setup
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board::{builtin, profile};

    #[test]
    fn a_cause_is_present_exactly_where_its_removal_changes_the_board() {
        for name in builtin::names() {
            let board = profile::parse(builtin::text(name).unwrap(), name, &[]).unwrap();
            for cause in Cause::ALL {
                let mut without = Setup::whole(&board);
                (cause.about().remove)(&mut without);
                let changed = without.board != board
                    || without.at_hand
                    || without.room_blocks != board.queue.blocks;
                assert!(
                    changed || !Causes::of(&board).has(cause),
                    "{name}: {}",
                    cause.name()
                );
                let again = Causes::of(&without.board).has(cause);
                let stays = cause == Cause::Depth || without.at_hand;
                assert!(!again || stays, "{name}: {} is still there", cause.name());
            }
        }
    }

    #[test]
    fn rounding_is_not_shared() {
        let mut by_cause = PerCause::<f64>::default();
        by_cause[Cause::Link] = 1e-14;
        by_cause[Cause::Chore] = -0.9e-14;
        assert!(by_cause.shares(0.0).is_empty());
        by_cause[Cause::Save] = 3.0;
        by_cause[Cause::Link] = 1.0;
        let shares = by_cause.shares(4.0);
        assert_eq!(shares[0].0, Cause::Save);
        assert!((shares[0].1 - 0.75).abs() < 1e-9);
    }
}
