//! `map.svg`: one layer's path, coloured by the head's speed relative to the ideal, with its stalls and visible bumps.

use std::fmt::Write;

use crate::study::stalls::StallKind;
use crate::study::trace::{LayerTrace, Mark, Segment};

use super::bump_marks::Bump;
use super::look::palette::{self, BUMP, CARD, INK, INK_FAINT};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH, number};
use super::numbers::{count, time};
use crate::study::thin::thin;
use crate::text::fixed;

/// What stands around the map.
#[derive(Clone, Debug)]
pub struct MapText {
    /// The answer in one sentence.
    pub verdict: String,
    /// The job's name.
    pub job: String,
    /// The board's name.
    pub board: String,
    /// How many layers the job has.
    pub layers: u32,
    /// Visible bumps on the drawn layer, the highest first; where there are too many, the highest of them.
    pub bumps: Vec<Bump>,
    /// How many there are.
    pub visible: u64,
    /// Further sentences below the map.
    pub notes: Vec<String>,
}

const SIDE: f64 = WIDTH - 2.0 * MARGIN;
/// Bytes that the path may take.
const PATH_BYTES_MAX: usize = 1_500_000;
/// Marks drawn, the longest stalls.
const MARKS_MAX: usize = 250;
/// A layer that loses less than this has lost nothing worth a word, s.
const LOST_MIN_S: f64 = 5e-4;
const LEVELS: usize = 16;
/// Path coordinates are in tenths of a pixel.
const FINE: f64 = 10.0;

/// Draws the layer; below 2 MB.
pub fn svg(trace: &LayerTrace, text: &MapText) -> String {
    let line = format!(
        "layer {} (z {} mm) of layers 0–{}, {} on {}",
        trace.layer,
        fixed(trace.z_mm, 2),
        text.layers.max(1) - 1,
        text.job,
        text.board
    );
    let description = format!(
        "The path of layer {} (z {} mm) seen from above. Colour: speed of the head over the speed that \
         the job allows; dark is slow. {} on this layer: {}. {}.",
        trace.layer,
        fixed(trace.z_mm, 2),
        count(trace.marks.len() as u64 + trace.unmarked, "stall"),
        kinds(trace),
        count(text.visible, "visible bump")
    );
    let mut picture = Picture::new(&text.verdict, &line, &description);
    let Some(frame) = Frame::around(trace, picture.top) else {
        let y = picture.top + 40.0;
        let y = picture.paragraph(y, Voice::Body, "This layer has no path to draw.");
        return picture.finish(y + 10.0);
    };
    draw_path(&mut picture, trace, &frame);
    draw_marks(&mut picture, trace, &frame);
    draw_bumps(&mut picture, text, &frame);
    let bottom = draw_legend(&mut picture, trace, text, &frame);
    picture.finish(bottom)
}

fn kinds(trace: &LayerTrace) -> String {
    let of = |kind: StallKind| trace.marks.iter().filter(|s| s.kind == kind).count() as u64;
    format!(
        "{}, {}, {}",
        count(of(StallKind::Dwell), "dwell"),
        count(of(StallKind::Dip), "dip"),
        count(of(StallKind::Drag), "drag")
    )
}

/// Millimetres → pixels.
struct Frame {
    left_mm: f64,
    high_mm: f64,
    pixels_per_mm: f64,
    left: f64,
    top: f64,
    height: f64,
}

impl Frame {
    /// What is printed fills the frame; where nothing is, all that moves.
    fn around(trace: &LayerTrace, top: f64) -> Option<Frame> {
        let printed = printed_ends(&trace.segments);
        let all = trace
            .segments
            .iter()
            .map(|s| (f64::from(s.x_mm), f64::from(s.y_mm)));
        let points: Vec<(f64, f64)> = if printed.is_empty() {
            all.collect()
        } else {
            printed
        };
        let first = *points.first()?;
        let (low, high) = points.iter().fold((first, first), |(l, h), p| {
            ((l.0.min(p.0), l.1.min(p.1)), (h.0.max(p.0), h.1.max(p.1)))
        });
        let size_mm = (high.0 - low.0).max(high.1 - low.1).max(1e-3);
        let pixels_per_mm = SIDE / size_mm;
        let width = (high.0 - low.0) * pixels_per_mm;
        Some(Frame {
            left_mm: low.0,
            high_mm: high.1,
            pixels_per_mm,
            left: (WIDTH - width) / 2.0,
            top: top + 10.0,
            height: (high.1 - low.1) * pixels_per_mm,
        })
    }

    fn at(&self, x_mm: f64, y_mm: f64) -> (f64, f64) {
        // Far travel is cut off well outside the card.
        let hold = |v: f64| v.clamp(-WIDTH, 3.0 * WIDTH);
        (
            hold(self.left + (x_mm - self.left_mm) * self.pixels_per_mm),
            hold(self.top + (self.high_mm - y_mm) * self.pixels_per_mm),
        )
    }
}

fn printed_ends(segments: &[Segment]) -> Vec<(f64, f64)> {
    let mut points = Vec::new();
    for (i, s) in segments.iter().enumerate() {
        if s.extrudes && !s.starts {
            if let Some(from) = i.checked_sub(1).map(|k| &segments[k]) {
                points.push((f64::from(from.x_mm), f64::from(from.y_mm)));
            }
            points.push((f64::from(s.x_mm), f64::from(s.y_mm)));
        }
    }
    points
}

/// A run of pieces of one look.
struct Run {
    /// `None`: a move without printing.
    level: Option<usize>,
    points: Vec<(f64, f64)>,
}

fn runs(trace: &LayerTrace, frame: &Frame) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    let mut at = None;
    for s in &trace.segments {
        let to = frame.at(f64::from(s.x_mm), f64::from(s.y_mm));
        let level = s
            .extrudes
            .then(|| (f64::from(s.speed_ratio) * (LEVELS - 1) as f64).round() as usize);
        if let (Some(from), false) = (at, s.starts) {
            match runs.last_mut() {
                Some(run) if run.level == level && run.points.last() == Some(&from) => {
                    run.points.push(to)
                }
                _ => runs.push(Run {
                    level,
                    points: vec![from, to],
                }),
            }
        }
        at = Some(to);
    }
    runs
}

/// Neighbouring runs in pairs, at the slower one's level.
fn joined(runs: Vec<Run>) -> Vec<Run> {
    let mut joined: Vec<Run> = Vec::with_capacity(runs.len() / 2 + 1);
    let mut single = false;
    for run in runs {
        match (joined.last_mut(), run.level) {
            (
                Some(Run {
                    level: Some(last),
                    points,
                }),
                Some(level),
            ) if single && points.last() == run.points.first() => {
                *last = level.min(*last);
                points.extend(&run.points[1..]);
                single = false;
            }
            _ => {
                joined.push(run);
                single = true;
            }
        }
    }
    joined
}

fn draw_path(picture: &mut Picture, trace: &LayerTrace, frame: &Frame) {
    let mut runs = runs(trace, frame);
    let mut tolerance = 0.15;
    let paths = loop {
        let paths = paths(&runs, tolerance);
        if paths.iter().map(String::len).sum::<usize>() <= PATH_BYTES_MAX || tolerance > WIDTH {
            break paths;
        }
        tolerance *= 2.0;
        if tolerance > 2.0 {
            runs = joined(runs);
        }
    };
    let width = (0.4 * frame.pixels_per_mm).clamp(2.0, 7.0) * FINE;
    picture.add(&format!(
        "<clipPath id=\"frame\"><rect y=\"{}\" width=\"{WIDTH}\" height=\"{}\"/></clipPath><g clip-path=\"url(#frame)\">",
        number(frame.top - 10.0),
        number(frame.height + 20.0)
    ));
    picture.add(&format!(
        "<g transform=\"scale({})\" fill=\"none\" stroke-linejoin=\"round\" stroke-linecap=\"round\">",
        1.0 / FINE
    ));
    for (i, path) in paths.iter().enumerate().filter(|(_, p)| !p.is_empty()) {
        if i == 0 {
            picture.add(&format!(
                "<path class=\"travel\" d=\"{path}\" stroke=\"{INK_FAINT}\" stroke-width=\"12\" stroke-dasharray=\"30 40\"/>"
            ));
            continue;
        }
        // Full speed first, so that what is slow lies on top, a little wider.
        let ratio = (LEVELS - i) as f64 / (LEVELS - 1) as f64;
        picture.add(&format!(
            "<path class=\"speed\" d=\"{path}\" stroke=\"{}\" stroke-width=\"{}\"/>",
            palette::hex(palette::speed(ratio)),
            number(width * (1.0 + 0.4 * (1.0 - ratio)))
        ));
    }
    picture.add("</g></g>");
}

/// Path data: moves without printing, then the levels from full speed to stopped.
fn paths(runs: &[Run], tolerance: f64) -> Vec<String> {
    let mut paths = vec![String::new(); LEVELS + 1];
    for run in runs {
        let path = &mut paths[run.level.map_or(0, |level| LEVELS - level)];
        let mut at = (0, 0);
        for (k, (x, y)) in thin(&run.points, tolerance).into_iter().enumerate() {
            let to = ((x * FINE).round() as i64, (y * FINE).round() as i64);
            let _ = match k {
                0 => write!(path, "M {} {}", to.0, to.1),
                _ => write!(path, "l{} {}", to.0 - at.0, to.1 - at.1),
            };
            at = to;
        }
    }
    paths
}

/// Radius of the mark of a stall: its area goes by the lost time, within bounds.
fn radius(lost_s: f64) -> f64 {
    (34.0 * lost_s.sqrt()).clamp(5.0, 30.0)
}

fn mark(kind: StallKind, x: f64, y: f64, r: f64) -> String {
    let (x0, y0, r0) = (number(x), number(y), number(r));
    match kind {
        StallKind::Dwell => format!(
            "<circle class=\"dwell\" cx=\"{x0}\" cy=\"{y0}\" r=\"{r0}\" fill=\"{INK}\" stroke=\"{CARD}\" stroke-width=\"3\"/>"
        ),
        StallKind::Dip => format!(
            "<path class=\"dip\" d=\"M {} {}h{}L{x0} {}z\" fill=\"{CARD}\" stroke=\"{INK}\" stroke-width=\"4\" stroke-linejoin=\"round\"/>",
            number(x - r),
            number(y - 0.8 * r),
            number(2.0 * r),
            number(y + r)
        ),
        StallKind::Drag => format!(
            "<path class=\"drag\" d=\"M {} {y0}h{}\" stroke=\"{CARD}\" stroke-width=\"9\"/><path d=\"M {} {y0}h{}\" stroke=\"{INK}\" stroke-width=\"4\"/>",
            number(x - r - 2.0),
            number(2.0 * r + 4.0),
            number(x - r),
            number(2.0 * r)
        ),
    }
}

/// The longest stalls, longest first.
fn drawn(trace: &LayerTrace) -> Vec<&Mark> {
    let mut stalls: Vec<&Mark> = trace.marks.iter().collect();
    stalls.sort_by(|a, b| a.kind.cmp(&b.kind).then(b.lost_s.total_cmp(&a.lost_s)));
    stalls.truncate(MARKS_MAX);
    stalls
}

fn draw_marks(picture: &mut Picture, trace: &LayerTrace, frame: &Frame) {
    for stall in drawn(trace).into_iter().rev() {
        let (x, y) = frame.at(stall.place_mm[0], stall.place_mm[1]);
        picture.add(&mark(stall.kind, x, y, radius(stall.lost_s)));
    }
}

/// A bump's mark: a diamond.
fn diamond(x: f64, y: f64, r: f64) -> String {
    let (x, y, r) = (number(x), number(y - r), number(r));
    format!(
        "<path class=\"bump\" d=\"M {x} {y}l{r} {r}l-{r} {r}l-{r} -{r}z\" fill=\"{BUMP}\" stroke=\"{CARD}\" stroke-width=\"2\"/>"
    )
}

fn bump_size(mm: f64, most_mm: f64) -> f64 {
    6.0 + 5.0 * (mm / most_mm.max(1e-9)).sqrt()
}

fn draw_bumps(picture: &mut Picture, text: &MapText, frame: &Frame) {
    let most_mm = text.bumps.first().map_or(0.0, |b| b.bump_mm);
    let drawn: Vec<&Bump> = text.bumps.iter().take(MARKS_MAX).collect();
    for bump in drawn.into_iter().rev() {
        let (x, y) = frame.at(bump.place_mm[0], bump.place_mm[1]);
        picture.add(&diamond(x, y, bump_size(bump.bump_mm, most_mm)));
    }
}

fn draw_legend(picture: &mut Picture, trace: &LayerTrace, text: &MapText, frame: &Frame) -> f64 {
    let mut y = frame.top + frame.height + 34.0;
    picture.rule(y);
    y += 38.0;
    picture.say(
        MARGIN,
        y,
        Voice::Strong,
        Anchor::Start,
        "Speed, against what the job allows",
    );
    picture.scale_bar(WIDTH - MARGIN, y + 36.0, 250.0, frame.pixels_per_mm);
    y = speed_key(picture, y + 18.0, 560.0);
    if let Some(highest) = text.bumps.first() {
        picture.add(&diamond(MARGIN + 16.0, y - 9.0, 11.0));
        let label = format!(
            "{}; the wall stands out by up to {:.2} mm",
            count(text.visible, "visible bump"),
            highest.bump_mm
        );
        picture.say(MARGIN + 48.0, y, Voice::Body, Anchor::Start, &label);
        y += 38.0;
    }
    y = stall_key(picture, trace, y);
    let mut notes = Vec::new();
    if trace.marks.is_empty() && trace.lost_s < LOST_MIN_S && text.notes.is_empty() {
        notes.push("No stall on this layer.".to_string());
    } else if !trace.marks.is_empty() {
        notes.push("The larger a stall's mark, the more time was lost there.".to_string());
    }
    let most = MARKS_MAX as u64;
    let hidden = (trace.marks.len() as u64 + trace.unmarked).saturating_sub(most);
    if hidden > 0 {
        notes.push(format!("{} not marked.", are(hidden, "smaller stall")));
    }
    let hidden = text
        .visible
        .saturating_sub(most.min(text.bumps.len() as u64));
    if hidden > 0 {
        notes.push(format!("{} not marked.", are(hidden, "lower bump")));
    }
    notes.extend(text.notes.iter().cloned());
    for note in notes {
        y = picture.paragraph(y, Voice::Note, &note);
    }
    y
}

/// `1 lower bump is`, `5 lower bumps are`.
fn are(n: u64, noun: &str) -> String {
    format!("{} {}", count(n, noun), if n == 1 { "is" } else { "are" })
}

/// The key to the stalls' marks; returns where what follows may begin.
fn stall_key(picture: &mut Picture, trace: &LayerTrace, mut y: f64) -> f64 {
    let names = [
        (StallKind::Dwell, "dwell", "the head stood still and oozed"),
        (StallKind::Dip, "dip", "it braked below half speed"),
        (StallKind::Drag, "drag", "it was only slower"),
    ];
    for (kind, name, what) in names {
        let of_kind = trace.marks.iter().filter(|s| s.kind == kind);
        let n = of_kind.clone().count() as u64;
        if n == 0 {
            continue;
        }
        let longest_s = of_kind.map(|s| s.lost_s).fold(0.0, f64::max);
        let size = radius(longest_s).min(15.0);
        picture.add(&mark(kind, MARGIN + 16.0, y - 9.0, size));
        let label = format!(
            "{}: {what}; at most {} lost",
            count(n, name),
            time(longest_s)
        );
        picture.say(MARGIN + 48.0, y, Voice::Body, Anchor::Start, &label);
        y += 38.0;
    }
    y
}

/// The key to the colours of speed; returns where what follows may begin.
pub fn speed_key(picture: &mut Picture, y: f64, wide: f64) -> f64 {
    let step = wide / LEVELS as f64;
    for k in 0..LEVELS {
        picture.add(&format!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"28\" fill=\"{}\"/>",
            number(MARGIN + step * k as f64),
            number(y),
            number(step + 0.5),
            palette::hex(palette::speed(k as f64 / (LEVELS - 1) as f64))
        ));
    }
    for (part, anchor, label) in [
        (0.0, Anchor::Start, "stopped"),
        (0.5, Anchor::Middle, "half"),
        (1.0, Anchor::End, "full speed"),
    ] {
        picture.say(MARGIN + wide * part, y + 56.0, Voice::Note, anchor, label);
    }
    y + 106.0
}
