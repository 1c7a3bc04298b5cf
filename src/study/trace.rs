//! The path of one layer, kept small enough to draw.

use std::ops::Range;

use crate::replay::stream::Done;

use super::stalls::{Stall, StallKind};

/// Segments kept of one layer; beyond it neighbours are joined, and strokes left out where that is not enough.
const SEGMENTS_MAX: usize = 150_000;
/// Thinning leaves at most so many, so that it is not needed again at once.
const SEGMENTS_THINNED: usize = SEGMENTS_MAX / 4 * 3;
/// Neighbours shorter than this are joined, at first and where that alone suffices, mm.
const GRAINS_MM: [f32; 2] = [0.05, 0.4];
/// Stalls kept of one layer, the longest ones.
const MARKS_MAX: usize = 3_000;

/// A piece of a layer's path, from the end of the piece before it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Segment {
    /// End, mm.
    pub x_mm: f32,
    /// End, mm.
    pub y_mm: f32,
    /// Replayed over ideal speed: ideal over replayed duration, rests included; 0 to 1.
    pub speed_ratio: f32,
    /// Whether it extrudes.
    pub extrudes: bool,
    /// Whether it starts anew: the piece before it ends elsewhere.
    pub starts: bool,
}

impl Segment {
    fn distance_mm(&self, other: &Segment) -> f32 {
        (other.x_mm - self.x_mm).hypot(other.y_mm - self.y_mm)
    }

    fn is_at(&self, other: &Segment) -> bool {
        (self.x_mm, self.y_mm) == (other.x_mm, other.y_mm)
    }
}

/// Where a stall is marked on a layer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// The stall's number.
    pub stall: u64,
    /// Its kind.
    pub kind: StallKind,
    /// Its place: x, y, z; mm.
    pub place_mm: [f64; 3],
    /// What it lost, s.
    pub lost_s: f64,
}

/// A layer's path, speeds and stalls.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LayerTrace {
    /// The layer, from 0.
    pub layer: u32,
    /// Height of its last extruding block's end, mm.
    pub z_mm: f64,
    /// Lost time of its blocks, s.
    pub lost_s: f64,
    /// Its first block and its last, from 0.
    pub blocks: Option<[u64; 2]>,
    /// Whether the head moves on it.
    pub moves: bool,
    /// Whether anything is printed on it.
    pub prints: bool,
    keeps: bool,
    /// Its pieces.
    pub segments: Vec<Segment>,
    /// Its stalls, or the longest of them, in order.
    pub marks: Vec<Mark>,
    /// Strokes that are left out because there are too many: of two that follow each other the shorter one, and then
    /// all travel between strokes.
    pub left_out: u64,
    /// Stalls that have no mark.
    pub unmarked: u64,
    grain_mm: f32,
}

impl LayerTrace {
    /// An empty trace of this layer.
    pub fn new(layer: u32) -> Self {
        LayerTrace::keeping(layer, true)
    }

    /// An empty trace of this layer that keeps pieces and stalls, or only sums.
    pub fn keeping(layer: u32, keeps: bool) -> Self {
        LayerTrace {
            layer,
            keeps,
            ..LayerTrace::default()
        }
    }

    /// Adds a block.
    #[inline(always)]
    pub fn block(&mut self, done: &Done) {
        let place = &done.place;
        let (from, to) = (place.from_mm, place.to_mm);
        self.lost_s += done.lost_s();
        let block = done.ran.block;
        self.blocks = Some([self.blocks.map_or(block, |b| b[0]), block]);
        if from[0] == to[0] && from[1] == to[1] {
            return;
        }
        self.moves = true;
        if place.e_mm > 0.0 {
            self.prints = true;
            self.z_mm = to[2];
        }
        if self.keeps {
            self.piece(done);
        }
    }

    #[inline(never)]
    fn piece(&mut self, done: &Done) {
        let (from, to) = (done.place.from_mm, done.place.to_mm);
        let extrudes = done.place.e_mm > 0.0;
        let speed_ratio = done.speed_ratio() as f32;
        let (x_mm, y_mm) = (to[0] as f32, to[1] as f32);
        let end = self.segments.last().map(|s| (s.x_mm, s.y_mm));
        let start = (from[0] as f32, from[1] as f32);
        if end != Some(start) {
            self.segments.push(Segment {
                x_mm: start.0,
                y_mm: start.1,
                speed_ratio: 1.0,
                extrudes: false,
                starts: true,
            });
        }
        self.segments.push(Segment {
            x_mm,
            y_mm,
            speed_ratio,
            extrudes,
            starts: false,
        });
        if self.segments.len() >= SEGMENTS_MAX {
            self.thin();
        }
    }

    /// Adds a stall of this layer.
    pub fn stall(&mut self, stall: &Stall) {
        if !self.keeps {
            return;
        }
        self.marks.push(Mark {
            stall: stall.stall,
            kind: stall.kind,
            place_mm: stall.place_mm,
            lost_s: stall.lost_s,
        });
        if self.marks.len() >= 2 * MARKS_MAX {
            self.keep_longest();
        }
    }

    /// Keeps the longest stalls only, in order of time.
    pub fn keep_longest(&mut self) {
        if self.marks.len() > MARKS_MAX {
            self.marks.sort_by(|a, b| b.lost_s.total_cmp(&a.lost_s));
            self.unmarked += (self.marks.len() - MARKS_MAX) as u64;
            self.marks.truncate(MARKS_MAX);
            self.marks.sort_by_key(|m| m.stall);
        }
    }

    /// Joins neighbours, coarser and coarser; where that is not enough, leaves strokes out.
    fn thin(&mut self) {
        let [first_mm, fine_mm] = GRAINS_MM;
        self.grain_mm = self.grain_mm.max(first_mm);
        loop {
            self.join();
            if self.segments.len() > SEGMENTS_THINNED && self.grain_mm >= fine_mm {
                self.leave_out();
            }
            if self.segments.len() <= SEGMENTS_THINNED {
                return;
            }
            self.grain_mm *= 2.0;
        }
    }

    /// Joins neighbours of one kind that are shorter than the grain; the slower one's speed stays.
    fn join(&mut self) {
        let mut kept: Vec<Segment> = Vec::with_capacity(SEGMENTS_MAX);
        for segment in &self.segments {
            let joined = match kept.as_slice() {
                [.., before, last]
                    if !segment.starts
                        && !last.starts
                        && last.extrudes == segment.extrudes
                        && before.distance_mm(last) < self.grain_mm =>
                {
                    Some(last.speed_ratio.min(segment.speed_ratio))
                }
                _ => None,
            };
            match (joined, kept.last_mut()) {
                (Some(speed_ratio), Some(last)) => {
                    *last = Segment {
                        speed_ratio,
                        ..*segment
                    }
                }
                _ => kept.push(*segment),
            }
        }
        self.segments = kept;
    }

    /// Leaves out the shorter one of each two strokes that follow each other, and all travel between strokes; where
    /// nothing is printed, of each two stretches of travel.
    fn leave_out(&mut self) {
        let strokes = strokes(&self.segments, self.prints);
        let mut kept: Vec<Segment> = Vec::with_capacity(SEGMENTS_MAX);
        for pair in strokes.chunks(2) {
            let longer = match pair {
                [first, second] if second.1 > first.1 => &second.0,
                [first, ..] => &first.0,
                [] => continue,
            };
            let before = &self.segments[longer.start - 1];
            if kept.last().is_none_or(|last| !last.is_at(before)) {
                kept.push(Segment {
                    speed_ratio: 1.0,
                    extrudes: false,
                    starts: true,
                    ..*before
                });
            }
            kept.extend(&self.segments[longer.clone()]);
        }
        self.left_out += strokes.len() as u64 / 2;
        self.segments = kept;
    }
}

/// The stretches of pieces that extrude, or of those that do not, and their lengths, mm.
fn strokes(segments: &[Segment], extrude: bool) -> Vec<(Range<usize>, f32)> {
    let mut found: Vec<(Range<usize>, f32)> = Vec::new();
    for (k, pair) in segments.windows(2).enumerate() {
        let [before, segment] = pair else { continue };
        if segment.starts || segment.extrudes != extrude {
            continue;
        }
        let length_mm = before.distance_mm(segment);
        match found.last_mut() {
            Some((stroke, sum_mm)) if stroke.end == k + 1 => {
                stroke.end += 1;
                *sum_mm += length_mm;
            }
            _ => found.push((k + 1..k + 2, length_mm)),
        }
    }
    found
}
