//! Watches one replay: hears of every block, and passes it on to what finds stalls, bumps, the sums of each layer,
//! the stretch that asks most of the board, and the path of the layer to draw.

use crate::replay::cause::{Cause, PerCause};
use crate::replay::stream::{Done, Watcher};

use crate::board::types::Nozzle;
use crate::surface::flow::Flow;
use crate::surface::skin::{Exposure, Skin, Wanted};

use super::bumps::{self, BumpFinder};
use super::paths::Paths;
use super::stalls::{LOST_MIN_S, Stall, StallFinder};
use super::strips::{Strip, Strips};
use super::trace::LayerTrace;

/// The number of consecutive blocks over which the board's need is measured.
const WINDOW_BLOCKS: usize = 64;

/// The sums of one layer.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LayerSum {
    /// Lost time of its blocks, s.
    pub lost_s: f64,
    /// The number of stalls that are placed on it.
    pub stalls: u64,
    /// The height of the last move that printed on it, mm.
    pub z_mm: f64,
}

/// What a stretch of the job asks of the board, and what the board gave.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Need {
    /// The number of its blocks.
    pub blocks: usize,
    /// Bytes of their command lines.
    pub bytes: f64,
    /// How long they take in the ideal replay, s.
    pub ideal_s: f64,
    /// How long they took in the replay, rests before them included, s.
    pub took_s: f64,
    /// The line of its first block.
    pub line: u64,
    /// The layer of its first block.
    pub layer: u32,
}

/// What a watch has seen.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Seen {
    /// Stalls by kind: dwells, dips, drags.
    pub kinds: [u64; 3],
    /// Lost time by cause, s.
    pub by_cause_s: PerCause<f64>,
    /// Sums by layer.
    pub layers: Vec<LayerSum>,
    /// The stretch of 64 blocks that loses most.
    pub need: Need,
    /// Plastic that all stalls together laid in excess, mm³.
    pub excess_mm3: f64,
    /// Plastic that all stalls together laid too little, mm³.
    pub deficit_mm3: f64,
    /// The number of bumps of all stalls.
    pub bumps: u64,
    /// The number of stalls on moves that print nothing.
    pub idle: u64,
    /// Samples of their surplus that were taken.
    pub samples: u64,
    /// The line from which on a limit has changed bumps.
    pub cut_line: Option<u64>,
    /// The time strips of the stalls that lose most, if they were wanted; the worst first.
    pub strips: Vec<Strip>,
}

impl Seen {
    /// All stalls so far.
    pub fn stalls(&self) -> u64 {
        self.kinds.iter().sum()
    }

    fn layer(&mut self, layer: u32) -> &mut LayerSum {
        let layer = layer as usize;
        if self.layers.len() <= layer {
            self.layers.resize(layer + 1, LayerSum::default());
        }
        &mut self.layers[layer]
    }
}

/// Watches a replay; hands each bump and stall on as it is found.
pub struct Watch<S> {
    flow: Flow,
    finder: StallFinder,
    bumps: BumpFinder,
    each: S,
    /// What it has seen so far.
    pub seen: Seen,
    /// The last blocks, as a ring; and the number of blocks since the last commanded stop.
    recent: [Recent; WINDOW_BLOCKS],
    weighed: usize,
    /// The number of blocks in a row, up to the newest, that took exactly their ideal time. While that is a whole
    /// window, the sums of the window need not be kept up to date.
    even: usize,
    recent_sum: Need,
    wanted_layer: Option<u32>,
    traces: bool,
    current: LayerTrace,
    previous: LayerTrace,
    best: LayerTrace,
    strips: Option<Strips>,
    skin: Option<Skin>,
    paths: Option<Paths>,
    /// Excess plastic on the outside of the layer of `best`, mm³.
    best_outer_mm3: f64,
}

/// What a watch leaves.
pub struct Found {
    /// What it has seen.
    pub seen: Seen,
    /// The traced layer: the one with most excess plastic on its outside or, where that is equal, the one that loses
    /// most time. It has no pieces if those were not wanted.
    pub trace: LayerTrace,
    /// What each block faces, and the parts, if that was wanted.
    pub exposure: Option<Exposure>,
    /// The paths of all layers, if they were wanted.
    pub paths: Option<Paths>,
}

#[derive(Clone, Copy, Default)]
struct Recent {
    bytes: f64,
    ideal_s: f64,
    took_s: f64,
    line: u64,
    layer: u32,
}

impl<S: FnMut(&bumps::Found)> Watch<S> {
    /// A watch for stalls, bumps and the sums of layers.
    pub fn new(nozzle: &Nozzle, each: S) -> Self {
        Watch {
            flow: Flow::new(nozzle),
            finder: StallFinder::default(),
            bumps: BumpFinder::new(nozzle),
            each,
            seen: Seen::default(),
            recent: [Recent::default(); WINDOW_BLOCKS],
            weighed: 0,
            even: 0,
            recent_sum: Need::default(),
            wanted_layer: None,
            traces: false,
            current: LayerTrace::default(),
            previous: LayerTrace::default(),
            best: LayerTrace::default(),
            strips: None,
            skin: None,
            paths: None,
            best_outer_mm3: 0.0,
        }
    }

    /// Also keeps the path of one layer for a picture: that of `layer`, or of the worst layer if it is `None`.
    pub fn with_trace(mut self, layer: Option<u32>) -> Self {
        self.wanted_layer = layer;
        self.traces = true;
        self.current = LayerTrace::new(0);
        self
    }

    /// Also finds out on which surface of the part each block lies.
    pub fn with_surface(mut self, nozzle: &Nozzle, wanted: &Wanted) -> Self {
        self.skin = Some(Skin::new(nozzle, wanted));
        self
    }

    /// Also keeps the path of all layers.
    pub fn with_paths(mut self, paths: Paths) -> Self {
        self.paths = Some(paths);
        self
    }

    /// Also keeps time strips.
    pub fn with_strips(mut self, strips: Strips) -> Self {
        self.strips = Some(strips);
        self
    }

    /// Ends the watch; returns what it has seen, and the traced layer.
    pub fn finish(self) -> (Seen, LayerTrace) {
        let found = self.found();
        (found.seen, found.trace)
    }

    /// Ends the watch; returns all that it has found.
    pub fn found(mut self) -> Found {
        let stall = self.finder.close();
        self.end(stall);
        self.bumps.finish();
        self.settle();
        self.seen.samples = self.bumps.samples();
        self.seen.cut_line = self.bumps.cut_line();
        let (exposure, outer_mm3) = self.skin.take().map(Skin::finish).unzip();
        let [previous_mm3, current_mm3] = outer_mm3.unwrap_or_default();
        let previous = std::mem::take(&mut self.previous);
        self.offer(previous, previous_mm3);
        let current = std::mem::take(&mut self.current);
        self.offer(current, current_mm3);
        self.best.keep_longest();
        self.seen.strips = self.strips.map_or(Vec::new(), Strips::finish);
        Found {
            seen: self.seen,
            trace: self.best,
            exposure,
            paths: self.paths,
        }
    }

    /// A stall has ended.
    fn end(&mut self, stall: Option<Stall>) {
        let Some(stall) = stall else { return };
        if let Some(strips) = &mut self.strips {
            strips.stall(&stall);
        }
        self.bumps.end(stall);
    }

    /// Passes on the stalls whose bumps are all known.
    #[inline]
    fn settle(&mut self) {
        while let Some(found) = self.bumps.take() {
            self.take(&found);
        }
    }

    #[inline(never)]
    fn take(&mut self, found: &bumps::Found) {
        if let bumps::Found::Stall(stall) = found {
            self.count(stall);
        }
        (self.each)(found);
    }

    fn count(&mut self, stall: &Stall) {
        self.seen.kinds[stall.kind as usize] += 1;
        self.seen.by_cause_s[stall.cause] += stall.lost_s;
        self.seen.layer(stall.layer).stalls += 1;
        self.seen.excess_mm3 += stall.excess_mm3;
        self.seen.deficit_mm3 += stall.deficit_mm3;
        self.seen.bumps += stall.bumps;
        self.seen.idle += u64::from(!stall.prints);
        for trace in [&mut self.current, &mut self.previous, &mut self.best] {
            if trace.layer == stall.layer && trace.moves {
                trace.stall(stall);
                break;
            }
        }
    }

    fn offer(&mut self, trace: LayerTrace, outer_mm3: f64) {
        let better = match self.wanted_layer {
            Some(wanted) => trace.layer == wanted,
            None => {
                (trace.prints, outer_mm3, trace.lost_s)
                    > (self.best.prints, self.best_outer_mm3, self.best.lost_s)
            }
        };
        if trace.moves && (better || !self.best.moves) {
            self.best = trace;
            self.best_outer_mm3 = outer_mm3;
        }
    }

    fn weigh(&mut self, done: &Done) {
        let recent = Recent {
            bytes: done.bytes,
            ideal_s: done.ideal_s(),
            took_s: done.ran.profile.duration_s() + done.ran.gap_s,
            line: done.line,
            layer: done.layer,
        };
        let place = self.weighed % WINDOW_BLOCKS;
        let oldest = std::mem::replace(&mut self.recent[place], recent);
        self.weighed += 1;
        let idle = self.even >= WINDOW_BLOCKS;
        self.even += 1;
        if recent.took_s != recent.ideal_s {
            self.even = 0;
        } else if idle {
            return;
        }
        if idle {
            self.recent_sum = Need::default();
            let all = &self.recent;
            all.iter().for_each(|r| self.recent_sum.add(r, 1.0));
        } else {
            self.recent_sum.add(&recent, 1.0);
            if self.weighed > WINDOW_BLOCKS {
                self.recent_sum.add(&oldest, -1.0);
            }
        }
        let sum = self.recent_sum;
        if sum.took_s - sum.ideal_s > self.seen.need.took_s - self.seen.need.ideal_s {
            let first = self.weighed.saturating_sub(WINDOW_BLOCKS);
            let Recent { line, layer, .. } = self.recent[first % WINDOW_BLOCKS];
            self.seen.need = Need {
                blocks: self.weighed - first,
                line,
                layer,
                ..sum
            };
        }
    }
}

impl Need {
    fn add(&mut self, recent: &Recent, sign: f64) {
        self.bytes += sign * recent.bytes;
        self.ideal_s += sign * recent.ideal_s;
        self.took_s += sign * recent.took_s;
    }
}

impl<S: FnMut(&bumps::Found)> Watcher for Watch<S> {
    #[inline(always)]
    fn block(&mut self, done: &Done) {
        let excess = self.flow.block(done);
        self.bumps.layer(done);
        let lost_s = done.lost_s();
        if lost_s > LOST_MIN_S || self.finder.is_open() {
            let ended = self.finder.block(done, &excess);
            self.end(ended);
            if self.finder.is_open() {
                self.bumps.block(done, &excess, &self.flow);
            }
        }
        self.settle();
        if lost_s <= LOST_MIN_S {
            self.seen.by_cause_s[done.ran.late_by] += lost_s;
        }
        let layer = self.seen.layer(done.layer);
        layer.lost_s += lost_s;
        let (from, to) = (done.place.from_mm, done.place.to_mm);
        // What rises to the next layer may extrude too, when it undoes a retraction.
        if done.place.e_mm > 0.0 && (from[0] != to[0] || from[1] != to[1]) {
            layer.z_mm = to[2];
        }
        self.weigh(done);
        if let Some(skin) = &mut self.skin {
            skin.block(done, &excess);
        }
        if let Some(paths) = &mut self.paths {
            paths.block(done);
        }
        if done.layer != self.current.layer {
            let begun = LayerTrace::keeping(done.layer, self.traces);
            let ended = std::mem::replace(&mut self.current, begun);
            let before = std::mem::replace(&mut self.previous, ended);
            let outer_mm3 = self.skin.as_ref().map_or(0.0, Skin::outer_mm3);
            self.offer(before, outer_mm3);
        }
        self.current.block(done);
        if let Some(strips) = &mut self.strips {
            strips.block(done);
        }
    }

    #[inline]
    fn spent(&mut self, on: Cause, from_s: f64, to_s: f64) {
        if let Some(strips) = &mut self.strips {
            strips.spent(on, from_s, to_s);
        }
    }

    #[inline]
    fn inserted(&mut self, at_s: f64) {
        if let Some(strips) = &mut self.strips {
            strips.inserted(at_s);
        }
    }

    fn stop(&mut self, start_s: f64, end_s: f64) {
        self.flow.stop(start_s, end_s);
        let ended = self.finder.close();
        self.end(ended);
        self.settle();
        self.weighed = 0;
        self.even = 0;
        self.recent_sum = Need::default();
    }
}
