//! The question and its answer.

use crate::study::stats::holm;

use super::blur::Blur;
use super::clock::{Clock, Heard};
use super::decide::{Contender, Name, State, decide};
use super::draws::p_value;
use super::huddle::{Huddle, huddle};
use super::keeping::{self, Kept, LayerStep, Rhythm};
use super::luck::cells_at;
use super::mixture::{self, Fit};
use super::places::{self, Predicted};
use super::power::{self, Truths};
use super::regular::{Regular, Stripes, Strongest};
use super::seen::Mark;
use super::shown::Shown;
use super::strewn::Strewn;
use super::view::{Bump, Errors, Refusal, View, Window};
use super::wall::Wall;

/// An explanation passes its test where its adjusted p-value is at most this.
pub const LEVEL: f64 = 0.05;

/// What is asked.
#[derive(Clone, Debug)]
pub struct Question<'a> {
    /// The part's wall.
    pub wall: &'a Wall,
    /// What was seen.
    pub marks: &'a [Mark],
    /// Bumps that the replay predicts on the outer wall.
    pub predicted: &'a [Predicted],
    /// Where the maker looked, if he said so.
    pub window: Option<Window>,
    /// Errors of what he noted.
    pub errors: Errors,
    /// The seed of all draws.
    pub seed: u64,
    /// Draws for each p-value.
    pub draws: usize,
    /// What is simulated to tell how likely each explanation was to be recognised; `None`: nothing.
    pub power: Option<Simulated<'a>>,
    /// Threads that may be used.
    pub threads: usize,
}

/// What prints are simulated from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Simulated<'a> {
    /// Period of a clock, s.
    pub period_s: f64,
    /// Whether it is the board's, which leaves the bumps of the other runs.
    pub period_is_boards: bool,
    /// Where along the filament other runs of the job leave visible bumps, mm, by run; none where there were none.
    pub other_runs: &'a [Vec<f64>],
}

impl Simulated<'_> {
    /// The window's cells that have visible bumps in other runs, by run.
    fn cells(&self, view: &View) -> Vec<Vec<usize>> {
        self.other_runs.iter().map(|r| cells_at(view, r)).collect()
    }
}

/// What was found about one explanation.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Which.
    pub name: Name,
    /// Its statistic.
    pub statistic: Option<f64>,
    /// The share of bumps that it takes, for places.
    pub share: Option<f64>,
    /// The chance of a statistic as large.
    pub p: Option<f64>,
    /// The same, adjusted for all that was tested.
    pub p_adjusted: Option<f64>,
    /// For a regular step that passed: the chance of one as strong if whole lines or bands lay anywhere.
    pub p_regular: Option<f64>,
    /// Its log likelihood over that of evenly strewn bumps, less what its free choices cost; where it passed its
    /// test.
    pub loglik: Option<f64>,
    /// What became of it.
    pub state: State,
    /// How likely it was to pass its test if it were true; `None` where that was not worked out, or where it puts no
    /// bump into the window.
    pub power: Option<f64>,
    /// Each bump's density under it over that if strewn evenly; empty where not worked out.
    pub ratios: Vec<f64>,
    /// For a regular step: the axis, its period in mm and its phase in turns.
    pub stripes: Option<Stripes>,
}

/// The answer.
#[derive(Clone, Debug)]
pub struct Explanation {
    /// The bumps on the wall.
    pub bumps: Vec<Bump>,
    /// Lines of the list whose bumps have no wall near them.
    pub off_wall: Vec<usize>,
    /// Where it was looked.
    pub window: Window,
    /// Whether the maker said so.
    pub window_given: bool,
    /// Errors that were reckoned with.
    pub errors: Errors,
    /// The median height of a layer, mm.
    pub layer_mm: f64,
    /// Whether bumps huddle.
    pub huddle: Huddle,
    /// All explanations, in the order of [`Name::ALL`].
    pub findings: Vec<Finding>,
    /// What was heard along the job, where that could be tested.
    pub heard: Option<Heard>,
    /// The coordinates that a clock may go by, where it passed its test.
    pub kept: Vec<Kept>,
    /// How the bumps keep time, where a clock passed its test.
    pub rhythm: Option<Rhythm>,
    /// What shows the named explanation best.
    pub shown: Option<Shown>,
    /// For each named place, along what its layers follow at equal steps.
    pub same_each_layer: Vec<(Name, Vec<LayerStep>)>,
    /// The period of the clock whose power was worked out, s.
    pub power_period_s: Option<f64>,
}

impl Explanation {
    /// What was found about an explanation.
    pub fn finding(&self, name: Name) -> &Finding {
        &self.findings[name as usize]
    }

    /// The named ones.
    pub fn named(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().filter(|f| f.state == State::Named)
    }

    /// The share of frequencies in time that the error of heights has left.
    pub fn seen_share(&self) -> Option<f64> {
        self.heard.as_ref().map(|h| h.seen_share)
    }
}

/// One test's outcome.
struct Tested {
    name: Name,
    statistic: f64,
    draws: Vec<f64>,
    ratios: Vec<f64>,
    fit: Option<Fit>,
}

/// Answers the question.
///
/// # Errors
/// Where the list of bumps cannot be explained.
pub fn explain(question: &Question) -> Result<Explanation, Refusal> {
    let view = View::new(
        question.wall,
        question.marks,
        question.window,
        question.errors,
    )?;
    let blur = Blur::new(view.wall, view.errors);
    let strewn = Strewn::new(&view, &blur).ok_or(Refusal::EmptyWindow {
        window: view.window,
        given: view.window_given,
    })?;
    let angles: Vec<f64> = view.bumps.iter().map(|b| b.angle_deg).collect();
    let heights: Vec<f64> = view.bumps.iter().map(|b| b.z_mm).collect();
    let huddle = huddle(&angles, &heights, question.seed);
    let draws = strewn.draws(&view, &huddle.groups, question.seed, question.draws);
    let Maps { maps, elsewhere } = maps(&view, &blur, &strewn, question.predicted);
    let mut tested: Vec<Tested> = Vec::new();
    for (name, map) in &maps {
        tested.push(test_place(*name, map, &view, &draws));
    }
    let regulars = [
        (Name::Xy, Regular::across(&view, &strewn)),
        (Name::Height, Regular::upright(&view, &strewn)),
    ];
    for (name, regular) in &regulars {
        tested.extend(test_regular(*name, regular, &view, &draws));
    }
    let clock = Clock::new(&view, &blur, &view.bumps);
    let heard = clock.listen(
        &huddle.groups,
        question.seed,
        question.draws,
        question.threads,
    );
    if let Some(heard) = &heard {
        tested.push(Tested {
            name: Name::Clock,
            statistic: heard.statistic,
            draws: heard.draws.clone(),
            ratios: Vec::new(),
            fit: None,
        });
    }
    tested.sort_by_key(|t| t.name);
    let mut answer = answer(question, &view, huddle, heard, &tested);
    likelihoods(&mut answer, question, &view, &blur, &strewn, &regulars);
    judge(&mut answer, &view);
    answer.shown = shown(
        &answer,
        &view,
        &blur,
        &strewn,
        question.predicted,
        &regulars,
    );
    if let Some(power) = question.power {
        let truths = Truths {
            view: &view,
            blur: &blur,
            strewn: &strewn,
            maps: &maps,
            regulars: &regulars,
            heard: answer.heard.as_ref(),
            period_s: power.period_s,
            other_runs: power.cells(&view),
            period_is_theirs: power.period_is_boards,
            seed: question.seed,
            threads: question.threads,
        };
        let nulls: Vec<(Name, Vec<f64>)> = tested.into_iter().map(|t| (t.name, t.draws)).collect();
        let there = |found: &(Name, f64)| !elsewhere.contains(&found.0);
        let powers = power::powers(&truths, &nulls, LEVEL);
        for (name, power) in powers.into_iter().filter(there) {
            answer.findings[name as usize].power = Some(power);
        }
    }
    Ok(answer)
}

/// What shows the best of the named explanations.
fn shown(
    answer: &Explanation,
    view: &View,
    blur: &Blur,
    strewn: &Strewn,
    predicted: &[Predicted],
    regulars: &[(Name, Regular); 2],
) -> Option<Shown> {
    let worth = |f: &&Finding| f.loglik.unwrap_or(0.0);
    let best = answer
        .named()
        .max_by(|a, b| worth(a).total_cmp(&worth(b)))?;
    let near = |map: Vec<f64>| Shown::near(best.name, view, blur, strewn, &map);
    match best.name {
        Name::Clock => Some(Shown::beats(&answer.rhythm.as_ref()?.turns)),
        Name::Xy | Name::Height => {
            let regular = &regulars.iter().find(|r| r.0 == best.name)?.1;
            Some(Shown::stripes(
                best.name,
                view,
                strewn,
                regular,
                &best.stripes?,
            ))
        }
        Name::Stalls => Some(near(places::stalls(view, predicted))),
        Name::Seam => Some(near(places::seam(view))),
        Name::Corners => Some(near(places::corners(view)?)),
        Name::ShortMoves => Some(near(places::short_moves(view)?)),
    }
}

/// The ratios of all places that could be tested, by cell.
struct Maps {
    maps: Vec<(Name, Vec<f64>)>,
    /// Those that lie outside the window, of which only the blur reaches into it.
    elsewhere: Vec<Name>,
}

fn maps(view: &View, blur: &Blur, strewn: &Strewn, predicted: &[Predicted]) -> Maps {
    let all = [
        (Name::Stalls, Some(places::stalls(view, predicted))),
        (Name::Seam, Some(places::seam(view))),
        (Name::Corners, places::corners(view)),
        (Name::ShortMoves, places::short_moves(view)),
    ];
    let mut elsewhere = Vec::new();
    let maps = all
        .into_iter()
        .filter_map(|(name, map)| {
            let map = map?;
            if view.cells.iter().all(|c| map[*c] <= 0.0) {
                elsewhere.push(name);
            }
            let mut noted = blur.noted(&map, view)?;
            for &cell in &view.cells {
                let even = strewn.density[cell];
                noted[cell] = if even > 0.0 { noted[cell] / even } else { 0.0 };
            }
            Some((name, noted))
        })
        .collect();
    Maps { maps, elsewhere }
}

fn test_place(name: Name, map: &[f64], view: &View, draws: &[Vec<usize>]) -> Tested {
    let ratios: Vec<f64> = view.bumps.iter().map(|b| map[b.cell()]).collect();
    let fit = mixture::fit(&ratios);
    let mut drawn = Vec::with_capacity(view.bumps.len());
    let one = |cells: &Vec<usize>| {
        drawn.clear();
        drawn.extend(cells.iter().map(|c| map[*c]));
        mixture::fit(&drawn).loglik
    };
    Tested {
        name,
        statistic: fit.loglik,
        draws: draws.iter().map(one).collect(),
        ratios,
        fit: Some(fit),
    }
}

fn test_regular(
    name: Name,
    regular: &Regular,
    view: &View,
    draws: &[Vec<usize>],
) -> Option<Tested> {
    let cells: Vec<usize> = view.bumps.iter().map(Bump::cell).collect();
    let strongest = regular.strongest(&cells)?;
    let one = |cells: &Vec<usize>| regular.strongest(cells).map_or(0.0, |s| s.statistic);
    Some(Tested {
        name,
        statistic: strongest.statistic,
        draws: draws.iter().map(one).collect(),
        ratios: Vec::new(),
        fit: None,
    })
}

/// The answer as far as tests go.
fn answer(
    question: &Question,
    view: &View,
    huddle: Huddle,
    heard: Option<Heard>,
    tested: &[Tested],
) -> Explanation {
    let p: Vec<f64> = tested
        .iter()
        .map(|t| p_value(t.statistic, &t.draws))
        .collect();
    let adjusted = holm(&p);
    let finding = |name: Name| {
        let at = tested.iter().position(|t| t.name == name);
        let test = at.map(|at| &tested[at]);
        Finding {
            name,
            statistic: test.map(|t| t.statistic),
            share: test.and_then(|t| t.fit).map(|f| f.share),
            p: at.map(|at| p[at]),
            p_adjusted: at.map(|at| adjusted[at]),
            p_regular: None,
            loglik: None,
            state: if test.is_some() {
                State::NotFound
            } else {
                State::NotTested
            },
            power: None,
            ratios: test.map_or(Vec::new(), |t| t.ratios.clone()),
            stripes: None,
        }
    };
    Explanation {
        bumps: view.bumps.clone(),
        off_wall: view.off_wall.clone(),
        window: view.window,
        window_given: view.window_given,
        errors: view.errors,
        layer_mm: view.wall.layer_mm,
        huddle,
        findings: Name::ALL.map(finding).to_vec(),
        heard,
        kept: Vec::new(),
        rhythm: None,
        shown: None,
        same_each_layer: Vec::new(),
        power_period_s: question.power.map(|p| p.period_s),
    }
}

/// Works the likelihoods of those out that passed their tests.
fn likelihoods(
    answer: &mut Explanation,
    question: &Question,
    view: &View,
    blur: &Blur,
    strewn: &Strewn,
    regulars: &[(Name, Regular); 2],
) {
    let cells: Vec<usize> = view.bumps.iter().map(Bump::cell).collect();
    for finding in &mut answer.findings {
        let passed = finding.p_adjusted.is_some_and(|p| p <= LEVEL);
        let regular = regulars.iter().find(|r| r.0 == finding.name);
        let strongest: Option<(&Regular, Strongest)> =
            regular.and_then(|(_, r)| Some((r, r.strongest(&cells)?)));
        if let Some((regular, strongest)) = &strongest {
            let wave = &regular.waves[strongest.wave];
            finding.stripes = Some(Stripes {
                axis: wave.axis,
                period_mm: 1.0 / wave.per_mm,
                phase_turns: strongest.phase_turns,
            });
        }
        if !passed {
            continue;
        }
        let fit = match (finding.name, &strongest, &answer.heard) {
            (Name::Clock, _, Some(heard)) => {
                let (rhythm, kept) = keeping::clock(view, blur, strewn, heard);
                finding.ratios.clone_from(&rhythm.ratios);
                answer.kept = kept;
                let fit = rhythm.fit;
                answer.rhythm = Some(rhythm);
                fit
            }
            (_, Some((regular, strongest)), _) => {
                let (ratios, fit) = keeping::stripes(view, strewn, regular, strongest);
                finding.ratios = ratios;
                finding.p_regular = Some(regular.p_of_lines(
                    strongest.statistic,
                    strewn,
                    question.seed,
                    question.draws,
                ));
                fit
            }
            _ => mixture::fit(&finding.ratios),
        };
        finding.loglik = Some(fit.loglik - finding.name.cost());
    }
}

/// Decides which are named.
fn judge(answer: &mut Explanation, view: &View) {
    let contenders: Vec<Contender> = answer
        .findings
        .iter()
        .filter_map(|f| {
            Some(Contender {
                name: f.name,
                ratios: f.ratios.clone(),
                loglik: f.loglik? + f.name.cost(),
            })
        })
        .collect();
    for (name, state) in decide(&contenders) {
        answer.findings[name as usize].state = state;
    }
    let clock = answer.finding(Name::Clock).state;
    if clock == State::Named {
        return;
    }
    let named: Vec<Finding> = answer.named().cloned().collect();
    for finding in named {
        let fit = mixture::fit(&finding.ratios);
        let steps = keeping::same_each_layer(view, &finding.ratios, fit);
        if steps.is_empty() {
            continue;
        }
        if clock == State::Explained(finding.name) {
            answer.findings[Name::Clock as usize].state = State::NotApart(finding.name);
        }
        answer.same_each_layer.push((finding.name, steps));
    }
}
