//! The search for the cheapest mix: candidates are replayed under strain, and of each mix the one is taken that bridges
//! the shortest holds and still leaves next to no bump. These are replayed on the board itself, and the best is taken.

use std::sync::Arc;

use crate::board::types::{Board, Save, SaveWhen, Span};
use crate::study::fit::fitting::of_run;
use crate::study::parallel;
use crate::study::sample::has_draws;

use super::harm::Planted;
use super::pass::Pass;
use super::plan::{Plan, Treat};
use super::runs::{MendError, Open, Runs, Terms, seeds_from};
use super::shelf::Shelf;

/// Holds that can be bridged, as shares of the longest usual one: from this share on, in so many steps up to all of it.
const BRIDGE_LEAST: f64 = 0.3;
const BRIDGE_STEPS: u32 = 35;
/// The share of the bumps that a candidate may leave under strain: such as come of luck that a print hardly ever has.
const FEW: f64 = 0.005;
/// What a block is taken to cost where moves are joined all over, s.
const EVERYWHERE_S: f64 = 1e-3;
/// A save comes after this share of its time where candidates are compared, so that fewer replays meet more phases.
const STRAIN_SHARE: f64 = 0.37;
/// The share of the longest time of all chores by which a save takes longer there.
const STRAIN_CHORES: f64 = 0.8;
/// Candidates are compared under seeds this far from those of the proof, and the plan is tried under seeds twice as
/// far from them: a count of bumps is an honest one only under seeds that had no part in the choice.
const SEED_STEP: u64 = 1 << 32;
const SEARCH_RUNS: u64 = 10;
/// Replays on the board itself by which the best of the mixes is found; one bump in all of them is as good as none.
const OWN_RUNS: u64 = 20;
/// Of the replays that may be made of a job, one in so many is made of each candidate.
const SEARCH_SHARE: usize = 3;
/// Of a larger job candidates are compared on its beginning, of so many bytes; if no bump lies there, of some more.
pub const SAMPLE_BYTES: [u64; 2] = [2 << 20, 16 << 20];
/// Print times that differ by less than this share are alike.
const ALIKE: f64 = 1e-3;

/// A candidate, replayed.
#[derive(Clone, Debug)]
struct Trial {
    plan: Plan,
    bumps: u64,
    replay_s: f64,
    /// How many such replays may be made.
    affordable: usize,
}

impl Trial {
    /// Whether it is better than another: next to no bump, where `few` of them are; fewer bumps; less time; a path
    /// that moves less.
    fn beats(&self, other: &Trial, few: u64) -> bool {
        let bumps = |trial: &Trial| trial.bumps.max(few);
        if bumps(self) != bumps(other) {
            return bumps(self) < bumps(other);
        }
        let less = moves(&self.plan.treat) < moves(&other.plan.treat);
        let alike = if less { 1.0 + ALIKE } else { 1.0 - ALIKE };
        self.replay_s < other.replay_s * alike
    }
}

/// Grows with how far a treatment may move the path.
fn moves(treat: &Treat) -> f64 {
    let joined = if treat.merge { 1.0 } else { 0.0 };
    joined + if treat.arcs { 2.0 } else { 0.0 }
}

/// Whether it changes more than bytes.
fn bridges(treat: &Treat) -> bool {
    treat.merge || treat.arcs || treat.slows
}

/// What a block is taken to cost from the start, s.
pub fn everywhere_s(terms: &Terms) -> f64 {
    let joins = terms.allow.merge || terms.allow.arcs;
    if joins && terms.everywhere {
        EVERYWHERE_S
    } else {
        0.0
    }
}

/// The hold that is bridged at a step, as a share of the longest usual one.
fn bridge_at(step: u32) -> f64 {
    let share = f64::from(step) / f64::from(BRIDGE_STEPS);
    BRIDGE_LEAST + (1.0 - BRIDGE_LEAST) * share
}

/// A search.
pub struct Search<'a> {
    open: &'a Open<'a>,
    board: &'a Board,
    terms: &'a Terms,
    seeds: Vec<u64>,
    base: Plan,
    shelf: Arc<Shelf>,
    progress: &'a (dyn Fn(u64, u64) + Sync),
    /// Replays made so far, and how many there may be.
    replays: [u64; 2],
    tried: usize,
}

/// What stripping can do for a job.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Strips {
    /// Nothing, or it is not allowed.
    Not,
    /// It makes lines shorter, where bytes are among what starves the board.
    Shortens,
    /// It also takes comments away that stand between moves, so that these can be joined.
    Joins,
}

/// What a search has found.
pub struct Found {
    /// The best plan.
    pub plan: Plan,
    /// Bumps of one replay before, under strain.
    pub before: u64,
    /// Whether the plan leaves fewer bumps on the board itself than there were.
    pub helps: bool,
    /// Whether it changes anything.
    pub changes: bool,
    /// What becomes of the job's stretches by this plan.
    pub shelf: Arc<Shelf>,
    /// Candidates that were replayed.
    pub tried: usize,
}

impl<'a> Search<'a> {
    /// A search over a job, which is kept in memory; `base` says which walls are treated.
    pub fn new(
        open: &'a Open<'a>,
        board: &'a Board,
        terms: &'a Terms,
        base: Plan,
        progress: &'a (dyn Fn(u64, u64) + Sync),
    ) -> Self {
        Search {
            open,
            board,
            terms,
            seeds: seeds_at(terms, 1, SEARCH_RUNS),
            base,
            shelf: Arc::default(),
            progress,
            replays: [0, 1],
            tried: 0,
        }
    }

    fn plan(&self, treat: Treat) -> Plan {
        Plan {
            treat,
            ..self.base.clone()
        }
    }

    /// Replays the job as this plan has it.
    fn trial(&mut self, plan: Plan, board: &Board, seeds: &[u64]) -> Result<Trial, MendError> {
        self.tried += 1;
        let seeds = if has_draws(board) { seeds } else { &seeds[..1] };
        let [before, all] = self.replays;
        self.replays[0] += seeds.len() as u64;
        let each = |done: usize| (self.progress)(before + done as u64, all);
        let (job, terms) = (self.open, self.terms);
        let pass = Pass::new(job()?, job()?, self.board, &plan);
        let pass = pass.with_shelf(Some(self.shelf.clone()));
        let planted = Planted::new(pass, board).map_err(MendError::Replay)?;
        let runs = parallel::try_map(seeds.len(), terms.threads, &each, &|k| {
            let (board, seed) = (of_run(board, k), seeds[k]);
            let harm = planted.harm(&board, seed, terms.visible_mm);
            harm.map_err(MendError::Replay)
        });
        let runs = Runs(runs?);
        Ok(Trial {
            bumps: runs.bumps(),
            replay_s: runs.replay_s(),
            affordable: runs.affordable(),
            plan,
        })
    }

    /// The best that a mix of means comes to under strain: the one that bridges least and leaves no more than `few` bumps.
    fn mixed(&mut self, mix: Treat, strained: &Board, few: u64) -> Result<Trial, MendError> {
        let seeds = self.seeds.clone();
        let mut at = |bridge: f64| self.trial(self.plan(Treat { bridge, ..mix }), strained, &seeds);
        if !bridges(&mix) {
            return at(0.0);
        }
        let mut best = at(bridge_at(BRIDGE_STEPS))?;
        let (mut least, mut enough) = (0, BRIDGE_STEPS);
        while least < enough {
            let step = (least + enough) / 2;
            let trial = at(bridge_at(step))?;
            let passes = trial.bumps <= few;
            if passes {
                enough = step;
            } else {
                least = step + 1;
            }
            if passes || trial.beats(&best, few) {
                best = trial;
            }
        }
        Ok(best)
    }

    /// The mixes of the means that are allowed, those that move the path least first.
    fn mixes(&self, strips: Strips) -> Vec<Treat> {
        let allow = self.terms.allow;
        let mut mixes = Vec::new();
        for (merge, arcs) in [(false, false), (true, false), (false, true), (true, true)] {
            for (slows, strip) in [(true, false), (false, false), (true, true), (false, true)] {
                let allowed = (allow.merge || !merge)
                    && (allow.arcs || !arcs)
                    && (allow.pace || !slows)
                    && (strips != Strips::Not || !strip);
                let block_s = if merge || arcs {
                    everywhere_s(self.terms)
                } else {
                    0.0
                };
                let mix = Treat {
                    merge,
                    arcs,
                    strip,
                    slows,
                    block_s,
                    ..Treat::NONE
                };
                if allowed && mix != Treat::NONE {
                    mixes.push(mix);
                }
            }
        }
        mixes
    }

    /// The best plan: of each mix the best under strain, and of these the one that is best on the board itself.
    ///
    /// # Errors
    /// Where the job or the board cannot be used.
    pub fn best(mut self, strips: Strips) -> Result<Found, MendError> {
        let (board, strained) = (self.board, strained(self.board));
        let before = self.trial(self.base.clone(), &strained, &[self.seeds[0]])?;
        self.seeds
            .truncate(before.affordable.div_ceil(SEARCH_SHARE));
        let few = (FEW * (before.bumps * self.seeds.len() as u64) as f64).ceil() as u64;
        let mut own = seeds_at(self.terms, 2, OWN_RUNS);
        own.truncate(before.affordable);
        let none = self.trial(self.base.clone(), board, &own)?;
        let mixes = match before.bumps + none.bumps {
            0 => Vec::new(),
            _ => self.mixes(strips),
        };
        let steps = BRIDGE_STEPS.ilog2() as usize + 2;
        let each = steps * self.seeds.len() + own.len();
        self.replays[1] = (mixes.len() * each + own.len()) as u64;
        let mut best = none.clone();
        let mut keeps_up = false;
        for mix in mixes {
            // Shorter lines alone do not make a print quicker where the board keeps up already.
            if mix.strip && bridges(&mix) && keeps_up && strips == Strips::Shortens {
                continue;
            }
            let strained = self.mixed(mix, &strained, few)?;
            keeps_up |= strained.bumps <= few;
            let trial = self.trial(strained.plan, board, &own)?;
            if trial.beats(&best, own.len() as u64 / OWN_RUNS) {
                best = trial;
            }
        }
        let pass = Pass::new((self.open)()?, (self.open)()?, board, &best.plan);
        let counts = pass.with_shelf(Some(self.shelf.clone())).through()?;
        Ok(Found {
            helps: best.bumps < none.bumps,
            changes: counts.changed(),
            before: before.bumps,
            plan: best.plan,
            shelf: self.shelf,
            tried: self.tried,
        })
    }
}

/// So many seeds, this many steps from those of the proof.
fn seeds_at(terms: &Terms, steps: u64, count: u64) -> Vec<u64> {
    seeds_from(terms.seed.wrapping_add(steps * SEED_STEP), count)
}

/// A duration's longest, s; `None` where it has none.
fn most_s(span: &Span) -> Option<f64> {
    match *span {
        Span::Fixed(s) => Some(s),
        Span::Uniform { max, .. } => Some(max),
        Span::Exponential { .. } | Span::Lognormal { .. } => None,
    }
}

/// The board as candidates are compared on it: its saves come more often and always take their longest time, and some
/// of what its chores take besides, so that what passes there passes on the board itself under luck that no replay has met.
pub fn strained(board: &Board) -> Board {
    let when = match board.save.when {
        SaveWhen::Seconds(every_s) => SaveWhen::Seconds(STRAIN_SHARE * every_s),
        other => other,
    };
    let chores_s: f64 = board.chores.iter().filter_map(|c| most_s(&c.work)).sum();
    let hold = most_s(&board.save.hold).map(|min| Span::Uniform {
        min,
        max: min + STRAIN_CHORES * chores_s,
    });
    Board {
        save: Save {
            when,
            hold: hold.unwrap_or(board.save.hold),
            ..board.save
        },
        ..board.clone()
    }
}
