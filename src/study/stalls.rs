//! Stalls: runs of blocks that lose time ([model section 8](crate::model#8-ideal-replay-lost-time-stalls)).

use serde::Serialize;

use crate::replay::cause::{Cause, PerCause};
use crate::replay::stream::Done;
use crate::surface::flow::Excess;
use crate::surface::skin::Surface;

pub use crate::surface::skin::LOST_MIN_S;

/// How bad a stall is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum StallKind {
    /// The head rests.
    Dwell,
    /// Somewhere the head is slower than half the ideal.
    Dip,
    /// The head is only slower.
    Drag,
}

impl StallKind {
    /// Its name in tables.
    pub fn name(self) -> &'static str {
        ["dwell", "dip", "drag"][self as usize]
    }
}

/// One stall.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stall {
    /// Its number, from 0.
    pub stall: u64,
    /// How bad it is.
    pub kind: StallKind,
    /// What the main loop mostly did while the queue ran down.
    pub cause: Cause,
    /// The file's line at its place, from 1.
    pub line: u64,
    /// The layer at its place, from 0.
    pub layer: u32,
    /// When the head is there: for a dwell, when it comes to rest; s.
    pub t_s: f64,
    /// Its place: x, y, z; mm.
    pub place_mm: [f64; 3],
    /// Rest, s.
    pub dwell_s: f64,
    /// Lost time of all its blocks, s.
    pub lost_s: f64,
    /// The ideal's speed at its place, mm/s.
    pub ideal_mm_s: f64,
    /// The replay's speed there, the least of the stall, mm/s.
    pub least_mm_s: f64,
    /// Excess plastic: the sum of the positive excess of its blocks and rests, mm³.
    pub excess_mm3: f64,
    /// Plastic too little, where there is too little, mm³.
    pub deficit_mm3: f64,
    /// Its highest bump, if it has any, mm.
    pub bump_mm: Option<f64>,
    /// How many bumps it has.
    pub bumps: u64,
    /// Height of its layer, mm.
    pub layer_height_mm: f64,
    /// Length of its blocks, mm.
    pub length_mm: f64,
    /// Whether any of its blocks prints.
    pub prints: bool,
    /// The block at its place.
    pub block: u64,
    /// Where its place lies, if that was worked out.
    pub surface: Option<Surface>,
    /// Its first block, from 0.
    pub first_block: u64,
    /// Its last block.
    pub last_block: u64,
    /// Its lost time shared among the causes, s, where that was worked out.
    pub shares_s: Option<PerCause<f64>>,
}

impl Stall {
    /// The cause that took more than half, `mixed` where none did; where shares were not worked
    /// out, what the main loop mostly did.
    pub fn cause_name(&self) -> &'static str {
        match (self.shares_s, self.two_largest()) {
            (Some(shares_s), Some([most, _])) if 2.0 * shares_s[most] > self.lost_s => most.name(),
            (Some(_), _) => "mixed",
            (None, _) => self.cause.name(),
        }
    }

    /// The two causes with the largest shares, where shares were worked out.
    pub fn two_largest(&self) -> Option<[Cause; 2]> {
        let shares_s = self.shares_s?;
        let order = shares_s.ranked();
        Some([order[0].0, order[1].0])
    }
}

/// Follows the blocks of a replay and finds its stalls.
#[derive(Clone, Debug, Default)]
pub struct StallFinder {
    open: Option<Open>,
    found: u64,
}

/// A place and how fast the head is there.
#[derive(Clone, Copy, Debug)]
struct Spot {
    block: u64,
    line: u64,
    layer: u32,
    layer_height_mm: f64,
    t_s: f64,
    place_mm: [f64; 3],
    ideal_mm_s: f64,
    least_mm_s: f64,
}

#[derive(Clone, Copy, Debug)]
struct Open {
    dwell_s: f64,
    lost_s: f64,
    longest_gap_s: f64,
    dips: bool,
    late_s: PerCause<f64>,
    /// The longest rest.
    rest: Option<Spot>,
    /// The slowest joint that is slower than the ideal's.
    slowest: Option<Spot>,
    /// Where it begins.
    first: Spot,
    excess_mm3: f64,
    deficit_mm3: f64,
    length_mm: f64,
    prints: bool,
    first_block: u64,
    last_block: u64,
}

impl Open {
    /// Its place so far.
    fn spot(&self) -> Spot {
        self.rest.or(self.slowest).unwrap_or(self.first)
    }
}

impl StallFinder {
    /// Takes the next block; returns the stall that ended before it.
    ///
    /// `excess`: what the block and the rest before it leave too much.
    pub fn block(&mut self, done: &Done, excess: &Excess) -> Option<Stall> {
        let lost_s = done.lost_s();
        if lost_s <= LOST_MIN_S {
            return self.close();
        }
        let (real, ideal) = (done.ran.profile, done.ideal);
        let spot = |t_s: f64, place_mm: [f64; 3], least_mm_s: f64, ideal_mm_s: f64| Spot {
            block: done.ran.block,
            line: done.line,
            layer: done.layer,
            layer_height_mm: done.layer_height_mm,
            t_s,
            place_mm,
            ideal_mm_s,
            least_mm_s,
        };
        let entry = spot(
            done.ran.start_s,
            done.place.from_mm,
            real.entry_mm_s,
            ideal.entry_mm_s,
        );
        let exit = spot(
            done.ran.end_s,
            done.place.to_mm,
            real.exit_mm_s,
            ideal.exit_mm_s,
        );
        let open = self.open.get_or_insert(Open {
            dwell_s: 0.0,
            lost_s: 0.0,
            longest_gap_s: 0.0,
            dips: false,
            late_s: PerCause::default(),
            rest: None,
            slowest: None,
            first: spot(
                done.ran.start_s,
                done.place.from_mm,
                real.peak_mm_s,
                ideal.peak_mm_s,
            ),
            excess_mm3: 0.0,
            deficit_mm3: 0.0,
            length_mm: 0.0,
            prints: false,
            first_block: done.ran.block,
            last_block: done.ran.block,
        });
        open.lost_s += lost_s;
        open.length_mm += done.length_mm;
        open.prints |= done.place.prints();
        open.last_block = done.ran.block;
        for part in [excess.rest_mm3, excess.motion_mm3] {
            open.excess_mm3 += part.max(0.0);
            open.deficit_mm3 += (-part).max(0.0);
        }
        open.late_s[done.ran.late_by] += done.ran.late_s;
        if done.ran.gap_s > 0.0 {
            open.dwell_s += done.ran.gap_s;
            if done.ran.gap_s > open.longest_gap_s {
                open.longest_gap_s = done.ran.gap_s;
                open.rest = Some(Spot {
                    t_s: entry.t_s - done.ran.gap_s,
                    ..entry
                });
            }
        }
        for joint in [entry, exit] {
            open.dips |= joint.least_mm_s < 0.5 * joint.ideal_mm_s;
            let slower = joint.least_mm_s < joint.ideal_mm_s * (1.0 - 1e-9);
            if slower && open.slowest.is_none_or(|s| joint.least_mm_s < s.least_mm_s) {
                open.slowest = Some(joint);
            }
        }
        None
    }

    /// Whether a stall is open.
    #[inline]
    pub fn is_open(&self) -> bool {
        self.open.is_some()
    }

    /// Ends the stall that is open, if one is: at a commanded stop, or at the end.
    pub fn close(&mut self) -> Option<Stall> {
        // Looked at first: taking it writes all of it.
        self.open.as_ref()?;
        let open = self.open.take()?;
        let kind = match (open.rest, open.dips) {
            (Some(_), _) => StallKind::Dwell,
            (None, true) => StallKind::Dip,
            (None, false) => StallKind::Drag,
        };
        let spot = open.spot();
        let cause = Cause::ALL.into_iter().fold(Cause::Depth, |most, cause| {
            if open.late_s[cause] > open.late_s[most] {
                cause
            } else {
                most
            }
        });
        self.found += 1;
        Some(Stall {
            stall: self.found - 1,
            kind,
            cause,
            line: spot.line,
            layer: spot.layer,
            t_s: spot.t_s,
            place_mm: spot.place_mm,
            dwell_s: open.dwell_s,
            lost_s: open.lost_s,
            ideal_mm_s: spot.ideal_mm_s,
            least_mm_s: if open.rest.is_some() {
                0.0
            } else {
                spot.least_mm_s
            },
            excess_mm3: open.excess_mm3,
            deficit_mm3: open.deficit_mm3,
            bump_mm: None,
            bumps: 0,
            layer_height_mm: spot.layer_height_mm,
            length_mm: open.length_mm,
            prints: open.prints,
            block: spot.block,
            surface: None,
            first_block: open.first_block,
            last_block: open.last_block,
            shares_s: None,
        })
    }
}
