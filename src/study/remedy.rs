//! The changes to a board or a job that may cure it: what each is, what it is against, what it costs.
//!
//! This is the one place that knows what can be recommended: `replay` names some of these, `remedies` tries
//! them all.

use crate::board::types::{
    Board, Card, Chore, Link, Queue, ReplyWhen, Save, SaveWhen, Serial, Span,
};
use crate::replay::cause::Cause;

use super::reshape::Reshape;

/// One change, with what it changes; two changes of one kind exclude each other.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// When and how state is saved.
    Save(Save),
    /// The card, or the line to the host.
    Link(Link),
    /// The queues.
    Queue(Queue),
    /// What the main loop does now and then.
    Chores(Vec<Chore>),
    /// The job.
    Job(Reshape),
}

impl Change {
    /// Makes the change to a board; a change to the job leaves it as it is.
    pub fn apply(&self, board: &mut Board) {
        match self {
            Change::Save(save) => board.save = *save,
            Change::Link(link) => board.link = link.clone(),
            Change::Queue(queue) => board.queue = *queue,
            Change::Chores(chores) => board.chores.clone_from(chores),
            Change::Job(_) => {}
        }
    }

    /// What is done to the job, if this is a change to the job.
    pub fn reshape(&self) -> Option<Reshape> {
        match self {
            Change::Job(how) => Some(*how),
            Change::Save(_) | Change::Link(_) | Change::Queue(_) | Change::Chores(_) => None,
        }
    }

    /// Whether both change the same thing.
    pub fn excludes(&self, other: &Change) -> bool {
        std::mem::discriminant(self) == std::mem::discriminant(other)
    }
}

/// How hard a change is to make.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Effort {
    /// A setting.
    Setting = 1,
    /// Slicing again.
    Slicing = 2,
    /// Something to buy.
    Buying = 3,
    /// Other electronics.
    Electronics = 4,
}

/// A change that may cure a job.
#[derive(Clone, Debug, PartialEq)]
pub struct Remedy {
    /// What it is, in plain words.
    pub name: String,
    /// What it costs, in plain words.
    pub cost: String,
    /// How hard it is.
    pub effort: Effort,
    /// The cause that it is meant against.
    pub against: Cause,
    /// The change.
    pub change: Change,
    /// The keys of a board file that make the change, as `KEY=VALUE`; none where no key does.
    pub sets: Vec<String>,
}

impl Remedy {
    fn new(effort: Effort, against: Cause, change: Change, name: &str, cost: &str) -> Self {
        Remedy {
            name: name.to_string(),
            cost: cost.to_string(),
            effort,
            against,
            change,
            sets: Vec::new(),
        }
    }

    fn by_setting(mut self, sets: &[String]) -> Self {
        self.sets = sets.to_vec();
        self
    }
}

/// The changes that are possible on this board, and those to any job; for each cause the easiest come first.
pub fn list(board: &Board) -> Vec<Remedy> {
    let mut all = saves(&board.save);
    match &board.link {
        Link::Card(card) => all.extend(cards(card)),
        Link::Serial(serial) => all.extend(serials(serial)),
    }
    all.extend(chores(&board.chores));
    for factor in [2, 4] {
        let blocks = board.queue.blocks * factor;
        let queue = Queue {
            blocks,
            ..board.queue
        };
        let name = format!("a planner queue of {blocks} blocks");
        let cost = "other electronics or firmware";
        all.push(
            Remedy::new(
                Effort::Electronics,
                Cause::Depth,
                Change::Queue(queue),
                &name,
                cost,
            )
            .by_setting(&[format!("queue.blocks={blocks}")]),
        );
    }
    all.extend(jobs(board));
    all
}

fn saves(save: &Save) -> Vec<Remedy> {
    let remedy = |effort, save, name: &str, cost: &str, sets: &[String]| {
        Remedy::new(effort, Cause::Save, Change::Save(save), name, cost).by_setting(sets)
    };
    let mut all = Vec::new();
    if save.when == SaveWhen::Off {
        return all;
    }
    if save.when != SaveWhen::Layer {
        all.push(remedy(
            Effort::Setting,
            Save {
                when: SaveWhen::Layer,
                ..*save
            },
            "a save each layer",
            "a power cut costs up to one layer",
            &["save.when=layer".into()],
        ));
    }
    let rarer = match save.when {
        SaveWhen::Seconds(s) => Some((
            SaveWhen::Seconds(s * 5.0),
            format!("a save every {} s", s * 5.0),
            format!("a power cut costs up to {} s of printing", s * 5.0),
            s * 5.0,
        )),
        SaveWhen::Lines(n) => Some((
            SaveWhen::Lines(n * 5),
            format!("a save every {} lines", n * 5),
            "a power cut costs five times as many lines".to_string(),
            (n * 5) as f64,
        )),
        SaveWhen::Off | SaveWhen::Layer => None,
    };
    if let Some((when, name, cost, every)) = rarer {
        let sets = [format!("save.every={every}")];
        all.push(remedy(
            Effort::Setting,
            Save { when, ..*save },
            &name,
            &cost,
            &sets,
        ));
    }
    all.push(remedy(
        Effort::Setting,
        Save {
            when: SaveWhen::Off,
            ..*save
        },
        "no saves",
        "a power cut costs the whole print",
        &["save.when=off".into()],
    ));
    all.push(remedy(
        Effort::Electronics,
        Save {
            hold: Span::ZERO,
            stop_first: false,
            reread: false,
            ..*save
        },
        "saves that don't hold the main loop",
        "other electronics or firmware",
        &[
            "save.ms=0".into(),
            "save.stop_first=false".into(),
            "save.reread=false".into(),
        ],
    ));
    all
}

fn halved(span: &Span) -> Span {
    match *span {
        Span::Fixed(s) => Span::Fixed(s / 2.0),
        Span::Uniform { min, max } => Span::Uniform {
            min: min / 2.0,
            max: max / 2.0,
        },
        Span::Exponential { mean } => Span::Exponential { mean: mean / 2.0 },
        Span::Lognormal { median, p99 } => Span::Lognormal {
            median: median / 2.0,
            p99: p99 / 2.0,
        },
    }
}

/// The span as a board file gives it, in ms.
fn as_key_ms(span: &Span) -> String {
    // Rounded far below any effect, so that no rounding error is printed.
    let ms = |s: f64| (s * 1e9).round() / 1e6;
    match *span {
        Span::Fixed(s) => format!("{}", ms(s)),
        Span::Uniform { min, max } => format!("{{ min = {}, max = {} }}", ms(min), ms(max)),
        Span::Exponential { mean } => format!("{{ mean = {} }}", ms(mean)),
        Span::Lognormal { median, p99 } => {
            format!("{{ median = {}, p99 = {} }}", ms(median), ms(p99))
        }
    }
}

fn cards(card: &Card) -> Vec<Remedy> {
    let remedy = |against, card, name: &str, cost: &str, sets: &[String]| {
        let change = Change::Link(Link::Card(card));
        Remedy::new(Effort::Buying, against, change, name, cost).by_setting(sets)
    };
    let mut all = Vec::new();
    if card.hiccup_chance > 0.0 {
        all.push(remedy(
            Cause::Hiccup,
            Card {
                hiccup_chance: 0.0,
                ..card.clone()
            },
            "a card without hiccups",
            "another or freshly formatted card",
            &["link.hiccup_chance=0".into()],
        ));
    }
    let faster = Card {
        sector: halved(&card.sector),
        chain_s: card.chain_s / 2.0,
        ..card.clone()
    };
    let mut sets = vec![format!("link.sector_ms={}", as_key_ms(&faster.sector))];
    if card.chain_s > 0.0 {
        sets.push(format!(
            "link.chain_ms={}",
            as_key_ms(&Span::Fixed(faster.chain_s))
        ));
    }
    all.push(remedy(
        Cause::Link,
        faster,
        "a card twice as fast",
        "another card",
        &sets,
    ));
    all
}

fn serials(serial: &Serial) -> Vec<Remedy> {
    let link = |serial| Change::Link(Link::Serial(serial));
    // A common card of an 8-bit board (common practice, no source).
    let card = Card {
        sector: Span::Fixed(1.3e-3),
        cluster_kib: 32,
        chain_s: 1.2e-3,
        hiccup_chance: 0.0,
        hiccup: Span::ZERO,
    };
    let lines = (serial.in_flight * 4).min(100_000);
    let mut all = vec![
        Remedy::new(
            Effort::Setting,
            Cause::Link,
            Change::Link(Link::Card(card)),
            "print from a card",
            "the host can't watch the print",
        ),
        Remedy::new(
            Effort::Slicing,
            Cause::Link,
            link(Serial {
                in_flight: lines,
                reply_when: ReplyWhen::Received,
                ..serial.clone()
            }),
            &format!("{lines} lines in flight, each answered when received"),
            "a host and a buffer that can do this",
        )
        .by_setting(&[
            format!("link.in_flight={lines}"),
            "link.reply_when=received".into(),
        ]),
    ];
    if serial.resend_chance > 0.0 {
        all.push(
            Remedy::new(
                Effort::Buying,
                Cause::Hiccup,
                link(Serial {
                    resend_chance: 0.0,
                    ..serial.clone()
                }),
                "a serial line without transmission errors",
                "a shorter or better cable",
            )
            .by_setting(&["link.resend_chance=0".into()]),
        );
    }
    all
}

fn chores(chores: &[Chore]) -> Option<Remedy> {
    if chores.iter().all(|c| c.work.is_zero()) {
        return None;
    }
    let rarer = chores
        .iter()
        .map(|c| Chore {
            every_s: 2.0 * c.every_s,
            ..c.clone()
        })
        .collect();
    Some(Remedy::new(
        Effort::Setting,
        Cause::Chore,
        Change::Chores(rarer),
        "chores half as often",
        "the display and the like are updated half as often, where the board lets you choose",
    ))
}

fn jobs(board: &Board) -> Vec<Remedy> {
    let remedy = |effort, against, how, name: &str, cost: &str| {
        Remedy::new(effort, against, Change::Job(how), name, cost)
    };
    let mut all = vec![remedy(
        Effort::Setting,
        Cause::Link,
        Reshape::Short,
        "shorter lines: no comments, no needless decimals",
        "no cost",
    )];
    for within_mm in [0.01, 0.025, 0.05] {
        all.push(remedy(
            Effort::Slicing,
            Cause::Compute,
            Reshape::Merge(within_mm),
            &format!("chords merged within {within_mm} mm"),
            "slice again, with a coarser resolution of curves",
        ));
        all.push(remedy(
            Effort::Slicing,
            Cause::Compute,
            Reshape::Arcs {
                within_mm,
                chord_mm: board.motion.arc_chord_mm,
            },
            &format!("arcs instead of chords, within {within_mm} mm"),
            "slice again, with arcs",
        ));
    }
    all
}

/// Printing moves of at most this speed, mm/s.
pub fn slower(most_mm_s: f64) -> Remedy {
    Remedy::new(
        Effort::Setting,
        Cause::Compute,
        Change::Job(Reshape::Slow(most_mm_s)),
        &format!("printing moves at most {most_mm_s:.0} mm/s"),
        "time",
    )
}
