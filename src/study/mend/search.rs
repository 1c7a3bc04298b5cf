//! The search for the cheapest mix: candidates are replayed, and for each band of layers the cheapest is taken
//! that leaves no bump there.

use std::io::{self, Read};

use crate::board::types::Board;

use super::pass::Pass;
use super::plan::{Plan, Treat};
use super::runs::{MendError, Open, Runs, Terms, runs, seeds};

/// Shares of the feed that are tried are powers of this: steps of 3 %.
const PACE_STEP: f64 = 0.97;
/// Those powers, until one leaves no bump.
const PACES: [i32; 16] = [0, 2, 3, 4, 5, 6, 7, 8, 10, 12, 16, 22, 30, 40, 52, 64];
/// Shares of the needed speed that new corners must allow.
pub const CORNER_SHARES: [f64; 5] = [0.75, 0.7, 0.65, 0.85, 0.0];
/// Candidates are compared under seeds this far from those of the proof, and the plan is repaired under seeds twice as
/// far from them: a count of bumps is an honest one only under seeds that had no part in the choice.
const SEED_STEP: u64 = 1 << 32;
const SEARCH_RUNS: u64 = 10;
/// Bytes that all replays of one candidate may read before fewer seeds are used.
const SEARCH_BYTES: u64 = 128 << 20;
/// Bands of layers at most.
const BANDS_MAX: usize = 20;
/// Print times that differ by less than this share are alike.
const ALIKE: f64 = 1e-3;
/// How often bands that still show a bump under the seeds of the repair are treated anew.
const REPAIRS_MAX: usize = 16;

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
    band_layers: usize,
    trials: Vec<Trial>,
    /// Candidates that were replayed.
    pub tried: usize,
}

/// Grows with how far a treatment may move the path.
fn moves(treat: &Treat) -> f64 {
    let joined = treat.merge.map_or(0.0, |share| 2.0 - share);
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
            band_layers: 1,
            trials: Vec::new(),
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

    fn runs(&mut self, plan: &Plan, seeds: &[u64]) -> Result<Runs, MendError> {
        self.tried += 1;
        let (job, board) = (self.open, self.board);
        let open = || -> io::Result<Box<dyn Read>> {
            Ok(Box::new(Pass::new(job()?, job()?, board, plan)))
        };
        runs(&open, board, seeds, self.terms)
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
        let runs = self.runs(&plan, &seeds)?;
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

    /// Tries this mix at lower and lower feeds, until no bump is left or it is slower than one that leaves none.
    fn descend(&mut self, mix: Treat) -> Result<(), MendError> {
        let count = if self.terms.allow.pace {
            PACES.len()
        } else {
            1
        };
        for power in &PACES[..count] {
            let most_s = self.quickest_s();
            let pace = PACE_STEP.powi(*power);
            let trial = self.trial(Treat { pace, ..mix })?;
            if trial.bumps == 0 || trial.replay_s > most_s {
                break;
            }
        }
        Ok(())
    }

    /// The mixes of the means that are allowed, without pace.
    fn mixes(&self, strips: bool) -> Vec<Treat> {
        let allow = self.terms.allow;
        let mut mixes = Vec::new();
        for share in CORNER_SHARES.iter().filter(|_| allow.merge) {
            mixes.push(Treat {
                merge: Some(*share),
                ..Treat::NONE
            });
        }
        if allow.arcs {
            mixes.push(Treat {
                merge: allow.merge.then_some(CORNER_SHARES[0]),
                arcs: true,
                ..Treat::NONE
            });
        }
        // The slowest as a rule: it comes last, when it is known what it has to beat.
        mixes.push(Treat::NONE);
        let short = mixes.clone().into_iter().filter(|_| strips);
        let short: Vec<Treat> = short.map(|mix| Treat { strip: true, ..mix }).collect();
        mixes.extend(short);
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
        for mix in self.mixes(strips) {
            self.descend(mix)?;
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
            let runs = self.runs(&plan, &seeds)?;
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
