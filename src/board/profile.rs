//! Board file → [`Board`]: text in, checked numbers out, every duration in seconds.
//!
//! ```
//! use headstall::board::{builtin, profile};
//! let text = builtin::text(builtin::DEFAULT).unwrap();
//! let set = profile::Override::parse("queue.blocks=1").unwrap();
//! assert_eq!(
//!     profile::parse(text, "my.toml", &[set]).unwrap_err().to_string(),
//!     "--set queue.blocks=1: must be a whole number from 2 to 1000000",
//! );
//! ```

pub use super::error::BoardError;
pub use super::overrides::Override;

use super::durations::TIME_S_MAX;
use super::fitted;
use super::keys::{Range, Table};
use super::known::CHORE_NAME;
use super::place::Source;
use super::tree::{self, Value};
use super::types::{
    Accel, Board, Card, Chore, Corner, Costs, Layout, Link, Motion, Nozzle, Queue, ReplyWhen, Save,
    SaveWhen, Serial, Span, Wait,
};

/// Most lines or blocks in a queue.
const QUEUE_MAX: u32 = 1_000_000;
/// Most lines in flight.
const IN_FLIGHT_MAX: u32 = 100_000;
/// Most chores.
const CHORES_MAX: usize = 1000;
/// Largest cluster, KiB.
const CLUSTER_KIB_MAX: u32 = 1_000_000;
/// Most lines between saves.
const SAVE_LINES_MAX: u32 = 1_000_000;

const SPEED: Range = Range::new(1e-6, 1e6, "mm/s");
const ACCEL: Range = Range::new(1e-3, 1e9, "mm/s2");
const STEPS: Range = Range::new(1e-6, 1e6, "steps per mm");
const JUMP: Range = Range::new(0.0, 1e6, "mm/s");
const BORE: Range = Range::new(1e-3, 100.0, "mm");
const EXTRA_BYTES: Range = Range::new(0.0, 1e6, "bytes");

/// Reads a board file and then applies the overrides, in their order.
///
/// `file` is the name that messages use. The error names the file and line (or the override),
/// the key, the value found and what is allowed.
///
/// An override of `link.baud` replaces the file's `link.bytes_per_s`, and the other way round.
pub fn parse(text: &str, file: &str, overrides: &[Override]) -> Result<Board, BoardError> {
    let mut entries = tree::read(text, file)?;
    let mut set_keys = Vec::new();
    for (k, set) in overrides.iter().enumerate() {
        set_keys.push(set.apply(&mut entries, k)?);
    }
    let source = Source {
        file,
        sets: overrides,
        set_keys,
    };
    board(&Table::root(&source, &entries)?)
}

/// Whether the board gives its wire's speed as `link.bytes_per_s`: a baud rate is known from the settings, bytes
/// a second are a guess.
pub fn gives_bytes_per_s(
    text: &str,
    file: &str,
    overrides: &[Override],
) -> Result<bool, BoardError> {
    let mut entries = tree::read(text, file)?;
    for (k, set) in overrides.iter().enumerate() {
        set.apply(&mut entries, k)?;
    }
    let link = entries.get("link").map(|node| &node.value);
    Ok(matches!(link, Some(Value::Table(link)) if link.contains_key("bytes_per_s")))
}

fn board(root: &Table) -> Result<Board, BoardError> {
    root.require(&["name", "link", "motion"], "")?;
    let name = root.needed("name", root.text("name")?)?;
    if name.trim().is_empty() {
        return Err(root.wrong("name", "must be a text that is not empty"));
    }
    Ok(Board {
        name,
        notes: root.text("notes")?.unwrap_or_default(),
        link: link(&root.table_or_empty("link")?)?,
        costs: costs(&root.table_or_empty("loop")?)?,
        chores: root
            .tables("chore", CHORES_MAX)?
            .iter()
            .map(chore)
            .collect::<Result<_, _>>()?,
        queue: queue(&root.table_or_empty("queue")?)?,
        motion: motion(&root.table_or_empty("motion")?)?,
        wait: wait(&root.table_or_empty("wait")?)?,
        save: save(&root.table_or_empty("save")?)?,
        nozzle: nozzle(&root.table_or_empty("nozzle")?)?,
        fit: fitted::fitted(root)?,
    })
}

/// Keys of the other kind are checked and then unused, so that `link.kind` alone can be set.
fn link(table: &Table) -> Result<Link, BoardError> {
    table.require(&["kind"], "")?;
    let kind = table.choice(
        "kind",
        &[("card", LinkKind::Card), ("serial", LinkKind::Serial)],
    )?;
    let sector = table.span("sector_ms")?;
    let cluster_kib = table
        .whole("cluster_kib", 1, CLUSTER_KIB_MAX)?
        .unwrap_or(32);
    let chain_s = table.time("chain_ms")?.unwrap_or(0.0);
    let hiccup_chance = table.number("hiccup_chance", Range::CHANCE)?.unwrap_or(0.0);
    let hiccup = table.span("hiccup_ms")?.unwrap_or(Span::Lognormal {
        median: 0.04,
        p99: 0.2,
    });

    let bits_per_byte = table
        .number("bits_per_byte", Range::new(1.0, 1000.0, "bits"))?
        .unwrap_or(10.0);
    let baud = table.number("baud", Range::new(1.0, 1e12, "bits/s"))?;
    let bytes_per_s = table.number("bytes_per_s", Range::new(0.1, 1e12, "bytes/s"))?;
    if baud.is_some() && bytes_per_s.is_some() {
        return Err(table.wrong(
            "bytes_per_s",
            "must not stand beside link.baud; give one of them",
        ));
    }
    let rate = bytes_per_s.or(baud.map(|baud| baud / bits_per_byte));
    let overhead_bytes = table.number("overhead_bytes", EXTRA_BYTES)?.unwrap_or(0.0);
    let reply = table.span("reply_ms")?;
    let in_flight = table.whole("in_flight", 1, IN_FLIGHT_MAX)?.unwrap_or(1) as usize;
    let reply_when = table
        .choice(
            "reply_when",
            &[
                ("finished", ReplyWhen::Finished),
                ("received", ReplyWhen::Received),
            ],
        )?
        .unwrap_or(ReplyWhen::Finished);
    let poll_s = table.time("poll_s")?.unwrap_or(0.0);
    let poll_bytes = table.number("poll_bytes", EXTRA_BYTES)?.unwrap_or(5.0);
    let resend_chance = table.number("resend_chance", Range::CHANCE)?.unwrap_or(0.0);

    Ok(match table.needed("kind", kind)? {
        LinkKind::Card => {
            table.require(&["sector_ms"], " of kind \"card\"")?;
            let sector = table.needed("sector_ms", sector)?;
            Link::Card(Card {
                sector,
                cluster_kib,
                chain_s,
                hiccup_chance,
                hiccup,
            })
        }
        LinkKind::Serial => {
            let rate_key = if rate.is_some() {
                &[][..]
            } else {
                &["baud (or bytes_per_s)"][..]
            };
            table.require(&[&["reply_ms"], rate_key].concat(), " of kind \"serial\"")?;
            Link::Serial(Serial {
                bytes_per_s: table.needed("baud", rate)?,
                overhead_bytes,
                reply: table.needed("reply_ms", reply)?,
                in_flight,
                reply_when,
                poll_s,
                poll_bytes,
                resend_chance,
            })
        }
    })
}

#[derive(Clone, Copy)]
enum LinkKind {
    Card,
    Serial,
}

fn costs(table: &Table) -> Result<Costs, BoardError> {
    let time = |key| Ok(table.time(key)?.unwrap_or(0.0));
    Ok(Costs {
        line_s: time("line_us")?,
        byte_s: time("byte_us")?,
        block_s: time("block_us")?,
        pass_s: time("pass_us")?,
        chord_s: time("chord_us")?,
        step_s: time("step_us")?,
        load_max: table
            .number("load_max", Range::SHARE_BELOW_1)?
            .unwrap_or(0.95),
    })
}

fn chore(table: &Table) -> Result<Chore, BoardError> {
    Ok(Chore {
        name: table.text("name")?.unwrap_or_else(|| CHORE_NAME.to_owned()),
        every_s: table
            .number("every_s", Range::new(1e-4, TIME_S_MAX, "s"))?
            .unwrap_or(1.0),
        work: table.span("us")?.unwrap_or(Span::Fixed(12_000.0 * 1e-6)),
    })
}

fn queue(table: &Table) -> Result<Queue, BoardError> {
    let blocks = table.whole("blocks", 2, QUEUE_MAX)?.unwrap_or(16);
    let restart_blocks = table.whole("restart_blocks", 1, QUEUE_MAX)?.unwrap_or(1);
    if restart_blocks > blocks {
        let why = format!("must be a whole number from 1 to queue.blocks = {blocks}");
        return Err(table.wrong("restart_blocks", &why));
    }
    Ok(Queue {
        lines: table.whole("lines", 1, QUEUE_MAX)?.unwrap_or(4) as usize,
        blocks: blocks as usize,
        restart_blocks: restart_blocks as usize,
        restart_wait_s: table.time("restart_wait_ms")?.unwrap_or(0.0),
        low_water: table.whole("low_water", 0, QUEUE_MAX)?.unwrap_or(0) as usize,
        stretch_s: table.time("stretch_ms")?.unwrap_or(0.0),
    })
}

fn motion(table: &Table) -> Result<Motion, BoardError> {
    table.require(
        &["speed_max", "accel_max", "accel", "corner", "steps_per_mm"],
        "",
    )?;
    let layouts = [("cartesian", Layout::Cartesian), ("corexy", Layout::CoreXy)];
    let chord = Range::new(1e-3, 1e6, "mm");
    Ok(Motion {
        layout: table
            .choice("layout", &layouts)?
            .unwrap_or(Layout::Cartesian),
        speed_max_mm_s: table.needed("speed_max", table.axes("speed_max", SPEED)?)?,
        accel_max_mm_s2: table.needed("accel_max", table.axes("accel_max", ACCEL)?)?,
        accel: accel(&table.table_or_empty("accel")?)?,
        corner: corner(&table.table_or_empty("corner")?)?,
        steps_per_mm: table.needed("steps_per_mm", table.axes("steps_per_mm", STEPS)?)?,
        arc_chord_mm: table.number("arc_chord_mm", chord)?.unwrap_or(1.0),
    })
}

fn accel(table: &Table) -> Result<Accel, BoardError> {
    table.require(&["print", "travel", "retract"], "")?;
    let number = |key| table.needed(key, table.number(key, ACCEL)?);
    Ok(Accel {
        print_mm_s2: number("print")?,
        travel_mm_s2: number("travel")?,
        retract_mm_s2: number("retract")?,
    })
}

/// Keys of the other rule are checked and then unused, as with the link.
fn corner(table: &Table) -> Result<Corner, BoardError> {
    table.require(&["rule"], "")?;
    let deviation = table.choice("rule", &[("deviation", true), ("jump", false)])?;
    let mm = table.number("mm", Range::new(0.0, 1000.0, "mm"))?;
    for axis in ["x", "y", "z", "e"] {
        table.number(axis, JUMP)?;
    }
    if table.needed("rule", deviation)? {
        table.require(&["mm"], " with rule \"deviation\"")?;
        Ok(Corner::Deviation {
            mm: table.needed("mm", mm)?,
        })
    } else {
        Ok(Corner::Jump {
            mm_s: table.own_axes(JUMP, " with rule \"jump\"")?,
        })
    }
}

fn wait(table: &Table) -> Result<Wait, BoardError> {
    let time = |key| Ok(table.time(key)?.unwrap_or(0.0));
    Ok(Wait {
        heat_s: time("heat_s")?,
        home_s: time("home_s")?,
        change_s: time("change_s")?,
    })
}

fn save(table: &Table) -> Result<Save, BoardError> {
    let whens = [
        ("off", SaveWhen::Off),
        ("seconds", SaveWhen::Seconds(1.0)),
        ("lines", SaveWhen::Lines(1)),
        ("layer", SaveWhen::Layer),
    ];
    let every = |unit| table.number("every", Range::new(1e-6, TIME_S_MAX, unit));
    let when = match table.choice("when", &whens)?.unwrap_or(SaveWhen::Off) {
        SaveWhen::Seconds(every_s) => SaveWhen::Seconds(every("s")?.unwrap_or(every_s)),
        SaveWhen::Lines(lines) => {
            let every = table.whole("every", 1, SAVE_LINES_MAX)?;
            SaveWhen::Lines(every.map_or(lines, u64::from))
        }
        unused => {
            every("seconds or lines")?;
            unused
        }
    };
    let hold = table.span("ms")?;
    if when != SaveWhen::Off {
        table.require(&["ms"], " with when other than \"off\"")?;
    }
    Ok(Save {
        when,
        hold: hold.unwrap_or(Span::ZERO),
        stop_first: table.flag("stop_first")?.unwrap_or(false),
        reread: table.flag("reread")?.unwrap_or(true),
    })
}

fn nozzle(table: &Table) -> Result<Nozzle, BoardError> {
    Ok(Nozzle {
        filament_mm: table.number("filament_mm", BORE)?.unwrap_or(1.75),
        nozzle_mm: table.number("nozzle_mm", BORE)?.unwrap_or(0.4),
        lag_s: table.time("lag_s")?.unwrap_or(0.05),
        lead_s: table.time("lead_s")?.unwrap_or(0.0),
    })
}
