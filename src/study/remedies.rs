//! What would cure it: single changes, tried and ranked, and the cheapest set of them.

use crate::board::types::{Board, Card, Link, ReplyWhen, SaveWhen, Span};
use crate::job::reader::Step;
use crate::replay::duties::Restless;
use crate::replay::source::Planned;
use crate::replay::store::StoredJob;

use super::compare::{Sample, sample};
use super::parallel;
use super::reshape::{Reshape, fastest_mm_s, reshape};

/// What a change is made to; two changes of one kind exclude each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// When and how state is saved.
    Save,
    /// The card, or the line to the host.
    Link,
    /// The planner queue.
    Queue,
    /// The job.
    Job,
}

/// One change.
#[derive(Clone, Debug)]
pub struct Remedy {
    /// What it is, in plain words.
    pub name: String,
    /// What it costs, in plain words.
    pub cost: String,
    /// How hard it is: 1 a setting, 2 slicing again, 3 something to buy, 4 other electronics.
    pub effort: u32,
    /// What it is made to.
    pub kind: Kind,
    board: Option<Board>,
    reshape: Option<Reshape>,
}

/// A change, or a set of them, tried.
#[derive(Clone, Debug)]
pub struct Tried {
    /// The changes.
    pub remedies: Vec<Remedy>,
    /// What the replay came to.
    pub sample: Sample,
    /// How far the path moved at most, mm.
    pub shift_mm: f64,
}

/// All that was tried.
#[derive(Clone, Debug)]
pub struct Cures {
    /// The board and the job as they are.
    pub before: Sample,
    /// Single changes, the best first.
    pub single: Vec<Tried>,
    /// The cheapest set that leaves least, where no single change does.
    pub set: Option<Tried>,
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

/// The changes that this board and job can have.
pub fn list(board: &Board) -> Vec<Remedy> {
    let mut all = Vec::new();
    let mut on_board = |kind, effort, name: &str, cost: &str, change: &dyn Fn(&mut Board)| {
        let mut changed = board.clone();
        change(&mut changed);
        all.push(Remedy {
            name: name.to_string(),
            cost: cost.to_string(),
            effort,
            kind,
            board: Some(changed),
            reshape: None,
        });
    };
    if board.save.when != SaveWhen::Off {
        on_board(
            Kind::Save,
            1,
            "no saves",
            "a power cut costs the whole print",
            &|b| {
                b.save.when = SaveWhen::Off;
            },
        );
        on_board(
            Kind::Save,
            4,
            "saves that don't hold the main loop",
            "other electronics or firmware",
            &|b| {
                b.save.hold = Span::ZERO;
                b.save.stop_first = false;
                b.save.reread = false;
            },
        );
    }
    if !matches!(board.save.when, SaveWhen::Off | SaveWhen::Layer) {
        on_board(
            Kind::Save,
            1,
            "a save each layer",
            "a power cut costs up to one layer",
            &|b| {
                b.save.when = SaveWhen::Layer;
            },
        );
    }
    match board.save.when {
        SaveWhen::Seconds(s) => {
            let name = format!("a save every {} s", s * 5.0);
            let cost = format!("a power cut costs up to {} s of printing", s * 5.0);
            on_board(Kind::Save, 1, &name, &cost, &|b| {
                b.save.when = SaveWhen::Seconds(s * 5.0)
            });
        }
        SaveWhen::Lines(n) => {
            let name = format!("a save every {} lines", n * 5);
            on_board(
                Kind::Save,
                1,
                &name,
                "a power cut costs five times as many lines",
                &|b| {
                    b.save.when = SaveWhen::Lines(n * 5);
                },
            );
        }
        SaveWhen::Off | SaveWhen::Layer => {}
    }
    match &board.link {
        Link::Card(card) => {
            if card.hiccup_chance > 0.0 {
                on_board(
                    Kind::Link,
                    3,
                    "a card without hiccups",
                    "another or freshly formatted card",
                    &|b| {
                        if let Link::Card(c) = &mut b.link {
                            c.hiccup_chance = 0.0;
                        }
                    },
                );
            }
            on_board(
                Kind::Link,
                3,
                "a card twice as fast",
                "another card",
                &|b| {
                    if let Link::Card(c) = &mut b.link {
                        c.sector = halved(&c.sector);
                        c.chain_s /= 2.0;
                    }
                },
            );
        }
        Link::Serial(serial) => {
            on_board(
                Kind::Link,
                1,
                "print from a card",
                "the host can't follow the print",
                &|b| {
                    // A common card of an 8-bit board (common practice, no source).
                    b.link = Link::Card(Card {
                        sector: Span::Fixed(1.3e-3),
                        cluster_kib: 32,
                        chain_s: 1.2e-3,
                        hiccup_chance: 0.0,
                        hiccup: Span::ZERO,
                    });
                },
            );
            let lines = (serial.in_flight * 4).min(100_000);
            let name = format!("{lines} lines in flight, each answered when received");
            on_board(Kind::Link, 2, &name, "a host and a buffer that can", &|b| {
                if let Link::Serial(s) = &mut b.link {
                    s.in_flight = lines;
                    s.reply_when = ReplyWhen::Received;
                }
            });
        }
    }
    for factor in [2, 4] {
        let blocks = board.queue.blocks * factor;
        let name = format!("a planner queue of {blocks} blocks");
        on_board(
            Kind::Queue,
            4,
            &name,
            "other electronics or firmware",
            &|b| b.queue.blocks = blocks,
        );
    }
    let mut on_job = |effort, name: String, cost: &str, how| {
        all.push(Remedy {
            name,
            cost: cost.to_string(),
            effort,
            kind: Kind::Job,
            board: None,
            reshape: Some(how),
        });
    };
    on_job(
        1,
        "shorter lines: no comments, no needless decimals".to_string(),
        "nothing",
        Reshape::Short,
    );
    for mm in [0.01, 0.025, 0.05] {
        on_job(
            2,
            format!("chords merged within {mm} mm"),
            "curves a little coarser; slice again",
            Reshape::Merge(mm),
        );
        on_job(
            2,
            format!("arcs in place of chords within {mm} mm"),
            "slice again, with arcs",
            Reshape::Arcs {
                within_mm: mm,
                chord_mm: board.motion.arc_chord_mm,
            },
        );
    }
    all
}

/// Steps of bisection in search of a speed.
const SEARCH_STEPS: usize = 7;

/// Tries all changes on a job, `threads` at a time.
pub fn cures(
    steps: &[Step],
    board: &Board,
    seed: u64,
    threads: usize,
    each: &(dyn Fn(usize) + Sync),
) -> Result<Cures, Restless> {
    let job = stored(steps, board);
    let before = sample(&job, board, seed)?;
    let mut remedies = list(board);
    if before.stalls() > 0 {
        remedies.extend(slower(steps, board, seed, &before)?);
    }
    let tried = parallel::map(remedies.len(), threads, each, &|k| {
        attempt(steps, &job, board, &[&remedies[k]], seed)
    });
    let mut single = tried
        .into_iter()
        .collect::<Result<Vec<Tried>, Restless>>()?;
    single.sort_by(|a, b| {
        let longer = a.sample.replay_s.total_cmp(&b.sample.replay_s);
        let left = |t: &Tried| left(&t.sample, &before);
        left(a).total_cmp(&left(b)).then(longer)
    });
    let set = best_set(steps, &job, board, &before, &single, seed, threads)?;
    Ok(Cures {
        before,
        single,
        set,
    })
}

/// What is left of lost time and of stalls, both shares in one number to rank by.
fn left(after: &Sample, before: &Sample) -> f64 {
    let share = |a: f64, b: f64| if b > 0.0 { a / b } else { a };
    share(after.lost_s, before.lost_s) + share(after.stalls() as f64, before.stalls() as f64)
}

fn stored(steps: &[Step], board: &Board) -> StoredJob {
    match Planned::new(steps.iter(), board).store() {
        Ok(job) => job,
        Err(error) => unreachable!("steps in memory were read before: {error}"),
    }
}

/// Makes the changes and replays.
fn attempt(
    steps: &[Step],
    job: &StoredJob,
    board: &Board,
    remedies: &[&Remedy],
    seed: u64,
) -> Result<Tried, Restless> {
    let mut changed = board.clone();
    let mut reshaped = None;
    for remedy in remedies {
        if let Some(own) = &remedy.board {
            match remedy.kind {
                Kind::Save => changed.save = own.save,
                Kind::Link => changed.link = own.link.clone(),
                Kind::Queue => changed.queue = own.queue,
                Kind::Job => {}
            }
        }
        if let Some(how) = remedy.reshape {
            reshaped = Some(reshape(steps, how));
        }
    }
    let (sample, shift_mm) = match &reshaped {
        Some((steps, shift_mm)) => (sample(&stored(steps, &changed), &changed, seed)?, *shift_mm),
        None => (sample(job, &changed, seed)?, 0.0),
    };
    Ok(Tried {
        remedies: remedies.iter().map(|r| (*r).clone()).collect(),
        sample,
        shift_mm,
    })
}

/// Lost time that is left counts as starving no more, as a share of today's.
const STARVED_SHARE: f64 = 0.02;

/// The highest feed of printing moves at which next to no time is lost.
fn slower(
    steps: &[Step],
    board: &Board,
    seed: u64,
    before: &Sample,
) -> Result<Option<Remedy>, Restless> {
    let fastest_mm_s = fastest_mm_s(steps);
    let starves = |most_mm_s: f64| -> Result<bool, Restless> {
        let (slow, _) = reshape(steps, Reshape::Slow(most_mm_s));
        let after = sample(&stored(&slow, board), board, seed)?;
        Ok(after.lost_s > STARVED_SHARE * before.lost_s)
    };
    let (mut low, mut high) = (0.1 * fastest_mm_s, fastest_mm_s);
    if fastest_mm_s <= 0.0 || starves(low)? {
        return Ok(None);
    }
    for _ in 0..SEARCH_STEPS {
        let middle = (low + high) / 2.0;
        if starves(middle)? {
            high = middle
        } else {
            low = middle
        }
    }
    Ok(Some(Remedy {
        name: format!("printing moves at most {low:.0} mm/s"),
        cost: "time".to_string(),
        effort: 1,
        kind: Kind::Job,
        board: None,
        reshape: Some(Reshape::Slow(low.floor().max(0.1 * fastest_mm_s))),
    }))
}

/// Single changes out of which sets are made.
const SET_FROM: usize = 8;

/// Longer prints than this share of today's are no part of a set.
const LONGER_SHARE: f64 = 0.1;

/// The cheapest pair, or three, that leaves fewer stalls than any single change of little time.
fn best_set(
    steps: &[Step],
    job: &StoredJob,
    board: &Board,
    before: &Sample,
    single: &[Tried],
    seed: u64,
    threads: usize,
) -> Result<Option<Tried>, Restless> {
    let quick = |t: &&Tried| t.sample.replay_s <= (1.0 + LONGER_SHARE) * before.replay_s;
    let stalls = single.iter().filter(quick).map(|t| t.sample.stalls());
    let least = stalls.min().unwrap_or(before.stalls());
    if least == 0 {
        return Ok(None);
    }
    let pool: Vec<&Remedy> = single
        .iter()
        .filter(quick)
        .take(SET_FROM)
        .map(|t| &t.remedies[0])
        .collect();
    let mut sets: Vec<Vec<&Remedy>> = Vec::new();
    for (i, a) in pool.iter().enumerate() {
        for (j, b) in pool.iter().enumerate().skip(i + 1) {
            if a.kind == b.kind {
                continue;
            }
            sets.push(vec![a, b]);
            for c in pool.iter().skip(j + 1) {
                if c.kind != a.kind && c.kind != b.kind {
                    sets.push(vec![a, b, c]);
                }
            }
        }
    }
    let tried = parallel::map(sets.len(), threads, &|_| {}, &|k| {
        attempt(steps, job, board, &sets[k], seed)
    });
    let effort = |t: &Tried| t.remedies.iter().map(|r| r.effort).sum::<u32>();
    let mut best: Option<Tried> = None;
    for tried in tried {
        let tried = tried?;
        let key = |t: &Tried| (t.sample.stalls(), effort(t));
        if tried.sample.stalls() < least && best.as_ref().is_none_or(|b| key(&tried) < key(b)) {
            best = Some(tried);
        }
    }
    Ok(best)
}
