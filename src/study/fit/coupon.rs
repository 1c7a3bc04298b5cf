//! The coupon: a dry-run job whose sections' durations tell a board's numbers.
//!
//! It has the words G0 to G4, G21, G28 and G90 only: no M word and no E word, so it heats nothing and moves no
//! filament. Sections stand between pauses of 3 s. Which sections there are was chosen by greedy
//! D-optimality (A. C. Atkinson, A. N. Donev, "Optimum Experimental Designs", 1992) over simulated boards.

use crate::board::types::{Board, Link};

use super::pen::{BOX_MM, Body, HOP_MM_S, Pen};

/// Pause between two sections, ms.
pub const PAUSE_MS: u32 = 3000;
/// Highest speed of the head, mm/s.
pub const SPEED_MAX_MM_S: f64 = 100.0;
/// Lowest speed that may be chosen, mm/s.
pub const SPEED_MIN_MM_S: f64 = 10.0;
/// Lowest height that may be chosen, mm.
pub const Z_MIN_MM: f64 = 5.0;
/// Coordinates beyond this are on no desktop machine, mm.
const REACH_MM: f64 = 2000.0;
/// Speed of the rise to the coupon's height, mm/s.
const RISE_MM_S: f64 = 10.0;

/// How job lines reach the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LinkKind {
    /// From a card.
    Card,
    /// From a host.
    Serial,
}

impl LinkKind {
    /// How lines reach this board.
    pub fn of(board: &Board) -> Self {
        match board.link {
            Link::Card(_) => LinkKind::Card,
            Link::Serial(_) => LinkKind::Serial,
        }
    }
}

/// Where the coupon moves, how fast, and for which kind of link.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// The link that is to be measured.
    pub link: LinkKind,
    /// The box's corner with the least x and y, mm.
    pub at_mm: [f64; 2],
    /// Height of all of it, mm.
    pub z_mm: f64,
    /// Highest speed, mm/s.
    pub speed_mm_s: f64,
    /// Whether arcs and circles are part of it.
    pub arcs: bool,
}

impl Plan {
    /// Checks the numbers; the error says which one is wrong and what is allowed.
    pub fn check(&self) -> Result<(), String> {
        let within = |option: &str, value: f64, low: f64, high: f64, unit: &str| {
            if (low..=high).contains(&value) {
                Ok(())
            } else {
                // Not hundreds of digits.
                let value = format!("{value:?}");
                let value = value.trim_end_matches(".0");
                Err(format!(
                    "{option} {value}: must be from {low} to {high} {unit}"
                ))
            }
        };
        for at_mm in self.at_mm {
            within("--at", at_mm, -REACH_MM, REACH_MM, "mm")?;
        }
        within("--z", self.z_mm, Z_MIN_MM, REACH_MM, "mm")?;
        within(
            "--speed",
            self.speed_mm_s,
            SPEED_MIN_MM_S,
            SPEED_MAX_MM_S,
            "mm/s",
        )
    }

    /// The box, rounded to 0.01 mm: least x, least y, greatest x, greatest y.
    pub fn box_mm(&self) -> [f64; 4] {
        let [x, y] = self.at_mm.map(|v| (v * 100.0).round() / 100.0);
        [x, y, x + BOX_MM, y + BOX_MM]
    }

    /// Names of its sections, in order.
    pub fn names(&self) -> Vec<&'static str> {
        self.sections().map(|s| s.name).collect()
    }

    fn sections(&self) -> impl Iterator<Item = &'static Section> {
        let all: &[Section] = match self.link {
            LinkKind::Card => &CARD,
            LinkKind::Serial => &SERIAL,
        };
        let arcs = self.arcs;
        all.iter().filter(move |s| arcs || !s.body.is_arc())
    }

    /// The coupon's text. `head`: comment lines for its top, without semicolons.
    pub fn text(&self, head: &[String]) -> String {
        let [x0, y0, ..] = self.box_mm();
        let feed = |mm_s: f64| (mm_s.min(self.speed_mm_s) * 60.0).round();
        let mut lines: Vec<String> = head.iter().map(|l| format!("; {l}")).collect();
        lines.extend(["G21", "G90", "G28"].map(String::from));
        lines.push(format!("G1 Z{:.2} F{}", self.z_mm, feed(RISE_MM_S)));
        lines.push(format!("G1 X{x0:.2} Y{y0:.2} F{}", feed(HOP_MM_S)));
        let count = self.sections().count();
        let mut pen = Pen::new(x0, y0, self.speed_mm_s);
        for (k, section) in self.sections().enumerate() {
            lines.push(format!("G4 P{PAUSE_MS}"));
            lines.push(format!("; section {} of {count}: {}", k + 1, section.name));
            pen.section(&section.body);
            lines.append(&mut pen.lines);
        }
        lines.push(format!("G4 P{PAUSE_MS}"));
        let mut text = lines.join("\n");
        text.push('\n');
        text
    }
}

/// What a longer or shorter time of the section of this name points to, where the section is one of ours.
pub fn points_to(name: &str) -> Option<&'static str> {
    let mut all = CARD.iter().chain(&SERIAL);
    all.find(|s| s.name == name).map(|s| s.points_to)
}

struct Section {
    name: &'static str,
    body: Body,
    points_to: &'static str,
}

const fn section(name: &'static str, body: Body, points_to: &'static str) -> Section {
    Section {
        name,
        body,
        points_to,
    }
}

const fn chords(count: usize, mm: f64, mm_s: f64, decimals: usize) -> Body {
    Body::Chords {
        count,
        mm,
        mm_s,
        decimals,
    }
}

const MECHANICS: &str = "the acceleration, or the board's clock";
const LINES: &str = "what a line costs";
const BYTES: &str = "what a byte costs: the card, or the processor";
const WIRE: &str = "what a byte costs on the wire";
const THROUGHPUT: &str = "how many short moves a second the board can take in";
const SAVES: &str = "how long and how often state is saved";
const HELD: &str = "the card's speed, and how long the planner queue bridges a wait";
const QUEUE: &str = "the lengths of the queues";
const FILLING: &str = "how the planner queue fills after a rest";
const ARCS: &str = "what a chord of an arc costs";
const CIRCLES: &str = "the length of the chords of arcs, or the corner rule";

const STROKES: Section = section(
    "strokes of 5 mm, to and fro",
    Body::Strokes {
        count: 100,
        mm: 5.0,
    },
    MECHANICS,
);
const SHORT_BURSTS: Section = section(
    "a slow stroke, then 16 chords",
    Body::Bursts {
        count: 30,
        chords: 16,
        mm: 0.03,
    },
    QUEUE,
);
const SHORT_PULSES: Section = section(
    "20 chords, then 0.3 s of rest",
    Body::Pulses {
        count: 25,
        chords: 20,
        rest_ms: 300,
    },
    FILLING,
);
const SMALL_CIRCLES: Section = section(
    "circles of 4 mm radius",
    Body::Circles {
        count: 12,
        radius_mm: 4.0,
    },
    CIRCLES,
);
const LARGE_CIRCLES: Section = section(
    "circles of 10 mm radius",
    Body::Circles {
        count: 8,
        radius_mm: 10.0,
    },
    CIRCLES,
);

const fn nothing(groups: usize, lines: usize, decimals: usize) -> Body {
    Body::Nothing {
        groups,
        lines,
        decimals,
    }
}

const fn held(count: usize, chords: usize, sectors: usize) -> Body {
    Body::Held {
        count,
        chords,
        sectors,
    }
}

const fn bursts(count: usize, chords: usize, mm: f64) -> Body {
    Body::Bursts { count, chords, mm }
}

const fn pulses(count: usize, chords: usize, rest_ms: u32) -> Body {
    Body::Pulses {
        count,
        chords,
        rest_ms,
    }
}

#[rustfmt::skip]
static CARD: [Section; 20] = [
    STROKES,
    section("lines that move nothing", nothing(5, 2000, 2), LINES),
    section("comments", Body::Comments { groups: 4, sectors: 100 }, BYTES),
    section("chords of 0.02 mm", chords(4000, 0.02, 100.0, 2), THROUGHPUT),
    section("chords of 0.03 mm", chords(4000, 0.03, 100.0, 2), THROUGHPUT),
    section("chords of 0.05 mm", chords(4000, 0.05, 100.0, 2), THROUGHPUT),
    section("chords of 0.08 mm", chords(4000, 0.08, 100.0, 2), THROUGHPUT),
    section("chords of 0.12 mm", chords(4000, 0.12, 100.0, 2), THROUGHPUT),
    section("chords of 0.2 mm", chords(3000, 0.2, 100.0, 2), THROUGHPUT),
    section("chords of 0.1 mm at a chord in 3 ms", chords(6000, 0.1, 100.0 / 3.0, 2), SAVES),
    section("chords of 0.1 mm at a chord in 6 ms", chords(3500, 0.1, 100.0 / 6.0, 2), SAVES),
    section("40 chords, then a comment of 2 KiB", held(25, 40, 4), HELD),
    section("30 chords, then a comment of 1 KiB", held(60, 30, 2), HELD),
    SHORT_BURSTS,
    section("a slow stroke, then 32 chords", bursts(20, 32, 0.05), QUEUE),
    SHORT_PULSES,
    section("60 chords, then 0.6 s of rest", pulses(15, 60, 600), FILLING),
    section("arcs of 0.02 mm", Body::Arcs { count: 2500, mm: 0.02 }, ARCS),
    SMALL_CIRCLES,
    LARGE_CIRCLES,
];

#[rustfmt::skip]
static SERIAL: [Section; 17] = [
    STROKES,
    section("lines that move nothing", nothing(10, 100, 2), LINES),
    section("long lines that move nothing", nothing(10, 100, 22), WIRE),
    section("chords of 0.02 mm", chords(2000, 0.02, 100.0, 2), THROUGHPUT),
    section("chords of 0.05 mm", chords(1500, 0.05, 100.0, 2), THROUGHPUT),
    section("chords of 0.2 mm", chords(2000, 0.2, 100.0, 2), THROUGHPUT),
    section("chords of 0.5 mm", chords(1800, 0.5, 100.0, 2), THROUGHPUT),
    section("chords of 0.8 mm", chords(1200, 0.8, 100.0, 2), THROUGHPUT),
    section("chords of 0.05 mm in long lines", chords(1000, 0.05, 100.0, 40), WIRE),
    SHORT_BURSTS,
    section("a slow stroke, then 32 chords of 0.2 mm", bursts(16, 32, 0.2), QUEUE),
    section("a slow stroke, then 128 chords", bursts(10, 128, 0.03), QUEUE),
    SHORT_PULSES,
    section("60 chords, then 0.6 s of rest", pulses(14, 60, 600), FILLING),
    section("arcs of 0.05 mm", Body::Arcs { count: 1500, mm: 0.05 }, ARCS),
    SMALL_CIRCLES,
    LARGE_CIRCLES,
];
