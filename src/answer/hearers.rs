//! Who hears of a replay while it runs.

use std::cell::RefCell;

use crate::replay::cause::Cause;
use crate::replay::stream::{Done, Watcher};
use crate::study::bumps::Found as Event;
use crate::study::explain::moves::Move;
use crate::study::explain::plate::Survey;
use crate::study::watch::Watch;

use super::progress::{Listener, Progress, Task};

/// Everything that hears of the replay.
pub(super) struct Hearers<'l, S> {
    pub watch: Watch<S>,
    /// Where parts stand, if that is wanted.
    pub survey: Option<Survey>,
    pub listener: &'l RefCell<&'l mut dyn Listener>,
    pub wants_blocks: bool,
    pub progress: &'l dyn Progress,
    pub bytes: Option<u64>,
}

impl<S: FnMut(&Event)> Watcher for Hearers<'_, S> {
    fn block(&mut self, done: &Done) {
        if self.wants_blocks {
            self.listener.borrow_mut().block(done);
        }
        if let Some(survey) = &mut self.survey {
            survey.push(&step(done));
        }
        self.watch.block(done);
    }

    fn stop(&mut self, start_s: f64, end_s: f64) {
        self.watch.stop(start_s, end_s);
    }

    #[inline]
    fn spent(&mut self, on: Cause, from_s: f64, to_s: f64) {
        self.watch.spent(on, from_s, to_s);
    }

    #[inline]
    fn inserted(&mut self, at_s: f64) {
        self.watch.inserted(at_s);
    }

    fn progress(&mut self, bytes: u64) {
        self.progress.at(Task::Replaying, bytes, self.bytes);
    }
}

/// A block as a move of the head.
pub(super) fn step(done: &Done) -> Move {
    Move {
        start_s: done.ran.start_s,
        end_s: done.ran.end_s,
        from_mm: done.place.from_mm,
        to_mm: done.place.to_mm,
        e_mm: done.place.e_mm,
        line: done.line,
        layer: done.layer,
        ideal_s: done.ideal_s(),
    }
}
