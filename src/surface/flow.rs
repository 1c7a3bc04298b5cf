//! Plastic: what leaves the nozzle, and what a stall leaves too much (model section 10).
//!
//! The flow q follows the commanded flow e with a lag: lag·q' = e - q. Over any span
//! ∫q dt = ∫e dt - lag·Δq, so that only q at the ends of a span is needed. Within a phase of a
//! block e is linear in time, and q has a closed form.
//!
//! While the replay goes like its ideal there is nothing too much, whatever q is. So q is worked out when
//! the two part, from as far back as it can remember: what lies sixty lags behind has left exp(-60) of
//! itself, far below the last digit.

use crate::board::types::Nozzle;
use crate::motion::trapezoid::Trapezoid;
use crate::replay::stream::Done;

/// Plastic more than the ideal's, mm³; less where negative.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Excess {
    /// During the rest before the block.
    pub rest_mm3: f64,
    /// During the block's motion.
    pub motion_mm3: f64,
}

/// How far back the flow remembers, lags.
const MEMORY_LAGS: f64 = 60.0;
/// Flows that differ by less, relatively, are the same: rounding may keep them apart for ever.
const SAME: f64 = 1e-14;
/// The last blocks that are kept for it.
const ALIKE_MAX: usize = 4096;

/// A block that went like its ideal.
#[derive(Clone, Copy, Debug)]
struct Alike {
    profile: Trapezoid,
    e_mm: f64,
    length_mm: f64,
    accel_mm_s2: f64,
}

/// Follows the flow of a replay and of its ideal.
#[derive(Clone, Debug)]
pub struct Flow {
    filament_mm2: f64,
    lag_s: f64,
    lead_s: f64,
    nozzle_mm: f64,
    /// Flow of the replay and of the ideal, mm³/s: before the blocks of `alike`.
    real: f64,
    ideal: f64,
    /// The last blocks, as long as they and what flows go like the ideal; a ring when it is full.
    alike: Vec<Alike>,
    /// The oldest of them.
    oldest: usize,
    /// How long they take, s.
    alike_s: f64,
    /// When the replay's last block ended, s.
    ended_s: f64,
    /// Commanded stops since then, s.
    stops_s: f64,
}

impl Flow {
    /// Nothing flows.
    pub fn new(nozzle: &Nozzle) -> Self {
        Flow {
            filament_mm2: std::f64::consts::PI * nozzle.filament_mm * nozzle.filament_mm / 4.0,
            lag_s: nozzle.lag_s,
            lead_s: nozzle.lead_s,
            nozzle_mm: nozzle.nozzle_mm,
            real: 0.0,
            ideal: 0.0,
            alike: Vec::new(),
            oldest: 0,
            alike_s: 0.0,
            ended_s: 0.0,
            stops_s: 0.0,
        }
    }

    /// A commanded stop took this long.
    pub fn stop(&mut self, start_s: f64, end_s: f64) {
        self.stops_s += end_s - start_s;
    }

    /// Flow of the replay now, mm³/s: what is left in the nozzle goes by it.
    pub fn now_mm3_s(&mut self) -> f64 {
        self.catch_up();
        self.real
    }

    /// The next block, and the rest before it.
    #[inline(always)]
    pub fn block(&mut self, done: &Done) -> Excess {
        let rest_s = (done.ran.start_s - self.ended_s).max(0.0);
        let stops_s = std::mem::take(&mut self.stops_s);
        self.ended_s = done.ran.end_s;
        if self.lag_s == 0.0 {
            return Excess::default();
        }
        if rest_s == 0.0
            && stops_s == 0.0
            && (self.real - self.ideal).abs() <= SAME * self.real.abs()
            && done.ran.profile == done.ideal
        {
            self.keep(Alike {
                profile: done.ran.profile,
                e_mm: done.place.e_mm,
                length_mm: done.length_mm,
                accel_mm_s2: done.accel_mm_s2,
            });
            return Excess::default();
        }
        self.part(done, rest_s, stops_s)
    }

    /// Keeps a block, in place of one that is forgotten if there is one.
    #[inline(always)]
    fn keep(&mut self, block: Alike) {
        if self.alike.len() == ALIKE_MAX {
            let oldest = &mut self.alike[self.oldest];
            let rest_s = self.alike_s - oldest.profile.duration_s();
            if rest_s >= MEMORY_LAGS * self.lag_s {
                *oldest = block;
                self.oldest = (self.oldest + 1) % ALIKE_MAX;
                self.alike_s = rest_s + block.profile.duration_s();
                return;
            }
            self.catch_up();
        }
        self.alike.push(block);
        self.alike_s += block.profile.duration_s();
    }

    /// Works out the flow behind the blocks that went like their ideal.
    #[inline(never)]
    fn catch_up(&mut self) {
        if self.alike.is_empty() {
            return;
        }
        let (newer, older) = self.alike.split_at(self.oldest);
        let behind = |flow: f64, a: &Alike| {
            let per_mm = self.filament_mm2 * a.e_mm / a.length_mm;
            self.through(&a.profile, per_mm, per_mm * a.accel_mm_s2, flow)
        };
        self.real = older.iter().chain(newer).fold(self.real, behind);
        self.ideal = self.real;
        self.alike.clear();
        self.oldest = 0;
        self.alike_s = 0.0;
    }

    /// A block that goes otherwise than its ideal, or behind a rest, or to which the flows differ.
    #[inline(never)]
    fn part(&mut self, done: &Done, rest_s: f64, stops_s: f64) -> Excess {
        self.catch_up();
        let share = self.lag_s - self.lead_s;
        let rested = |q: f64, s: f64| {
            if s == 0.0 || q == 0.0 {
                return (0.0, q);
            }
            (q * -(-s / self.lag_s).exp_m1(), q * (-s / self.lag_s).exp())
        };
        let (real_rest, real) = rested(self.real, rest_s);
        let (ideal_rest, ideal) = rested(self.ideal, stops_s);
        let per_mm = self.filament_mm2 * done.place.e_mm / done.length_mm;
        let ramp = per_mm * done.accel_mm_s2;
        self.real = self.through(&done.ran.profile, per_mm, ramp, real);
        self.ideal = if real == ideal && done.ran.profile == done.ideal {
            self.real
        } else {
            self.through(&done.ideal, per_mm, ramp, ideal)
        };
        Excess {
            rest_mm3: share * (real_rest - ideal_rest),
            motion_mm3: share * ((self.ideal - ideal) - (self.real - real)),
        }
    }

    /// The flow behind a profile that draws `per_mm` mm³ for each mm, from `flow` before it; `ramp`: how
    /// fast the commanded flow rises and falls, mm³/s².
    #[inline(always)]
    fn through(&self, p: &Trapezoid, per_mm: f64, ramp: f64, flow: f64) -> f64 {
        // e = e0 + s t:  q = e0 + s (t - lag) + (q0 - e0 + s lag) exp(-t/lag).
        let phase = |q: f64, took_s: f64, from: f64, slope: f64| {
            if took_s <= 0.0 {
                return q;
            }
            let start = per_mm * from - slope * self.lag_s;
            start + slope * took_s + (q - start) * (-took_s / self.lag_s).exp()
        };
        let risen = phase(flow, p.rise_s, p.entry_mm_s, ramp);
        let cruised = phase(risen, p.cruise_s, p.peak_mm_s, 0.0);
        phase(cruised, p.fall_s, p.peak_mm_s, -ramp)
    }

    /// How far a bead one nozzle wide stands proud with this much too much on a layer, mm; `None`
    /// where the layer has no height.
    pub fn bump_mm(&self, excess_mm3: f64, layer_height_mm: f64) -> Option<f64> {
        (layer_height_mm > 0.0).then(|| excess_mm3 / (self.nozzle_mm * layer_height_mm))
    }
}
