//! Who hears of a replay while it runs.

use std::cell::RefCell;

use crate::replay::cause::Cause;
use crate::replay::stream::{Done, Watcher};
use crate::study::bumps::Found as Event;
use crate::study::watch::Watch;

use super::progress::{Listener, Progress, Task};

/// Everything that hears of the replay.
pub(super) struct Hearers<'l, S> {
    pub watch: Watch<S>,
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
