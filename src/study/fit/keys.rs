//! The unknowns: which keys of a board are asked for, what is assumed of them, and how they are put on a board.
//!
//! Each unknown is the natural logarithm of a factor on the start board's value.

use crate::board::types::{Board, Chore, Corner, Link, SaveWhen, Span};

/// Fewest and most planner blocks or command lines that a fit tries.
const QUEUE_MAX: f64 = 512.0;
/// The standard normal's 99th percentile.
const Z99: f64 = 2.326_347_874_040_840_8;

/// One key, or a group of keys that one factor scales.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Key {
    SectorMs,
    ReplyMs,
    BytesPerS,
    LineUs,
    ByteUs,
    BlockUs,
    PassUs,
    ChordUs,
    StepUs,
    /// The work of all chores.
    Chores,
    Blocks,
    Lines,
    /// Relative to the queue's blocks: its share stays when they change.
    LowWater,
    StretchMs,
    SaveMs,
    SaveEvery,
    /// Printing and travel accelerations, and the largest of x and y.
    Accel,
    /// All numbers of the corner rule.
    Corner,
    ArcChordMm,
}

impl Key {
    /// All, in the order in which they are told.
    pub const ALL: [Key; 19] = [
        Key::SectorMs,
        Key::ReplyMs,
        Key::BytesPerS,
        Key::LineUs,
        Key::ByteUs,
        Key::BlockUs,
        Key::PassUs,
        Key::ChordUs,
        Key::StepUs,
        Key::Chores,
        Key::Blocks,
        Key::Lines,
        Key::LowWater,
        Key::StretchMs,
        Key::SaveMs,
        Key::SaveEvery,
        Key::Accel,
        Key::Corner,
        Key::ArcChordMm,
    ];

    /// The dotted key of the board file, or the group's name.
    pub fn name(self) -> &'static str {
        [
            "link.sector_ms",
            "link.reply_ms",
            "link.bytes_per_s",
            "loop.line_us",
            "loop.byte_us",
            "loop.block_us",
            "loop.pass_us",
            "loop.chord_us",
            "loop.step_us",
            "chores",
            "queue.blocks",
            "queue.lines",
            "queue.low_water",
            "queue.stretch_ms",
            "save.ms",
            "save.every",
            "motion.accel",
            "motion.corner",
            "motion.arc_chord_mm",
        ][self as usize]
    }

    /// The key of this name.
    pub fn named(name: &str) -> Option<Key> {
        Key::ALL.into_iter().find(|k| k.name() == name)
    }

    /// What the value is counted in, for people.
    pub fn unit(self) -> &'static str {
        match self {
            Key::SectorMs | Key::ReplyMs | Key::StretchMs | Key::SaveMs => "ms",
            Key::BytesPerS => "bytes/s",
            Key::LineUs | Key::ByteUs | Key::BlockUs | Key::PassUs | Key::ChordUs | Key::StepUs => {
                "us"
            }
            Key::Chores => "of the time",
            Key::Blocks | Key::LowWater => "moves",
            Key::Lines => "lines",
            Key::SaveEvery => "s",
            Key::Accel => "mm/s2",
            Key::Corner => "",
            Key::ArcChordMm => "mm",
        }
    }

    /// Standard deviation of the logarithm before anything is measured.
    pub fn prior_sd(self) -> f64 {
        match self {
            Key::SectorMs
            | Key::ReplyMs
            | Key::BytesPerS
            | Key::LineUs
            | Key::ByteUs
            | Key::BlockUs
            | Key::PassUs
            | Key::ChordUs
            | Key::StepUs
            | Key::SaveMs => 3f64.ln(),
            Key::Chores
            | Key::Blocks
            | Key::Lines
            | Key::StretchMs
            | Key::SaveEvery
            | Key::ArcChordMm => 2f64.ln(),
            Key::LowWater => 1.7f64.ln(),
            Key::Accel => 0.15,
            Key::Corner => 0.2,
        }
    }

    /// Whether durations are nearly linear in the value itself and not in its logarithm.
    pub fn is_cost(self) -> bool {
        !matches!(
            self,
            Key::BytesPerS
                | Key::Blocks
                | Key::Lines
                | Key::LowWater
                | Key::SaveEvery
                | Key::Accel
                | Key::Corner
                | Key::ArcChordMm
        )
    }

    /// Whether the value is a whole number.
    pub fn is_whole(self) -> bool {
        matches!(self, Key::Blocks | Key::Lines | Key::LowWater)
    }

    /// The value, in the board file's unit; a draw's mean. `None` where the board has no such key in use.
    pub fn get(self, board: &Board) -> Option<f64> {
        let (costs, queue, motion) = (&board.costs, &board.queue, &board.motion);
        let in_use = |value: f64| (value > 0.0).then_some(value);
        match self {
            Key::SectorMs => match &board.link {
                Link::Card(card) => in_use(mean_s(&card.sector) * 1e3),
                Link::Serial(_) => None,
            },
            Key::ReplyMs => match &board.link {
                Link::Serial(serial) => in_use(mean_s(&serial.reply) * 1e3),
                Link::Card(_) => None,
            },
            Key::BytesPerS => match &board.link {
                Link::Serial(serial) => Some(serial.bytes_per_s),
                Link::Card(_) => None,
            },
            Key::LineUs => in_use(costs.line_s * 1e6),
            Key::ByteUs => in_use(costs.byte_s * 1e6),
            Key::BlockUs => in_use(costs.block_s * 1e6),
            Key::PassUs => in_use(costs.pass_s * 1e6),
            Key::ChordUs => in_use(costs.chord_s * 1e6),
            Key::StepUs => in_use(costs.step_s * 1e6),
            Key::Chores => in_use(board.chores.iter().map(share).sum()),
            Key::Blocks => Some(queue.blocks as f64),
            Key::Lines => Some(queue.lines as f64),
            Key::LowWater => in_use(queue.low_water as f64).filter(|_| queue.stretch_s > 0.0),
            Key::StretchMs => in_use(queue.stretch_s * 1e3).filter(|_| queue.low_water > 0),
            Key::SaveMs => match board.save.when {
                SaveWhen::Off => None,
                _ => in_use(mean_s(&board.save.hold) * 1e3),
            },
            Key::SaveEvery => match board.save.when {
                SaveWhen::Seconds(every_s) => Some(every_s),
                _ => None,
            },
            Key::Accel => Some(motion.accel.travel_mm_s2),
            Key::Corner => in_use(match motion.corner {
                Corner::Deviation { mm } => mm,
                Corner::Jump { mm_s } => mm_s[0],
            }),
            Key::ArcChordMm => Some(motion.arc_chord_mm),
        }
    }

    /// Puts a factor on the value; whole numbers are rounded and kept in range. Low water is to be scaled after
    /// the blocks, with the factor on its share of them.
    fn scale(self, board: &mut Board, factor: f64) {
        let whole = |value: usize, least: f64, most: f64| {
            (value as f64 * factor).round().clamp(least, most) as usize
        };
        let (costs, queue, motion) = (&mut board.costs, &mut board.queue, &mut board.motion);
        match (self, &mut board.link) {
            (Key::SectorMs, Link::Card(card)) => card.sector = scaled(&card.sector, factor),
            (Key::ReplyMs, Link::Serial(serial)) => serial.reply = scaled(&serial.reply, factor),
            (Key::BytesPerS, Link::Serial(serial)) => serial.bytes_per_s *= factor,
            (Key::SectorMs | Key::ReplyMs | Key::BytesPerS, _) => {}
            (Key::LineUs, _) => costs.line_s *= factor,
            (Key::ByteUs, _) => costs.byte_s *= factor,
            (Key::BlockUs, _) => costs.block_s *= factor,
            (Key::PassUs, _) => costs.pass_s *= factor,
            (Key::ChordUs, _) => costs.chord_s *= factor,
            (Key::StepUs, _) => costs.step_s *= factor,
            (Key::Chores, _) => {
                for chore in &mut board.chores {
                    chore.work = scaled(&chore.work, factor);
                }
            }
            (Key::Blocks, _) => {
                queue.blocks = whole(queue.blocks, 2.0, QUEUE_MAX.max(queue.blocks as f64));
            }
            (Key::Lines, _) => {
                queue.lines = whole(queue.lines, 1.0, QUEUE_MAX.max(queue.lines as f64));
            }
            (Key::LowWater, _) => {
                queue.low_water = whole(queue.low_water, 0.0, queue.blocks as f64);
            }
            (Key::StretchMs, _) => queue.stretch_s *= factor,
            (Key::SaveMs, _) => board.save.hold = scaled(&board.save.hold, factor),
            (Key::SaveEvery, _) => {
                if let SaveWhen::Seconds(every_s) = &mut board.save.when {
                    *every_s *= factor;
                }
            }
            (Key::Accel, _) => {
                motion.accel.print_mm_s2 *= factor;
                motion.accel.travel_mm_s2 *= factor;
                motion.accel_max_mm_s2[0] *= factor;
                motion.accel_max_mm_s2[1] *= factor;
            }
            (Key::Corner, _) => match &mut motion.corner {
                Corner::Deviation { mm } => *mm *= factor,
                Corner::Jump { mm_s } => mm_s.iter_mut().for_each(|v| *v *= factor),
            },
            (Key::ArcChordMm, _) => motion.arc_chord_mm *= factor,
        }
    }
}

/// The keys to be asked for on this start board: those in use.
///
/// `arcs`: whether a section with arcs was timed. `rate_is_free`: whether the board gives bytes a second and
/// not a baud rate, which is known from the settings.
pub fn asked(board: &Board, arcs: bool, rate_is_free: bool) -> Vec<Key> {
    let wanted = |key: &Key| match key {
        Key::ChordUs | Key::Corner | Key::ArcChordMm => arcs,
        Key::BytesPerS => rate_is_free,
        _ => true,
    };
    Key::ALL
        .into_iter()
        .filter(|k| wanted(k) && k.get(board).is_some())
        .collect()
}

/// The board with these logarithms of factors on these keys.
pub fn with(board: &Board, keys: &[Key], theta: &[f64]) -> Board {
    let mut changed = board.clone();
    let pairs = || keys.iter().zip(theta);
    for (key, ln) in pairs().filter(|(k, _)| **k != Key::LowWater) {
        key.scale(&mut changed, ln.exp());
    }
    let deeper = changed.queue.blocks as f64 / board.queue.blocks as f64;
    for (key, ln) in pairs().filter(|(k, _)| **k == Key::LowWater) {
        key.scale(&mut changed, ln.exp() * deeper);
    }
    changed.queue.restart_blocks = changed.queue.restart_blocks.min(changed.queue.blocks);
    changed
}

/// The logarithms that `with` really puts on the board: those of whole numbers are rounded.
pub fn rounded(board: &Board, keys: &[Key], theta: &[f64]) -> Vec<f64> {
    let changed = with(board, keys, theta);
    let deeper = changed.queue.blocks as f64 / board.queue.blocks as f64;
    let one = |(key, ln): (&Key, &f64)| {
        let [was, is] = [board, &changed].map(|b| key.get(b).unwrap_or(0.0));
        match key {
            Key::LowWater => (is / was / deeper).max(1e-3).ln(),
            key if key.is_whole() => (is / was).max(1e-3).ln(),
            _ => *ln,
        }
    };
    keys.iter().zip(theta).map(one).collect()
}

/// The board with every draw at its mean, no hiccups and nothing sent twice.
pub fn with_means(board: &Board) -> Board {
    let mut even = board.clone();
    let at_mean = |span: &mut Span| *span = Span::Fixed(mean_s(span));
    match &mut even.link {
        Link::Card(card) => {
            at_mean(&mut card.sector);
            card.hiccup_chance = 0.0;
        }
        Link::Serial(serial) => {
            at_mean(&mut serial.reply);
            serial.resend_chance = 0.0;
        }
    }
    even.chores.iter_mut().for_each(|c| at_mean(&mut c.work));
    at_mean(&mut even.save.hold);
    even
}

/// Share of the processor that a chore takes.
fn share(chore: &Chore) -> f64 {
    mean_s(&chore.work) / chore.every_s
}

/// Mean of a duration, s.
pub fn mean_s(span: &Span) -> f64 {
    match *span {
        Span::Fixed(s) => s,
        Span::Uniform { min, max } => (min + max) / 2.0,
        Span::Exponential { mean } => mean,
        Span::Lognormal { median, p99 } => {
            let sigma = (p99 / median).ln() / Z99;
            median * (sigma * sigma / 2.0).exp()
        }
    }
}

fn scaled(span: &Span, factor: f64) -> Span {
    match *span {
        Span::Fixed(s) => Span::Fixed(s * factor),
        Span::Uniform { min, max } => Span::Uniform {
            min: min * factor,
            max: max * factor,
        },
        Span::Exponential { mean } => Span::Exponential {
            mean: mean * factor,
        },
        Span::Lognormal { median, p99 } => Span::Lognormal {
            median: median * factor,
            p99: p99 * factor,
        },
    }
}
