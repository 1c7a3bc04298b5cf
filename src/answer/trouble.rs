//! Why a question has no answer.

use std::fmt;

use crate::replay::duties::NoProgress;

/// Why a question has no answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// A job cannot be used.
    Job {
        /// Its name.
        job: String,
        /// Why not.
        why: String,
    },
    /// A replay gets nowhere on the board.
    Board {
        /// Why not.
        why: String,
    },
    /// The job lacks the layer asked for.
    Layer {
        /// The layer, from 0.
        layer: u32,
        /// How many layers there are.
        layers: u32,
    },
}

impl Trouble {
    /// A job that cannot be used.
    pub(crate) fn job(job: &str, why: &dyn fmt::Display) -> Self {
        Trouble::Job {
            job: job.to_string(),
            why: why.to_string(),
        }
    }

    /// A replay that makes no progress, because of a move of the job or because of the board.
    pub(crate) fn no_progress(job: &str, error: &NoProgress) -> Self {
        match error.slow {
            Some(_) => Trouble::job(job, error),
            None => Trouble::Board {
                why: error.to_string(),
            },
        }
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Trouble::Job { job, why } => write!(f, "{job}: {why}"),
            Trouble::Board { why } => f.write_str(why),
            Trouble::Layer { layer, layers } => {
                write!(f, "layer {layer}: the job has layers 0 to {}", layers - 1)
            }
        }
    }
}

impl std::error::Error for Trouble {}
