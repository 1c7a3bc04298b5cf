//! Which explanation the bumps agree with, in sentences: the verdict, what to do, what to look at next.

use crate::study::explain::decide::{Name, State};
use crate::study::explain::question::{Explanation, Finding, LEVEL};
use crate::study::explain::wall::Along;

/// Below this share of frequencies that the error of heights has left, layers blur.
const SEEN_MIN: f64 = 0.5;

/// A number with three significant digits.
pub fn digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let decimals = (2.0 - value.abs().log10().floor()).clamp(0.0, 9.0) as usize;
    format!("{value:.decimals$}")
}

/// How often: `1 of 6`, `8 of 10`.
pub fn how_often(chance: f64) -> String {
    match chance {
        p if p < 0.02 => "hardly any".to_string(),
        p if p < 0.55 => format!("1 of {:.0}", (1.0 / p).max(2.0)),
        p if p < 0.95 => format!("{:.0} of 10", (10.0 * p).min(9.0)),
        _ => "nearly all".to_string(),
    }
}

/// An amount of a coordinate with its unit.
pub fn amount(along: Along, value: f64) -> String {
    let unit = ["s", "lines", "mm of filament"][along as usize];
    format!("{} {unit}", digits(value))
}

/// An explanation as it stands in a sentence.
pub fn phrase(answer: &Explanation, name: Name) -> String {
    let regular = answer.finding(name).p_regular.is_some_and(|p| p <= LEVEL);
    match name {
        Name::Stalls => "the stalls predicted for this board".to_string(),
        Name::Clock => clock(answer),
        Name::Xy if regular => "a regular step in x or y (belt, pulley)".to_string(),
        Name::Xy => "upright lines, the same places on each layer for whatever reason".to_string(),
        Name::Height if regular => "a regular step in height (screw)".to_string(),
        Name::Height => "bands of height, not shown to be regular".to_string(),
        Name::Seam => "the seam".to_string(),
        Name::Corners => "corners".to_string(),
        Name::ShortMoves => "places where moves are shortest".to_string(),
    }
}

fn clock(answer: &Explanation) -> String {
    let fits = answer.kept.iter().filter(|k| k.fits());
    let every: Vec<String> = fits
        .map(|k| format!("every {}", amount(k.along, k.period)))
        .collect();
    match every.is_empty() {
        true => "something regular along the job".to_string(),
        false => format!("something regular along the job: {}", every.join(" or ")),
    }
}

/// Whether it says where on the wall bumps lie, whatever was seen.
pub fn has_place(name: Name) -> bool {
    matches!(name, Name::Seam | Name::Corners | Name::ShortMoves)
}

/// The verdict, the answer first.
pub fn verdict(answer: &Explanation) -> Vec<String> {
    let mut said = Vec::new();
    let mut named: Vec<&Finding> = answer.named().collect();
    named.sort_by(|a, b| b.loglik.unwrap_or(0.0).total_cmp(&a.loglik.unwrap_or(0.0)));
    for finding in &named {
        let tied: Vec<String> = tied(answer, finding.name)
            .map(|f| phrase(answer, f.name))
            .collect();
        let apart = match tied.is_empty() {
            true => String::new(),
            false => format!(", which cannot be told apart from {}", tied.join(" and ")),
        };
        said.push(format!(
            "The bumps agree with {}{apart}.",
            phrase(answer, finding.name)
        ));
    }
    if named.is_empty() {
        nothing(answer, &mut said);
        return said;
    }
    let shown = |f: &&Finding| f.name == Name::Clock && f.state != State::Explained(f.name);
    let clock_told = named.iter().any(|f| f.name == Name::Clock)
        || answer
            .findings
            .iter()
            .filter(shown)
            .any(|f| matches!(f.state, State::NotApart(_)));
    if clock_told && answer.kept.iter().any(|k| k.fits() && k.periods.len() > 1) {
        said.push("Other periods fit as well; they are listed. A view of the whole way around narrows them.".to_string());
    }
    let ways = ways_apart(answer);
    if !ways.is_empty() {
        said.push(format!("To tell them apart: {}", ways.join(" Or: ")));
    }
    said
}

fn nothing(answer: &Explanation, said: &mut Vec<String>) {
    let weak: Vec<String> = answer
        .findings
        .iter()
        .filter(|f| f.loglik.is_some())
        .map(|f| phrase(answer, f.name))
        .collect();
    if weak.is_empty() {
        said.push(
            "None of the explanations that could be tested agrees better than chance.".to_string(),
        );
    } else {
        said.push(format!(
            "The bumps agree with {} a little better than chance, but too little to name it.",
            weak.join(" and ")
        ));
    }
    if answer.huddle.is_one() {
        said.push("The bumps huddle: look for something local.".to_string());
    } else {
        said.push(
            "They lie as evenly as chance would strew them, or are too few to tell.".to_string(),
        );
    }
    if answer.seen_share().is_some_and(|s| s < SEEN_MIN) {
        said.push(format!(
            "At ±{} mm of height layers of {} mm blur: count the layers.",
            plain(answer.errors.z_mm),
            plain(answer.layer_mm)
        ));
    }
}

fn plain(value: f64) -> String {
    format!("{}", (value * 100.0).round() / 100.0)
}

/// Those that cannot be told apart from a named one.
fn tied(answer: &Explanation, from: Name) -> impl Iterator<Item = &Finding> {
    let of = move |f: &&Finding| f.state == State::NotApart(from);
    answer.findings.iter().filter(of)
}

/// What would tell explanations apart.
fn ways_apart(answer: &Explanation) -> Vec<&'static str> {
    let mut ways = Vec::new();
    for finding in answer.named() {
        for other in tied(answer, finding.name) {
            ways.push(way(finding.name, other.name));
        }
    }
    let alongs: Vec<Along> = answer
        .kept
        .iter()
        .filter(|k| k.fits())
        .map(|k| k.along)
        .collect();
    let clock_named = answer.finding(Name::Clock).state == State::Named;
    if clock_named && alongs.len() > 1 {
        if alongs.contains(&Along::Time) {
            ways.push(
                "print the same file at 80 % speed; only what goes by time changes its slant.",
            );
        }
        if alongs.contains(&Along::Lines) && alongs.contains(&Along::Filament) {
            ways.push("print it with chords of another length; only what goes by lines changes.");
        }
    }
    ways.sort_unstable();
    ways.dedup();
    ways
}

fn way(a: Name, b: Name) -> &'static str {
    use Name::{Clock, Corners, Height, Seam, ShortMoves, Stalls, Xy};
    let either = |x: Name, y: Name| (a, b) == (x, y) || (b, a) == (x, y);
    let has = |x: Name| a == x || b == x;
    if either(Stalls, Corners) || either(Stalls, ShortMoves) {
        "print at 70 % speed; stalls of an empty queue go."
    } else if either(Corners, ShortMoves) {
        "print with longer chords, or arcs; corners stay."
    } else if has(Height) {
        "print with another layer height."
    } else if has(Xy) && (has(Seam) || has(Corners) || has(ShortMoves) || has(Stalls)) {
        "turn the part by 30° on the bed; what goes by x and y stays with the machine."
    } else if has(Clock) {
        "print beside a second part, or move the seam; a clock does not follow."
    } else if has(Seam) {
        "move the seam; what comes from it follows."
    } else {
        "print the same file at 80 % speed; only what goes by time changes its slant."
    }
}

/// Lines of the list that are named one by one.
const LINES_TOLD: usize = 20;

/// What the answer does not say by itself: weak points, and how likely each explanation was to be found.
pub fn notes(answer: &Explanation, save_every_s: Option<f64>) -> Vec<String> {
    let mut notes = Vec::new();
    if !answer.window_given {
        notes.push(
            "No --window was given: the smallest one with all bumps was taken. Places lose power by that; give what you looked at."
                .to_string(),
        );
    }
    if !answer.off_wall.is_empty() {
        let lines = answer.off_wall.iter().take(LINES_TOLD);
        let lines: Vec<String> = lines.map(ToString::to_string).collect();
        let more = match answer.off_wall.len().saturating_sub(LINES_TOLD) {
            0 => String::new(),
            n => format!(" and {n} more"),
        };
        notes.push(format!(
            "Left out, for want of a wall within 5 degrees: line {}{more} of the list.",
            lines.join(", ")
        ));
    }
    if answer.bumps.len() < 12 {
        notes.push("Fewer than a dozen bumps say little.".to_string());
    }
    for (name, steps) in &answer.same_each_layer {
        let along: Vec<String> = steps
            .iter()
            .map(|s| format!("{} a layer", amount(s.along, s.step)))
            .collect();
        notes.push(format!(
            "Layers follow at equal steps ({}): something that keeps step with them would look the same as {}.",
            along.join(", "),
            phrase(answer, *name)
        ));
    }
    for kept in answer.kept.iter().filter(|k| !k.fits()) {
        notes.push(format!(
            "In time the best period is {}; it fits less well, as a clock does that is held up by long moves.",
            amount(kept.along, kept.period)
        ));
    }
    let clock = answer.finding(Name::Clock);
    if let (Some(power), Some(period_s), State::NotFound) =
        (clock.power, answer.power_period_s, clock.state)
    {
        let what = match save_every_s {
            Some(_) => format!("This board's save, one every {} s,", plain(period_s)),
            None => format!("A clock of {} s, for example,", plain(period_s)),
        };
        notes.push(format!(
            "{what} would have been recognised by its rhythm in {} prints like this.",
            how_often(power)
        ));
    }
    if let (Some(every_s), State::Named) = (save_every_s, clock.state) {
        let time = answer.kept.iter().find(|k| k.along == Along::Time);
        let fits =
            time.is_some_and(|k| k.periods.iter().any(|p| p[0] <= every_s && every_s <= p[1]));
        notes.push(if fits {
            format!(
                "This board's save, one every {} s, is among the periods that fit. That names a clock, not a culprit: see what remains with save.when=off.",
                plain(every_s)
            )
        } else {
            format!("This board's save, one every {} s, is not among the periods that fit.", plain(every_s))
        });
    }
    notes
}

/// What to do about it, the cheap things first. `remedies`: the command that tells the remedies for stalls. They are
/// not tried here: that takes several times as long as all the rest.
pub fn advice(answer: &Explanation, remedies: &str) -> Vec<String> {
    let mut todo: Vec<String> = Vec::new();
    let named: Vec<Name> = answer.named().map(|f| f.name).collect();
    for name in &named {
        let text = match name {
            Name::Stalls => &format!(
                "Stalls: `{remedies}` tries what would cure them, on this job and board; take what it puts first."
            ),
            Name::Clock => {
                "A rhythm in time: switch off, or make rarer, what the controller does by the clock (saves, displays), one at a time. A rhythm in filament: look at the feeder's gear and its grip; clean it cold and unplugged."
            }
            Name::Xy => {
                "A step in x or y: measure it against the belts' pitch and the pulleys' circumference; check belt tension and pulley screws, unplugged."
            }
            Name::Height => {
                "A step in height: measure it against the pitch of the screw; clean and grease it as the maker says."
            }
            Name::Seam => {
                "The seam: when slicing, put it where it is not seen (a corner, the back), or spread it; less filament where loops close."
            }
            Name::Corners => {
                "Corners: print outer walls slower or with less acceleration; if the firmware compensates pressure, tune that."
            }
            Name::ShortMoves => &format!(
                "Short moves: slice with longer chords or with arcs; `{remedies}` says how long is enough on this board."
            ),
        };
        todo.push(text.to_string());
    }
    if named.is_empty() {
        todo.extend([
            "Another spool, or dried filament: the filament's data sheet gives temperature and hours (50 °C for 4 to 8 h is common practice for PLA, no source). Use a dryer made for it, and do not leave it unattended.".to_string(),
            "Then a new nozzle: change it as the maker's manual says. The hot end is about 200 °C and stays hot long after; unplug before you open anything.".to_string(),
            "Then looseness: belts, wheels, the feeder's grip, with the printer unplugged and cold; moving axes pinch.".to_string(),
        ]);
    }
    todo
}

/// What to look at, so that the next answer says more.
pub fn next(answer: &Explanation) -> Vec<String> {
    let mut next = Vec::new();
    if answer.seen_share().is_some_and(|s| s < SEEN_MIN) {
        next.push(
            "Give heights as counted layers (a column `layer` in place of `z_mm`), or from a photograph with a scale: what keeps time shows only where layers don't blur."
                .to_string(),
        );
    }
    if answer.window.span_deg() < 300.0 {
        next.push("Look at the other sides too, and say so with --window.".to_string());
    }
    if answer.bumps.len() < 25 {
        next.push("Mark more bumps, the faint ones too; 25 say far more than 12.".to_string());
    }
    next
}

/// Why an explanation was not tested.
pub fn why_untested(name: Name) -> &'static str {
    match name {
        Name::Stalls => "not tested: no bump is predicted where you looked",
        Name::Clock => "not tested: the part is too small for it",
        Name::Xy => "not tested: the window is too narrow for three steps",
        Name::Height => "not tested: the window is too low for three steps",
        Name::Seam => "not tested: no seam where you looked",
        Name::Corners => "not tested: no corner where you looked",
        Name::ShortMoves => "not tested: moves are much alike where you looked",
    }
}
