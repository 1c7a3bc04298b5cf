//! Draws the bodies of the coupon's sections inside a square box, as G-code lines.

use std::f64::consts::TAU;

/// Side of the box that the head stays in, mm.
pub const BOX_MM: f64 = 60.0;
/// Speed of the hops at a section's start and end, mm/s.
pub const HOP_MM_S: f64 = 50.0;
/// Length of the hop at a section's start, mm.
const HOP_MM: f64 = 5.0;
/// Bytes of one sector of a card.
const SECTOR_BYTES: usize = 512;
/// Longest comment line, its line end included, bytes: every controller takes lines of this length.
const COMMENT_BYTES_MAX: usize = 64;

/// What a section does between its two hops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Body {
    /// `count` strokes of `mm`, out and back in turn.
    Strokes { count: usize, mm: f64 },
    /// `groups` times ten short moves and `lines` lines that move nothing; ten short moves at the end.
    Nothing {
        groups: usize,
        lines: usize,
        decimals: usize,
    },
    /// `groups` times ten short moves and comments that fill `sectors` sectors; ten short moves at the end.
    Comments { groups: usize, sectors: usize },
    /// `count` chords of `mm` at `mm_s`.
    Chords {
        count: usize,
        mm: f64,
        mm_s: f64,
        decimals: usize,
    },
    /// `count` times `chords` chords of 0.1 mm at 60 mm/s and comments that fill `sectors` sectors.
    Held {
        count: usize,
        chords: usize,
        sectors: usize,
    },
    /// `count` times 5 mm at 10 mm/s and `chords` chords of `mm`.
    Bursts {
        count: usize,
        chords: usize,
        mm: f64,
    },
    /// `count` times `chords` chords of 0.05 mm, with `rest_ms` of rest in between.
    Pulses {
        count: usize,
        chords: usize,
        rest_ms: u32,
    },
    /// `count` arcs of `mm` around the box's middle, each no longer than a chord.
    Arcs { count: usize, mm: f64 },
    /// `count` full circles around the box's middle.
    Circles { count: usize, radius_mm: f64 },
}

impl Body {
    /// Whether it needs G3.
    pub fn is_arc(&self) -> bool {
        matches!(self, Body::Arcs { .. } | Body::Circles { .. })
    }
}

/// Writes moves along X inside the box and turns at its walls.
pub struct Pen {
    x0_mm: f64,
    y0_mm: f64,
    fastest_mm_s: f64,
    x_mm: f64,
    /// +1 or -1.
    direction: f64,
    feed: Option<u32>,
    /// The lines so far.
    pub lines: Vec<String>,
}

impl Pen {
    /// A pen that stands at the box's corner (x0, y0).
    pub fn new(x0_mm: f64, y0_mm: f64, fastest_mm_s: f64) -> Self {
        Pen {
            x0_mm,
            y0_mm,
            fastest_mm_s,
            x_mm: x0_mm,
            direction: 1.0,
            feed: None,
            lines: Vec::new(),
        }
    }

    /// One section: a hop towards the box's middle, the body, a hop to the wall that is farther off.
    pub fn section(&mut self, body: &Body) {
        let middle_mm = self.x0_mm + BOX_MM / 2.0;
        self.direction = if self.x_mm < middle_mm { 1.0 } else { -1.0 };
        self.to(self.x_mm + HOP_MM * self.direction, HOP_MM_S);
        self.body(body);
        let wall_mm = if self.x_mm >= middle_mm {
            self.x0_mm
        } else {
            self.x0_mm + BOX_MM
        };
        self.to(wall_mm, HOP_MM_S);
    }

    fn body(&mut self, body: &Body) {
        let fast = self.fastest_mm_s;
        match *body {
            Body::Strokes { count, mm } => {
                let from_mm = self.x_mm;
                for _ in 0..count / 2 {
                    self.to(from_mm + mm * self.direction, fast);
                    self.to(from_mm, fast);
                }
            }
            Body::Nothing {
                groups,
                lines,
                decimals,
            } => self.between_groups(groups, |pen| {
                let line = format!("G1 X{:.decimals$}", pen.x_mm);
                pen.lines.extend(std::iter::repeat_n(line, lines));
            }),
            Body::Comments { groups, sectors } => {
                self.between_groups(groups, |pen| pen.comment(sectors));
            }
            Body::Chords {
                count,
                mm,
                mm_s,
                decimals,
            } => self.steps(count, mm, mm_s, decimals),
            Body::Held {
                count,
                chords,
                sectors,
            } => {
                for _ in 0..count {
                    self.steps(chords, 0.1, 60.0, 2);
                    self.comment(sectors);
                }
            }
            Body::Bursts { count, chords, mm } => {
                for _ in 0..count {
                    self.steps(1, 5.0, 10.0, 2);
                    self.steps(chords, mm, fast, 2);
                }
            }
            Body::Pulses {
                count,
                chords,
                rest_ms,
            } => {
                for k in 0..count {
                    if k > 0 {
                        self.lines.push(format!("G4 P{rest_ms}"));
                    }
                    self.steps(chords, 0.05, fast, 2);
                }
            }
            Body::Arcs { count, mm } => self.arcs(count, mm),
            Body::Circles { count, radius_mm } => self.circles(count, radius_mm),
        }
    }

    /// The feed word, where the feed changes.
    fn feed(&mut self, mm_s: f64) -> String {
        let feed = (mm_s.min(self.fastest_mm_s) * 60.0).round() as u32;
        if self.feed == Some(feed) {
            return String::new();
        }
        self.feed = Some(feed);
        format!(" F{feed}")
    }

    fn to(&mut self, x_mm: f64, mm_s: f64) {
        self.x_mm = (x_mm * 100.0).round() / 100.0;
        let feed = self.feed(mm_s);
        self.lines.push(format!("G1 X{:.2}{feed}", self.x_mm));
    }

    fn steps(&mut self, count: usize, mm: f64, mm_s: f64, decimals: usize) {
        for _ in 0..count {
            let next_mm = self.x_mm + self.direction * mm;
            if next_mm > self.x0_mm + BOX_MM + 1e-9 {
                self.direction = -1.0;
            } else if next_mm < self.x0_mm - 1e-9 {
                self.direction = 1.0;
            }
            self.x_mm = ((self.x_mm + self.direction * mm) * 1e6).round() / 1e6;
            let feed = self.feed(mm_s);
            self.lines
                .push(format!("G1 X{:.decimals$}{feed}", self.x_mm));
        }
    }

    /// 1 mm in ten moves: enough that a rule "start when so many moves wait" is met.
    fn group(&mut self) {
        self.steps(10, 0.1, 50.0, 2);
    }

    fn between_groups(&mut self, groups: usize, between: impl Fn(&mut Pen)) {
        for _ in 0..groups {
            self.group();
            between(self);
        }
        self.group();
    }

    fn comment(&mut self, sectors: usize) {
        let mut left = sectors * SECTOR_BYTES;
        while left > 0 {
            let bytes = left.min(COMMENT_BYTES_MAX);
            self.lines.push(format!(";{}", "-".repeat(bytes - 2)));
            left -= bytes;
        }
    }

    fn middle(&self) -> [f64; 2] {
        [self.x0_mm + BOX_MM / 2.0, self.y0_mm + BOX_MM / 2.0]
    }

    fn arcs(&mut self, count: usize, mm: f64) {
        const RADIUS_MM: f64 = 10.0;
        let thousandth = |v: f64| (v * 1000.0).round() / 1000.0;
        let [cx, cy] = self.middle();
        let around = (TAU * RADIUS_MM / mm).round();
        let (mut x, mut y) = (thousandth(cx + RADIUS_MM), thousandth(cy));
        let line = format!("G1 X{x:.3} Y{y:.3}{}", self.feed(HOP_MM_S));
        self.lines.push(line);
        for k in 1..=count {
            let angle = TAU * k as f64 / around;
            let nx = thousandth(cx + RADIUS_MM * angle.cos());
            let ny = thousandth(cy + RADIUS_MM * angle.sin());
            let feed = self.feed(self.fastest_mm_s);
            let (i, j) = (cx - x, cy - y);
            self.lines
                .push(format!("G3 X{nx:.3} Y{ny:.3} I{i:.3} J{j:.3}{feed}"));
            (x, y) = (nx, ny);
        }
        self.back();
    }

    fn circles(&mut self, count: usize, radius_mm: f64) {
        let [cx, cy] = self.middle();
        let line = format!("G1 X{:.3} Y{cy:.3}{}", cx + radius_mm, self.feed(HOP_MM_S));
        self.lines.push(line);
        for _ in 0..count {
            let feed = self.feed(self.fastest_mm_s);
            self.lines.push(format!("G3 I{:.3} J0{feed}", -radius_mm));
        }
        self.back();
    }

    /// Back to the line that the other sections move on.
    fn back(&mut self) {
        self.x_mm = self.x0_mm + BOX_MM;
        let (x, y) = (self.x_mm, self.y0_mm);
        let line = format!("G1 X{x:.2} Y{y:.2}{}", self.feed(HOP_MM_S));
        self.lines.push(line);
    }
}
