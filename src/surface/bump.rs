//! Bumps: where a stall lays more plastic than the ideal replay does, and how far the edge of the bead moves out
//! to hold it ([model section 10](crate::model#10-plastic)).
//!
//! X(s) is the surplus laid since the stall began, as a function of the distance s along the path. It is sampled
//! at steps of at most a quarter of the nozzle. The stall is cut into pieces wherever X stops falling and starts
//! to rise, so that within a piece X first rises and then falls. Only a pair of samples on the rise can be the
//! piece's bump, and it is the pair for which the edge moves out most.
//!
//! How far it moves out, the growth g, depends on the bead's width w, and w is the mean over the whole stall. So
//! it is not known before the stall has ended. On layers of height h, a growth g along a stretch l holds
//! surplus = h l g + pi/2 (h g² + w h g). Drawn as surplus against stretch, all pairs of the same growth lie on a
//! straight line of slope h g, and a higher line means more growth. The best pair therefore lies on the upper
//! concave hull of all pairs, whatever w is. Each piece keeps the few pairs of its hull until the stall ends.
//!
//! Memory: the samples and blocks of the last four nozzle widths, and about 80 bytes for each pair that may turn
//! out to be a bump, of which at most [`CANDIDATES_MAX`] are kept. When a stall has more (several hundred thousand
//! bumps in a row), the pieces so far are settled with the width that the stall has had up to then.

use std::collections::VecDeque;
use std::f64::consts::PI;

use crate::board::types::Nozzle;
use crate::motion::trapezoid::Trapezoid;
use crate::replay::stream::Done;

use super::flow::{Excess, Flow};
use super::hull::{Hull, Pair};
use super::skin::Surface;

/// The greatest length of a bump's stretch, in nozzle widths.
const REACH_NOZZLES: f64 = 4.0;
/// Bumps whose middles are at most this far apart count as one, in nozzle widths.
const JOINED_NOZZLES: f64 = 2.0;
/// The least number of samples for each nozzle width of path.
const SAMPLES_A_NOZZLE: f64 = 4.0;
/// Places on the path that are closer together than this count as one, mm.
const SLACK_MM: f64 = 1e-12;
/// The least height of a bump; anything lower is not counted, mm.
pub const HEIGHT_MIN_MM: f64 = 0.01;
/// The greatest number of pairs that are kept while their stall goes on.
pub const CANDIDATES_MAX: usize = 1 << 18;
/// In blocks with more samples than this, stretches on which X does not change are skipped.
const LONG_SAMPLES: f64 = 64.0;

/// A bump.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bump {
    /// Its number, from 0, in the order of the path.
    pub bump: u64,
    /// The stall that left it.
    pub stall: u64,
    /// The file's line at its place, from 1.
    pub line: u64,
    /// The layer there, from 0.
    pub layer: u32,
    /// The block there; where one ends and the next begins, the one that ends.
    pub block: u64,
    /// Its place, the middle of its stretch: x, y, z; mm.
    pub place_mm: [f64; 3],
    /// When the head gets there, s.
    pub t_s: f64,
    /// How far the edge moves out, mm.
    pub height_mm: f64,
    /// How much more plastic its stretch holds than in the ideal, mm³.
    pub surplus_mm3: f64,
    /// Length of the stretch on which it was laid, mm.
    pub stretch_mm: f64,
    /// Where its middle lies on the path, from the start of the stall, mm.
    pub middle_mm: f64,
    /// Whether the block there travels: what oozes from it lies on no wall.
    pub travels: bool,
    /// What its place faces, if that was worked out.
    pub surface: Option<Surface>,
}

/// How far the edge of a bead `w_mm` wide moves out, mm, where `a_mm2` more was laid along `l_mm` of it:
/// half a stadium (Steiner's formula for a parallel body), l r + pi r²/2 = l w/2 + pi w²/8 + a, less w/2.
pub fn growth_mm(a_mm2: f64, l_mm: f64, w_mm: f64) -> f64 {
    let held_mm2 = l_mm * w_mm / 2.0 + PI * w_mm * w_mm / 8.0 + a_mm2;
    ((l_mm * l_mm + 2.0 * PI * held_mm2).sqrt() - l_mm) / PI - w_mm / 2.0
}

/// Where a pair's middle lies.
#[derive(Clone, Copy, Debug)]
struct Spot {
    line: u64,
    block: u64,
    travels: bool,
    layer: u32,
    place_mm: [f64; 3],
    t_s: f64,
}

/// A pair of samples that may be its piece's bump.
#[derive(Clone, Copy, Debug)]
struct Candidate {
    pair: Pair,
    spot: Spot,
    /// The first of its piece.
    first: bool,
}

/// A block that a middle may lie in.
#[derive(Clone, Copy, Debug)]
struct Near {
    from_s_mm: f64,
    to_s_mm: f64,
    line: u64,
    layer: u32,
    block: u64,
    travels: bool,
    from_mm: [f64; 3],
    to_mm: [f64; 3],
    profile: Trapezoid,
    start_s: f64,
    rest_s: f64,
}

impl Near {
    /// Whether it ends before a middle or, within rounding, at it.
    fn ends_before(&self, middle_mm: f64) -> bool {
        self.to_s_mm - middle_mm <= SLACK_MM
    }

    fn spot(&self, middle_mm: f64) -> Spot {
        let span_mm = self.to_s_mm - self.from_s_mm;
        let part = if span_mm > 0.0 {
            (middle_mm - self.from_s_mm) / span_mm
        } else {
            0.0
        };
        // Exactly the end: near a standstill even a tiny distance takes a noticeable time.
        let at_mm = if self.ends_before(middle_mm) {
            f64::INFINITY
        } else {
            middle_mm - self.from_s_mm
        };
        let place = |k: usize| self.from_mm[k] + (self.to_mm[k] - self.from_mm[k]) * part;
        Spot {
            line: self.line,
            block: self.block,
            travels: self.travels,
            layer: self.layer,
            place_mm: std::array::from_fn(place),
            t_s: if part > 0.0 {
                self.start_s + self.profile.time_s(at_mm)
            } else {
                self.start_s - self.rest_s
            },
        }
    }
}

/// A sample of X: where on the path, mm, and how much, mm³.
#[derive(Clone, Copy, Debug, Default)]
struct Sample {
    s_mm: f64,
    x_mm3: f64,
}

/// The surplus of one stall, block by block.
#[derive(Clone, Debug)]
pub struct Surplus {
    nozzle_mm: f64,
    filament_mm2: f64,
    /// The height that a bead is squeezed to, where it is known for good, mm.
    height_mm: Option<f64>,
    /// Filament commanded, and length printed, since the stall began, mm.
    printed_e_mm: f64,
    printed_mm: f64,
    last: Sample,
    /// Samples taken so far.
    samples: u64,
    /// The samples of the rise that is going on, from its lowest, as far back as a stretch may reach.
    rise: VecDeque<Sample>,
    /// Those samples of the rise from which it becomes steeper, and its first one: a pair can begin only there.
    starts: VecDeque<Sample>,
    near: VecDeque<Near>,
    hull: Hull,
    candidates: Vec<Candidate>,
    /// The last bump that was settled. It is held back because the next one may lie so near that both are one.
    kept: Option<Bump>,
}

impl Surplus {
    /// Of a stall that begins; on a layer of this height, mm, where that is known for good.
    pub fn new(nozzle: &Nozzle, layer_height_mm: Option<f64>) -> Self {
        let mut rise = VecDeque::new();
        rise.push_back(Sample::default());
        Surplus {
            nozzle_mm: nozzle.nozzle_mm,
            filament_mm2: PI * nozzle.filament_mm * nozzle.filament_mm / 4.0,
            height_mm: layer_height_mm
                .map(|mm| mm.min(nozzle.nozzle_mm))
                .filter(|mm| *mm > 0.0),
            printed_e_mm: 0.0,
            printed_mm: 0.0,
            last: Sample::default(),
            samples: 0,
            rise,
            starts: VecDeque::new(),
            near: VecDeque::new(),
            hull: Hull::default(),
            candidates: Vec::new(),
            kept: None,
        }
    }

    /// Takes the stall's next block; `flow` has just taken it, and `excess` is what it said.
    pub fn block(&mut self, done: &Done, excess: &Excess, flow: &Flow) {
        let length_mm = if done.place.moves() {
            done.length_mm
        } else {
            0.0
        };
        let from = self.last;
        self.forget();
        if length_mm > 0.0 || self.near.is_empty() {
            self.near.push_back(Near {
                from_s_mm: from.s_mm,
                to_s_mm: from.s_mm + length_mm,
                line: done.line,
                layer: done.layer,
                block: done.ran.block,
                travels: done.place.moves() && !done.place.prints(),
                from_mm: done.place.from_mm,
                to_mm: done.place.to_mm,
                profile: done.ran.profile,
                start_s: done.ran.start_s,
                rest_s: flow.rest_s(),
            });
        }
        if done.place.prints() {
            self.printed_e_mm += done.place.e_mm;
            self.printed_mm += length_mm;
        }
        let begun_mm3 = from.x_mm3 + excess.rest_mm3;
        if excess.rest_mm3 != 0.0 {
            self.sample(from.s_mm, begun_mm3);
        }
        let pieces = (length_mm / (self.nozzle_mm / SAMPLES_A_NOZZLE))
            .ceil()
            .max(1.0);
        if pieces > 1.0 {
            let passing = flow.passing(done);
            let mut piece = 1.0;
            while piece < pieces {
                let at_mm = length_mm * piece / pieces;
                let x_mm3 = begun_mm3 + passing.surplus_mm3(at_mm);
                let level = pieces > LONG_SAMPLES && x_mm3 == self.last.x_mm3;
                self.sample(from.s_mm + at_mm, x_mm3);
                piece += 1.0;
                if level && let Some(until_mm) = passing.level_until_mm(at_mm) {
                    piece = piece.max((until_mm / length_mm * pieces).floor() - 1.0);
                }
            }
        }
        self.sample(from.s_mm + length_mm, begun_mm3 + excess.motion_mm3);
    }

    /// Takes the next sample.
    #[inline]
    fn sample(&mut self, s_mm: f64, x_mm3: f64) {
        let next = Sample { s_mm, x_mm3 };
        self.samples += 1;
        if x_mm3 > self.last.x_mm3 {
            self.turn(&next);
            let reach_mm = self.reach_mm();
            let lost = |first: &Sample| s_mm - first.s_mm > reach_mm;
            while self.rise.front().is_some_and(lost) {
                self.rise.pop_front();
            }
            while self.starts.front().is_some_and(lost) {
                self.starts.pop_front();
            }
        } else {
            if self.rise.len() > 1 {
                self.end_piece();
            }
            self.rise.clear();
            self.starts.clear();
        }
        self.rise.push_back(next);
        self.last = next;
    }

    /// How long a stretch may be, mm.
    fn reach_mm(&self) -> f64 {
        REACH_NOZZLES * self.nozzle_mm + SLACK_MM
    }

    /// The rise goes on from the last sample to `next`. The best pair begins where the rise becomes steeper and ends
    /// where it becomes less steep, since otherwise a longer or a shorter pair would be better. The one exception is
    /// a pair that is already as long as a stretch may be.
    #[inline]
    fn turn(&mut self, next: &Sample) {
        let last = self.last;
        let Some(before) = self.rise.len().checked_sub(2).map(|k| self.rise[k]) else {
            self.starts.push_back(last);
            return;
        };
        let steeper = (last.x_mm3 - before.x_mm3) * (next.s_mm - last.s_mm)
            < (next.x_mm3 - last.x_mm3) * (last.s_mm - before.s_mm);
        if steeper {
            self.pair(next.s_mm - self.reach_mm());
            self.starts.push_back(last);
        } else {
            self.pair(f64::INFINITY);
        }
    }

    /// Pairs the last sample with those before it at which a pair may begin and that lie before `until_mm`.
    #[inline]
    fn pair(&mut self, until_mm: f64) {
        for from in self.rise.iter().take(1).chain(&self.starts) {
            if from.s_mm < until_mm {
                self.hull.offer(Pair {
                    from_mm: from.s_mm,
                    to_mm: self.last.s_mm,
                    surplus_mm3: self.last.x_mm3 - from.x_mm3,
                });
            }
        }
    }

    /// Forgets the blocks in which the middle of no pair can lie any more.
    #[inline]
    fn forget(&mut self) {
        let first_mm = self.rise.front().map_or(self.last.s_mm, |first| first.s_mm);
        let gone = |near: &Near, first_mm: f64| first_mm - near.to_s_mm > SLACK_MM;
        if !self.near.front().is_some_and(|near| gone(near, first_mm)) {
            return;
        }
        let pairs = self.hull.pairs().iter();
        let first_mm = pairs.map(|pair| pair.from_mm).fold(first_mm, f64::min);
        while self.near.front().is_some_and(|near| gone(near, first_mm)) {
            self.near.pop_front();
        }
    }

    /// The rise is over: the pairs that may be its bump become candidates.
    #[inline(never)]
    fn end_piece(&mut self) {
        self.pair(f64::INFINITY);
        if let Some(h_mm) = self.height_mm {
            // The narrower the bead, the more it grows: width 0 is the upper bound.
            let most_mm = |pair: &Pair| growth_mm(pair.surplus_mm3 / h_mm, pair.stretch_mm(), 0.0);
            self.hull
                .narrow(h_mm * HEIGHT_MIN_MM, |pair| h_mm * most_mm(pair));
        }
        let mut first = true;
        for pair in self.hull.drain() {
            let middle_mm = pair.middle_mm();
            let near = self
                .near
                .iter()
                .find(|near| middle_mm - near.to_s_mm <= SLACK_MM);
            let Some(near) = near.or(self.near.back()) else {
                continue;
            };
            self.candidates.push(Candidate {
                pair,
                spot: near.spot(middle_mm),
                first,
            });
            first = false;
        }
    }

    /// Whether so many candidates are kept that the pieces so far have to be settled.
    pub fn is_full(&self) -> bool {
        self.candidates.len() >= CANDIDATES_MAX
    }

    /// Samples taken so far: what the search takes of the computer.
    pub fn samples(&self) -> u64 {
        self.samples
    }

    /// Whether it has no bump, whatever the layer's height turns out to be.
    pub fn is_flat(&self) -> bool {
        self.candidates.is_empty() && self.kept.is_none()
    }

    /// Ends the stall, and frees what its bumps no longer depend on.
    pub fn end(&mut self) {
        if self.rise.len() > 1 {
            self.end_piece();
        }
        self.rise = VecDeque::new();
        self.starts = VecDeque::new();
        self.near = VecDeque::new();
        self.hull = Hull::default();
        self.candidates.shrink_to_fit();
    }

    /// Works out the bumps of the pieces that have ended, on a layer of this height, mm, and tells them in order. The
    /// last one is held back, since the next bump may lie so near that both are one.
    pub fn settle(&mut self, layer_height_mm: f64, mut tell: impl FnMut(Bump)) {
        let h_mm = layer_height_mm.min(self.nozzle_mm);
        let candidates = std::mem::take(&mut self.candidates);
        if h_mm <= 0.0 {
            return;
        }
        let w_mm = if self.printed_mm > 0.0 {
            self.filament_mm2 * self.printed_e_mm / self.printed_mm / h_mm
        } else {
            self.nozzle_mm
        };
        for piece in candidates.chunk_by(|_, next| !next.first) {
            let mut best: Option<(f64, &Candidate)> = None;
            for candidate in piece {
                let Pair { surplus_mm3, .. } = candidate.pair;
                let mm = growth_mm(surplus_mm3 / h_mm, candidate.pair.stretch_mm(), w_mm);
                if best.is_none_or(|(most_mm, _)| mm > most_mm) {
                    best = Some((mm, candidate));
                }
            }
            let Some((height_mm, Candidate { pair, spot, .. })) = best else {
                continue;
            };
            if height_mm < HEIGHT_MIN_MM {
                continue;
            }
            let bump = Bump {
                bump: 0,
                stall: 0,
                line: spot.line,
                layer: spot.layer,
                block: spot.block,
                place_mm: spot.place_mm,
                t_s: spot.t_s,
                height_mm,
                surplus_mm3: pair.surplus_mm3,
                stretch_mm: pair.stretch_mm(),
                middle_mm: pair.middle_mm(),
                travels: spot.travels,
                surface: None,
            };
            let joined_mm = JOINED_NOZZLES * self.nozzle_mm;
            match &mut self.kept {
                Some(kept) if bump.middle_mm - kept.middle_mm <= joined_mm => {
                    if bump.height_mm > kept.height_mm {
                        *kept = bump;
                    }
                }
                kept => {
                    if let Some(kept) = kept.replace(bump) {
                        tell(kept);
                    }
                }
            }
        }
    }

    /// The bump that was held back, once all pieces are settled.
    pub fn take_last(&mut self) -> Option<Bump> {
        self.kept.take()
    }
}
