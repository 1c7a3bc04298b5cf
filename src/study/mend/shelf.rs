//! What became of stretches, kept, so that the job need not be treated anew each time that it is read.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::fit::Fitted;
use super::plan::Treat;
use super::reach::Reach;

/// The shelf.
#[derive(Debug, Default)]
pub struct Shelf(Mutex<BTreeMap<Place, Kept>>);

/// Where a stretch lies: its first line, and its moves. What was written before it decides where it ends.
pub(super) type Place = (u64, usize);

/// What was asked for last of a stretch, and what became of it.
#[derive(Debug)]
struct Kept {
    treat: Treat,
    reach: Arc<Reach>,
    fitted: Arc<Fitted>,
}

impl Shelf {
    /// What becomes of the stretch at this place, worked out where it was not asked for last; and so is its
    /// reach, which the means to join moves decide.
    pub(super) fn get(
        &self,
        place: Place,
        treat: &Treat,
        reach: impl FnOnce() -> Reach,
        fit: impl FnOnce(&Reach) -> Fitted,
    ) -> Arc<Fitted> {
        let lock = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let mut known = None;
        if let Some(kept) = lock().get(&place) {
            if kept.treat == *treat {
                return kept.fitted.clone();
            }
            let alike = kept.treat.merge == treat.merge && kept.treat.arcs == treat.arcs;
            known = alike.then(|| kept.reach.clone());
        }
        let reach = known.unwrap_or_else(|| Arc::new(reach()));
        let fitted = Arc::new(fit(&reach));
        let kept = Kept {
            treat: *treat,
            reach,
            fitted: fitted.clone(),
        };
        lock().insert(place, kept);
        fitted
    }
}
