//! What an answer knows of a job's shape, for the next question about it.

use crate::study::explain::plate::Plate;
use crate::surface::skin::Exposure;

/// What a job's blocks alone decide, whatever holds the board up.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// What each block faces.
    pub exposure: Exposure,
    /// Where the parts stand.
    pub plate: Option<Plate>,
}
