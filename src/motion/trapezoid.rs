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
    /// (model section 3: peak = min(v, sqrt(a L + (v0² + v1²)/2))).
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
}
