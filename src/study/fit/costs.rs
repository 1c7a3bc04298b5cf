//! Whole costs: what a section's duration shows is a sum of keys, and the sum is known better than its parts.

use crate::board::types::{Board, Link, SaveWhen};

use super::keys::{self, Key, mean_s};
use super::quantiles::middle;

/// Bytes of a typical short move, `G1 X123.45` and the like.
const LINE_BYTES: f64 = 12.0;
/// Samples that are looked at.
const SAMPLES: usize = 240;

/// A whole cost.
#[derive(Clone, Debug, PartialEq)]
pub struct Cost {
    /// What it is of, and its unit.
    pub name: &'static str,
    /// Median and 95 % interval.
    pub value: [f64; 3],
}

const NAMES: [&str; 6] = [
    "a short move of 12 bytes, ms",
    "a line of 12 bytes that moves nothing, ms",
    "a byte of comment, ms",
    "a chord of an arc, ms",
    "a save, ms",
    "share of time that saves take",
];

/// Whole costs over samples of the posterior; those that the board does not have are left out.
pub fn costs(means: &Board, keys: &[Key], samples: &[Vec<f64>]) -> Vec<Cost> {
    let step = (samples.len() / SAMPLES).max(1);
    let rows: Vec<[Option<f64>; 6]> = samples
        .iter()
        .step_by(step)
        .map(|theta| of(&keys::with(means, keys, theta)))
        .collect();
    let arcs = keys.contains(&Key::ChordUs);
    let is_asked = |name: &str| arcs || !name.contains("arc");
    let column = |k: usize| rows.iter().map(|r| r[k]).collect::<Option<Vec<f64>>>();
    let all = NAMES.iter().enumerate().filter(|(_, name)| is_asked(name));
    all.filter_map(|(k, name)| {
        let value = middle(column(k)?);
        Some(Cost { name, value })
    })
    .collect()
}

fn of(board: &Board) -> [Option<f64>; 6] {
    let costs = &board.costs;
    let (sector_ms, wire_ms) = match &board.link {
        Link::Card(card) => (Some(mean_s(&card.sector) * 1e3 / 512.0), 0.0),
        Link::Serial(serial) => {
            let bytes_s = (LINE_BYTES + serial.overhead_bytes) / serial.bytes_per_s;
            let reply_s = mean_s(&serial.reply) / serial.in_flight as f64;
            (None, (bytes_s + reply_s) * 1e3)
        }
    };
    let byte_ms = costs.byte_s * 1e3 + sector_ms.unwrap_or(0.0);
    let line_ms = costs.line_s * 1e3 + LINE_BYTES * byte_ms + wire_ms;
    // Two moves wait on average where the board is slow.
    let plan_ms = (costs.block_s + 2.0 * costs.pass_s) * 1e3;
    let saves = board.save.when != SaveWhen::Off;
    let save_ms = mean_s(&board.save.hold) * 1e3;
    let share = match board.save.when {
        SaveWhen::Seconds(every_s) => Some(save_ms / 1e3 / every_s),
        _ => None,
    };
    [
        Some(line_ms + plan_ms),
        Some(line_ms),
        sector_ms.map(|_| byte_ms),
        Some(plan_ms + costs.chord_s * 1e3),
        saves.then_some(save_ms),
        share,
    ]
}
