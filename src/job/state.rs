//! The job's modal state: words → what a line asks of the machine.

use super::notices::NoticeKind;
use super::values::{ACCELS, DEVIATIONS, JUMPS, PERCENT, SPEEDS, dwell_s, within};
use super::words::{Code, Words};

/// Feed until the job sets one, mm/s.
pub const FIRST_FEED_MM_S: f64 = 25.0;
/// Coordinates beyond this are taken for damage, mm.
pub const REACH_MM: f64 = 1e6;
/// The slowest speed that a job can ask for, mm/s: 1 mm in 17 minutes. What is slower is taken for damage.
pub const SLOWEST_MM_S: f64 = 1e-3;
/// A speed that no board reaches (its axes end at 1e6 mm/s), mm/s: to ask for more is the same.
const FASTEST_MM_S: f64 = 1e9;
/// Moves up to this length are none, mm.
pub const NOTHING_MM: f64 = 1e-9;
/// Highest number of a tool; a `T` above it is another command (common practice, no source).
const TOOL_MAX: u32 = 99;
const INCH_MM: f64 = 25.4;

/// Letters that a motion may have.
const MOTION_LETTERS: u32 = super::words::letters(b"XYZEFIJKRPSN");

/// The axes that a board moves.
pub const AXES: [u8; 4] = *b"XYZE";

/// What a line asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Act {
    /// Nothing that takes the head's time.
    Nothing,
    /// A straight move or an arc.
    Move(Move),
    /// A commanded stop.
    Stop(Stop),
    /// Other limits from here on.
    Limit(Limit),
}

/// A move in machine coordinates (before any G92 shift).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Move {
    /// Start: x, y, z, e; mm.
    pub from_mm: [f64; 4],
    /// Programmed end: x, y, z, e; mm.
    pub to_mm: [f64; 4],
    /// Filament moved, mm.
    pub e_mm: f64,
    /// Speed asked for, the speed factor included, mm/s.
    pub feed_mm_s: f64,
    /// The circle, for an arc.
    pub circle: Option<Circle>,
}

/// The circle of an arc.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circle {
    /// The two axes of its plane, so that the first turned to the second is counter-clockwise.
    pub plane: [usize; 2],
    /// Centre in the plane, mm.
    pub centre_mm: [f64; 2],
    /// Clockwise, seen from the plane's positive normal.
    pub clockwise: bool,
    /// Start and end are the same point: all the way round.
    pub full: bool,
}

/// A commanded stop: the head comes to rest, then time passes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stop {
    /// G4: this long, s.
    Dwell(f64),
    /// M400, M0, M1: no time of its own.
    Plain,
    /// M109, M190, M191.
    Heat,
    /// G28, G29.
    Home,
    /// T, M600.
    Change,
}

/// A change of the machine's limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Limit {
    /// M201: largest accelerations of the axes, mm/s².
    AccelMax([Option<f64>; 4]),
    /// M203: largest speeds of the axes, mm/s.
    SpeedMax([Option<f64>; 4]),
    /// M204: base accelerations of printing, travel, retraction; mm/s².
    Accel([Option<f64>; 3]),
    /// M205: jumps of the axes in mm/s, and the corner deviation in mm.
    Corner([Option<f64>; 4], Option<f64>),
}

/// A coordinate that no machine has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Absurd {
    /// The axis letter.
    pub letter: u8,
    /// Where it would be, mm.
    pub at_mm: f64,
}

/// G5, a cubic spline: taken as a straight move to its end.
const SPLINE: u32 = 5;

/// The modal state of RS-274/NGC as far as print jobs use it.
#[derive(Clone, Debug)]
pub struct State {
    /// Position in the job's coordinates, mm.
    place_mm: [f64; 4],
    /// Machine coordinate = place + shift, mm.
    shift_mm: [f64; 4],
    /// Filament moved by M221 and rounding apart: the machine's E, mm.
    machine_e_mm: f64,
    inches: bool,
    relative: bool,
    relative_e: bool,
    plane: [usize; 2],
    feed_mm_s: Option<f64>,
    speed_factor: f64,
    flow_factor: f64,
    motion: Option<u32>,
}

impl Default for State {
    fn default() -> Self {
        State {
            place_mm: [0.0; 4],
            shift_mm: [0.0; 4],
            machine_e_mm: 0.0,
            inches: false,
            relative: false,
            relative_e: false,
            plane: [0, 1],
            feed_mm_s: None,
            speed_factor: 1.0,
            flow_factor: 1.0,
            motion: None,
        }
    }
}

impl State {
    /// Where the machine stands: x, y, z, e; mm.
    pub fn machine_mm(&self) -> [f64; 4] {
        let at = |i: usize| self.place_mm[i] + self.shift_mm[i];
        [at(0), at(1), at(2), self.machine_e_mm]
    }

    /// Takes one line and writes down what it asks for. `odd` hears of what could not be taken at
    /// its word.
    #[inline]
    pub fn take(
        &mut self,
        code: Code,
        words: &Words,
        act: &mut Act,
        odd: &mut impl FnMut(NoticeKind),
    ) -> Result<(), Absurd> {
        if let Code::Plain {
            letter: b'G',
            number: number @ (0..=3 | SPLINE),
        } = code
        {
            self.motion = Some(number);
        } else if code != Code::Modal || self.motion.is_none() {
            *act = self.other(code, words, odd)?;
            return Ok(());
        }
        match self.motion {
            Some(SPLINE) => {
                odd(NoticeKind::Spline);
                self.motion_line(1, words, act, odd)
            }
            number => self.motion_line(number.unwrap_or(0), words, act, odd),
        }
    }

    /// All lines but motions.
    fn other(
        &mut self,
        code: Code,
        words: &Words,
        odd: &mut impl FnMut(NoticeKind),
    ) -> Result<Act, Absurd> {
        let (letter, number) = match code {
            Code::Plain { letter, number } => (letter, number),
            Code::Modal => (b'G', u32::MAX),
            Code::Blank | Code::Deleted | Code::Other => return Ok(Act::Nothing),
        };
        Ok(match (letter, number) {
            (b'G', u32::MAX) => {
                self.feed(words, odd);
                Act::Nothing
            }
            (b'G', 4) => Act::Stop(Stop::Dwell(dwell_s(words, odd))),
            (b'G', 17..=19) => {
                self.plane = [[0, 1], [2, 0], [1, 2]][number as usize - 17];
                self.feed(words, odd);
                Act::Nothing
            }
            (b'G', 20 | 21) => {
                self.feed(words, odd);
                self.inches = number == 20;
                Act::Nothing
            }
            (b'G', 28) => {
                let all = !AXES[..3].iter().any(|a| words.names(*a));
                for (i, axis) in AXES[..3].iter().enumerate() {
                    if all || words.names(*axis) {
                        self.place_mm[i] = 0.0;
                        self.shift_mm[i] = 0.0;
                    }
                }
                Act::Stop(Stop::Home)
            }
            (b'G', 29) => Act::Stop(Stop::Home),
            (b'G', 90 | 91) => {
                self.relative = number == 91;
                self.feed(words, odd);
                Act::Nothing
            }
            (b'G', 92) => {
                self.rename(words)?;
                Act::Nothing
            }
            (b'M', 82 | 83) => {
                self.relative_e = number == 83;
                Act::Nothing
            }
            (b'M', 201) => Act::Limit(Limit::AccelMax(within(ACCELS, words, AXES, odd))),
            (b'M', 203) => Act::Limit(Limit::SpeedMax(within(SPEEDS, words, AXES, odd))),
            (b'M', 204) => {
                let [p, t, r, s] = within(ACCELS, words, *b"PTRS", odd);
                Act::Limit(Limit::Accel([p.or(s), t.or(s), r]))
            }
            (b'M', 205) => {
                let jumps = within(JUMPS, words, AXES, odd);
                let [deviation] = within(DEVIATIONS, words, [b'J'], odd);
                Act::Limit(Limit::Corner(jumps, deviation))
            }
            (b'M', 220 | 221) => {
                if let [Some(percent)] = within(PERCENT, words, [b'S'], odd) {
                    let factor = if number == 220 {
                        &mut self.speed_factor
                    } else {
                        &mut self.flow_factor
                    };
                    *factor = percent / 100.0;
                }
                Act::Nothing
            }
            (b'M', 0 | 1 | 400) => Act::Stop(Stop::Plain),
            (b'M', 109 | 190 | 191) => Act::Stop(Stop::Heat),
            (b'M', 600) | (b'T', 0..=TOOL_MAX) => Act::Stop(Stop::Change),
            _ => Act::Nothing,
        })
    }

    /// G92: the place where the machine stands gets these coordinates; none named, all are 0.
    fn rename(&mut self, words: &Words) -> Result<(), Absurd> {
        let bare = !AXES.iter().any(|a| words.value(*a).is_some());
        for (i, axis) in AXES.iter().enumerate() {
            if let Some(value) = words.value(*axis).or(bare.then_some(0.0)) {
                let value_mm = self.mm(value);
                within_reach(*axis, value_mm)?;
                self.shift_mm[i] += self.place_mm[i] - value_mm;
                self.place_mm[i] = value_mm;
            }
        }
        Ok(())
    }

    fn unit_mm(&self) -> f64 {
        if self.inches { INCH_MM } else { 1.0 }
    }

    fn mm(&self, value: f64) -> f64 {
        value * self.unit_mm()
    }

    fn feed(&mut self, words: &Words, odd: &mut impl FnMut(NoticeKind)) {
        if let Some(per_min) = words.value(b'F') {
            if per_min > 0.0 && per_min.is_finite() {
                let feed_mm_s = self.mm(per_min) / 60.0;
                if feed_mm_s < SLOWEST_MM_S {
                    odd(NoticeKind::TooSlow);
                }
                self.feed_mm_s = Some(feed_mm_s.clamp(SLOWEST_MM_S, FASTEST_MM_S));
            } else {
                odd(NoticeKind::NotPositive);
            }
        }
    }

    fn motion_line(
        &mut self,
        number: u32,
        words: &Words,
        act: &mut Act,
        odd: &mut impl FnMut(NoticeKind),
    ) -> Result<(), Absurd> {
        self.feed(words, odd);
        if words.has_other_than(MOTION_LETTERS) {
            odd(NoticeKind::StrangeAxis);
        }
        let from_mm = self.machine_mm();
        let was_mm = self.place_mm;
        let [x, y, z, e] = AXES.map(|axis| words.value(axis));
        let centred = number >= 2 && [b'I', b'J', b'K'].iter().any(|l| words.value(*l).is_some());
        let by_radius = number >= 2 && words.value(b'R').is_some();
        let moves = x.is_some() | y.is_some() | z.is_some() | e.is_some();
        if !moves && !centred {
            *act = Act::Nothing;
            return Ok(());
        }
        let unit_mm = self.unit_mm();
        let to = |i: usize, value: Option<f64>, relative: bool| match value {
            None => was_mm[i],
            Some(value) if relative => was_mm[i] + value * unit_mm,
            Some(value) => value * unit_mm,
        };
        let place_mm = [
            to(0, x, self.relative),
            to(1, y, self.relative),
            to(2, z, self.relative),
            to(3, e, self.relative | self.relative_e),
        ];
        // A job with relative E may wind any length of filament in all: its words are held.
        let e_word_mm = e.unwrap_or(0.0) * unit_mm;
        self.place_mm = place_mm;
        let e_mm = (place_mm[3] - was_mm[3]) * self.flow_factor;
        self.machine_e_mm += e_mm;
        let to_mm = self.machine_mm();
        for (i, at_mm) in to_mm.into_iter().take(3).enumerate() {
            within_reach(AXES[i], at_mm)?;
        }
        // Both the word and what becomes of it: by M221, or by an absolute E after a long relative one.
        within_reach(b'E', e_word_mm)?;
        within_reach(b'E', e_mm)?;
        if self.feed_mm_s.is_none() {
            odd(NoticeKind::NoFeed);
        }
        let asked_mm_s = self.feed_mm_s.unwrap_or(FIRST_FEED_MM_S) * self.speed_factor;
        if asked_mm_s < SLOWEST_MM_S {
            odd(NoticeKind::TooSlow);
        }
        let feed_mm_s = asked_mm_s.max(SLOWEST_MM_S);
        let straight = Move {
            from_mm,
            to_mm,
            e_mm,
            feed_mm_s,
            circle: None,
        };
        *act = Act::Move(straight);
        if (by_radius | centred)
            && let Act::Move(m) = act
        {
            m.circle = self.circle(number == 2, m, words, odd);
        }
        Ok(())
    }

    /// The circle of an arc.
    #[inline(never)]
    fn circle(
        &self,
        clockwise: bool,
        m: &Move,
        words: &Words,
        odd: &mut impl FnMut(NoticeKind),
    ) -> Option<Circle> {
        let [a, b] = self.plane;
        let from = [m.from_mm[a], m.from_mm[b]];
        let to = [m.to_mm[a], m.to_mm[b]];
        if words.value(b'R').is_some() {
            self.circle_by_radius(clockwise, from, to, words, odd)
        } else {
            self.circle_by_centre(clockwise, from, to, words, odd)
        }
    }

    /// RS-274/NGC 3.5.3.2: the offsets count from the start, whatever the distance mode.
    fn circle_by_centre(
        &self,
        clockwise: bool,
        from: [f64; 2],
        to: [f64; 2],
        words: &Words,
        odd: &mut impl FnMut(NoticeKind),
    ) -> Option<Circle> {
        let [a, b] = self.plane;
        let offset =
            [a, b].map(|axis| self.mm(words.value([b'I', b'J', b'K'][axis]).unwrap_or(0.0)));
        let radius = offset[0].hypot(offset[1]);
        if radius <= NOTHING_MM || radius > REACH_MM || !radius.is_finite() {
            if radius > NOTHING_MM {
                odd(NoticeKind::Arc);
            }
            return None;
        }
        let centre_mm = [from[0] + offset[0], from[1] + offset[1]];
        let at_end = (to[0] - centre_mm[0]).hypot(to[1] - centre_mm[1]);
        if (at_end - radius).abs() > 0.05 {
            odd(NoticeKind::ArcRadii);
        }
        let full = same_point(from, to);
        Some(Circle {
            plane: [a, b],
            centre_mm,
            clockwise,
            full,
        })
    }

    /// RS-274/NGC 3.5.3.1: a positive radius takes the short way, a negative one the long way.
    fn circle_by_radius(
        &self,
        clockwise: bool,
        from: [f64; 2],
        to: [f64; 2],
        words: &Words,
        odd: &mut impl FnMut(NoticeKind),
    ) -> Option<Circle> {
        let radius = self.mm(words.value(b'R').unwrap_or(0.0));
        let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
        let chord = dx.hypot(dy);
        // Half a chord may pass the radius by what rounding to two decimals explains.
        let fits = chord / 2.0 <= radius.abs() + 0.01;
        if radius.abs() <= NOTHING_MM || radius.abs() > REACH_MM || same_point(from, to) || !fits {
            if radius.abs() > NOTHING_MM {
                odd(NoticeKind::Arc);
            }
            return None;
        }
        let height = (radius * radius - chord * chord / 4.0).max(0.0).sqrt();
        // Left of the chord lies the centre of a short counter-clockwise arc.
        let side = if clockwise == (radius > 0.0) {
            -height
        } else {
            height
        };
        let centre_mm = [
            from[0] + dx / 2.0 - side * dy / chord,
            from[1] + dy / 2.0 + side * dx / chord,
        ];
        Some(Circle {
            plane: self.plane,
            centre_mm,
            clockwise,
            full: false,
        })
    }
}

fn same_point(from: [f64; 2], to: [f64; 2]) -> bool {
    (to[0] - from[0]).abs() <= NOTHING_MM && (to[1] - from[1]).abs() <= NOTHING_MM
}

fn within_reach(letter: u8, at_mm: f64) -> Result<(), Absurd> {
    if at_mm.abs() <= REACH_MM {
        Ok(())
    } else {
        Err(Absurd { letter, at_mm })
    }
}
