//! Where a board can lose the pace, whatever the phase of its saves; and how many blocks must wait to bridge a hold.
//!
//! The main loop is a server: blocks are its customers. In any interval of length t it gets at least
//! the service β(t) = R (t - D)⁺ done, a rate-latency curve: D is how long holds of the usual length may stop it, and
//! R the rate left between holds. That holds for every phase of the saves and chores (Le Boudec and Thiran,
//! *Network Calculus*, 2001, chapters 1.3 and 1.4). Room for block j appears when block j - B ends (B: length of the planner
//! queue), so that j is planned no later than
//!
//! ```text
//! W_j = max(W_(j-1), end_(j-B) + D) + 1/R
//! ```
//!
//! by the min-plus convolution of the arrivals of room with β. The head needs j when it starts the
//! first block whose planned exit is too fast to stop before j begins.

use crate::board::types::{Board, Link, SaveWhen, Span};
use crate::job::state::Move;
use crate::motion::ideal::Ideal;
use crate::motion::path::Path;

/// What a board's main loop gets done at least.
#[derive(Clone, Debug)]
pub struct Service {
    /// Processor time for a line and its block, s; slowed by the step pulses.
    cpu_line_s: f64,
    cpu_byte_s: f64,
    cpu_chord_s: f64,
    /// Wall time for a line and for each byte of it, s.
    wall_line_s: f64,
    wall_byte_s: f64,
    /// Holds of the main loop: wall time, processor time, and the share of time that they take.
    hold_s: f64,
    cpu_hold_s: f64,
    share: f64,
    cpu_share: f64,
    step_s: f64,
    load_max: f64,
    depth: usize,
    low_water: usize,
    stretch_s: f64,
}

/// A duration that is hardly ever exceeded, s: the longest, or the 99th percentile.
fn high_s(span: &Span) -> f64 {
    match *span {
        Span::Fixed(s) => s,
        Span::Uniform { max, .. } => max,
        Span::Exponential { mean } => mean * 100f64.ln(),
        Span::Lognormal { p99, .. } => p99,
    }
}

/// A duration's usual length, s.
fn usual_s(span: &Span) -> f64 {
    match *span {
        Span::Fixed(s) => s,
        Span::Uniform { min, max } => 0.5 * (min + max),
        Span::Exponential { mean } => mean,
        Span::Lognormal { median, .. } => median,
    }
}

impl Service {
    /// The service that this board gives its planner queue.
    pub fn new(board: &Board) -> Self {
        let costs = &board.costs;
        let mut service = Service {
            cpu_line_s: costs.line_s + costs.block_s + costs.pass_s * board.queue.blocks as f64,
            cpu_byte_s: costs.byte_s,
            cpu_chord_s: costs.chord_s,
            wall_line_s: 0.0,
            wall_byte_s: 0.0,
            hold_s: 0.0,
            cpu_hold_s: 0.0,
            share: 0.0,
            cpu_share: 0.0,
            step_s: costs.step_s,
            load_max: costs.load_max,
            depth: board.queue.blocks,
            low_water: board.queue.low_water,
            stretch_s: board.queue.stretch_s,
        };
        let save_s = high_s(&board.save.hold);
        let mut again_s = 0.0;
        let mut hiccup_s = 0.0;
        match &board.link {
            Link::Card(card) => {
                let sector_s = high_s(&card.sector);
                service.wall_byte_s =
                    sector_s / 512.0 + card.chain_s / (1024.0 * f64::from(card.cluster_kib));
                service.hold_s += sector_s + card.chain_s;
                if board.save.reread {
                    again_s = sector_s;
                }
                if card.hiccup_chance > 0.0 {
                    hiccup_s = usual_s(&card.hiccup);
                }
            }
            Link::Serial(serial) => {
                let reply_s = high_s(&serial.reply);
                service.wall_byte_s = 1.0 / serial.bytes_per_s;
                service.wall_line_s =
                    serial.overhead_bytes / serial.bytes_per_s + reply_s / serial.in_flight as f64;
                service.hold_s += reply_s;
            }
        }
        let save_s = match board.save.when {
            SaveWhen::Off => 0.0,
            SaveWhen::Seconds(every_s) => {
                service.share += (save_s + again_s) / (every_s + save_s);
                save_s + again_s
            }
            SaveWhen::Lines(every) => {
                service.wall_line_s += (save_s + again_s) / every as f64;
                save_s + again_s
            }
            SaveWhen::Layer => save_s + again_s,
        };
        // A save and a hiccup at once are not usual.
        service.hold_s += save_s.max(hiccup_s);
        for chore in &board.chores {
            service.cpu_hold_s += high_s(&chore.work);
            service.cpu_share += high_s(&chore.work) / chore.every_s;
        }
        service
    }

    /// How long holds of the usual length may stop the main loop in a row while step pulses take
    /// `load` of the processor, s: the latency of its service curve.
    pub fn hold_s(&self, load: f64) -> f64 {
        (self.hold_s + self.cpu_hold_s / (1.0 - load)) / self.left(load)
    }

    /// How long a line of so many bytes takes it, s.
    pub fn line_s(&self, bytes: f64, load: f64) -> f64 {
        let cpu_s = self.cpu_line_s + bytes * self.cpu_byte_s;
        let wall_s = self.wall_line_s + bytes * self.wall_byte_s;
        (wall_s + cpu_s / (1.0 - load)) / self.left(load)
    }

    /// The share of time left between holds; a board that has none left is given a hundredth.
    fn left(&self, load: f64) -> f64 {
        (1.0 - self.share - self.cpu_share / (1.0 - load)).max(0.01)
    }

    /// The share of a line's time that goes by its bytes.
    pub fn byte_share(&self, bytes: f64) -> f64 {
        let of_bytes_s = bytes * (self.cpu_byte_s + self.wall_byte_s);
        of_bytes_s / (of_bytes_s + self.cpu_line_s + self.wall_line_s)
    }

    /// Blocks in the planner queue.
    pub fn depth(&self) -> usize {
        self.depth
    }

    /// For each block: whether it belongs to a stretch over which the queue may run so low, for some phase of the
    /// saves, that the head falls below the share `dip` of its speed: because it must brake for the end of
    /// what it knows, or because the board stretches moves. `bridge`: the share of the usual longest hold that counts.
    pub fn at_risk(&self, blocks: &[Timed], bridge: f64, dip: f64) -> Vec<bool> {
        let load = self.load(blocks);
        let hold_s = bridge * self.hold_s(load);
        let mut from_mm = Vec::with_capacity(blocks.len() + 1);
        let mut along_mm = 0.0;
        for block in blocks {
            from_mm.push(along_mm);
            along_mm += block.length_mm;
        }
        let mut risk = vec![0i32; blocks.len() + 1];
        let (mut planned_s, mut braking, mut done) = (f64::NEG_INFINITY, 0, 0);
        for j in self.depth..blocks.len() {
            let block = &blocks[j];
            let chord_s = if block.arc { self.cpu_chord_s } else { 0.0 };
            let room_s = blocks[j - self.depth].end_s + hold_s;
            planned_s = planned_s.max(room_s) + self.line_s(block.bytes, load) + chord_s;
            // The block whose start needs j: its exit is too fast to stop before j.
            while braking < j - 1 && {
                let next = &blocks[braking + 1];
                let reach_mm2_s2 = 2.0 * next.accel_mm_s2 * (from_mm[j] - from_mm[braking + 1]);
                next.entry_mm_s.powi(2) <= reach_mm2_s2 * (1.0 + 1e-9)
            } {
                braking += 1;
            }
            let stops = dips(&blocks[..=j], &from_mm, braking, planned_s, dip);
            while done < j && blocks[done].end_s <= planned_s {
                done += 1;
            }
            let queued = j - done;
            let short = self.low_water.saturating_sub(queued.max(1)) as f64;
            let longer_s =
                (self.stretch_s - block.nominal_s).max(0.0) * short / self.low_water.max(1) as f64;
            let took_s = block.end_s - block.start_s;
            let stretched = took_s < dip * (block.nominal_s + longer_s);
            if stops || stretched {
                risk[j - self.depth] += 1;
                risk[j + 1] -= 1;
            }
        }
        let mut open = 0;
        risk.iter()
            .take(blocks.len())
            .map(|change| {
                open += change;
                open > 0
            })
            .collect()
    }

    /// The largest share of the processor that step pulses take.
    fn load(&self, blocks: &[Timed]) -> f64 {
        let of = |b: &Timed| self.step_s * b.steps / (b.end_s - b.start_s);
        let most = blocks.iter().map(of).fold(0.0, f64::max);
        most.min(self.load_max)
    }
}

/// Whether the head falls below the share `dip` of its speed where the last of these blocks is planned at
/// `planned_s` only: from `braking` on it brakes for the end of what it knows, until that block is there.
fn dips(blocks: &[Timed], from_mm: &[f64], braking: usize, planned_s: f64, dip: f64) -> bool {
    let last = blocks.len() - 1;
    let mut at_s = blocks[braking].start_s;
    let mut speed_mm_s = blocks[braking].entry_mm_s;
    for k in braking..last {
        if at_s >= planned_s {
            return false;
        }
        let ideal_mm_s = blocks[k + 1].entry_mm_s;
        let reach_mm2_s2 = 2.0 * blocks[k].accel_mm_s2 * (from_mm[last] - from_mm[k + 1]);
        let exit_mm_s = ideal_mm_s.min(reach_mm2_s2.sqrt());
        if exit_mm_s < dip * ideal_mm_s {
            return true;
        }
        let ideal_s = blocks[k].end_s - blocks[k].start_s;
        at_s += ideal_s.max(2.0 * blocks[k].length_mm / (speed_mm_s + exit_mm_s));
        speed_mm_s = exit_mm_s;
    }
    at_s < planned_s && blocks[last].entry_mm_s > 0.0
}

/// How many blocks of `length_mm` must wait behind the one that is executed, so that a hold of `hold_s`
/// passes unseen at `speed_mm_s`: the head covers v·D in that time, and must still be able to stop within v²/2a.
pub fn blocks_to_bridge(hold_s: f64, speed_mm_s: f64, accel_mm_s2: f64, length_mm: f64) -> f64 {
    let braking_mm = speed_mm_s * speed_mm_s / (2.0 * accel_mm_s2);
    ((speed_mm_s * hold_s + braking_mm) / length_mm).ceil()
}

/// A block of the ideal, in time.
#[derive(Clone, Copy, Debug)]
pub struct Timed {
    /// Its move among those that were given.
    pub piece: usize,
    /// Start and end, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Speed at its start, mm/s.
    pub entry_mm_s: f64,
    /// Length, mm.
    pub length_mm: f64,
    /// Acceleration, mm/s².
    pub accel_mm_s2: f64,
    /// Its share of the bytes of its line.
    pub bytes: f64,
    /// Its length over its nominal speed, s.
    pub nominal_s: f64,
    steps: f64,
    arc: bool,
}

/// Moves, each with the bytes of its line, under the limits of `path` with every line known in advance. The
/// head rests before the first and after the last.
pub fn timed(path: &mut Path, moves: impl Iterator<Item = (Move, f64)>) -> Vec<Timed> {
    let mut ideal = Ideal::default();
    let mut all = Vec::new();
    for (piece, (m, bytes)) in moves.enumerate() {
        let blocks = path.blocks(&m);
        let share = bytes / f64::from(blocks.pieces);
        for (block, _) in blocks {
            ideal.push(&block, (piece, share, block.steps, m.circle.is_some()));
        }
    }
    ideal.rest();
    let mut at_s = 0.0;
    while let Some((course, (piece, bytes, steps, arc))) = ideal.pop() {
        let start_s = at_s;
        at_s += course.profile().duration_s();
        all.push(Timed {
            piece,
            start_s,
            end_s: at_s,
            entry_mm_s: course.entry_mm_s,
            length_mm: course.length_mm,
            accel_mm_s2: course.accel_mm_s2,
            bytes,
            nominal_s: course.length_mm / course.nominal_mm_s,
            steps,
            arc,
        });
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, Exp};

    #[test]
    fn a_hold_is_hardly_ever_exceeded() {
        let mean = 0.03;
        let quantile_s = Exp::new(1.0 / mean).unwrap().inverse_cdf(0.99);
        let high_s = high_s(&Span::Exponential { mean });
        assert!(
            (high_s / quantile_s - 1.0).abs() < 1e-9,
            "{high_s} {quantile_s}"
        );
    }

    /// A tenth of the time goes to saves. Chores want 5 % of the processor, of which step pulses leave half: another
    /// tenth. A line of 4 ms of work takes 8 ms of what is left, 10 ms in all; holds likewise.
    #[test]
    fn what_is_left_between_holds_serves_lines() {
        let service = service();
        assert!((service.line_s(10.0, 0.5) - 0.01).abs() < 1e-12);
        assert!((service.hold_s(0.5) - 0.12 / 0.8).abs() < 1e-12);
    }

    /// 2000 steps of 50 µs in 0.4 s take a quarter of the processor.
    #[test]
    fn the_busiest_block_sets_the_load() {
        let block = |steps, end_s| Timed {
            piece: 0,
            start_s: 1.0,
            end_s,
            entry_mm_s: 0.0,
            length_mm: 1.0,
            accel_mm_s2: 1000.0,
            bytes: 30.0,
            nominal_s: 0.1,
            steps,
            arc: false,
        };
        let blocks = [block(100.0, 1.1), block(2000.0, 1.4), block(1000.0, 2.0)];
        assert!((service().load(&blocks) - 0.25).abs() < 1e-12);
        let busy = [block(2000.0, 1.1)];
        assert_eq!(service().load(&busy), service().load_max);
    }

    fn service() -> Service {
        Service {
            cpu_line_s: 3e-3,
            cpu_byte_s: 1e-4,
            cpu_chord_s: 0.0,
            wall_line_s: 0.0,
            wall_byte_s: 0.0,
            hold_s: 0.1,
            cpu_hold_s: 0.01,
            share: 0.1,
            cpu_share: 0.05,
            step_s: 50e-6,
            load_max: 0.9,
            depth: 16,
            low_water: 0,
            stretch_s: 0.0,
        }
    }

    /// 50 mm/s for 0.2 s are 10 mm, and 50²/2000 = 1.25 mm to stop: 11.25 mm, 23 blocks of 0.5 mm.
    #[test]
    fn braking_counts_towards_the_queue() {
        assert_eq!(blocks_to_bridge(0.2, 50.0, 1000.0, 0.5), 23.0);
    }
}
