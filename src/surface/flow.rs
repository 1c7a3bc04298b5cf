//! Plastic: what leaves the nozzle, and what a stall leaves too much ([model section 10](crate::model#10-plastic)).
//!
//! The flow q follows the commanded flow e with a lag: lag·q' = e - q. Over any span
//! ∫q dt = ∫e dt - lag·Δq, so that only q at the ends of a span is needed. Within a phase of a
//! block e is linear in time, and q has a closed form. Plastic is commanded only where the job prints: a
//! retraction and what brings it back are taken to cancel inside the nozzle.
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
    /// Filament that it prints with, mm.
    e_mm: f64,
    length_mm: f64,
    accel_mm_s2: f64,
}

/// Filament that a block prints with, mm: what it moves, if it extrudes while it moves in X, Y or Z.
#[inline(always)]
fn printed_mm(done: &Done) -> f64 {
    if done.place.prints() {
        done.place.e_mm
    } else {
        0.0
    }
}

/// Follows the flow of a replay and of its ideal.
#[derive(Clone, Debug)]
pub struct Flow {
    filament_mm2: f64,
    lag_s: f64,
    lead_s: f64,
    /// Flow of the replay and of the ideal, mm³/s: before the blocks of `alike`.
    real: f64,
    ideal: f64,
    /// Both as each phase began of the last block that did not go like its ideal.
    begun: [[f64; 3]; 2],
    /// How long the head rested before it, s.
    rest_s: f64,
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
            real: 0.0,
            ideal: 0.0,
            begun: [[0.0; 3]; 2],
            rest_s: 0.0,
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
                e_mm: printed_mm(done),
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
                .1
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
        self.rest_s = rest_s;
        let per_mm = self.filament_mm2 * printed_mm(done) / done.length_mm;
        let ramp = per_mm * done.accel_mm_s2;
        let (begun, real_behind) = self.through(&done.ran.profile, per_mm, ramp, real);
        let alike = real == ideal && done.ran.profile == done.ideal;
        let (ideal_begun, ideal_behind) = if alike {
            (begun, real_behind)
        } else {
            self.through(&done.ideal, per_mm, ramp, ideal)
        };
        self.begun = [begun, ideal_begun];
        self.real = real_behind;
        self.ideal = ideal_behind;
        Excess {
            rest_mm3: share * (real_rest - ideal_rest),
            motion_mm3: share * ((self.ideal - ideal) - (self.real - real)),
        }
    }

    /// The flow as each phase begins of a profile that draws `per_mm` mm³ for each mm, from `flow` before it,
    /// and behind it; `ramp`: how fast the commanded flow rises and falls, mm³/s².
    #[inline(always)]
    fn through(&self, p: &Trapezoid, per_mm: f64, ramp: f64, flow: f64) -> ([f64; 3], f64) {
        let risen = behind(flow, p.rise_s, per_mm * p.entry_mm_s, ramp, self.lag_s);
        let cruised = behind(risen, p.cruise_s, per_mm * p.peak_mm_s, 0.0, self.lag_s);
        let fallen = behind(cruised, p.fall_s, per_mm * p.peak_mm_s, -ramp, self.lag_s);
        ([flow, risen, cruised], fallen)
    }

    /// How long the head rested before the block that was taken last, s, if it did not go like its ideal.
    pub fn rest_s(&self) -> f64 {
        self.rest_s
    }

    /// Both flows over the block that was taken last, by place. It did not go like its ideal: its profile
    /// is another, or it lies behind a rest.
    pub fn passing(&self, done: &Done) -> Passing {
        let per_mm = self.filament_mm2 * printed_mm(done) / done.length_mm;
        let course = |profile: &Trapezoid, flows: [f64; 3]| Course {
            profile: *profile,
            accel_mm_s2: done.accel_mm_s2,
            per_mm,
            lag_s: self.lag_s,
            spans_mm: profile.spans_mm(),
            flows,
        };
        Passing {
            share_s: self.lag_s - self.lead_s,
            real: course(&done.ran.profile, self.begun[0]),
            ideal: course(&done.ideal, self.begun[1]),
        }
    }
}

/// The flow `took_s` after it was `flow`, where e = e0 + slope t is commanded:
/// q = e0 + slope (t - lag) + (q0 - e0 + slope lag) exp(-t/lag).
#[inline(always)]
fn behind(flow: f64, took_s: f64, e0: f64, slope: f64, lag_s: f64) -> f64 {
    if took_s <= 0.0 {
        return flow;
    }
    let start = e0 - slope * lag_s;
    start + slope * took_s + (flow - start) * (-took_s / lag_s).exp()
}

/// The flows of the replay and of its ideal as they pass a place of a block.
#[derive(Clone, Copy, Debug)]
pub struct Passing {
    share_s: f64,
    real: Course,
    ideal: Course,
}

impl Passing {
    /// Plastic more than the ideal's from the block's start to a place of it, mm³. Both lay the same
    /// filament up to there, so that only the flows at both ends count.
    #[inline]
    pub fn surplus_mm3(&self, at_mm: f64) -> f64 {
        let laid = (self.ideal.at(at_mm) - self.ideal.flows[0])
            - (self.real.at(at_mm) - self.real.flows[0]);
        self.share_s * laid
    }

    /// How far on from a place nothing becomes more or less, mm from the block's start; `None` if it does.
    pub fn level_until_mm(&self, at_mm: f64) -> Option<f64> {
        let level = self.real.steady(at_mm) && self.ideal.steady(at_mm);
        level.then(|| self.real.cruise_end_mm().min(self.ideal.cruise_end_mm()))
    }
}

/// One profile's flow by place.
#[derive(Clone, Copy, Debug)]
struct Course {
    profile: Trapezoid,
    accel_mm_s2: f64,
    per_mm: f64,
    lag_s: f64,
    spans_mm: [f64; 3],
    /// The flow as each phase begins, mm³/s.
    flows: [f64; 3],
}

/// What is left of a change of flow, relatively, when it counts as over.
const STEADY: f64 = 1e-16;

impl Course {
    /// The flow as the head passes a place, mm³/s.
    #[inline]
    fn at(&self, at_mm: f64) -> f64 {
        let [rise_mm, cruise_mm, fall_mm] = self.spans_mm;
        let Trapezoid {
            entry_mm_s,
            peak_mm_s,
            ..
        } = self.profile;
        let (accel, ramp) = (self.accel_mm_s2, self.per_mm * self.accel_mm_s2);
        // From v0 over d: v² = v0² ± 2 a d, and d = (v0 + v) t / 2.
        let after = |from_mm_s: f64, d_mm: f64, sign: f64| {
            let square = from_mm_s * from_mm_s + sign * 2.0 * accel * d_mm;
            2.0 * d_mm / (from_mm_s + square.max(0.0).sqrt())
        };
        let falls_mm = at_mm - rise_mm - cruise_mm;
        let (phase, took_s, from_mm_s, slope) = if at_mm <= 0.0 {
            return self.flows[0];
        } else if at_mm < rise_mm {
            (0, after(entry_mm_s, at_mm, 1.0), entry_mm_s, ramp)
        } else if falls_mm <= 0.0 || fall_mm <= 0.0 {
            let took_s = ((at_mm - rise_mm) / peak_mm_s).min(self.profile.cruise_s);
            (1, took_s, peak_mm_s, 0.0)
        } else {
            let took_s = after(peak_mm_s, falls_mm, -1.0).min(self.profile.fall_s);
            (2, took_s, peak_mm_s, -ramp)
        };
        behind(
            self.flows[phase],
            took_s,
            self.per_mm * from_mm_s,
            slope,
            self.lag_s,
        )
    }

    fn cruise_end_mm(&self) -> f64 {
        self.spans_mm[0] + self.spans_mm[1]
    }

    /// Whether the flow changes no more up to the end of the cruise.
    fn steady(&self, at_mm: f64) -> bool {
        if at_mm < self.spans_mm[0] || at_mm >= self.cruise_end_mm() {
            return false;
        }
        let e = self.per_mm * self.profile.peak_mm_s;
        let took_s = (at_mm - self.spans_mm[0]) / self.profile.peak_mm_s;
        let left = (self.flows[1] - e).abs() * (-took_s / self.lag_s).exp();
        left <= STEADY * e || left < f64::MIN_POSITIVE
    }
}
