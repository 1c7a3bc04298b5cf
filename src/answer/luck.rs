//! Luck: what several runs of the same job and board with different seeds come to.

use crate::board::types::Board;
use crate::replay::store::StoredJob;
use crate::study::compare;
use crate::study::sample::{Sample, Sight, has_draws};

use super::effort::Effort;
use super::progress::{Progress, Task};
use super::trouble::Trouble;

/// What several runs came to, the one that the answer shows among them.
#[derive(Clone, Debug, PartialEq)]
pub struct Luck {
    /// The runs, by seed; the first is the one that the answer shows.
    pub runs: Vec<Sample>,
}

/// The share of runs that lie within the reported range.
pub const RANGE_SHARE: f64 = 0.9;

impl Luck {
    /// Whether runs with other seeds belong to an answer of this effort, and could differ.
    pub(super) fn is_wanted(effort: Effort, board: &Board) -> bool {
        matches!(effort, Effort::Usual | Effort::Full) && has_draws(board)
    }

    /// Runs with this seed and those that follow, on the job's own faces; `name` is the job's, for errors.
    pub(super) fn of(
        name: &str,
        job: &StoredJob,
        board: &Board,
        seeds: &[u64],
        sight: Sight,
        threads: usize,
        progress: &dyn Progress,
    ) -> Result<Self, Trouble> {
        let total = seeds.len() as u64;
        let each = |done: usize| progress.at(Task::Luck, done as u64, Some(total));
        let samples = compare::samples(job, &[board], 0, seeds, Some(sight), threads, &each);
        let mut samples = samples.map_err(|e| Trouble::no_progress(name, &e))?;
        let runs = samples.remove(0);
        Ok(Luck { runs })
    }

    fn sorted(&self, of: impl Fn(&Sample) -> f64) -> Vec<f64> {
        let mut all: Vec<f64> = self.runs.iter().map(of).collect();
        all.sort_by(f64::total_cmp);
        all
    }

    /// Median over the runs.
    pub fn median(&self, of: impl Fn(&Sample) -> f64) -> f64 {
        let all = self.sorted(of);
        (all[(all.len() - 1) / 2] + all[all.len() / 2]) / 2.0
    }

    /// The range within which nine runs of ten lie: the extremes are left out, as many at either end.
    pub fn range(&self, of: impl Fn(&Sample) -> f64) -> [f64; 2] {
        let all = self.sorted(of);
        let outside = ((1.0 - RANGE_SHARE) / 2.0 * all.len() as f64 + 1e-9) as usize;
        [all[outside], all[all.len() - 1 - outside]]
    }

    /// Share of the runs with fewer visible bumps than the one that the answer shows, those with as many
    /// counted half: near 0.5 for a run like most.
    pub fn rank(&self) -> f64 {
        let shown = self.runs[0].visible;
        let below = |s: &&Sample| s.visible < shown;
        let alike = |s: &&Sample| s.visible == shown;
        let of = |n: usize| n as f64 / self.runs.len() as f64;
        of(self.runs.iter().filter(below).count())
            + of(self.runs.iter().filter(alike).count()) / 2.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nine_runs_of_ten() {
        let runs = [
            5, 1, 9, 4, 3, 7, 2, 8, 6, 10, 15, 11, 19, 14, 13, 17, 12, 18, 16, 20,
        ];
        let luck = Luck {
            runs: runs
                .iter()
                .map(|visible| Sample {
                    visible: *visible,
                    ..Sample::default()
                })
                .collect(),
        };
        let visible = |s: &Sample| s.visible as f64;
        assert_eq!(luck.range(visible), [2.0, 19.0]);
        assert_eq!(luck.median(visible), 10.5);
        assert!((luck.rank() - 0.225).abs() < 1e-12);
        let one = Luck {
            runs: vec![Sample::default()],
        };
        assert_eq!((one.range(visible), one.rank()), ([0.0, 0.0], 0.5));
    }
}
