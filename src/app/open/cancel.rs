//! Work that is given up when nobody waits for it any more.

use std::panic::resume_unwind;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// What work that was cancelled unwinds with.
pub struct Cancelled;

/// Whether a piece of work is still wanted.
#[derive(Clone, Default)]
pub struct Cancel(Arc<AtomicBool>);

impl Cancel {
    /// Whether it is not wanted any more.
    pub fn is_cancelled(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }

    /// Unwinds this thread, without a message, if the work is not wanted any more. An answer in the library is
    /// worked out without a way to give it up half-way, and keeps nothing that unwinding could leave half-done.
    pub fn check(&self) {
        if self.is_cancelled() {
            resume_unwind(Box::new(Cancelled));
        }
    }
}

/// Cancels the work when it goes.
pub struct Wanted(pub Cancel);

impl Drop for Wanted {
    fn drop(&mut self) {
        self.0.0.store(true, Ordering::Relaxed);
    }
}
