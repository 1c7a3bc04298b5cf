//! The mended job: written, and proven.

use std::fmt;
use std::io::{self, Read, Write};

use crate::board::types::Board;

use super::choose::Choice;
use super::counts::Counts;
use super::pass::Pass;
use super::proof::{Sameness, sameness};
use super::run::ROUNDING_MM;
use super::runs::{self, Open, Runs, Terms};

/// A layer's filament may differ by this, mm.
const FILAMENT_MM: f64 = 1e-4;

/// Opens what was written, from its first byte.
pub type Written<'a> = dyn Fn() -> io::Result<Box<dyn Read>> + Sync + 'a;

/// The mended job beside the one that it was made from.
#[derive(Clone, Debug)]
pub struct Proof {
    /// Its replays.
    pub after: Runs,
    /// How far it is the same print.
    pub same: Sameness,
}

/// Writes the mended job and tells what was changed.
///
/// # Errors
/// Where the job cannot be read or the other cannot be written.
pub fn write(
    open: &Open,
    board: &Board,
    choice: &Choice,
    to: &mut dyn Write,
) -> io::Result<Counts> {
    if choice.plan.is_none() {
        io::copy(&mut open()?, to)?;
        return Ok(choice.survey.clone());
    }
    let pass = Pass::new(open()?, open()?, board, &choice.plan);
    let mut pass = pass.with_shelf(choice.shelf.clone());
    io::copy(&mut pass, to)?;
    Ok(pass.counts)
}

/// Replays the mended job as it was `written` and sets it beside the old one.
///
/// # Errors
/// In words, where the two are not the same print, or differ by more than was allowed; then it must not be used.
pub fn prove(
    open: &Open,
    written: &Written,
    board: &Board,
    choice: &Choice,
    terms: &Terms,
) -> Result<Proof, String> {
    let failed = |e: &dyn fmt::Display| format!("the mended job: {e}; nothing was written");
    let old = open().map_err(|e| failed(&e))?;
    let new = written().map_err(|e| failed(&e))?;
    let same = sameness(old, new, board).map_err(|e| failed(&e))?;
    let after = if choice.plan.is_none() {
        choice.before.clone()
    } else {
        let seeds = &runs::seeds(terms)[..choice.before.0.len()];
        runs::runs(written, board, seeds, terms).map_err(|e| failed(&e))?
    };
    if same.deviation_mm > choice.plan.within_mm + ROUNDING_MM || same.filament_mm > FILAMENT_MM {
        return Err(format!(
            "the proof failed, by a fault of this program: the path moved by {:.4} mm (allowed: {} mm), a layer's filament by {:.6} mm (allowed: {FILAMENT_MM} mm); nothing was written",
            same.deviation_mm, choice.plan.within_mm, same.filament_mm
        ));
    }
    Ok(Proof { after, same })
}
