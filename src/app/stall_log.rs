//! Stalls on their way to `stalls.csv`: held back until their causes are known, or not at all.

use std::fs::File;
use std::io::BufWriter;

use headstall::report::tables;
use headstall::study::bumps::Found;
use headstall::study::causes::{Shares, Span};
use headstall::study::stalls::Stall;
use headstall::surface::skin::{Exposure, Surface};

use super::failure::Failure;
use super::table::Table;

/// The log.
pub struct StallLog {
    table: Option<Table>,
    bumps: Option<Table>,
    held: Vec<Stall>,
    held_max: usize,
    flows: bool,
}

impl StallLog {
    /// A log that holds at most `held_max` stalls back; with more it lets all flow.
    pub fn new(table: Option<Table>, bumps: Option<Table>, held_max: usize) -> Self {
        StallLog {
            table,
            bumps,
            held: Vec::new(),
            held_max,
            flows: false,
        }
    }

    /// Takes a stall, or a bump.
    pub fn take(&mut self, found: &Found) {
        match found {
            Found::Stall(stall) => self.stall(stall),
            Found::Bump(bump) => {
                if let Some(table) = &mut self.bumps {
                    table.row(|rows: &mut csv::Writer<BufWriter<File>>| tables::bump(rows, bump));
                }
            }
        }
    }

    fn stall(&mut self, stall: &Stall) {
        if !self.flows && self.held.len() < self.held_max {
            self.held.push(*stall);
            return;
        }
        self.let_flow();
        self.write(stall);
    }

    fn let_flow(&mut self) {
        self.flows = true;
        for stall in std::mem::take(&mut self.held) {
            self.write(&stall);
        }
    }

    fn write(&mut self, stall: &Stall) {
        if let Some(table) = &mut self.table {
            table.row(|rows: &mut csv::Writer<BufWriter<File>>| tables::stall(rows, stall));
        }
    }

    /// The blocks of the stalls held back.
    pub fn spans(&self) -> Vec<Span> {
        self.held
            .iter()
            .map(|s| Span {
                first: s.first_block,
                last: s.last_block,
            })
            .collect()
    }

    /// Gives the stalls held back their shares.
    pub fn share(&mut self, shares: &Shares) {
        give(shares, self.held.iter_mut());
    }

    /// Tells the stalls where they lie; how many are outer, on a hole, inner. `None` where there were too
    /// many to be held back.
    pub fn expose(&mut self, exposure: &Exposure) -> Option<[u64; 3]> {
        if self.flows {
            return None;
        }
        let mut counts = [0; 3];
        for stall in &mut self.held {
            stall.surface = exposure.of(stall.block);
            if let Some(surface) = stall.surface {
                counts[surface as usize] += 1;
            }
        }
        Some(counts)
    }

    /// The stalls held back.
    pub fn held(&self) -> &[Stall] {
        &self.held
    }

    /// The bumps of the stalls held back that lie on surfaces that are seen, the tallest first, mm.
    pub fn seen_bumps(&self) -> Vec<(f64, Stall)> {
        let seen = |s: &&Stall| matches!(s.surface, Some(Surface::Outer | Surface::Hole));
        let mut all: Vec<(f64, Stall)> = self
            .held
            .iter()
            .filter(seen)
            .map(|s| (s.bump_mm.unwrap_or(0.0), *s))
            .filter(|(mm, _)| *mm > 0.0)
            .collect();
        all.sort_by(|a, b| b.0.total_cmp(&a.0));
        all
    }

    /// Writes what was held back; returns the table.
    pub fn close(mut self) -> Result<(), Failure> {
        self.let_flow();
        self.bumps.map_or(Ok(()), Table::close)?;
        self.table.map_or(Ok(()), Table::close)
    }
}

/// Gives stalls, by their numbers, their shares.
pub fn give<'s>(shares: &Shares, stalls: impl Iterator<Item = &'s mut Stall>) {
    for stall in stalls {
        if let Some(shares_s) = shares.spans_s.get(stall.stall as usize) {
            stall.shares_s = Some(*shares_s);
        }
    }
}
