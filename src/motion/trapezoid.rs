//! One block's speed over time: ramp, cruise, ramp.

/// The phases of a block between fixed entry and exit speeds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trapezoid {
    /// Entry speed, mm/s.
    pub entry_mm_s: f64,
    /// Highest speed reached, mm/s.
    pub peak_mm_s: f64,
    /// Exit speed, mm/s.
    pub exit_mm_s: f64,
    /// Time from entry to peak, s.
    pub rise_s: f64,
    /// Time at the peak, s.
    pub cruise_s: f64,
    /// Time from peak to exit, s.
    pub fall_s: f64,
}

impl Trapezoid {
    /// The time-optimal profile over `length_mm` at constant acceleration `accel_mm_s2`
    /// ([model section 3](crate::model#3-look-ahead-and-execution): peak = min(v, sqrt(a L + (v0² + v1²)/2))).
    ///
    /// Entry and exit must be within reach of each other: |v1² - v0²| <= 2 a L.
    #[inline]
    pub fn fit(
        length_mm: f64,
        nominal_mm_s: f64,
        accel_mm_s2: f64,
        entry_mm_s: f64,
        exit_mm_s: f64,
    ) -> Self {
        if entry_mm_s == nominal_mm_s && exit_mm_s == nominal_mm_s {
            // Most of a job; the same bits as below.
            return Trapezoid {
                entry_mm_s,
                peak_mm_s: nominal_mm_s,
                exit_mm_s,
                rise_s: 0.0,
                cruise_s: length_mm / nominal_mm_s,
                fall_s: 0.0,
            };
        }
        let entry_sq = entry_mm_s * entry_mm_s;
        let exit_sq = exit_mm_s * exit_mm_s;
        let peak_sq = accel_mm_s2 * length_mm + 0.5 * (entry_sq + exit_sq);
        let (peak_mm_s, cruise_s) = if peak_sq <= nominal_mm_s * nominal_mm_s {
            (peak_sq.sqrt(), 0.0)
        } else {
            let ramps_mm = (nominal_mm_s * nominal_mm_s - 0.5 * (entry_sq + exit_sq)) / accel_mm_s2;
            (nominal_mm_s, (length_mm - ramps_mm).max(0.0) / nominal_mm_s)
        };
        Trapezoid {
            entry_mm_s,
            peak_mm_s,
            exit_mm_s,
            rise_s: ((peak_mm_s - entry_mm_s) / accel_mm_s2).max(0.0),
            cruise_s,
            fall_s: ((peak_mm_s - exit_mm_s) / accel_mm_s2).max(0.0),
        }
    }

    /// Time for the whole block, s.
    #[inline]
    pub fn duration_s(&self) -> f64 {
        self.rise_s + self.cruise_s + self.fall_s
    }

    /// Distances of the three phases, mm.
    pub fn spans_mm(&self) -> [f64; 3] {
        [
            0.5 * (self.entry_mm_s + self.peak_mm_s) * self.rise_s,
            self.peak_mm_s * self.cruise_s,
            0.5 * (self.peak_mm_s + self.exit_mm_s) * self.fall_s,
        ]
    }

    /// Distance covered after `t_s`, mm.
    pub fn covered_mm(&self, t_s: f64) -> f64 {
        let phases = [
            (self.rise_s, self.entry_mm_s, self.peak_mm_s),
            (self.cruise_s, self.peak_mm_s, self.peak_mm_s),
            (self.fall_s, self.peak_mm_s, self.exit_mm_s),
        ];
        let mut left_s = t_s.max(0.0);
        let mut covered_mm = 0.0;
        for (span_s, from_mm_s, to_mm_s) in phases {
            let t_s = left_s.min(span_s);
            if t_s > 0.0 {
                let end_mm_s = from_mm_s + (to_mm_s - from_mm_s) * t_s / span_s;
                covered_mm += 0.5 * (from_mm_s + end_mm_s) * t_s;
            }
            left_s -= t_s;
        }
        covered_mm
    }

    /// Time after which `at_mm` are covered, s.
    pub fn time_s(&self, at_mm: f64) -> f64 {
        let [rise_mm, cruise_mm, fall_mm] = self.spans_mm();
        // From v0 over d: d = (v0 + v) t / 2.
        let after = |from_mm_s: f64, d_mm: f64, v_mm_s: f64, most_s: f64| {
            if d_mm <= 0.0 {
                0.0
            } else {
                (2.0 * d_mm / (from_mm_s + v_mm_s)).min(most_s)
            }
        };
        if at_mm >= rise_mm + cruise_mm + fall_mm {
            return self.duration_s();
        }
        let speed_mm_s = self.speed_mm_s(at_mm);
        let falls_mm = at_mm - rise_mm - cruise_mm;
        if at_mm < rise_mm {
            after(self.entry_mm_s, at_mm, speed_mm_s, self.rise_s)
        } else if falls_mm <= 0.0 || fall_mm <= 0.0 {
            self.rise_s + ((at_mm - rise_mm) / self.peak_mm_s).min(self.cruise_s)
        } else {
            self.rise_s + self.cruise_s + after(self.peak_mm_s, falls_mm, speed_mm_s, self.fall_s)
        }
    }

    /// Speed where `at_mm` are covered, mm/s: v² is linear in the distance.
    pub fn speed_mm_s(&self, at_mm: f64) -> f64 {
        let [rise_mm, cruise_mm, fall_mm] = self.spans_mm();
        let ramp = |from: f64, to: f64, part: f64| {
            (from * from + (to * to - from * from) * part.clamp(0.0, 1.0)).sqrt()
        };
        let falls_mm = at_mm - rise_mm - cruise_mm;
        if at_mm < rise_mm {
            ramp(self.entry_mm_s, self.peak_mm_s, at_mm / rise_mm)
        } else if falls_mm <= 0.0 || fall_mm <= 0.0 {
            self.peak_mm_s
        } else {
            ramp(self.peak_mm_s, self.exit_mm_s, falls_mm / fall_mm)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By the elementary formulas: 1000 mm/s² from 10 to 50 mm/s takes 40 ms and 1.2 mm.
    #[test]
    fn places_and_speeds() {
        let block = Trapezoid::fit(10.0, 50.0, 1000.0, 10.0, 0.0);
        assert!((block.covered_mm(0.04) - 1.2).abs() < 1e-12);
        assert!((block.covered_mm(block.duration_s()) - 10.0).abs() < 1e-12);
        assert!((block.speed_mm_s(1.2) - 50.0).abs() < 1e-12);
        // 0.45 mm before the end: v = sqrt(2 a s) = 30 mm/s.
        assert!((block.speed_mm_s(9.55) - 30.0).abs() < 1e-9);
        assert_eq!(block.speed_mm_s(0.0), 10.0);
        // The time at a place is what covers it.
        for at_mm in [0.0, 0.3, 1.2, 5.0, 8.75, 9.0, 9.999, 10.0] {
            let t_s = block.time_s(at_mm);
            assert!((block.covered_mm(t_s) - at_mm).abs() < 1e-12, "{at_mm}");
        }
    }
}
