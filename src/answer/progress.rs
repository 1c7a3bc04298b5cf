//! Progress: what a listener hears while an answer is worked out.

use crate::replay::stream::Done;
use crate::study::stalls::Stall;
use crate::surface::bump::Bump;

/// What is being worked on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Task {
    /// Reading and replaying a job; counted in bytes.
    Replaying,
    /// Reading and replaying a job again for the path of one layer; counted in bytes.
    Tracing,
    /// Sharing lost time among the causes; counted in replays.
    Causes,
    /// Replaying with other luck; counted in replays.
    Luck,
    /// Replaying under several settings; counted in replays.
    Comparing,
    /// Trying remedies; counted in remedies.
    Trying,
    /// Fitting a board; counted in replays.
    Fitting,
    /// Looking for the cheapest way to mend a job; counted in replays.
    Mending,
}

impl Task {
    /// What it is called while it is under way.
    pub fn name(self) -> &'static str {
        match self {
            Task::Replaying => "replaying",
            Task::Tracing => "tracing a layer",
            Task::Causes => "working out causes",
            Task::Luck => "trying other luck",
            Task::Comparing => "comparing",
            Task::Trying => "trying remedies",
            Task::Fitting => "fitting",
            Task::Mending => "mending",
        }
    }
}

/// Hears how far the work has got.
pub trait Progress: Sync {
    /// How much of a task is done, and how much there is in all, where that is known.
    fn at(&self, task: Task, done: u64, of: Option<u64>);
}

/// Nobody listens.
impl Progress for () {
    fn at(&self, _task: Task, _done: u64, _of: Option<u64>) {}
}

/// Hears of what a replay is too long to keep.
pub trait Listener {
    /// Whether [`Listener::block`] is wanted.
    fn wants_blocks(&self) -> bool {
        false
    }
    /// A block.
    fn block(&mut self, _done: &Done) {}
    /// A stall, where there are more of them than an answer holds: then all of them come here, in order.
    fn stall(&mut self, _stall: &Stall) {}
    /// A bump, where there are more of them than an answer holds: then all of them come here, in order, without
    /// their surfaces.
    fn bump(&mut self, _bump: &Bump) {}
}

/// Nobody listens.
impl Listener for () {}
