//! `explain.svg`: the bumps seen on the unrolled wall over the stalls predicted, and the one plot that
//! convinces: bumps folded at a period, bumps by their distance from a place, or, where nothing is found, the
//! rhythms that chance gives as well.

use crate::answer::explain::{ExplainAnswer, PartAnswer};
use crate::study::explain::decide::Name;
use crate::study::explain::question::Explanation;
use crate::study::explain::shown::Shown;
use crate::study::explain::wall::Along;

use super::explain::ExplainTable;
use super::explained::{amount, digits};
use super::look::palette::{DONE, GROUND, INK, INK_FAINT, INK_SOFT, TINTS};
use super::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH, number, round_length};
use super::numbers::count;

const LEFT: f64 = 126.0;
const RIGHT: f64 = WIDTH - MARGIN;
const HISTOGRAM: f64 = 240.0;
/// Predicted bumps that are drawn at most.
const PREDICTED_MAX: usize = 4000;

/// Two axes of numbers within a picture.
struct Plot<'p> {
    picture: &'p mut Picture,
    top: f64,
    height: f64,
    x: [f64; 2],
    y: [f64; 2],
}

impl Plot<'_> {
    fn x(&self, value: f64) -> f64 {
        LEFT + (RIGHT - LEFT) * (value - self.x[0]) / (self.x[1] - self.x[0])
    }

    fn y(&self, value: f64) -> f64 {
        self.top + self.height * (self.y[1] - value) / (self.y[1] - self.y[0])
    }

    fn y_axis(&mut self, unit: &str) {
        let [low, high] = self.y;
        let step = round_length((high - low) / 3.0);
        let mut value = (low / step).ceil() * step;
        while value <= high + 1e-9 {
            let y = self.y(value);
            self.picture.add(&format!(
                "<path d=\"M {LEFT} {}H{RIGHT}\" stroke=\"{INK_FAINT}\" stroke-width=\"1.5\"/>",
                number(y)
            ));
            let text = format!("{} {unit}", number(value));
            self.picture
                .say(LEFT - 12.0, y + 8.0, Voice::Note, Anchor::End, text.trim());
            value += step;
        }
    }

    /// Labels under the axis, as many as have room.
    fn x_axis(&mut self, labels: &[(f64, String)]) {
        let foot = self.top + self.height;
        self.picture.add(&format!(
            "<path d=\"M {LEFT} {f}H{RIGHT}\" stroke=\"{INK_FAINT}\" stroke-width=\"2\"/>",
            f = number(foot)
        ));
        for (value, text) in labels {
            let x = self.x(*value);
            self.picture
                .say(x, foot + 32.0, Voice::Note, Anchor::Middle, text);
        }
    }

    fn line(&mut self, class: &str, colour: &str, dashed: bool, points: &[(f64, f64)]) {
        let path: Vec<String> = points
            .iter()
            .map(|(x, y)| {
                let y = y.clamp(self.y[0], self.y[1]);
                format!("{} {}", number(self.x(*x)), number(self.y(y)))
            })
            .collect();
        let dash = if dashed {
            " stroke-dasharray=\"9 7\""
        } else {
            ""
        };
        self.picture.add(&format!(
            "<path class=\"{class}\" d=\"M {}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"3\"{dash}/>",
            path.join("L")
        ));
    }
}

/// Draws the answer: of several parts, that with most bumps.
pub fn svg(answer: &ExplainAnswer, table: &ExplainTable) -> String {
    let most = answer.parts.iter().map(|p| p.explanation.bumps.len()).max();
    let part = answer
        .parts
        .iter()
        .find(|p| Some(p.explanation.bumps.len()) == most)
        .expect("an answer has a part");
    let own = &part.explanation;
    let heading = table.one.verdict.first().map_or("", String::as_str);
    let line = format!(
        "{} seen on {}",
        count(own.bumps.len() as u64, "bump"),
        answer.job
    );
    let mut picture = Picture::new(heading, &line, &table.one.verdict.join(" "));
    let mut y = picture.top + 24.0;
    y = wall(&mut picture, part, y);
    y = match &own.shown {
        Some(shown) => histogram(&mut picture, own, shown, y),
        None => spectrum(&mut picture, own, y),
    };
    picture.finish(y)
}

/// The unrolled wall; returns where the next chart may begin.
fn wall(picture: &mut Picture, part: &PartAnswer, top: f64) -> f64 {
    let own = &part.explanation;
    let w = &own.window;
    let (low, high) = (w.low_mm.max(0.0), w.high_mm.min(part.wall.height_mm()));
    picture.say(
        MARGIN,
        top,
        Voice::Strong,
        Anchor::Start,
        "Rings: bumps you see. Dots: bumps predicted.",
    );
    let mut plot = Plot {
        picture,
        top: top + 24.0,
        height: 330.0,
        x: [w.from_deg, w.from_deg + w.span_deg()],
        y: [low, high.max(low + 1e-3)],
    };
    let ground = format!(
        "<rect x=\"{LEFT}\" y=\"{}\" width=\"{}\" height=\"330\" fill=\"{GROUND}\"/>",
        number(plot.top),
        number(RIGHT - LEFT)
    );
    plot.picture.add(&ground);
    plot.y_axis("mm");
    let step = [15.0, 30.0, 45.0, 90.0]
        .into_iter()
        .find(|s| w.span_deg() / s <= 6.0)
        .unwrap_or(90.0);
    let first = (w.from_deg / step).ceil() as i64;
    let last = ((w.from_deg + w.span_deg()) / step).floor() as i64;
    let labels: Vec<(f64, String)> = (first..=last)
        .map(|k| k as f64 * step)
        .map(|deg| (deg, format!("{}°", number(deg.rem_euclid(360.0)))))
        .collect();
    plot.x_axis(&labels);
    let place = |angle_deg: f64| w.from_deg + (angle_deg - w.from_deg).rem_euclid(360.0);
    for predicted in part.predicted.iter().take(PREDICTED_MAX) {
        let [x_mm, y_mm] = predicted.place_mm;
        let deg = place(part.wall.angle_deg(x_mm, y_mm));
        let z_mm = part.wall.middle_mm.get(predicted.layer as usize).copied();
        let Some(z_mm) = z_mm.filter(|z| (low..=high).contains(z)) else {
            continue;
        };
        if deg <= w.from_deg + w.span_deg() {
            let dot = format!(
                "<circle class=\"predicted\" cx=\"{}\" cy=\"{}\" r=\"5\" fill=\"{}\"/>",
                number(plot.x(deg)),
                number(plot.y(z_mm)),
                TINTS[2]
            );
            plot.picture.add(&dot);
        }
    }
    for bump in &own.bumps {
        let deg = place(bump.angle_deg).min(w.from_deg + w.span_deg());
        let ring = format!(
            "<circle class=\"seen\" cx=\"{}\" cy=\"{}\" r=\"9\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"3\"/>",
            number(plot.x(deg)),
            number(plot.y(bump.z_mm.clamp(low, high)))
        );
        plot.picture.add(&ring);
    }
    top + 24.0 + 330.0 + 100.0
}

/// What a histogram shows, its unit, and its labels.
fn told(own: &Explanation, shown: &Shown) -> (String, Vec<(f64, String)>) {
    let turns = |unit: String| {
        let label = |share: f64, text: &str| (share, text.to_string());
        (
            unit,
            vec![
                label(-0.5, "½ step before"),
                label(0.0, "in step"),
                label(0.5, "½ step after"),
            ],
        )
    };
    let angles = |what: &str| {
        let label = |deg: f64| (deg, format!("{}°", number(deg)));
        (
            format!("Angle from each bump to the nearest {what}"),
            vec![
                label(0.0),
                label(9.0),
                label(18.0),
                label(27.0),
                (36.0, "more".to_string()),
            ],
        )
    };
    match shown.name {
        Name::Clock => {
            let rhythm = own.rhythm.as_ref();
            let every = rhythm.map_or(String::new(), |r| amount(r.along, 1.0 / r.frequency));
            turns(format!(
                "Bumps folded at {every}, against the bumps near them"
            ))
        }
        Name::Xy | Name::Height => {
            let stripes = own.finding(shown.name).stripes;
            let mm = stripes.map_or(0.0, |s| s.period_mm);
            turns(format!("Bumps folded at a step of {} mm", digits(mm)))
        }
        Name::Stalls => angles("bump predicted"),
        Name::Seam => angles("seam"),
        Name::Corners => angles("corner"),
        Name::ShortMoves => angles("place with shortest moves"),
    }
}

/// Bumps by bin beside what chance would give; returns the picture's height.
fn histogram(picture: &mut Picture, own: &Explanation, shown: &Shown, top: f64) -> f64 {
    let (title, labels) = told(own, shown);
    picture.say(MARGIN, top, Voice::Strong, Anchor::Start, &title);
    let most = shown.bumps.iter().map(|b| *b as f64);
    let most = most
        .chain(shown.by_chance.iter().copied())
        .fold(1.0, f64::max);
    let mut plot = Plot {
        picture,
        top: top + 28.0,
        height: HISTOGRAM,
        x: [shown.from, shown.to],
        y: [0.0, 1.1 * most],
    };
    plot.y_axis("");
    let wide = (shown.to - shown.from) / shown.bumps.len() as f64;
    for (bin, bumps) in shown.bumps.iter().enumerate() {
        let from = shown.from + bin as f64 * wide;
        let (x0, x1) = (plot.x(from) + 2.0, plot.x(from + wide) - 2.0);
        let y = plot.y(*bumps as f64);
        let bar = format!(
            "<rect class=\"bar\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{DONE}\"/>",
            number(x0),
            number(y),
            number(x1 - x0),
            number(plot.y(0.0) - y)
        );
        plot.picture.add(&bar);
    }
    let chance: Vec<(f64, f64)> = shown
        .by_chance
        .iter()
        .enumerate()
        .flat_map(|(bin, n)| {
            let from = shown.from + bin as f64 * wide;
            [(from, *n), (from + wide, *n)]
        })
        .collect();
    plot.line("chance", INK, true, &chance);
    let inset = |(at, text): (f64, String)| (at.clamp(shown.from, shown.to - 0.9 * wide), text);
    let labels: Vec<(f64, String)> = labels.into_iter().map(inset).collect();
    plot.x_axis(&labels);
    let foot = top + 28.0 + HISTOGRAM;
    picture.paragraph(
        foot + 76.0,
        Voice::Note,
        "Bars: how many of the bumps. Dashed: how many chance would put there.",
    )
}

/// Where nothing was found: how well bumps keep time with each period, beside what chance gives.
fn spectrum(picture: &mut Picture, own: &Explanation, top: f64) -> f64 {
    let heard = own.heard.as_ref();
    let Some(heard) = heard.filter(|h| h.spectra[0].tones.len() > 1) else {
        return top;
    };
    picture.say(
        MARGIN,
        top,
        Voice::Strong,
        Anchor::Start,
        "How well the bumps keep time, by period",
    );
    let tones = &heard.spectra[Along::Time as usize].tones;
    let mut sorted = heard.draws.clone();
    sorted.sort_by(f64::total_cmp);
    let level = sorted[(0.95 * sorted.len() as f64) as usize];
    let high = tones.iter().map(|t| t.q).fold(level, f64::max);
    let x = |t: f64| t.ln();
    let (short, long) = (
        1.0 / tones[tones.len() - 1].frequency,
        1.0 / tones[0].frequency,
    );
    let mut plot = Plot {
        picture,
        top: top + 28.0,
        height: HISTOGRAM,
        x: [x(short), x(long)],
        y: [-2.0, 1.2 * high],
    };
    plot.y_axis("");
    // Between frequencies that say nothing the line is broken.
    for run in tones.chunk_by(|a, b| a.step + 1 == b.step) {
        let points: Vec<(f64, f64)> = run.iter().map(|t| (x(1.0 / t.frequency), t.q)).collect();
        plot.line("rhythm", INK_SOFT, false, &points);
    }
    plot.line("chance", INK, true, &[(x(short), level), (x(long), level)]);
    let round = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0];
    let labels: Vec<(f64, String)> = round
        .into_iter()
        .filter(|s| (short..=long).contains(s))
        .map(|s| (x(s), format!("{} s", number(s))))
        .collect();
    plot.x_axis(&labels);
    let foot = top + 28.0 + HISTOGRAM;
    picture.paragraph(
        foot + 76.0,
        Voice::Note,
        "Dashed: chance alone stays below it, at all periods, in 95 of 100 prints.",
    )
}
