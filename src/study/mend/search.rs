//! The search for the cheapest mix: candidates are replayed, and for each band of layers the cheapest is taken
//! that leaves no bump there.

use std::io;

use crate::board::types::{Board, Save, SaveWhen, Span};
use crate::study::fit::fitting::of_run;
use crate::study::parallel;
use crate::study::sample::has_draws;

use super::harm::{Planted, harm};
use super::pass::Pass;
use super::plan::{Plan, Treat};

use super::runs::{MendError, Open, Runs, Terms, seeds};

/// Holds that are tried to be bridged, as shares of the longest usual one, until one leaves no bump.
const BRIDGES: [f64; 12] = [
    0.3, 0.4, 0.46, 0.5, 0.52, 0.54, 0.56, 0.58, 0.62, 0.7, 0.85, 1.0,
];
/// What a block is taken to cost where moves are joined all over, s.
pub const EVERYWHERE_S: f64 = 1e-3;
/// A save comes after this share of its time where candidates are compared, so that fewer replays meet more phases.
const SAVES_SHARE: f64 = 0.43;
/// Candidates are compared under seeds this far from those of the proof, and the plan is repaired under seeds twice as
/// far from them: a count of bumps is an honest one only under seeds that had no part in the choice.
const SEED_STEP: u64 = 1 << 32;
const SEARCH_RUNS: u64 = 10;
/// Jobs of up to so many bytes are kept in memory while they are replayed, about twice as many bytes.
const KEPT_BYTES: u64 = 48 << 20;
/// Bytes that all replays of one candidate may read before fewer seeds are used.
const SEARCH_BYTES: u64 = 128 << 20;
/// Bands of layers at most.
const BANDS_MAX: usize = 20;
/// Print times that differ by less than this share are alike.
const ALIKE: f64 = 1e-3;
/// How often bands that still show a bump under the seeds of the repair are treated anew.
const REPAIRS_MAX: usize = 6;

/// A candidate, replayed.
#[derive(Clone, Debug)]
struct Trial {
    treat: Treat,
    bumps: u64,
    /// Bumps on each band, in all runs.
    band_bumps: Vec<u64>,
    /// Time on each band, the mean, s.
    band_s: Vec<f64>,
    replay_s: f64,
}

/// A search.
pub struct Search<'a> {
    open: &'a Open<'a>,
    board: &'a Board,
    terms: &'a Terms,
    seeds: Vec<u64>,
    base: Plan,
    bytes: u64,
    band_layers: usize,
    trials: Vec<Trial>,
    progress: &'a (dyn Fn(u64, u64) + Sync),
    /// Replays made so far, and how many there may be.
    replays: [u64; 2],
    /// Candidates that were replayed.
    pub tried: usize,
}

/// Grows with how far a treatment may move the path.
fn moves(treat: &Treat) -> f64 {
    let joined = if treat.merge.is_some() { 1.0 } else { 0.0 };
    joined + if treat.arcs { 2.0 } else { 0.0 }
}

impl<'a> Search<'a> {
    /// A search over a job of so many bytes; `base` says which walls are treated.
    pub fn new(
        open: &'a Open<'a>,
        board: &'a Board,
        terms: &'a Terms,
        base: Plan,
        bytes: u64,
        progress: &'a (dyn Fn(u64, u64) + Sync),
    ) -> Self {
        let count = SEARCH_RUNS.min((SEARCH_BYTES / bytes.max(1)).max(1));
        Search {
            open,
            board,
            terms,
            seeds: (0..count)
                .map(|k| terms.seed.wrapping_add(SEED_STEP + k))
                .collect(),
            base,
            bytes,
            band_layers: 1,
            trials: Vec::new(),
            progress,
            replays: [0, 1],
            tried: 0,
        }
    }

    fn plan(&self, bands: &[Treat]) -> Plan {
        let mut plan = self.base.clone();
        for (k, treat) in bands.iter().enumerate() {
            if plan.bands.last().is_none_or(|(_, last)| last != treat) {
                plan.bands.push(((k * self.band_layers) as u32, *treat));
            }
        }
        plan
    }

    /// Replays the job as this plan has it.
    fn runs(&mut self, plan: &Plan, board: &Board, seeds: &[u64]) -> Result<Runs, MendError> {
        self.tried += 1;
        let seeds = if has_draws(board) { seeds } else { &seeds[..1] };
        let [before, all] = self.replays;
        self.replays[0] += seeds.len() as u64;
        let each = |done: usize| (self.progress)(before + done as u64, all);
        let (job, terms) = (self.open, self.terms);
        let new = || -> io::Result<_> { Ok(Pass::new(job()?, job()?, self.board, plan)) };
        let kept = if self.bytes <= KEPT_BYTES {
            Some(Planted::new(new()?, board).map_err(MendError::Replay)?)
        } else {
            None
        };
        let all = parallel::try_map(seeds.len(), terms.threads, &each, &|k| {
            let (board, seed) = (of_run(board, k), seeds[k]);
            let harm = match &kept {
                Some(kept) => kept.harm(&board, seed, terms.visible_mm),
                None => harm(new()?, &board, seed, terms.visible_mm),
            };
            harm.map_err(MendError::Replay)
        });
        all.map(Runs)
    }

    /// Sums by band: bumps, and the mean time.
    fn by_band(&self, runs: &Runs) -> (Vec<u64>, Vec<f64>) {
        let layers = runs.0.iter().map(|h| h.layer_s.len()).max().unwrap_or(0);
        let bands = layers.div_ceil(self.band_layers).max(1);
        let (mut bumps, mut time_s) = (vec![0; bands], vec![0.0; bands]);
        for harm in &runs.0 {
            for layer in &harm.layers {
                bumps[*layer as usize / self.band_layers] += 1;
            }
            for (layer, s) in harm.layer_s.iter().enumerate() {
                time_s[layer / self.band_layers] += s / runs.0.len() as f64;
            }
        }
        (bumps, time_s)
    }

    /// Replays the job with one treatment on all layers.
    fn trial(&mut self, treat: Treat) -> Result<&Trial, MendError> {
        let plan = self.plan(&[treat]);
        let seeds = self.seeds.clone();
        let strained = strained(self.board);
        let runs = self.runs(&plan, &strained, &seeds)?;
        if self.trials.is_empty() {
            let layers = runs.0.iter().map(|h| h.layer_s.len()).max().unwrap_or(0);
            self.band_layers = layers.div_ceil(BANDS_MAX).max(1);
        }
        let (band_bumps, band_s) = self.by_band(&runs);
        self.trials.push(Trial {
            treat,
            bumps: runs.bumps(),
            band_bumps,
            band_s,
            replay_s: runs.replay_s(),
        });
        Ok(&self.trials[self.trials.len() - 1])
    }

    /// The print time of the quickest candidate that leaves no bump at all, s.
    fn quickest_s(&self) -> f64 {
        let clean = self.trials.iter().filter(|t| t.bumps == 0);
        clean.map(|t| t.replay_s).fold(f64::INFINITY, f64::min)
    }

    /// Lets this mix bridge longer and longer holds, until no bump is left or it is slower than one that leaves none.
    fn descend(&mut self, mix: Treat) -> Result<(), MendError> {
        let bridges = mix.merge.is_some() || mix.arcs || mix.slows;
        for bridge in if bridges { &BRIDGES[..] } else { &[0.0] } {
            let most_s = self.quickest_s();
            let trial = self.trial(Treat {
                bridge: *bridge,
                ..mix
            })?;
            if trial.bumps == 0 || trial.replay_s > most_s {
                break;
            }
        }
        Ok(())
    }

    /// The mixes of the means that are allowed; `strips`: bytes are among what starves the board.
    fn mixes(&self, strips: bool) -> Vec<Treat> {
        let allow = self.terms.allow;
        let base = Treat {
            merge: allow.merge.then_some(0.0),
            slows: allow.pace,
            ..Treat::NONE
        };
        let mut mixes = Vec::new();
        for strip in [false, true] {
            for arcs in [false, true] {
                if (strip && !strips) || (arcs && !allow.arcs) {
                    continue;
                }
                let mix = Treat {
                    strip,
                    arcs,
                    ..base
                };
                if mix != Treat::NONE {
                    mixes.push(mix);
                }
                // The path as it is, if only its lines get shorter.
                let alone = Treat {
                    strip,
                    ..Treat::NONE
                };
                if strip && !mixes.contains(&alone) {
                    mixes.push(alone);
                }
            }
        }
        mixes
    }

    /// The best treatment of a band: fewest bumps on it and its neighbours, least time, a path that moves
    /// less. `known` adds what was seen of treatments under other seeds; only treatments that take `least_s` there count.
    fn best_of(&self, band: usize, least_s: f64, known: &[(usize, Treat)]) -> Option<Treat> {
        let bumps = |t: &Trial| {
            let (from, to) = (band.saturating_sub(1), (band + 2).min(t.band_bumps.len()));
            t.band_bumps[from..to].iter().sum::<u64>()
        };
        let mut best: Option<&Trial> = None;
        let failed = |t: &Trial| known.contains(&(band, t.treat));
        let slower = |t: &&Trial| t.band_s[band] > least_s && !failed(t);
        for trial in self.trials.iter().filter(slower) {
            let better = best.is_none_or(|b| {
                if bumps(trial) != bumps(b) {
                    return bumps(trial) < bumps(b);
                }
                let less = moves(&trial.treat) < moves(&b.treat);
                let alike = if less { 1.0 + ALIKE } else { 1.0 - ALIKE };
                trial.band_s[band] < b.band_s[band] * alike
            });
            if better {
                best = Some(trial);
            }
        }
        best.map(|t| t.treat)
    }

    /// The best plan and the bumps that it leaves, the mean of the repair's runs. `strips`: bytes are among what
    /// starves the board.
    ///
    /// # Errors
    /// Where the job or the board cannot be used.
    pub fn best(&mut self, strips: bool) -> Result<(Plan, f64), MendError> {
        self.trial(Treat::NONE)?;
        // Its bands were counted before it was known how many layers they have.
        self.trials.clear();
        let mixes = self.mixes(strips);
        let most = mixes.len() * BRIDGES.len() * self.seeds.len();
        let repairs = (REPAIRS_MAX + 1) * self.terms.runs as usize;
        self.replays[1] = (most + repairs) as u64;
        for mix in mixes {
            self.descend(mix)?;
        }
        if self.trials.is_empty() {
            return Ok((self.base.clone(), f64::INFINITY));
        }
        let count = self.trials[0].band_s.len();
        let mut treats: Vec<Treat> = (0..count)
            .map(|band| self.best_of(band, 0.0, &[]).unwrap_or(Treat::NONE))
            .collect();
        let seeds: Vec<u64> = seeds(self.terms)
            .iter()
            .map(|seed| seed.wrapping_add(2 * SEED_STEP))
            .collect();
        let mut kept: Option<(Plan, f64, f64)> = None;
        let mut failed = Vec::new();
        for _ in 0..=REPAIRS_MAX {
            let plan = self.plan(&treats);
            let runs = self.runs(&plan, self.board, &seeds)?;
            let (bumps, replay_s) = (runs.mean_bumps(), runs.replay_s());
            if kept
                .as_ref()
                .is_none_or(|(_, b, s)| (bumps, replay_s) < (*b, *s))
            {
                kept = Some((plan, bumps, replay_s));
            }
            if bumps == 0.0 {
                break;
            }
            let (band_bumps, _) = self.by_band(&runs);
            let mut changed = false;
            for band in (0..count).filter(|b| band_bumps[*b] > 0) {
                failed.push((band, treats[band]));
                let own = self.trials.iter().find(|t| t.treat == treats[band]);
                let least_s = own.map_or(0.0, |t| t.band_s[band]);
                if let Some(next) = self.best_of(band, least_s, &failed) {
                    treats[band] = next;
                    changed = true;
                }
            }
            if !changed {
                break;
            }
        }
        let (plan, bumps, _) = kept.expect("one round was made");
        Ok((plan, bumps))
    }
}

/// The board as candidates are compared on it: its saves come more often, and take the upper half of their time, so
/// that what passes there passes on the board itself under luck that no replay has met.
fn strained(board: &Board) -> Board {
    let when = match board.save.when {
        SaveWhen::Seconds(every_s) => SaveWhen::Seconds(SAVES_SHARE * every_s),
        other => other,
    };
    let hold = match board.save.hold {
        Span::Uniform { min, max } => Span::Uniform {
            min: 0.5 * (min + max),
            max,
        },
        other => other,
    };
    Board {
        save: Save {
            when,
            hold,
            ..board.save
        },
        ..board.clone()
    }
}
