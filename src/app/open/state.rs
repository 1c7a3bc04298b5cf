//! What the server knows while it runs.

use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use serde::Serialize;

use super::ask::BoardAsked;
use super::guard::{Guard, same};
use super::life::Life;
use super::shapes::Shapes;
use super::store::{Held, Store};
use super::work::Works;

/// A code for the browser is good for so long.
const CODE_LASTS: Duration = Duration::from_secs(120);

/// What it begins with.
#[derive(Clone, Debug, Serialize)]
pub struct Start {
    /// The job that the command line names.
    pub job: Option<JobHeld>,
    /// The board.
    pub board: BoardAsked,
}

/// A job that is here.
#[derive(Clone, Debug, Serialize)]
pub struct JobHeld {
    /// Its ID.
    pub job: String,
    /// Its name, a label.
    pub name: String,
    /// Its length, bytes.
    pub bytes: u64,
}

impl From<&Held> for JobHeld {
    fn from(held: &Held) -> Self {
        JobHeld {
            job: held.id.clone(),
            name: held.name.clone(),
            bytes: held.bytes,
        }
    }
}

/// All of it.
pub struct State {
    /// The first part of each path.
    pub token: String,
    /// A code in the token's place, good once: other users of this computer can read the address that a browser
    /// is started with.
    pub code: Mutex<Option<(String, Instant)>>,
    /// Whose requests are answered.
    pub guard: Guard,
    /// What the page has sent.
    pub store: Store,
    /// What is known of the jobs' shapes.
    pub shapes: Shapes,
    /// Who works.
    pub works: Works,
    /// How long the server lives.
    pub life: Life,
    /// What it begins with.
    pub start: Start,
}

impl State {
    /// Takes the code, which is then worth nothing any more. Whether it was right.
    pub fn takes(&self, code: &str) -> bool {
        let mut kept = self.code.lock().unwrap_or_else(PoisonError::into_inner);
        let right = kept.as_ref().is_some_and(|(own, made)| {
            let fresh = made.elapsed() < CODE_LASTS;
            same(own, code) && fresh
        });
        if right {
            *kept = None;
        }
        right
    }
}
