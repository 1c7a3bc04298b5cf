//! One replay in numbers: what `summary.json` holds, and what the texts are made from.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::answer::replay::{Attribution, ReplayAnswer};
use crate::answer::warnings::Warning;
use crate::replay::cause::{Cause, PerCause};
use crate::study::stalls::{Stall, StallKind};
use crate::study::watch::Need;
use crate::surface::bump::Bump;
use crate::surface::skin::Surface;

use super::verdict::{self, Level};

/// A stretch that takes at most this many times its ideal duration meets its need and is not reported.
const MET: f64 = 1.02;
/// How many of the worst places are listed.
const PLACES: usize = 5;

/// One of the worst places.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Place {
    /// `dwell`, `dip` or `drag`.
    pub kind: StallKind,
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
    /// Height of the bump, mm; of a stall that of its highest, whether it can be seen or not.
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
    /// Stalls at which the head brakes below half the ideal's speed.
    pub dips: u64,
    /// Stalls at which the head is only slower.
    pub drags: u64,
    /// Stalls on moves that print nothing.
    pub idle_stalls: u64,
    /// Saves made.
    pub saves: u64,
    /// How lost time was attributed: `shapley` (exact), or `main_loop` (approximately, by what the main loop mostly did
    /// meanwhile).
    pub causes_by: &'static str,
    /// Lost time by cause, s.
    pub by_cause: PerCause<f64>,
    /// Surplus of plastic, of all stalls, mm³.
    pub excess_mm3: f64,
    /// Plastic that is missing after the stalls, mm³: the thin stretches behind the bumps.
    pub deficit_mm3: f64,
    /// Height of the highest bump on a surface that can be seen, mm, where that was worked out.
    pub largest_bump_mm: Option<f64>,
    /// The layer of that bump, from 0.
    pub largest_bump_layer: Option<u32>,
    /// Stalls on the outside, in open holes, and inside; where worked out.
    pub surfaces: Option<BTreeMap<&'static str, u64>>,
    /// Height from which a bump counts as visible, mm: an assumption.
    pub visible_mm: Option<f64>,
    /// Visible bumps of the run with this seed, where worked out.
    pub visible_bumps: Option<u64>,
    /// Visible bumps to be expected: the median over the runs.
    pub expected_bumps: Option<f64>,
    /// The range that holds them in nine runs of ten; `None` for a single run.
    pub expected_bumps_range: Option<[f64; 2]>,
    /// Visible bumps to be expected on 100 cm² of outer wall.
    pub per_100_cm2: Option<f64>,
    /// Runs made, each with another seed.
    pub runs: usize,
    /// How bad it is: `smooth`, `unseen`, `unknown`, `few`, `ruined`.
    pub level: Level,
    /// The layer that suffers most: with most visible bumps; with none, the one that loses most; from 0.
    pub worst_layer: Option<u32>,
    /// The highest visible bumps, five at most.
    pub worst: Vec<Place>,
    /// The stalls that lose most, five at most.
    pub slowest: Vec<Place>,
    /// The stretch that loses most, where the board falls short of it.
    pub worst_stretch: Option<Stretch>,
    /// Commands that have no effect here beyond the time to decode them, with their counts.
    pub other_commands: BTreeMap<String, u64>,
    /// Reasons to doubt the answer.
    pub warnings: Vec<Warning>,
    /// The files written beside this one.
    pub files: Vec<String>,
}

impl Summary {
    /// The answer in numbers; `set`: single keys of the board that were set.
    pub fn of(answer: &ReplayAnswer, set: &[String]) -> Self {
        let totals = &answer.totals;
        let [dwells, dips, drags] = answer.kinds;
        let names = [Surface::Outer, Surface::Hole, Surface::Inner].map(Surface::name);
        let highest = answer.bumps.highest();
        let visible = answer.visible_count();
        let expected = verdict::expected(answer);
        let mut summary = Summary {
            program: concat!("headstall ", env!("CARGO_PKG_VERSION")).to_string(),
            verdict: String::new(),
            job: answer.job.name.clone(),
            board: answer.board.name.clone(),
            set: set.to_vec(),
            seed: answer.seed,
            lines: answer.job.lines,
            commands: answer.job.commands,
            bytes: answer.job.bytes,
            blocks: totals.blocks,
            layers: answer.job.layers,
            extrudes: answer.job.extrudes,
            ideal_s: answer.ideal_s,
            replay_s: totals.replay_s,
            start_up_s: totals.start_up_s,
            stop_s: totals.stop_s,
            stop_wait_s: totals.stop_wait_s,
            lost_s: answer.lost_s,
            stalls: answer.stall_count(),
            dwells,
            dips,
            drags,
            idle_stalls: answer.idle_stalls,
            saves: totals.saves,
            causes_by: match answer.attribution {
                Attribution::Shapley => "shapley",
                Attribution::MainLoop => "main_loop",
            },
            by_cause: answer.by_cause_s,
            excess_mm3: answer.excess_mm3,
            deficit_mm3: answer.deficit_mm3,
            largest_bump_mm: highest.map(|(mm, _)| mm),
            largest_bump_layer: highest.map(|(_, layer)| layer),
            surfaces: answer.surfaces.map(|n| names.into_iter().zip(n).collect()),
            visible_mm: visible.map(|_| answer.visible_mm),
            visible_bumps: visible,
            expected_bumps: expected.map(|e| e.median),
            expected_bumps_range: expected.and_then(|e| e.range),
            per_100_cm2: verdict::per_100_cm2(answer),
            runs: answer.luck.as_ref().map_or(1, |luck| luck.runs.len()),
            level: verdict::level(answer),
            worst_layer: answer.worst_layer(),
            worst: bumps(answer),
            slowest: answer.stalls.worst(PLACES).into_iter().map(place).collect(),
            worst_stretch: stretch(&answer.need),
            other_commands: answer.job.other_commands.clone(),
            warnings: answer.warnings.clone(),
            files: Vec::new(),
        };
        summary.verdict = verdict::verdict(answer);
        summary
    }
}

/// The highest visible bumps.
fn bumps(answer: &ReplayAnswer) -> Vec<Place> {
    let of_bump = |bump: &Bump| Some(place_of(bump, answer.stalls.of(bump.stall)?));
    let bumps = answer.visible_bumps().filter_map(of_bump);
    bumps.take(PLACES).collect()
}

/// A bump's place, and what the stall that left it was.
fn place_of(bump: &Bump, stall: &Stall) -> Place {
    let [x_mm, y_mm, z_mm] = bump.place_mm;
    Place {
        line: bump.line,
        layer: bump.layer,
        x_mm,
        y_mm,
        z_mm,
        bump_mm: Some(bump.height_mm),
        surface: bump.surface.map(Surface::name),
        ..place(stall)
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
        bump_mm: stall.bump_mm,
        surface: stall.surface.map(Surface::name),
    }
}

fn stretch(need: &Need) -> Option<Stretch> {
    let blocks = need.blocks as f64;
    (need.ideal_s > 0.0 && need.took_s > MET * need.ideal_s).then(|| Stretch {
        line: need.line,
        layer: need.layer,
        needs_blocks_per_s: blocks / need.ideal_s,
        got_blocks_per_s: blocks / need.took_s,
        needs_bytes_per_s: need.bytes / need.ideal_s,
        got_bytes_per_s: need.bytes / need.took_s,
    })
}
