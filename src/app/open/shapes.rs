//! What a job's shape is, kept from one answer to the next: a knob that is turned changes only what the board does.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use headstall::answer::replay::Shape;
use headstall::answer::shelf::same_blocks;
use headstall::board::types::Board;

use super::ask::Question;

/// Shapes kept: a byte for each block.
const SHAPES_MAX: usize = 2;

/// What a shape belongs to.
struct Kept {
    job: String,
    whole: bool,
    merge_mm: Option<f64>,
    board: Board,
    shape: Arc<Shape>,
}

impl Kept {
    fn is_of(&self, asked: &Question, board: &Board) -> bool {
        self.job == asked.job
            && self.whole == asked.whole
            && self.merge_mm == asked.merge_mm
            && same_blocks(&self.board, board)
    }
}

/// Shapes, the one used last at the end.
#[derive(Clone, Default)]
pub struct Shapes(Arc<Mutex<Vec<Kept>>>);

impl Shapes {
    fn inside(&self) -> MutexGuard<'_, Vec<Kept>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The shape of the job in question on this board, if it is known.
    pub fn find(&self, asked: &Question, board: &Board) -> Option<Arc<Shape>> {
        let mut all = self.inside();
        let at = all.iter().position(|kept| kept.is_of(asked, board))?;
        let kept = all.remove(at);
        let shape = Arc::clone(&kept.shape);
        all.push(kept);
        Some(shape)
    }

    /// Keeps a shape.
    pub fn keep(&self, asked: &Question, board: &Board, shape: Shape) {
        let mut all = self.inside();
        all.retain(|kept| !kept.is_of(asked, board));
        if all.len() >= SHAPES_MAX {
            all.remove(0);
        }
        all.push(Kept {
            job: asked.job.clone(),
            whole: asked.whole,
            merge_mm: asked.merge_mm,
            board: board.clone(),
            shape: Arc::new(shape),
        });
    }

    /// Forgets a job.
    pub fn forget(&self, job: &str) {
        self.inside().retain(|kept| kept.job != job);
    }
}
