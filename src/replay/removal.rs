//! A board with causes removed (model section 9).

use crate::board::types::{Board, Costs, Link, SaveWhen, Span};

use super::feed::Feed;
use super::world::Cause;

/// A set of causes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Causes(u8);

impl Causes {
    /// None of them.
    pub const NONE: Causes = Causes(0);
    /// All six.
    pub const ALL: Causes = Causes(63);

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
        let Costs {
            line_s,
            byte_s,
            block_s,
            pass_s,
            chord_s,
            step_s,
            ..
        } = board.costs;
        let mut all = Causes::NONE.with(Cause::Depth);
        let (link, hiccup) = match &board.link {
            Link::Card(c) => (
                !c.sector.is_zero() || c.chain_s > 0.0,
                c.hiccup_chance > 0.0 && !c.hiccup.is_zero(),
            ),
            Link::Serial(s) => (true, s.resend_chance > 0.0),
        };
        let present = [
            (Cause::Link, link),
            (Cause::Hiccup, hiccup),
            (Cause::Save, board.save.when != SaveWhen::Off),
            (Cause::Chore, board.chores.iter().any(|c| !c.work.is_zero())),
            (
                Cause::Compute,
                [line_s, byte_s, block_s, pass_s, chord_s, step_s]
                    .iter()
                    .any(|c| *c > 0.0),
            ),
        ];
        for (cause, is_there) in present {
            if is_there {
                all = all.with(cause);
            }
        }
        all
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
}

impl Setup {
    /// The board as it is.
    pub fn whole(board: &Board) -> Self {
        Setup {
            board: board.clone(),
            room_blocks: board.queue.blocks,
            at_hand: false,
        }
    }

    /// The board with only these causes.
    pub fn only(board: &Board, causes: Causes) -> Self {
        let mut setup = Setup::whole(board);
        let board = &mut setup.board;
        match &mut board.link {
            Link::Card(card) => {
                if !causes.has(Cause::Link) {
                    card.sector = Span::ZERO;
                    card.chain_s = 0.0;
                }
                if !causes.has(Cause::Hiccup) {
                    card.hiccup_chance = 0.0;
                }
            }
            Link::Serial(serial) => {
                setup.at_hand = !causes.has(Cause::Link);
                if !causes.has(Cause::Hiccup) {
                    serial.resend_chance = 0.0;
                }
            }
        }
        if !causes.has(Cause::Save) {
            board.save.when = SaveWhen::Off;
        }
        if !causes.has(Cause::Chore) {
            board.chores.clear();
        }
        if !causes.has(Cause::Compute) {
            board.costs = Costs {
                line_s: 0.0,
                byte_s: 0.0,
                block_s: 0.0,
                pass_s: 0.0,
                chord_s: 0.0,
                step_s: 0.0,
                load_max: board.costs.load_max,
            };
        }
        if !causes.has(Cause::Depth) {
            setup.room_blocks = usize::MAX;
            board.queue.restart_blocks = 1;
            board.queue.restart_wait_s = 0.0;
            board.queue.stretch_s = 0.0;
        }
        setup
    }

    /// The link before anything has been read.
    pub fn feed(&self, seed: u64) -> Feed {
        if self.at_hand {
            Feed::AtHand
        } else {
            Feed::new(&self.board.link, seed)
        }
    }
}
