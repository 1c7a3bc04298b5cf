//! `remedies`: what would cure it.

use std::process::ExitCode;

use headstall::report::cures::{self, CureTable};
use headstall::report::tables;

use super::args::Remedies;
use super::failure::Failure;
use super::folder::{Folder, save};
use super::inputs;
use super::replay::tried;
use super::terminal::{headed, json, print, written};

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
    let mut text = headed(&table.verdict) + &cures::report(table);
    if args.job.as_os_str() != "-" {
        let mut on = format!("--board {}", quoted(&args.on.board));
        for set in &args.on.set {
            on += &format!(" --set {}", quoted(&set.to_string()));
        }
        let job = quoted(&args.job.display().to_string());
        text += &cures::mend_line(table, &job, &on).unwrap_or_default();
    }
    text + &written(args.out.as_deref(), &table.files)
}

/// A word as a shell takes it.
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./=:,+".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_string()
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}
