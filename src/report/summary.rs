//! One replay in numbers: what `summary.json` holds and the words are made from.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::board::types::{Board, Link};
use crate::job::notices::Kind as Odd;
use crate::job::reader::JobReader;
use crate::replay::source::Planned;
use crate::replay::stream::Replayed;
use crate::replay::world::Cause;
use crate::study::causes::Shares;
use crate::study::stalls::{Kind, Stall};
use crate::study::watch::{Need, Seen, WORST_PLACES};
use crate::surface::skin::Surface;

/// What was replayed.
#[derive(Clone, Copy, Debug)]
pub struct Question<'a> {
    /// The job's name: a file, or standard input.
    pub job: &'a str,
    /// The board.
    pub board: &'a Board,
    /// How the board was named on the command line.
    pub board_name: &'a str,
    /// Single keys that were set.
    pub set: &'a [String],
    /// The seed of all draws.
    pub seed: u64,
}

/// Something that the reader or the board gives cause to doubt.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Warning {
    /// Of what kind.
    pub kind: String,
    /// How often.
    pub count: u64,
    /// The first line concerned, from 1; 0: none.
    pub line: u64,
    /// Byte offset of the first place.
    pub byte: u64,
    /// The first line concerned, shortened.
    pub text: String,
    /// What is odd and what was done about it.
    pub message: String,
}

/// One of the worst places.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Place {
    /// `dwell`, `dip` or `drag`.
    pub kind: Kind,
    /// What held the head up; `mixed` where no cause took half.
    pub cause: &'static str,
    /// The two largest causes, where that was worked out.
    pub two_largest: Option<[Cause; 2]>,
    /// The file's line, from 1.
    pub line: u64,
    /// The layer, from 0.
    pub layer: u32,
    /// x, mm.
    pub x_mm: f64,
    /// y, mm.
    pub y_mm: f64,
    /// z, mm.
    pub z_mm: f64,
    /// Rest, s.
    pub dwell_s: f64,
    /// Lost time, s.
    pub lost_s: f64,
    /// How far its bump stands proud, mm, where it is seen.
    pub bump_mm: Option<f64>,
    /// `outer`, `hole` or `inner`, where that was worked out.
    pub surface: Option<&'static str>,
}

/// The stretch of 64 blocks that loses most: what it needs and what it got.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Stretch {
    /// Its first line, from 1.
    pub line: u64,
    /// Its first layer, from 0.
    pub layer: u32,
    /// Blocks a second that the ideal needs.
    pub needs_blocks_per_s: f64,
    /// Blocks a second that the board kept up.
    pub got_blocks_per_s: f64,
    /// Bytes a second that the ideal needs.
    pub needs_bytes_per_s: f64,
    /// Bytes a second that the board kept up.
    pub got_bytes_per_s: f64,
}

/// One replay in numbers.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Summary {
    /// This program and its version: marks the folder as its own.
    pub program: String,
    /// The answer in one sentence.
    pub verdict: String,
    /// The job's name.
    pub job: String,
    /// The board's name.
    pub board: String,
    /// Single keys that were set.
    pub set: Vec<String>,
    /// The seed of all draws.
    pub seed: u64,
    /// Lines of the file.
    pub lines: u64,
    /// Lines that bear a command.
    pub commands: u64,
    /// Bytes of the file.
    pub bytes: u64,
    /// Blocks executed.
    pub blocks: u64,
    /// Layers found.
    pub layers: u32,
    /// Whether anything is extruded.
    pub extrudes: bool,
    /// The ideal's duration, commanded stops included, s.
    pub ideal_s: f64,
    /// The replay's duration, s.
    pub replay_s: f64,
    /// Rests before the first block and after commanded stops, s.
    pub start_up_s: f64,
    /// Commanded stops' own time, s.
    pub stop_s: f64,
    /// From the drained queue to a stop's own time, s.
    pub stop_wait_s: f64,
    /// Sum of the blocks' lost time, s.
    pub lost_s: f64,
    /// Stalls.
    pub stalls: u64,
    /// Stalls at which the head rests.
    pub dwells: u64,
    /// Stalls at which it falls below half the ideal's speed.
    pub dips: u64,
    /// Stalls at which it is only slower.
    pub drags: u64,
    /// Saves made.
    pub saves: u64,
    /// How the causes were told: `shapley`, or `main_loop`: what it mostly did meanwhile.
    pub causes_by: &'static str,
    /// Lost time by cause, s.
    pub by_cause: BTreeMap<&'static str, f64>,
    /// Plastic too much, of all stalls, mm³.
    pub excess_mm3: f64,
    /// Plastic too little, of all stalls, mm³: the thin stretches behind the blobs.
    pub deficit_mm3: f64,
    /// How far the largest bump stands proud, mm; on a surface that is seen, where that is known.
    pub largest_bump_mm: Option<f64>,
    /// The layer of that bump, from 0.
    pub largest_bump_layer: Option<u32>,
    /// Stalls on the outside, on holes open above, and inside; where worked out.
    pub surfaces: Option<BTreeMap<&'static str, u64>>,
    /// Height from which a bump counts as visible, mm: an assumption.
    pub visible_mm: Option<f64>,
    /// Stalls that leave a visible bump, where worked out.
    pub visible_bumps: Option<u64>,
    /// The layer with most visible bumps or most plastic too much on its outside; with none, the one
    /// that loses most; from 0.
    pub worst_layer: Option<u32>,
    /// The five worst places: visible bumps, the tallest first, or else what loses most.
    pub worst: Vec<Place>,
    /// The stretch that loses most.
    pub worst_stretch: Option<Stretch>,
    /// Commands that cost decoding only, with their counts.
    pub other_commands: BTreeMap<String, u64>,
    /// What gives cause to doubt.
    pub warnings: Vec<Warning>,
    /// The files written beside this one.
    pub files: Vec<String>,
}

impl Summary {
    /// Gathers what a replay and its watch found.
    pub fn new<R: std::io::Read>(
        question: &Question,
        replayed: &Replayed<Planned<JobReader<R>>>,
        seen: &Seen,
        shares: Option<&Shares>,
    ) -> Self {
        let totals = &replayed.totals;
        let reader = &replayed.source.steps;
        let [dwells, dips, drags] = seen.kinds;
        let by_cause_s = shares.map_or(seen.by_cause_s, |s| s.total_s);
        let mut summary = Summary {
            program: concat!("headstall ", env!("CARGO_PKG_VERSION")).to_string(),
            verdict: String::new(),
            job: question.job.to_string(),
            board: question.board.name.clone(),
            set: question.set.to_vec(),
            seed: question.seed,
            lines: reader.line_count(),
            commands: reader.command_count(),
            bytes: reader.byte_count(),
            blocks: totals.blocks,
            layers: reader.layers().count(),
            extrudes: reader.extruded(),
            ideal_s: replayed.ideal_s,
            replay_s: totals.replay_s,
            start_up_s: totals.start_up_s,
            stop_s: totals.stop_s,
            stop_wait_s: totals.stop_wait_s,
            lost_s: replayed.lost_s,
            stalls: seen.stalls(),
            dwells,
            dips,
            drags,
            saves: totals.saves,
            causes_by: if shares.is_some() {
                "shapley"
            } else {
                "main_loop"
            },
            by_cause: Cause::ALL
                .into_iter()
                .map(|c| (c.name(), by_cause_s[c as usize]))
                .collect(),
            excess_mm3: seen.excess_mm3,
            deficit_mm3: seen.deficit_mm3,
            largest_bump_mm: seen.largest_bump.map(|(mm, _)| mm),
            largest_bump_layer: seen.largest_bump.map(|(_, stall)| stall.layer),
            surfaces: None,
            visible_mm: None,
            visible_bumps: None,
            worst_layer: seen.worst_layer(),
            worst: seen.worst.iter().map(place).collect(),
            worst_stretch: stretch(&seen.need),
            other_commands: reader.notices().others().clone(),
            warnings: warnings(question.board, reader),
            files: Vec::new(),
        };
        summary.verdict = super::words::verdict(&summary);
        summary
    }

    /// Tells on which surfaces the stalls lie (outer, hole, inner), and the bumps on those that are
    /// seen, the tallest first. Those of `visible_mm` or more are what the verdict and the worst
    /// places then speak of.
    pub fn tell_surfaces(&mut self, counts: [u64; 3], visible_mm: f64, bumps: &[(f64, Stall)]) {
        let names = [Surface::Outer, Surface::Hole, Surface::Inner].map(Surface::name);
        self.surfaces = Some(names.into_iter().zip(counts).collect());
        let visible = &bumps[..bumps.partition_point(|(mm, _)| *mm >= visible_mm)];
        self.visible_mm = Some(visible_mm);
        self.visible_bumps = Some(visible.len() as u64);
        self.largest_bump_mm = bumps.first().map(|(mm, _)| *mm);
        self.largest_bump_layer = bumps.first().map(|(_, stall)| stall.layer);
        if !visible.is_empty() {
            let worst = visible.iter().take(WORST_PLACES);
            self.worst = worst
                .map(|(mm, stall)| Place {
                    bump_mm: Some(*mm),
                    ..place(stall)
                })
                .collect();
            let mut layers: BTreeMap<u32, f64> = BTreeMap::new();
            for (mm, stall) in visible {
                *layers.entry(stall.layer).or_insert(0.0) += mm;
            }
            let most = layers
                .iter()
                .max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(a.0)));
            self.worst_layer = most.map(|(layer, _)| *layer);
        }
        self.verdict = super::words::verdict(self);
    }

    /// The cause with the most lost time and its share of it.
    pub fn main_cause(&self) -> Option<(&'static str, f64)> {
        let total_s: f64 = self.by_cause.values().sum();
        let (name, most_s) = self
            .by_cause
            .iter()
            .max_by(|a, b| a.1.total_cmp(b.1))
            .map(|(n, s)| (*n, *s))?;
        (most_s > 0.0 && total_s > 0.0).then(|| (name, most_s / total_s))
    }
}

fn place(stall: &Stall) -> Place {
    let [x_mm, y_mm, z_mm] = stall.place_mm;
    Place {
        kind: stall.kind,
        cause: stall.cause_name(),
        two_largest: stall.two_largest(),
        line: stall.line,
        layer: stall.layer,
        x_mm,
        y_mm,
        z_mm,
        dwell_s: stall.dwell_s,
        lost_s: stall.lost_s,
        bump_mm: None,
        surface: stall.surface.map(Surface::name),
    }
}

fn stretch(need: &Need) -> Option<Stretch> {
    let blocks = need.blocks as f64;
    (need.ideal_s > 0.0 && need.took_s > need.ideal_s).then(|| Stretch {
        line: need.line,
        layer: need.layer,
        needs_blocks_per_s: blocks / need.ideal_s,
        got_blocks_per_s: blocks / need.took_s,
        needs_bytes_per_s: need.bytes / need.ideal_s,
        got_bytes_per_s: need.bytes / need.took_s,
    })
}

fn warnings<R: std::io::Read>(board: &Board, reader: &JobReader<R>) -> Vec<Warning> {
    let mut all: Vec<Warning> = reader
        .notices()
        .list()
        .filter(|n| n.kind != Odd::NothingExtruded)
        .map(|n| Warning {
            kind: serde_json::to_value(n.kind)
                .ok()
                .and_then(|v| v.as_str().map(String::from))
                .unwrap_or_default(),
            count: n.count,
            line: n.line,
            byte: n.byte,
            text: n.text.clone(),
            message: n.kind.message().to_string(),
        })
        .collect();
    if reader.notices().has(Odd::NothingExtruded) {
        all.push(plain("nothing_extruded", Odd::NothingExtruded.message()));
    }
    let queue = &board.queue;
    if queue.restart_blocks > 1 && queue.restart_wait_s == 0.0 {
        all.push(plain(
            "restart",
            "the board waits for restart_blocks however long that takes (restart_wait_ms = 0): \
             on a slow link each rest lasts until they are there",
        ));
    }
    if let Link::Serial(serial) = &board.link
        && serial.in_flight > queue.lines + 1
        && matches!(serial.reply_when, crate::board::types::ReplyWhen::Finished)
    {
        all.push(plain(
            "in_flight",
            "the host has more lines in flight than the command queue holds; the others wait in \
             the line's buffer, which this model takes to be large enough",
        ));
    }
    all
}

fn plain(kind: &str, message: &str) -> Warning {
    Warning {
        kind: kind.to_string(),
        count: 1,
        line: 0,
        byte: 0,
        text: String::new(),
        message: message.to_string(),
    }
}
