//! `remedies`: what would cure it.

use std::process::ExitCode;

use headstall::report::cures::CureTable;
use headstall::report::tables;
use headstall::report::told::{self, Asked};

use super::args::Remedies;
use super::failure::Failure;
use super::folder::{Folder, save};
use super::inputs;
use super::replay::tried;
use super::terminal::{json, print, strong, written};

/// The command's summary.
const MARK: &str = "remedies.json";

/// Carries the command out.
pub fn run(args: &Remedies) -> Result<ExitCode, Failure> {
    let board = inputs::board(&args.on)?;
    let mut folder = args
        .out
        .as_deref()
        .map(|place| Folder::open(place, MARK))
        .transpose()?;
    if let Some(folder) = &folder {
        folder.expect(|_| true)?;
    }
    let mut table = tried(&args.job, &board, &args.on, args.visible)?;
    if let Some(mut folder) = folder.take() {
        let rows = tables::csv(table.rows());
        save(&mut folder, "remedies.csv", &rows)?;
        table.files = vec!["remedies.csv".to_string(), MARK.to_string()];
        save(&mut folder, MARK, json(&table).as_bytes())?;
        folder.publish()?;
    }
    let text = if args.json {
        json(&table)
    } else {
        told(&table, args)
    };
    match print(&text) {
        Ok(()) | Err(Failure::ClosedPipe) => Ok(ExitCode::SUCCESS),
        Err(failure) => Err(failure),
    }
}

fn told(table: &CureTable, args: &Remedies) -> String {
    let sets: Vec<String> = args.on.set.iter().map(ToString::to_string).collect();
    let asked = Asked {
        job: &args.job.to_string_lossy(),
        board: &args.on.board,
        sets: &sets,
        seed: args.on.seed,
    };
    told::remedies(table, &asked, &strong) + &written(args.out.as_deref(), &table.files)
}
