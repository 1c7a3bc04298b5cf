//! `queue.svg`: a strip of time around one stall. What the head did, the planner queue, and what
//! held the main loop.

use crate::replay::cause::{Cause, PerCause};
use crate::study::stalls::{Stall, StallKind};
use crate::study::strips::Strip;
use crate::text::fixed;

use super::bars::cause_key;
use super::look::chart::{AXIS, Chart, Frame, plain, seconds};
use super::look::palette::{self, DONE, INK, INK_FAINT, INK_SOFT};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH, number};
use super::numbers::{rate, time};

const LEFT: f64 = 110.0;
const RIGHT: f64 = WIDTH - MARGIN;
/// Heights of the three lanes.
const SPEED: f64 = 210.0;
const QUEUE: f64 = 120.0;
const LOOP: f64 = 56.0;

/// What happened, in one sentence.
pub fn sentence(stall: &Stall) -> String {
    let why = |cause: Cause| cause.about().why;
    let why = match (stall.cause_name(), stall.two_largest()) {
        ("mixed", Some([most, next])) => format!("{}, and {}", why(most), why(next)),
        (_, Some([most, _])) => why(most).to_string(),
        (_, None) => why(stall.cause).to_string(),
    };
    match stall.kind {
        StallKind::Dwell => format!("The head stands still for {}: {why}.", time(stall.dwell_s)),
        StallKind::Dip => format!(
            "The head brakes to {} where {} mm/s are allowed: {why}.",
            rate(stall.least_mm_s),
            rate(stall.ideal_mm_s)
        ),
        StallKind::Drag => format!("The head is slower than it could be: {why}."),
    }
}

/// The worst stall's strip, as a picture. `queue_blocks`: room in the planner queue.
pub fn svg(worst: Option<(&Stall, &Strip)>, queue_blocks: usize, job: &str, board: &str) -> String {
    let Some((stall, strip)) = worst else {
        let line = format!("{job} on {board}");
        let picture = Picture::new("No stall: the planner queue never ran dry.", &line, &line);
        let end = picture.top;
        return picture.finish(end);
    };
    let line = format!(
        "the worst stall: layer {}, line {} of {job}, on {board}",
        stall.layer, stall.line
    );
    let description = format!(
        "Over {}: speed of the head, blocks in the planner queue, and what held the main loop.",
        time(strip.to_s - strip.from_s)
    );
    let mut picture = Picture::new(&sentence(stall), &line, &description);
    let top = picture.top + 14.0;
    let end = lanes(&mut picture, strip, queue_blocks, top);
    picture.finish(end + 4.0)
}

/// The strip alone, for a page that says the rest.
pub fn bare(stall: &Stall, strip: &Strip, queue_blocks: usize) -> String {
    let mut picture = Picture::bare(&sentence(stall));
    let end = lanes(&mut picture, strip, queue_blocks, 30.0);
    picture.finish(end + 4.0)
}

/// The strip's time and a lane's place in the picture.
#[derive(Clone, Copy)]
struct Lane<'a> {
    strip: &'a Strip,
    frame: Frame,
}

impl Lane<'_> {
    /// Opens the lane's chart: time, counted from the stall's beginning, over 0 to `most`.
    fn chart<'p>(&self, picture: &'p mut Picture, most: f64) -> Chart<'p> {
        let (from_s, to_s) = (self.t_s(self.strip.from_s), self.t_s(self.strip.to_s));
        Chart::new(picture, self.frame, from_s..to_s, 0.0..most)
    }

    /// A time of the replay, from the stall's beginning on; within the strip.
    fn t_s(&self, at_s: f64) -> f64 {
        let (from_s, to_s) = (self.strip.from_s, self.strip.to_s);
        at_s.clamp(from_s, to_s) - self.strip.t_s.clamp(from_s, to_s)
    }

    fn title(&self, picture: &mut Picture, title: &str) -> f64 {
        let y = self.frame.top - 20.0;
        picture.say(MARGIN, y, Voice::Strong, Anchor::Start, title);
        y
    }
}

/// Draws the lanes from `top` on; returns where they end.
fn lanes(picture: &mut Picture, strip: &Strip, queue_blocks: usize, top: f64) -> f64 {
    let lane = |top: f64, height: f64| Lane {
        strip,
        frame: Frame {
            left: LEFT,
            right: RIGHT,
            top,
            height,
        },
    };
    let speed = lane(top + 46.0, SPEED);
    let queue = lane(speed.frame.foot() + 68.0, QUEUE);
    let main_loop = lane(queue.frame.foot() + 68.0, LOOP);
    let foot = main_loop.frame.foot();
    rests(picture, lane(speed.frame.top, foot - speed.frame.top));
    speeds(picture, speed);
    blocks(picture, queue, queue_blocks);
    held(picture, main_loop);
    let mut y = foot + AXIS + 48.0;
    for cause in Cause::ALL {
        if cause != Cause::Depth && strip.held.iter().any(|h| h.by == cause) {
            y = cause_key(picture, y, cause, cause.about().doing.unwrap_or_default());
        }
    }
    picture.paragraph(
        y,
        Voice::Note,
        "Blank: the main loop waits, there is no room in the queue.",
    )
}

/// Where the head rests, over all lanes.
fn rests(picture: &mut Picture, all: Lane) {
    let mut chart = all.chart(picture, 1.0);
    let below = 1.0 - (SPEED - 22.0) / all.frame.height;
    for pair in all.strip.pieces.windows(2) {
        let (from_s, to_s) = (all.t_s(pair[0].end_s), all.t_s(pair[1].start_s));
        let wide = chart.px_along_x(to_s - from_s);
        if to_s <= from_s || wide < 1.0 {
            continue;
        }
        chart.band("rest", INK_FAINT, from_s..to_s);
        let label = format!("still {}", time(pair[1].start_s - pair[0].end_s));
        if Voice::Note.width(&label) < wide {
            let at = ((from_s + to_s) / 2.0, below);
            chart.label(at, (0.0, 0.0), Voice::Note, Anchor::Middle, &label);
        }
    }
}

/// Speeds over time: what the head did, and what the job allows at the same places.
fn speed_lines(lane: &Lane, px_per_s: f64) -> [Vec<(f64, f64)>; 2] {
    let strip = lane.strip;
    let (mut real, mut ideal) = (Vec::new(), Vec::new());
    let inside = |t_s: f64| t_s >= strip.from_s && t_s <= strip.to_s;
    let mut rested_s = f64::NAN;
    for p in &strip.pieces {
        if p.start_s > rested_s {
            real.extend([rested_s, p.start_s].map(|t_s| (lane.t_s(t_s), 0.0)));
        }
        rested_s = p.end_s;
        let wide = px_per_s * (lane.t_s(p.end_s) - lane.t_s(p.start_s));
        let steps = ((wide / 3.0).ceil() as usize).clamp(1, 100);
        for k in 0..=steps {
            let t_s = p.real.duration_s() * k as f64 / steps as f64;
            if !inside(p.start_s + t_s) {
                continue;
            }
            let at_mm = p.real.covered_mm(t_s);
            real.push((lane.t_s(p.start_s + t_s), p.real.speed_mm_s(at_mm)));
            ideal.push((lane.t_s(p.start_s + t_s), p.ideal.speed_mm_s(at_mm)));
        }
    }
    [real, ideal]
}

fn speeds(picture: &mut Picture, lane: Lane) {
    let fastest = lane
        .strip
        .pieces
        .iter()
        .map(|p| p.real.peak_mm_s.max(p.ideal.peak_mm_s))
        .fold(1e-3, f64::max);
    let mut chart = lane.chart(picture, fastest);
    let [real, ideal] = speed_lines(&lane, chart.px_along_x(1.0));
    chart.y_axis(&plain(fastest));
    chart.area("done", DONE, real);
    chart.dashed("ideal", INK, 3.0, ideal);
    drop(chart);
    let y = lane.title(picture, "Head, mm/s");
    let mut x = (MARGIN + Voice::Strong.width("Head, mm/s") + 36.0).round();
    let area = format!("v-10h34v20h-34z\" fill=\"{DONE}\"");
    let dashes = format!("h34\" stroke=\"{INK}\" stroke-width=\"3\" stroke-dasharray=\"9 6\"");
    for (name, key) in [("what it did", area), ("what the job allows", dashes)] {
        picture.add(&format!(
            "<path d=\"M{} {}{key}/>",
            number(x),
            number(y - 8.0)
        ));
        picture.say(x + 44.0, y, Voice::Note, Anchor::Start, name);
        x += (80.0 + Voice::Note.width(name)).round();
    }
}

fn blocks(picture: &mut Picture, lane: Lane, room: usize) {
    let steps = lane.strip.queue();
    let most = steps.iter().map(|s| s.1).fold(room as i64, i64::max).max(1);
    let (first, last) = (lane.t_s(lane.strip.from_s), lane.t_s(lane.strip.to_s));
    let mut points = vec![(first, 0.0)];
    let mut before = 0.0;
    for (at_s, n) in steps {
        let (t_s, n) = (lane.t_s(at_s), n.max(0) as f64);
        points.extend([(t_s, before), (t_s, n)]);
        before = n;
    }
    points.push((last, before));
    let mut chart = lane.chart(picture, most as f64);
    chart.y_axis(&|n| {
        if n.fract() == 0.0 {
            fixed(n, 0)
        } else {
            String::new()
        }
    });
    chart.area("queue", INK_SOFT, points);
    drop(chart);
    lane.title(picture, "Blocks in the planner queue");
}

/// What held the main loop most in each of these parts of the strip.
fn held_most(lane: &Lane, parts: usize) -> Vec<Option<Cause>> {
    let (from_s, to_s) = (lane.strip.from_s, lane.strip.to_s);
    let part_s = ((to_s - from_s) / parts as f64).max(1e-12);
    let mut shares = vec![PerCause::<f64>::default(); parts];
    for held in &lane.strip.held {
        let from = (held.from_s.clamp(from_s, to_s) - from_s) / part_s;
        let to = (held.to_s.clamp(from_s, to_s) - from_s) / part_s;
        let within = shares.iter_mut().enumerate();
        for (k, share) in within.take(to as usize + 1).skip(from as usize) {
            let (low, high) = (k as f64, k as f64 + 1.0);
            share[held.by] += (to.min(high) - from.max(low)).max(0.0);
        }
    }
    let most = |share: &PerCause<f64>| {
        let (most, held) = share.ranked()[0];
        (held > 0.0 && most != Cause::Depth).then_some(most)
    };
    shares.iter().map(most).collect()
}

/// What held the main loop, for each two pixels what took most of them.
fn held(picture: &mut Picture, lane: Lane) {
    let parts = (lane.frame.width() / 2.0).ceil() as usize;
    let most = held_most(&lane, parts);
    let (first_s, last_s) = (lane.t_s(lane.strip.from_s), lane.t_s(lane.strip.to_s));
    let part_s = (last_s - first_s) / parts as f64;
    let mut bars = PerCause::from_fn(|_| Vec::new());
    let mut at = 0;
    for run in most.chunk_by(|a, b| a == b) {
        let from_s = first_s + at as f64 * part_s;
        at += run.len();
        let to_s = first_s + at as f64 * part_s;
        if let Some(cause) = run[0] {
            bars[cause].push(from_s..to_s);
        }
    }
    let mut chart = lane.chart(picture, 1.0);
    for (cause, bars) in Cause::ALL.into_iter().zip(bars.values()) {
        let (ink, name) = (palette::cause_ink(cause), cause.name());
        let room = Voice::Note.width(name) + 8.0;
        for bar in &bars {
            if chart.px_along_x(bar.end - bar.start) > room {
                let at = ((bar.start + bar.end) / 2.0, 0.5);
                chart.label_in(ink, at, (0.0, 0.0), Voice::Note, Anchor::Middle, name);
            }
        }
        let bars = bars.into_iter().map(|t_s| (t_s, 0.0..1.0));
        chart.bars("held", &palette::cause(cause), bars);
    }
    let corners = [(first_s, 0.0), (first_s, 1.0), (last_s, 1.0), (last_s, 0.0)];
    chart.line("", INK_FAINT, 2.0, corners);
    chart.x_axis(&seconds(last_s - first_s));
    drop(chart);
    lane.title(picture, "What holds the main loop");
}
