//! What one replay is watched for: stalls, layers, the worst places, the layer to draw.

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

/// Blocks over which the board's need is measured.
const WINDOW_BLOCKS: usize = 64;

/// Sums of one layer.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LayerSum {
    /// Lost time of its blocks, s.
    pub lost_s: f64,
    /// Stalls placed on it.
    pub stalls: u64,
    /// Height at which it was printed last, mm.
    pub z_mm: f64,
}

/// What a stretch of the job asks of the board, and what it gets.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Need {
    /// Blocks it has.
    pub blocks: usize,
    /// Bytes of their command lines.
    pub bytes: f64,
    /// How long they take by the ideal, s.
    pub ideal_s: f64,
    /// How long they took, rests included, s.
    pub took_s: f64,
    /// The first block's line.
    pub line: u64,
    /// The first block's layer.
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
    /// The stretch that loses most.
    pub need: Need,
    /// Plastic too much, of all stalls, mm³.
    pub excess_mm3: f64,
    /// Plastic too little, of all stalls, mm³.
    pub deficit_mm3: f64,
    /// Bumps of all stalls.
    pub bumps: u64,
    /// Stalls on moves that print nothing.
    pub idle: u64,
    /// Samples of their surplus that were taken.
    pub samples: u64,
    /// The line from which on a limit has changed bumps.
    pub cut_line: Option<u64>,
    /// The time around the stalls that lose most, if that was wanted; worst first.
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
    /// The last blocks, and how many were weighed since the last stop.
    recent: [Recent; WINDOW_BLOCKS],
    weighed: usize,
    /// The last of them that lost nothing; when all of a window did, nobody adds up.
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
    /// The traced layer: the one with most excess plastic on its outside, or the one that loses most. Without
    /// pieces, if those were not wanted.
    pub trace: LayerTrace,
    /// Where stalled blocks lie, if that was wanted.
    pub exposure: Option<Exposure>,
    /// The path of all layers, if that was wanted.
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
    /// A watch for stalls, bumps and sums.
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

    /// Keeps the path of one layer too, to be drawn: of `layer`, or of the worst.
    pub fn with_trace(mut self, layer: Option<u32>) -> Self {
        self.wanted_layer = layer;
        self.traces = true;
        self.current = LayerTrace::new(0);
        self
    }

    /// Finds out which stalls lie on which surface too.
    pub fn with_surface(mut self, nozzle: &Nozzle, wanted: &Wanted) -> Self {
        self.skin = Some(Skin::new(nozzle, wanted));
        self
    }

    /// Keeps the path of all layers too.
    pub fn with_paths(mut self, paths: Paths) -> Self {
        self.paths = Some(paths);
        self
    }

    /// Keeps time strips too, of this many stalls at most.
    pub fn with_strips(mut self, most: usize) -> Self {
        self.strips = (most > 0).then(|| Strips::new(most));
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

    /// Hands on the stalls of which all bumps are known.
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
