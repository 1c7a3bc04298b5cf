//! The board: every number that stands between a line of the job and the moving head.
//!
//! One [`Board`] holds what one board file holds, checked, with every duration turned into
//! seconds. Speeds are in mm/s, accelerations in mm/s², lengths in mm.

use serde::Serialize;

/// A duration that is fixed or drawn anew at each use, in seconds ([model section 7](crate::model#7-durations-and-draws)).
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Span {
    /// Always the same.
    Fixed(f64),
    /// Uniform between two bounds.
    Uniform {
        /// Shortest, s.
        min: f64,
        /// Longest, s.
        max: f64,
    },
    /// Exponential with this mean.
    Exponential {
        /// Mean, s.
        mean: f64,
    },
    /// Lognormal, given by its median and its 0.99 quantile.
    Lognormal {
        /// Median, s.
        median: f64,
        /// 99th percentile, s.
        p99: f64,
    },
}

impl Span {
    /// No time at all.
    pub const ZERO: Span = Span::Fixed(0.0);

    /// Whether every draw is exactly zero.
    pub fn is_zero(&self) -> bool {
        *self == Span::ZERO
    }

    /// Whether two uses can differ.
    pub fn is_drawn(&self) -> bool {
        !matches!(self, Span::Fixed(_))
    }
}

/// What a board file describes: the whole path from the job file to the nozzle.
#[derive(Clone, Debug, PartialEq)]
pub struct Board {
    /// Its name.
    pub name: String,
    /// What it is and where its numbers come from.
    pub notes: String,
    /// How job lines reach the controller.
    pub link: Link,
    /// What the processor spends on a line, a byte, a block.
    pub costs: Costs,
    /// Work that the main loop does now and then, in file order.
    pub chores: Vec<Chore>,
    /// The two queues and the restart rule.
    pub queue: Queue,
    /// What the mechanics may do.
    pub motion: Motion,
    /// How long commanded stops take beyond their own words.
    pub wait: Wait,
    /// Saves that let a job resume after a power cut.
    pub save: Save,
    /// What the plastic does.
    pub nozzle: Nozzle,
    /// What a fit knows of the board's numbers, where they were fitted.
    pub fit: Option<Fitted>,
}

/// What a fit knows: draws of the posterior of all keys together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Fitted {
    /// Names of the keys.
    pub keys: Vec<String>,
    /// By draw, and in it by key: the natural logarithm of a factor on the board's own value.
    pub draws: Vec<Vec<f64>>,
}

impl Board {
    /// Whether a fit has left draws of what the board may be.
    pub fn is_fitted(&self) -> bool {
        self.fit.as_ref().is_some_and(|fit| !fit.draws.is_empty())
    }
}

/// How job lines reach the controller.
#[derive(Clone, Debug, PartialEq)]
pub enum Link {
    /// Read from a card, sector by sector.
    Card(Card),
    /// Sent line by line by a host.
    Serial(Serial),
}

/// A card, read in sectors of 512 bytes.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// Time to read one sector, s.
    pub sector: Span,
    /// Cluster size in KiB; sector k > 0 begins a cluster when k mod (2 · cluster_kib) = 0.
    pub cluster_kib: u32,
    /// Extra time at the first sector of each further cluster, s.
    pub chain_s: f64,
    /// Chance of a hiccup, per sector.
    pub hiccup_chance: f64,
    /// How long a hiccup lasts, s.
    pub hiccup: Span,
}

/// A serial line with a host that waits for answers.
#[derive(Clone, Debug, PartialEq)]
pub struct Serial {
    /// Bytes a second on the wire (baud / bits_per_byte where the file gives a baud rate).
    pub bytes_per_s: f64,
    /// Bytes added to each line: line number, checksum.
    pub overhead_bytes: f64,
    /// From the answer's leaving to the host's next move, both latencies included, s.
    pub reply: Span,
    /// Most lines that may be unanswered.
    pub in_flight: usize,
    /// What makes the answer leave.
    pub reply_when: ReplyWhen,
    /// Time between status polls of the host, s; 0: none.
    pub poll_s: f64,
    /// Length of a poll, bytes.
    pub poll_bytes: f64,
    /// Chance that a line arrives broken and must be sent again.
    pub resend_chance: f64,
}

/// What makes the answer to a serial line leave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReplyWhen {
    /// The line has been worked off.
    Finished,
    /// The line has entered the command queue.
    Received,
}

/// What the processor spends, in seconds of CPU work.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Costs {
    /// Decoding a line.
    pub line_s: f64,
    /// Taking in a byte.
    pub byte_s: f64,
    /// Planning a block.
    pub block_s: f64,
    /// The look-ahead's pass over one queued block.
    pub pass_s: f64,
    /// Working out one chord of an arc.
    pub chord_s: f64,
    /// One step event of the motors, taken from the main loop.
    pub step_s: f64,
    /// The largest share of the processor that steps may take; 0 <= load_max < 1.
    pub load_max: f64,
}

/// Work that the main loop does now and then.
#[derive(Clone, Debug, PartialEq)]
pub struct Chore {
    /// Its name.
    pub name: String,
    /// Time from one start to the next being due, s.
    pub every_s: f64,
    /// CPU work, s.
    pub work: Span,
}

/// The two queues and the restart rule.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Queue {
    /// Most lines in the command queue.
    pub lines: usize,
    /// Most blocks in the planner queue, the executing one included.
    pub blocks: usize,
    /// Blocks that make a resting head start.
    pub restart_blocks: usize,
    /// Time after which a resting head starts with fewer, s; 0: never by time.
    pub restart_wait_s: f64,
    /// Below this many blocks short moves are stretched; 0: never.
    pub low_water: usize,
    /// Moves shorter than this are stretched, s; 0: never.
    pub stretch_s: f64,
}

/// What the mechanics may do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Motion {
    /// How motors and axes go together.
    pub layout: Layout,
    /// Largest speed of x, y, z, e; mm/s.
    pub speed_max_mm_s: [f64; 4],
    /// Largest acceleration of x, y, z, e; mm/s².
    pub accel_max_mm_s2: [f64; 4],
    /// Acceleration of printing, travel and E-only moves; mm/s².
    pub accel: Accel,
    /// The corner rule in force.
    pub corner: Corner,
    /// Steps per mm of the x, y, z, e motors.
    pub steps_per_mm: [f64; 4],
    /// Length of the chords that arcs are cut into, mm.
    pub arc_chord_mm: f64,
}

/// Base accelerations, mm/s².
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Accel {
    /// Moves that extrude.
    pub print_mm_s2: f64,
    /// Moves that don't.
    pub travel_mm_s2: f64,
    /// Moves of E alone.
    pub retract_mm_s2: f64,
}

/// How motors and axes go together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Layout {
    /// One motor an axis.
    Cartesian,
    /// Two motors that turn x+y and x-y.
    CoreXy,
}

/// How fast a corner may be taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Corner {
    /// As fast as a circle that leaves the corner by this many mm allows.
    Deviation {
        /// Distance from the corner to the circle, mm.
        mm: f64,
    },
    /// No axis may change its speed by more than this at once.
    Jump {
        /// x, y, z, e; mm/s.
        mm_s: [f64; 4],
    },
}

/// How long commanded stops take beyond their own words, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wait {
    /// M109, M190, M191.
    pub heat_s: f64,
    /// G28, G29.
    pub home_s: f64,
    /// T, M600.
    pub change_s: f64,
}

/// When state is saved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SaveWhen {
    /// Never.
    Off,
    /// This many seconds after the last.
    Seconds(f64),
    /// After this many lines taken.
    Lines(u64),
    /// At each new layer.
    Layer,
}

/// Saves that let a job resume after a power cut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Save {
    /// When one is due.
    pub when: SaveWhen,
    /// How long one holds the main loop, s.
    pub hold: Span,
    /// Whether the head is brought to rest first.
    pub stop_first: bool,
    /// Whether the card's current sector must be read again afterwards.
    pub reread: bool,
}

/// What the plastic does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nozzle {
    /// Filament diameter, mm.
    pub filament_mm: f64,
    /// Nozzle bore, mm.
    pub nozzle_mm: f64,
    /// Time constant of the melt's pressure, s.
    pub lag_s: f64,
    /// Lead that the controller gives the extruder, s.
    pub lead_s: f64,
}
