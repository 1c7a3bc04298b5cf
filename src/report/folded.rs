//! `explain.svg`: the bumps seen on the unrolled wall, with what they agree with, and the one chart that convinces:
//! bumps folded at a period, bumps by their distance from a place, or, where nothing is found, the rhythms, none of
//! which stands out.

use crate::answer::explain::{ExplainAnswer, PartAnswer};
use crate::study::explain::decide::Name;
use crate::study::explain::question::Explanation;
use crate::study::explain::shown::Shown;
use crate::study::explain::wall::{AROUND, Along};
use crate::text::fixed;

use super::explain::ExplainTable;
use super::explained::{amount, digits};
use super::look::chart::{Chart, Frame, fill, plain, px, stroke};
use super::look::palette::{DONE, GROUND, INK, INK_FAINT, TINTS};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH, number};
use super::numbers::count;

use plotters::element::Circle;

const LEFT: f64 = 144.0;
const RIGHT: f64 = WIDTH - MARGIN;
/// Height of the unrolled wall, px.
const WALL: f64 = 330.0;
/// Height of the chart below it, px.
const CHART: f64 = 240.0;
/// From the foot of a chart to what follows, px.
const BELOW: f64 = 92.0;
/// Predicted bumps that are drawn at most.
const PREDICTED_MAX: usize = 4000;
/// Parts that are drawn at most.
const PARTS_MAX: usize = 8;
/// Bars of the chart of rhythms.
const RHYTHMS: usize = 72;
/// A bump this near to a place lies at it, degrees: two usual errors of an angle.
const AT_PLACE_DEG: f64 = 6.0;

/// Draws the answer, part by part.
pub fn svg(answer: &ExplainAnswer, table: &ExplainTable) -> String {
    let heading = table.one.verdict.first().map_or("", String::as_str);
    let parts = &answer.parts;
    let seen: usize = parts.iter().map(|p| p.explanation.bumps.len()).sum();
    let line = format!("{} seen on {}", count(seen as u64, "bump"), answer.job);
    let several = parts.len() > 1;
    let (heading, description) = match several {
        true => (
            format!("Bumps on {} parts", parts.len()),
            every_verdict(table),
        ),
        false => (heading.to_string(), table.one.verdict.join(" ")),
    };
    let mut picture = Picture::new(&heading, &line, &description);
    let mut y = picture.top + 24.0;
    for (k, part) in parts.iter().take(PARTS_MAX).enumerate() {
        if several {
            let apart = if k > 0 { 56.0 } else { 10.0 };
            y = part_heading(&mut picture, table, part, y + apart);
        }
        y = wall(&mut picture, part, y);
        let own = &part.explanation;
        y = match &own.shown {
            Some(shown) => histogram(&mut picture, own, shown, y),
            None => rhythms(&mut picture, own, y),
        };
    }
    picture.finish(y)
}

fn every_verdict(table: &ExplainTable) -> String {
    let each = table.parts.iter().map(|p| {
        let number = p.part.unwrap_or(1);
        format!("Part {number}: {}", p.verdict.join(" "))
    });
    each.collect::<Vec<_>>().join(" ")
}

/// Which of several parts, and its verdict.
fn part_heading(picture: &mut Picture, table: &ExplainTable, part: &PartAnswer, y: f64) -> f64 {
    let own = table.parts.iter().find(|p| p.part == part.part);
    let verdict = own
        .and_then(|p| p.verdict.first())
        .map_or("", String::as_str);
    let text = format!("Part {}: {verdict}", part.part.unwrap_or(1));
    picture.paragraph(y, Voice::Line, &text) + 14.0
}

/// Labels at these places under a chart, and a line along its foot.
fn foot(chart: &mut Chart, y: f64, [from, to]: [f64; 2], labels: &[(f64, String)]) {
    chart.line("axis", INK_FAINT, 2.0, [(from, y), (to, y)]);
    for (value, text) in labels {
        chart.label((*value, y), (0.0, 26.0), Voice::Note, Anchor::Middle, text);
    }
}

/// The unrolled wall; returns where the next chart may begin.
fn wall(picture: &mut Picture, part: &PartAnswer, top: f64) -> f64 {
    let own = &part.explanation;
    let w = &own.window;
    let [lowest, highest] = part.wall.reach_mm();
    let (low, high) = (w.low_mm.max(lowest), w.high_mm.min(highest));
    let high = high.max(low + 1e-3);
    let (from, to) = (w.from_deg, w.from_deg + w.span_deg());
    let place = |angle_deg: f64| from + (angle_deg - from).rem_euclid(360.0);
    let dots = predicted(part, [low, high], &place, to);
    let top = picture.paragraph(top, Voice::Strong, &key(own, dots.is_empty()));
    let frame = Frame {
        left: LEFT,
        right: RIGHT,
        top,
        height: WALL,
    };
    let mut chart = Chart::new(picture, frame, from..to, low..high);
    chart.bars("ground", GROUND, [(from..to, low..high)]);
    // Predicted bumps have dots of their own.
    let shaded = own.shown.iter().filter(|s| s.name != Name::Stalls);
    for cell in shaded.flat_map(|s| &s.places) {
        let (layer, deg) = (cell / AROUND, place((cell % AROUND) as f64));
        let half = part.wall.layer_mm / 2.0;
        let (bottom, top) = (
            part.wall.middle_mm[layer] - half,
            part.wall.middle_mm[layer] + half,
        );
        chart.bars("place", TINTS[1], [(deg - 0.5..deg + 1.5, bottom..top)]);
    }
    chart.y_axis(&|mm| format!("{} mm", plain(high - low)(mm)));
    let step = [15.0, 30.0, 45.0, 90.0];
    let step = step
        .into_iter()
        .find(|s| (to - from) / s <= 6.0)
        .unwrap_or(90.0);
    let (first, last) = ((from / step).ceil() as i64, (to / step).floor() as i64);
    let labels: Vec<(f64, String)> = (first..=last)
        .map(|k| k as f64 * step)
        .map(|deg| (deg, format!("{}°", number(deg.rem_euclid(360.0)))))
        .collect();
    foot(&mut chart, low, [from, to], &labels);
    let dots = dots
        .into_iter()
        .map(|at| Circle::new(at, px(5.0), fill(TINTS[2])));
    chart.draw("predicted", dots);
    let ring = |angle_deg: f64, z_mm: f64| (place(angle_deg).min(to), z_mm.clamp(low, high));
    let rings: Vec<(f64, f64)> = own
        .bumps
        .iter()
        .map(|b| ring(b.angle_deg, b.z_mm))
        .collect();
    let rings = chart.inside(rings);
    let rings = rings
        .into_iter()
        .map(|at| Circle::new(at, px(9.0), stroke(INK, 3.0)));
    chart.draw("seen", rings);
    drop(chart);
    frame.foot() + BELOW
}

/// Where predicted bumps lie within the window: angle, height.
fn predicted(
    part: &PartAnswer,
    [low, high]: [f64; 2],
    place: &dyn Fn(f64) -> f64,
    to: f64,
) -> Vec<(f64, f64)> {
    let one = |p: &crate::study::explain::places::Predicted| {
        let deg = place(part.wall.angle_deg(p.place_mm[0], p.place_mm[1]));
        let z_mm = *part.wall.middle_mm.get(p.layer as usize)?;
        ((low..=high).contains(&z_mm) && deg <= to).then_some((deg, z_mm))
    };
    let all = part.predicted.iter().filter_map(one);
    all.take(PREDICTED_MAX).collect()
}

/// What the marks on the wall are.
fn key(own: &Explanation, none_predicted: bool) -> String {
    let mut key = String::from("Rings: bumps you see.");
    if !none_predicted {
        key += " Dots: bumps predicted.";
    }
    match own.shown.as_ref().map(|s| s.name) {
        Some(Name::Seam) => key += " Shaded: the seam.",
        Some(Name::Corners) => key += " Shaded: corners.",
        Some(Name::ShortMoves) => key += " Shaded: the shortest moves.",
        _ if none_predicted => key += " No bump is predicted here.",
        _ => {}
    }
    key
}

/// How many bumps lie where the explanation puts them, and how many chance would put there.
fn told(own: &Explanation, shown: &Shown) -> String {
    let n: usize = shown.bumps.iter().sum();
    let wide = (shown.to - shown.from) / shown.bumps.len() as f64;
    let (low, high, where_) = match shown.name {
        Name::Clock => {
            let every = own.rhythm.as_ref();
            let every = every.map_or(String::new(), |r| amount(r.along, 1.0 / r.frequency));
            (-0.25, 0.25, format!("in the same half of each {every}"))
        }
        Name::Xy | Name::Height => {
            let mm = own.finding(shown.name).stripes.map_or(0.0, |s| s.period_mm);
            (
                -0.25,
                0.25,
                format!("in the same half of each {} mm", digits(mm)),
            )
        }
        Name::Stalls => (0.0, AT_PLACE_DEG, near("a predicted bump")),
        Name::Seam => (0.0, AT_PLACE_DEG, near("the seam")),
        Name::Corners => (0.0, AT_PLACE_DEG, near("a corner")),
        Name::ShortMoves => (0.0, AT_PLACE_DEG, near("the shortest moves")),
    };
    let within = |bin: &usize| {
        let middle = shown.from + (*bin as f64 + 0.5) * wide;
        (low..=high).contains(&middle)
    };
    let bins: Vec<usize> = (0..shown.bumps.len()).filter(within).collect();
    let there: usize = bins.iter().map(|b| shown.bumps[*b]).sum();
    let chance: f64 = bins.iter().map(|b| shown.by_chance[*b]).sum();
    format!("{there} of {n} bumps lie {where_}; chance would put {chance:.0} there")
}

fn near(what: &str) -> String {
    format!("within {}° of {what}", number(AT_PLACE_DEG))
}

/// What stands under a histogram.
fn ticks(shown: &Shown) -> Vec<(f64, String)> {
    match shown.name {
        Name::Clock | Name::Xy | Name::Height => [
            (-0.4, "½ step before"),
            (0.0, "in step"),
            (0.4, "½ step after"),
        ]
        .map(|(at, text)| (at, text.to_string()))
        .to_vec(),
        _ => {
            let wide = (shown.to - shown.from) / shown.bumps.len() as f64;
            let mut ticks: Vec<(f64, String)> = (0..4)
                .map(|k| 9.0 * f64::from(k))
                .map(|deg| (deg, format!("{}°", number(deg))))
                .collect();
            ticks.push((shown.to - wide / 2.0, "more".to_string()));
            ticks
        }
    }
}

/// Bumps by bin beside what chance would give; returns the picture's height.
fn histogram(picture: &mut Picture, own: &Explanation, shown: &Shown, top: f64) -> f64 {
    let top = picture.paragraph(top, Voice::Strong, &told(own, shown));
    let most = shown.bumps.iter().map(|b| *b as f64);
    let most = most
        .chain(shown.by_chance.iter().copied())
        .fold(1.0, f64::max);
    let frame = Frame {
        left: LEFT,
        right: RIGHT,
        top,
        height: CHART,
    };
    let mut chart = Chart::new(picture, frame, shown.from..shown.to, 0.0..1.1 * most);
    chart.y_axis(&whole);
    let wide = (shown.to - shown.from) / shown.bumps.len() as f64;
    let edges = |bin: usize| {
        let from = shown.from + bin as f64 * wide;
        (from, from + wide)
    };
    let bars = shown.bumps.iter().enumerate().map(|(bin, bumps)| {
        let (from, to) = edges(bin);
        (from + 0.04 * wide..to - 0.04 * wide, 0.0..*bumps as f64)
    });
    chart.bars("bar", DONE, bars);
    let chance = shown.by_chance.iter().enumerate().flat_map(|(bin, n)| {
        let (from, to) = edges(bin);
        [(from, *n), (to, *n)]
    });
    chart.dashed("chance", INK, 3.0, chance);
    foot(&mut chart, 0.0, [shown.from, shown.to], &ticks(shown));
    drop(chart);
    picture.paragraph(
        frame.foot() + 84.0,
        Voice::Note,
        "Bars: how many of the bumps. Dashed: how many chance would put there.",
    )
}

/// Whole numbers; others get no label.
fn whole(value: f64) -> String {
    match (value - value.round()).abs() < 1e-9 {
        true => fixed(value, 0),
        false => String::new(),
    }
}

/// Where nothing was found: how well bumps keep time with each period, beside what chance gives.
fn rhythms(picture: &mut Picture, own: &Explanation, top: f64) -> f64 {
    let heard = own.heard.as_ref();
    let Some(heard) = heard.filter(|h| h.spectra[0].tones.len() > 1) else {
        return top - BELOW / 2.0;
    };
    let tones = &heard.spectra[Along::Time as usize].tones;
    let mut sorted = heard.draws.clone();
    sorted.sort_by(f64::total_cmp);
    let level = sorted[(0.95 * sorted.len() as f64) as usize].max(0.1);
    let best = tones
        .iter()
        .fold(tones[0], |b, t| if t.q > b.q { *t } else { b });
    let title = if best.q < level {
        "No rhythm stands out: chance alone keeps time as well".to_string()
    } else {
        let every = amount(Along::Time, 1.0 / best.frequency);
        format!("The best rhythm, every {every}, is too weak to name")
    };
    let top = picture.paragraph(top, Voice::Strong, &title);
    let range = [tones[tones.len() - 1], tones[0]].map(|t| (1.0 / t.frequency).ln());
    let [short, long] = [range[0], range[1].max(range[0] + 1e-6)];
    let wide = (long - short) / RHYTHMS as f64;
    let mut bars = vec![0.0f64; RHYTHMS];
    for tone in tones {
        let at = ((1.0 / tone.frequency).ln() - short) / wide;
        let bar = &mut bars[(at.max(0.0) as usize).min(RHYTHMS - 1)];
        *bar = bar.max(tone.q);
    }
    let frame = Frame {
        left: LEFT,
        right: RIGHT,
        top,
        height: CHART,
    };
    let high = 1.35 * level.max(best.q / 1.2);
    let mut chart = Chart::new(picture, frame, short..long, 0.0..high);
    let bars = bars.into_iter().enumerate().map(|(k, q)| {
        let from = short + k as f64 * wide;
        (from..from + 0.9 * wide, 0.0..q)
    });
    chart.bars("rhythm", DONE, bars);
    chart.level("chance", INK, level);
    let at = ((short + long) / 2.0, level);
    let text = "a rhythm would rise above this line";
    chart.label(at, (0.0, -22.0), Voice::Note, Anchor::Middle, text);
    let round = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0];
    let labels: Vec<(f64, String)> = round
        .into_iter()
        .map(|s: f64| (s.ln(), format!("{} s", number(s))))
        .filter(|(at, _)| (short..=long).contains(at))
        .collect();
    foot(&mut chart, 0.0, [short, long], &labels);
    drop(chart);
    picture.paragraph(
        frame.foot() + 84.0,
        Voice::Note,
        "Bars: how well the bumps keep time with a clock that ticks so often. Chance alone stays below the line in 95 of 100 prints.",
    )
}
