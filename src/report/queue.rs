//! `queue.svg`: a strip of time around one stall. What the head did, the planner queue, and what
//! held the main loop.

use std::fmt::Write;

use crate::replay::world::Cause;
use crate::study::stalls::{Kind, Stall};
use crate::study::strips::Strip;

use super::bars::cause_key;
use super::look::palette::{self, DONE, INK, INK_FAINT};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH, number, round_length};
use super::numbers::{rate, time};
use crate::study::thin::thin;

const LEFT: f64 = 96.0;
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
        Kind::Dwell => format!("The head stands still for {}: {why}.", time(stall.dwell_s)),
        Kind::Dip => format!(
            "The head brakes to {} where {} mm/s are allowed: {why}.",
            rate(stall.least_mm_s),
            rate(stall.ideal_mm_s)
        ),
        Kind::Drag => format!("The head is slower than it could be: {why}."),
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

/// Draws the lanes from `top` on; returns where they end.
fn lanes(picture: &mut Picture, strip: &Strip, queue_blocks: usize, top: f64) -> f64 {
    let span_s = (strip.to_s - strip.from_s).max(1e-6);
    let x = |t_s: f64| LEFT + (RIGHT - LEFT) * ((t_s - strip.from_s) / span_s).clamp(0.0, 1.0);
    let speed_top = top + 46.0;
    let queue_top = speed_top + SPEED + 64.0;
    let loop_top = queue_top + QUEUE + 64.0;
    rests(picture, strip, &x, speed_top, loop_top + LOOP);
    speeds(picture, strip, &x, speed_top);
    queue(picture, strip, &x, queue_top, queue_blocks);
    main_loop(picture, strip, &x, loop_top);
    let axis = loop_top + LOOP + 10.0;
    ticks(picture, strip, &x, axis);
    let mut y = axis + 84.0;
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

/// Where the head rests.
fn rests(picture: &mut Picture, strip: &Strip, x: &dyn Fn(f64) -> f64, top: f64, bottom: f64) {
    for pair in strip.pieces.windows(2) {
        let (from_s, to_s) = (pair[0].end_s, pair[1].start_s);
        let (from, to) = (x(from_s), x(to_s));
        if to - from < 1.0 {
            continue;
        }
        picture.add(&format!(
            "<rect class=\"rest\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{INK_FAINT}\" fill-opacity=\"0.35\"/>",
            number(from), number(top), number(to - from), number(bottom - top)
        ));
        let label = format!("still {}", time(to_s - from_s));
        let half = Voice::Note.width(&label) / 2.0;
        if 2.0 * half < to - from {
            let middle = (from + to) / 2.0;
            picture.say(
                middle,
                top + SPEED - 14.0,
                Voice::Note,
                Anchor::Middle,
                &label,
            );
        }
    }
}

fn path(points: &[(f64, f64)]) -> String {
    let mut path = String::new();
    for (k, (x, y)) in thin(points, 0.6).into_iter().enumerate() {
        let (x, y) = ((x * 10.0).round() / 10.0, (y * 10.0).round() / 10.0);
        let _ = write!(
            path,
            "{}{} {}",
            if k == 0 { "M " } else { "L" },
            number(x),
            number(y)
        );
    }
    path
}

fn speeds(picture: &mut Picture, strip: &Strip, x: &dyn Fn(f64) -> f64, top: f64) {
    let fastest = strip
        .pieces
        .iter()
        .map(|p| p.real.peak_mm_s.max(p.ideal.peak_mm_s))
        .fold(1e-3, f64::max);
    let y = |mm_s: f64| top + SPEED * (1.0 - mm_s / fastest);
    let mut real: Vec<(f64, f64)> = Vec::new();
    let mut ideal: Vec<(f64, f64)> = Vec::new();
    let inside = |t_s: f64| t_s >= strip.from_s && t_s <= strip.to_s;
    let mut rested_s = f64::NAN;
    for p in &strip.pieces {
        if p.start_s > rested_s {
            real.extend([(x(rested_s), y(0.0)), (x(p.start_s), y(0.0))]);
        }
        rested_s = p.end_s;
        // What the job allows at the same places.
        let wide = x(p.end_s) - x(p.start_s);
        let steps = ((wide / 3.0).ceil() as usize).clamp(1, 100);
        for k in 0..=steps {
            let t_s = p.real.duration_s() * k as f64 / steps as f64;
            if !inside(p.start_s + t_s) {
                continue;
            }
            let at_mm = p.real.covered_mm(t_s);
            real.push((x(p.start_s + t_s), y(p.real.speed_mm_s(at_mm))));
            ideal.push((x(p.start_s + t_s), y(p.ideal.speed_mm_s(at_mm))));
        }
    }
    let (Some(first), Some(last)) = (real.first(), real.last()) else {
        return;
    };
    picture.add(&format!(
        "<path class=\"done\" d=\"{}L{} {}L{} {}z\" fill=\"{DONE}\"/>",
        path(&real),
        number(last.0),
        number(y(0.0)),
        number(first.0),
        number(y(0.0))
    ));
    picture.add(&format!(
        "<path class=\"ideal\" d=\"{}\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"3\" stroke-dasharray=\"9 6\"/>",
        path(&ideal)
    ));
    baseline(picture, y(0.0));
    let title = top - 20.0;
    picture.say(LEFT, title, Voice::Strong, Anchor::Start, "Head, mm/s");
    let from = LEFT + Voice::Strong.width("Head, mm/s") + 30.0;
    picture.add(&format!(
        "<rect x=\"{}\" y=\"{}\" width=\"28\" height=\"20\" fill=\"{DONE}\"/><path d=\"M {} {}h40\" stroke=\"{INK}\" stroke-width=\"3\" stroke-dasharray=\"9 6\"/>",
        number(from), number(title - 18.0), number(from + 200.0), number(title - 8.0)
    ));
    picture.say(
        from + 38.0,
        title,
        Voice::Note,
        Anchor::Start,
        "what it did",
    );
    let allowed = "what the job allows";
    picture.say(from + 250.0, title, Voice::Note, Anchor::Start, allowed);
    picture.say(
        LEFT - 10.0,
        top + 18.0,
        Voice::Note,
        Anchor::End,
        &format!("{fastest:.0}"),
    );
    picture.say(LEFT - 10.0, y(0.0), Voice::Note, Anchor::End, "0");
}

fn baseline(picture: &mut Picture, y: f64) {
    picture.add(&format!(
        "<path d=\"M {LEFT} {}H{RIGHT}\" stroke=\"{INK_FAINT}\" stroke-width=\"2\"/>",
        number(y)
    ));
}

fn queue(picture: &mut Picture, strip: &Strip, x: &dyn Fn(f64) -> f64, top: f64, room: usize) {
    let steps = strip.queue();
    let most = steps.iter().map(|s| s.1).fold(room as i64, i64::max).max(1);
    let y = |n: i64| top + QUEUE * (1.0 - n.max(0) as f64 / most as f64);
    let mut points = vec![(x(strip.from_s), y(0))];
    for (t_s, n) in steps {
        let before = points[points.len() - 1].1;
        points.extend([(x(t_s), before), (x(t_s), y(n))]);
    }
    let before = points[points.len() - 1].1;
    points.extend([(x(strip.to_s), before), (x(strip.to_s), y(0))]);
    picture.add(&format!(
        "<path class=\"queue\" d=\"{}z\" fill=\"{}\"/>",
        path(&points),
        palette::INK_SOFT
    ));
    baseline(picture, y(0));
    let title = "Blocks in the planner queue";
    picture.say(LEFT, top - 16.0, Voice::Strong, Anchor::Start, title);
    picture.say(
        LEFT - 10.0,
        top + 18.0,
        Voice::Note,
        Anchor::End,
        &most.to_string(),
    );
    picture.say(LEFT - 10.0, y(0), Voice::Note, Anchor::End, "0");
}

/// What the loop was held by, for each two pixels what took most of them.
fn main_loop(picture: &mut Picture, strip: &Strip, x: &dyn Fn(f64) -> f64, top: f64) {
    const BIN: f64 = 2.0;
    let bins = ((RIGHT - LEFT) / BIN).ceil() as usize;
    let mut shares = vec![[0.0; 6]; bins];
    for held in &strip.held {
        let (from, to) = (x(held.from_s) - LEFT, x(held.to_s) - LEFT);
        let (first, last) = ((from / BIN) as usize, (to / BIN) as usize);
        for (k, share) in shares.iter_mut().enumerate().take(last + 1).skip(first) {
            let (low, high) = (k as f64 * BIN, (k + 1) as f64 * BIN);
            share[held.by as usize] += (to.min(high) - from.max(low)).max(0.0);
        }
    }
    let by: Vec<Option<Cause>> = shares
        .iter()
        .map(|share| {
            let most = Cause::ALL
                .into_iter()
                .max_by(|a, b| share[*a as usize].total_cmp(&share[*b as usize]))?;
            (share[most as usize] > 0.0 && most != Cause::Depth).then_some(most)
        })
        .collect();
    let mut at = 0;
    let mut paths = [const { String::new() }; 6];
    let mut names = Vec::new();
    for run in by.chunk_by(|a, b| a == b) {
        let (from, wide) = (LEFT + at as f64 * BIN, run.len() as f64 * BIN);
        at += run.len();
        let Some(cause) = run[0] else { continue };
        let _ = write!(
            paths[cause as usize],
            "M {} {}h{}v{LOOP}h-{}z",
            number(from),
            number(top),
            number(wide),
            number(wide)
        );
        if Voice::Note.width(cause.name()) + 8.0 < wide {
            names.push((cause, from + wide / 2.0));
        }
    }
    for (k, path) in paths.iter().enumerate().filter(|(_, p)| !p.is_empty()) {
        picture.add(&format!(
            "<path class=\"held\" d=\"{path}\" fill=\"{}\"/>",
            palette::cause(k)
        ));
    }
    for (cause, middle) in names {
        let (ink, name) = (palette::cause_ink(cause as usize), cause.name());
        picture.say_in(ink, middle, top + 36.0, Voice::Note, Anchor::Middle, name);
    }
    picture.add(&format!(
        "<rect x=\"{LEFT}\" y=\"{}\" width=\"{}\" height=\"{LOOP}\" fill=\"none\" stroke=\"{INK_FAINT}\" stroke-width=\"2\"/>",
        number(top), number(RIGHT - LEFT)
    ));
    let title = "What holds the main loop";
    picture.say(LEFT, top - 16.0, Voice::Strong, Anchor::Start, title);
}

fn ticks(picture: &mut Picture, strip: &Strip, x: &dyn Fn(f64) -> f64, y: f64) {
    let zero_s = strip.t_s.clamp(strip.from_s, strip.to_s);
    let step_s = round_length((strip.to_s - strip.from_s).max(1e-6) / 4.0);
    let first = ((strip.from_s - zero_s) / step_s).ceil() as i64;
    let last = ((strip.to_s - zero_s) / step_s).floor() as i64;
    for k in first..=last {
        let at = x(zero_s + k as f64 * step_s);
        picture.add(&format!(
            "<path d=\"M {} {}v10\" stroke=\"{INK_FAINT}\" stroke-width=\"2\"/>",
            number(at),
            number(y)
        ));
        let label = match k {
            0 => "0".to_string(),
            _ if step_s < 0.5 => format!("{:.0} ms", k as f64 * step_s * 1e3),
            _ => format!("{} s", number(k as f64 * step_s)),
        };
        // Inside the card.
        let half = Voice::Note.width(&label) / 2.0;
        let at = at.clamp(MARGIN + half, WIDTH - 14.0 - half);
        picture.say(at, y + 36.0, Voice::Note, Anchor::Middle, &label);
    }
}
