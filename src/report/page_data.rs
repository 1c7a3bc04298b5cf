//! What the page's script is given: the path of all layers, the visible bumps, the stalls and the time around
//! some of them.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::Serialize;

use crate::answer::replay::{Drawing, ReplayAnswer};
use crate::study::paths::{LEVELS, LayerPath};
use crate::study::stalls::Stall;
use crate::surface::bump::Bump;

use super::look::palette;
use super::page_seen::SeenWalls;
use super::queue;

/// Stalls listed, those that lose most.
pub const STALLS_MAX: usize = 2_000;
/// Visible bumps listed, the highest.
pub const BUMPS_MAX: usize = 2_000;
/// Bytes of the packed paths: in base64 four for each three.
const PATHS_BYTES_MAX: usize = 2_200_000;
/// Bytes of strips.
const STRIPS_BYTES_MAX: usize = 1_000_000;

/// All of it.
#[derive(Serialize)]
pub struct Data {
    /// Colours from stopped to full speed.
    colours: Vec<String>,
    layers: Vec<Layer>,
    bumps: Vec<BumpRow>,
    stalls: Vec<StallRow>,
    /// By the stall's number.
    pub strips: Vec<(u64, String)>,
    worst_layer: u32,
    /// Seed of the run that is shown.
    seed: u64,
    /// All visible bumps and all stalls, the unlisted included.
    visible_bumps: u64,
    stall_count: u64,
    /// How far the drawn path may be from the real one, mm.
    within_mm: f64,
    /// Whether layers are missing.
    layers_left_out: bool,
    /// The walls on which bumps that are seen can be noted.
    pub seen: Option<SeenWalls>,
}

#[derive(Serialize)]
struct Layer {
    layer: u32,
    z: f64,
    lost: f64,
    stalls: u64,
    bumps: u64,
    path: String,
}

/// Bump, stall, cause of the stall, line, layer, x, y, z, height, surface, part.
#[derive(Serialize)]
struct BumpRow(
    u64,
    u64,
    String,
    u64,
    u32,
    [f64; 3],
    f64,
    &'static str,
    String,
);

/// Stall, kind, cause, line, layer, x, y, z, rest, lost, bump, surface.
#[derive(Serialize)]
struct StallRow(
    u64,
    &'static str,
    String,
    u64,
    u32,
    [f64; 3],
    f64,
    f64,
    f64,
    &'static str,
);

impl Data {
    /// What the script is given of an answer; `layers`: the path, within `within_mm` of the real one.
    pub fn of(
        answer: &ReplayAnswer,
        drawing: &Drawing,
        layers: &[LayerPath],
        within_mm: f64,
    ) -> Self {
        let stalls = answer.stalls.worst(STALLS_MAX);
        let bumps = answer.visible_bumps().take(BUMPS_MAX);
        Data {
            colours: (0..LEVELS).map(colour).collect(),
            layers: layers.iter().map(|l| layer_row(l, answer)).collect(),
            bumps: bumps.map(|b| bump_row(b, answer, drawing)).collect(),
            stalls: stalls.into_iter().map(stall_row).collect(),
            strips: strips(answer, drawing),
            worst_layer: answer.worst_layer().unwrap_or(0),
            seed: answer.seed,
            visible_bumps: answer.bumps.visible(),
            stall_count: answer.stall_count(),
            within_mm,
            layers_left_out: layers.len() < answer.job.layers as usize,
            seen: SeenWalls::of(answer, drawing),
        }
    }
}

/// The colour of a class of speed.
pub fn colour(level: usize) -> String {
    palette::hex(palette::speed(level as f64 / (LEVELS - 1) as f64))
}

/// The time around the stalls that lose most, as many as there is room for.
fn strips(answer: &ReplayAnswer, drawing: &Drawing) -> Vec<(u64, String)> {
    let mut room = STRIPS_BYTES_MAX;
    let mut strips = Vec::new();
    for strip in &drawing.strips {
        let Some(stall) = answer.stalls.of(strip.stall) else {
            continue;
        };
        let svg = queue::bare(stall, strip, answer.board.queue.blocks);
        // As it stands in the page: quotes and angle brackets take more.
        let long = svg.len() + svg.matches('"').count() + 5 * svg.matches('<').count();
        if long > room {
            break;
        }
        room -= long;
        strips.push((strip.stall, svg));
    }
    strips
}

fn round(value: f64, by: f64) -> f64 {
    (value * by).round() / by
}

fn layer_row(l: &LayerPath, answer: &ReplayAnswer) -> Layer {
    let sums = answer.layers.get(l.layer as usize);
    let bumps = answer.bumps.by_layer().get(&l.layer);
    Layer {
        layer: l.layer,
        z: round(l.z_mm, 1e3),
        lost: round(l.lost_s, 1e4),
        stalls: sums.map_or(0, |s| s.stalls),
        bumps: bumps.map_or(0, |b| b.count),
        path: STANDARD.encode(packed(l)),
    }
}

fn cause(s: &Stall) -> String {
    match (s.cause_name(), s.two_largest()) {
        ("mixed", Some([most, next])) => format!("{} + {}", most.name(), next.name()),
        (name, _) => name.to_string(),
    }
}

fn bump_row(b: &Bump, answer: &ReplayAnswer, drawing: &Drawing) -> BumpRow {
    let parts = &drawing.exposure.parts;
    let part = drawing.exposure.faces.part(b.block);
    let part = part.and_then(|p| parts.get(p)).filter(|_| parts.len() > 1);
    BumpRow(
        b.bump,
        b.stall,
        answer.stalls.of(b.stall).map_or(String::new(), cause),
        b.line,
        b.layer,
        b.place_mm.map(|v| round(v, 100.0)),
        round(b.height_mm, 1e3),
        b.surface.map_or("", |s| s.name()),
        part.map_or(String::new(), |p| p.letter.clone()),
    )
}

fn stall_row(s: &Stall) -> StallRow {
    StallRow(
        s.stall,
        s.kind.name(),
        cause(s),
        s.line,
        s.layer,
        s.place_mm.map(|v| round(v, 100.0)),
        round(s.dwell_s, 1e4),
        round(s.lost_s, 1e4),
        round(s.bump_mm.unwrap_or(0.0), 1e3),
        s.surface.map_or("", |s| s.name()),
    )
}

/// Whether these paths are small enough for the page.
pub fn paths_fit(layers: &[LayerPath]) -> bool {
    layers.iter().map(|l| packed(l).len() + 60).sum::<usize>() <= PATHS_BYTES_MAX
}

/// A layer's path as bytes: for each run of one level `level + 1` (0: not printed), how many
/// knots, and for each knot its steps in x and y, 0.01 mm, and in lines; all as varints, the steps
/// zigzag.
fn packed(layer: &LayerPath) -> Vec<u8> {
    let mut out = Vec::new();
    let mut put = |mut value: u64| {
        while value > 127 {
            out.push(value as u8 | 128);
            value >>= 7;
        }
        out.push(value as u8);
    };
    let zigzag = |v: i64| ((v << 1) ^ (v >> 63)) as u64;
    let mut at = [0i64; 3];
    for run in layer.knots.chunk_by(|a, b| a.level == b.level) {
        put(run[0].level.map_or(0, |l| u64::from(l) + 1));
        put(run.len() as u64);
        for knot in run {
            let to = [
                (f64::from(knot.x_mm) * 100.0).round() as i64,
                (f64::from(knot.y_mm) * 100.0).round() as i64,
                i64::from(knot.line),
            ];
            for k in 0..3 {
                put(zigzag(to[k] - at[k]));
            }
            at = to;
        }
    }
    out
}
