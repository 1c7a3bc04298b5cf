//! The mended job: written, and proven.

use std::fmt;
use std::io::{self, Read, Write};

use crate::board::types::Board;

use super::choose::Choice;
use super::counts::Counts;
use super::pass::Pass;
use super::proof::{Sameness, sameness};
use super::runs::{self, Open, Runs, Terms};

/// Rounding may add this to the deviation that was asked for, mm: half a step of 0.001 mm on two axes.
const ROUNDING_MM: f64 = 0.75e-3;
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
    /// What was changed.
    pub counts: Counts,
}

fn pass(
    open: &Open,
    board: &Board,
    choice: &Choice,
) -> io::Result<Pass<Box<dyn Read + Send>, Box<dyn Read + Send>>> {
    let pass = Pass::new(open()?, open()?, board, &choice.plan);
    Ok(pass.with_shelf(choice.shelf.clone()))
}

/// Writes the mended job.
///
/// # Errors
/// Where the job cannot be read or the other cannot be written.
pub fn write(open: &Open, board: &Board, choice: &Choice, to: &mut dyn Write) -> io::Result<()> {
    let copied = if choice.plan.is_none() {
        io::copy(&mut open()?, to)
    } else {
        io::copy(&mut pass(open, board, choice)?, to)
    };
    copied.map(|_| ())
}

/// Replays the mended job and sets it beside the old one. Without `written`: as it would be.
///
/// # Errors
/// In words, where the two are not the same print, or differ by more than was allowed; then it must not be used.
pub fn prove(
    open: &Open,
    board: &Board,
    choice: &Choice,
    terms: &Terms,
    written: Option<&Written>,
) -> Result<Proof, String> {
    let failed = |e: &dyn fmt::Display| format!("the mended job: {e}; nothing was written");
    let new = || -> io::Result<Box<dyn Read>> {
        match written {
            Some(written) => written(),
            None if choice.plan.is_none() => Ok(Box::new(open()?)),
            None => Ok(Box::new(pass(open, board, choice)?)),
        }
    };
    let counts = if choice.plan.is_none() {
        choice.survey.clone()
    } else {
        let pass = pass(open, board, choice).map_err(|e| failed(&e))?;
        pass.through().map_err(|e| failed(&e))?
    };
    let old = open().map_err(|e| failed(&e))?;
    let same = sameness(old, new().map_err(|e| failed(&e))?, board).map_err(|e| failed(&e))?;
    let after = if choice.plan.is_none() {
        choice.before.clone()
    } else {
        runs::runs(&new, board, &runs::seeds(terms), terms).map_err(|e| failed(&e))?
    };
    if same.deviation_mm > terms.within_mm + ROUNDING_MM || same.filament_mm > FILAMENT_MM {
        return Err(format!(
            "the proof failed: the path moved by {} mm, a layer's filament changed by {} mm; nothing was written",
            same.deviation_mm, same.filament_mm
        ));
    }
    Ok(Proof {
        after,
        same,
        counts,
    })
}
