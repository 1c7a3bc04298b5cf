//! `remedies`: what would cure it.

use std::path::Path;
use std::process::ExitCode;
use std::sync::Mutex;

use headstall::board::types::Board;
use headstall::job::reader::{JobReader, Step};
use headstall::report::cures::{self, CureTable};
use headstall::report::finite;
use headstall::report::words::wrap;
use headstall::study::remedies::{self, Cures};

use super::args::{OnBoard, Remedies};
use super::failure::Failure;
use super::folder::{Folder, save};
use super::inputs;
use super::progress::Bar;
use super::replay::threads;
use super::terminal::{print, strong};

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
    let (name, found) = tried(&args.job, &board, &args.on)?;
    let mut table = CureTable::new(&name, &board.name, args.on.seed, &found);
    if let Some(mut folder) = folder.take() {
        let rows = std::iter::once(&table.today)
            .chain(&table.single)
            .chain(&table.set);
        let rows = finite::csv(rows).map_err(|e| Failure::Other(format!("remedies.csv: {e}")))?;
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

/// All that was tried on a job, and the job's name.
pub fn tried(path: &Path, board: &Board, on: &OnBoard) -> Result<(String, Cures), Failure> {
    let job = inputs::job(path)?;
    let unusable = |e: &dyn std::fmt::Display| Failure::Unusable(format!("{}: {e}", job.name));
    let mut reader = JobReader::new(job.source);
    let mut steps: Vec<Step> = Vec::new();
    while let Some(step) = reader.next_step().map_err(|e| unusable(&e))? {
        steps.push(*step);
    }
    let total = remedies::list(board).len() as u64;
    let bar = Mutex::new(Bar::new("trying"));
    let each = |done: usize| {
        if let Ok(mut bar) = bar.lock() {
            bar.at(done as u64, Some(total));
        }
    };
    let found = remedies::cures(&steps, board, on.seed, threads(), &each)
        .map_err(|e| Failure::restless(&job.name, &on.board, &e))?;
    Ok((job.name, found))
}

fn json(table: &CureTable) -> String {
    finite::json(table)
}

fn told(table: &CureTable, args: &Remedies) -> String {
    let mut text = String::new();
    for line in wrap(&table.verdict, 80) {
        text += &strong(&line);
        text.push('\n');
    }
    text.push('\n');
    text += &cures::report(table);
    if let Some(out) = &args.out {
        text += &format!(
            "\nwritten to {}: {}\n",
            out.display(),
            table.files.join(", ")
        );
    }
    text
}
