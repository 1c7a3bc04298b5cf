//! What became of stretches, kept, so that the job need not be treated anew each time that it is read.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::fit::Fitted;
use super::plan::Treat;

/// The shelf.
#[derive(Debug, Default)]
pub struct Shelf(Mutex<BTreeMap<u64, Kept>>);

/// What was asked for last where a stretch begins on some line, and what became of it.
#[derive(Debug)]
struct Kept {
    treat: Treat,
    fitted: Arc<Fitted>,
}

impl Shelf {
    /// What becomes of the stretch that begins on this line, worked out where it was not asked for last.
    pub(super) fn get(
        &self,
        line: u64,
        treat: &Treat,
        fit: impl FnOnce() -> Fitted,
    ) -> Arc<Fitted> {
        let lock = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(kept) = lock().get(&line)
            && kept.treat == *treat
        {
            return kept.fitted.clone();
        }
        let fitted = Arc::new(fit());
        lock().insert(
            line,
            Kept {
                treat: *treat,
                fitted: fitted.clone(),
            },
        );
        fitted
    }
}
