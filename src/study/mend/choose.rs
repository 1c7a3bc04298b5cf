//! The cheapest mix of means that leaves no visible bump: print time first, deviation second.
//!
//! Every candidate is judged by replaying the job as it would be written.

use std::fmt;
use std::io::{self, Read};

use crate::board::types::Board;
use crate::replay::stream::ReplayError;
use crate::study::compare::has_draws;
use crate::study::parallel;

use super::counts::Counts;
use super::harm::{Harm, harm};
use super::mark;
use super::pace::Service;
use super::pass::Pass;
use super::plan::{Allow, Class, Plan, Treat};

/// Opens a job again from its first byte.
pub type Open<'a> = dyn Fn() -> io::Result<Box<dyn Read + Send>> + Sync + 'a;

/// What is wanted.
#[derive(Clone, Copy, Debug)]
pub struct Terms {
    /// How far the path may move, mm.
    pub within_mm: f64,
    /// The means that may be used.
    pub allow: Allow,
    /// Moves are joined wherever they may be, needed or not.
    pub everywhere: bool,
    /// Height from which a bump is visible, mm.
    pub visible_mm: f64,
    /// Seeds of the proof: this many from `seed` on.
    pub runs: u64,
    /// The first of them.
    pub seed: u64,
    /// Threads.
    pub threads: usize,
}

/// Why a job was not mended.
#[derive(Debug)]
pub enum MendError {
    /// The job or the board cannot be used.
    Replay(ReplayError),
    /// The job cannot be read.
    Io(io::Error),
}

impl fmt::Display for MendError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            MendError::Replay(ReplayError::Job(e)) => write!(f, "{e}"),
            MendError::Replay(ReplayError::Board(e)) => write!(f, "{e}"),
            MendError::Io(e) => write!(f, "cannot be read: {e}"),
        }
    }
}

impl std::error::Error for MendError {}

impl From<io::Error> for MendError {
    fn from(error: io::Error) -> Self {
        MendError::Io(error)
    }
}

/// What several replays came to, by seed.
#[derive(Clone, Debug, Default)]
pub struct Runs(pub Vec<Harm>);

impl Runs {
    /// Visible bumps of all runs together.
    pub fn bumps(&self) -> u64 {
        self.0.iter().map(|h| h.lines.len() as u64).sum()
    }

    /// Print time, the mean, s.
    pub fn replay_s(&self) -> f64 {
        self.mean(|h| h.replay_s)
    }

    /// Lost time, the mean, s.
    pub fn lost_s(&self) -> f64 {
        self.mean(|h| h.lost_s)
    }

    /// The mean of something.
    pub fn mean(&self, of: impl Fn(&Harm) -> f64) -> f64 {
        self.0.iter().map(of).sum::<f64>() / self.0.len().max(1) as f64
    }

    /// Runs with a visible bump.
    pub fn bumped(&self) -> u64 {
        self.0.iter().filter(|h| !h.lines.is_empty()).count() as u64
    }
}

/// What was chosen.
#[derive(Clone, Debug)]
pub struct Choice {
    /// The job as it is, under the seeds of the proof.
    pub before: Runs,
    /// What is done to it.
    pub plan: Plan,
    /// What the survey of the job saw.
    pub survey: Counts,
    /// The line of an earlier mending at the job's end.
    pub earlier: Option<String>,
    /// Whether that was under the same settings.
    pub same_settings: bool,
    /// Candidates that were replayed.
    pub tried: usize,
}

/// Shares of the feed that are tried, the highest first: steps of 6 %.
const PACES: usize = 32;
const PACE_STEP: f64 = 0.94;
/// Shares of the needed speed that new corners must allow.
const CORNER_SHARES: [f64; 3] = [0.97, 0.85, 0.0];
/// Seeds under which candidates are compared; others than those of the proof.
const SEARCH_SEED: u64 = 1 << 32;
const SEARCH_RUNS: u64 = 6;
/// Bytes that all replays of one candidate may read before fewer seeds are used.
const SEARCH_BYTES: u64 = 256 << 20;
/// From this share of a line's time on bytes are among what starves the board.
const BYTE_SHARE: f64 = 0.15;
/// Print times that differ by less than this share are alike.
const ALIKE: f64 = 1e-3;
/// How often the pace is lowered by another step where the proof's seeds still show a bump.
const FURTHER_MAX: usize = 6;

/// Replays what `open` gives under these seeds.
///
/// # Errors
/// Where the job or the board cannot be used.
pub fn runs(
    open: &(dyn Fn() -> io::Result<Box<dyn Read>> + Sync),
    board: &Board,
    seeds: &[u64],
    terms: &Terms,
) -> Result<Runs, MendError> {
    let seeds = if has_draws(board) { seeds } else { &seeds[..1] };
    let all = parallel::map(seeds.len(), terms.threads, &|_| {}, &|k| {
        harm(open()?, board, seeds[k], terms.visible_mm).map_err(MendError::Replay)
    });
    all.into_iter().collect::<Result<Vec<_>, _>>().map(Runs)
}

/// The seeds of the proof.
pub fn seeds(terms: &Terms) -> Vec<u64> {
    (terms.seed..terms.seed + terms.runs.max(1)).collect()
}

struct Search<'a> {
    open: &'a Open<'a>,
    board: &'a Board,
    terms: &'a Terms,
    seeds: Vec<u64>,
    /// The classes that are treated.
    classes: Vec<Class>,
    others: Treat,
    mark: String,
    tried: usize,
}

/// A candidate, replayed.
#[derive(Clone, Debug)]
struct Trial {
    treats: Vec<(Treat, usize)>,
    bumps: u64,
    replay_s: f64,
}

impl Trial {
    /// Whether it is to be preferred: fewer bumps, less time, a path that moves less.
    fn beats(&self, other: &Trial) -> bool {
        if self.bumps != other.bumps {
            return self.bumps < other.bumps;
        }
        let moves_less = self.moves() < other.moves();
        let alike = if moves_less { 1.0 + ALIKE } else { 1.0 - ALIKE };
        self.replay_s < other.replay_s * alike
    }

    /// Grows with how far the path may move.
    fn moves(&self) -> f64 {
        let of = |t: &Treat| {
            let joined = t.merge.map_or(0.0, |share| 2.0 - share);
            joined + if t.arcs { 2.0 } else { 0.0 }
        };
        self.treats.first().map_or(0.0, |(treat, _)| of(treat))
    }
}

fn pace(step: usize) -> f64 {
    PACE_STEP.powi(step as i32)
}

impl Search<'_> {
    fn plan(&self, treats: &[(Treat, usize)]) -> Plan {
        let paced = |(treat, step): &(Treat, usize)| Treat {
            pace: pace(*step),
            ..*treat
        };
        let walls = self.classes.iter().zip(treats);
        Plan {
            within_mm: self.terms.within_mm,
            walls: walls.map(|(class, treat)| (*class, paced(treat))).collect(),
            others: self.others,
            mark: self.mark.clone(),
        }
    }

    fn runs(&mut self, treats: &[(Treat, usize)], seeds: &[u64]) -> Result<Runs, MendError> {
        self.tried += 1;
        let plan = self.plan(treats);
        let (job, board) = (self.open, self.board);
        let open = || -> io::Result<Box<dyn Read>> {
            Ok(Box::new(Pass::new(job()?, job()?, board, &plan)))
        };
        runs(&open, board, seeds, self.terms)
    }

    fn trial(&mut self, treats: &[(Treat, usize)]) -> Result<Trial, MendError> {
        let seeds = self.seeds.clone();
        let runs = self.runs(treats, &seeds)?;
        Ok(Trial {
            treats: treats.to_vec(),
            bumps: runs.bumps(),
            replay_s: runs.replay_s(),
        })
    }

    /// The least lowering of the feed that leaves no bump with this treatment of all classes, by bisection;
    /// the best that was met where none does. Ends early where it takes longer than `most_s`.
    fn paced(&mut self, treat: Treat, most_s: f64) -> Result<Trial, MendError> {
        let all = |step| vec![(treat, step); self.classes.len()];
        let (first, last) = (all(0), all(PACES - 1));
        let mut best = self.trial(&first)?;
        if best.bumps == 0 || !self.terms.allow.pace || best.replay_s > most_s {
            return Ok(best);
        }
        // Steps 1, 2, 4 ... until it is enough, then halves.
        let (mut low, mut high) = (0, 1);
        loop {
            let trial = self.trial(&vec![(treat, high); self.classes.len()])?;
            let (enough, slow) = (trial.bumps == 0, trial.replay_s > most_s);
            if trial.beats(&best) {
                best = trial;
            }
            if enough {
                break;
            }
            low = high;
            if slow || high == last[0].1 {
                return Ok(best);
            }
            high = (2 * high).min(PACES - 1);
        }
        while high - low > 1 {
            let middle = low.midpoint(high);
            let trial = self.trial(&vec![(treat, middle); self.classes.len()])?;
            if trial.bumps == 0 {
                best = trial;
                high = middle;
            } else {
                low = middle;
            }
        }
        Ok(best)
    }

    /// Lets each class alone go faster again, as far as no bump comes back.
    fn relaxed(&mut self, mut best: Trial) -> Result<Trial, MendError> {
        for k in 0..self.classes.len() {
            let (mut low, mut high) = (0, best.treats[k].1);
            while low < high {
                let middle = low.midpoint(high);
                let mut treats = best.treats.clone();
                treats[k].1 = middle;
                let trial = self.trial(&treats)?;
                if trial.bumps <= best.bumps {
                    best = trial;
                    high = middle;
                } else {
                    low = middle + 1;
                }
            }
        }
        Ok(best)
    }

    /// Lowers the pace further while the proof's seeds show bumps.
    fn proven(&mut self, best: Trial) -> Result<Trial, MendError> {
        let seeds = seeds(self.terms);
        let judge = |search: &mut Self, treats: Vec<(Treat, usize)>| {
            let runs = search.runs(&treats, &seeds)?;
            Ok::<Trial, MendError>(Trial {
                treats,
                bumps: runs.bumps(),
                replay_s: runs.replay_s(),
            })
        };
        let mut kept = judge(self, best.treats)?;
        let mut treats = kept.treats.clone();
        for _ in 0..FURTHER_MAX {
            let most = treats.iter().map(|t| t.1).max().unwrap_or(0);
            if kept.bumps == 0 || !self.terms.allow.pace || most + 1 >= PACES {
                break;
            }
            treats.iter_mut().for_each(|t| t.1 += 1);
            let next = judge(self, treats.clone())?;
            if next.bumps < kept.bumps {
                kept = next;
            }
        }
        Ok(kept)
    }
}

/// Finds out what is to be done to a job.
///
/// # Errors
/// Where the job or the board cannot be used.
pub fn choose(open: &Open, board: &Board, terms: &Terms) -> Result<Choice, MendError> {
    let raw = || -> io::Result<Box<dyn Read>> { Ok(open()?) };
    let before = runs(&raw, board, &seeds(terms), terms)?;
    let mut lines: Vec<u64> = before.0.iter().flat_map(|h| h.lines.clone()).collect();
    lines.sort_unstable();
    let none = Plan::none(terms.within_mm);
    let survey = Pass::new(open()?, open()?, board, &none)
        .with_walls(lines)
        .through()?;
    let others = format!("{} {} {}", terms.visible_mm, terms.runs, terms.seed);
    let mark = mark::line(board, terms.within_mm, terms.allow, terms.everywhere, &others);
    let earlier = mark::found(&survey.tail);
    let same_settings = earlier.as_deref() == Some(mark.as_str());
    let mut allow = terms.allow;
    if earlier.is_some() {
        // Deviations must not add up.
        (allow.merge, allow.arcs) = (false, false);
    }
    let mut choice = Choice {
        before,
        plan: none,
        survey,
        earlier,
        same_settings,
        tried: 0,
    };
    let touched = choice.survey.walls.iter();
    let classes: Vec<Class> = touched
        .filter(|(_, wall)| wall.bumps > 0 && wall.risk_s > 0.0)
        .map(|(class, _)| *class)
        .collect();
    let everywhere = Treat {
        merge: (terms.everywhere && allow.merge).then_some(CORNER_SHARES[0]),
        arcs: terms.everywhere && allow.arcs,
        ..Treat::NONE
    };
    if same_settings || (classes.is_empty() && everywhere == Treat::NONE) {
        return Ok(choice);
    }
    let bytes = choice.survey.bytes.max(1);
    let count = SEARCH_RUNS.min((SEARCH_BYTES / bytes).max(1));
    let terms = &Terms { allow, ..*terms };
    let mut search = Search {
        open,
        board,
        terms,
        seeds: (SEARCH_SEED..SEARCH_SEED + count).collect(),
        classes,
        others: everywhere,
        mark,
        tried: 0,
    };
    let best = best(&mut search, &choice.survey)?;
    choice.tried = search.tried;
    if best.bumps < choice.before.bumps() || everywhere != Treat::NONE {
        choice.plan = search.plan(&best.treats);
    }
    Ok(choice)
}

/// The best mix.
fn best(search: &mut Search, survey: &Counts) -> Result<Trial, MendError> {
    let Terms { allow, .. } = *search.terms;
    let mut mixes = Vec::new();
    for share in CORNER_SHARES {
        let joined = Treat {
            merge: Some(share),
            ..Treat::NONE
        };
        mixes.extend(allow.merge.then_some(joined));
    }
    let arcs = Treat {
        merge: allow.merge.then_some(CORNER_SHARES[0]),
        arcs: true,
        ..Treat::NONE
    };
    mixes.extend(allow.arcs.then_some(arcs));
    // The slowest as a rule: it comes last, when it is known what it has to beat.
    mixes.push(Treat::NONE);
    let mut best: Option<Trial> = None;
    let mut offer = |trial: Trial| {
        let most_s = if trial.bumps == 0 {
            trial.replay_s
        } else {
            f64::INFINITY
        };
        if best.as_ref().is_none_or(|b| trial.beats(b)) {
            best = Some(trial);
        }
        most_s
    };
    let mut most_s = f64::INFINITY;
    for treat in &mixes {
        most_s = most_s.min(offer(search.paced(*treat, most_s)?));
    }
    let line_bytes = survey.bytes as f64 / survey.lines.max(1) as f64;
    if allow.strip && Service::new(search.board).byte_share(line_bytes) >= BYTE_SHARE {
        for treat in mixes {
            let short = Treat {
                strip: true,
                ..treat
            };
            most_s = most_s.min(offer(search.paced(short, most_s)?));
        }
    }
    let best = best.expect("doing nothing is among the mixes");
    let best = if search.classes.len() > 1 && allow.pace {
        search.relaxed(best)?
    } else {
        best
    };
    search.proven(best)
}
