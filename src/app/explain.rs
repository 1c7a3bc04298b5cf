//! `explain`: which explanation do the bumps agree with?

use std::fs::File;
use std::io::Read;
use std::process::ExitCode;

use headstall::answer::explain::{ExplainQuestion, Unexplained, errors, explain};
use headstall::report::explain::{ExplainTable, report};
use headstall::report::folded;
use headstall::report::told::remedies_command;
use headstall::study::explain::seen::{self, Mark};

use super::args::{Explain, OnBoard};
use super::failure::{Failure, larger_than};
use super::folder::{Folder, save};
use super::inputs;
use super::pictures;
use super::progress::Bars;
use super::room::threads;
use super::terminal::{json, print, strong, written};

/// The command's summary.
const MARK: &str = "explain.json";
/// The largest list of bumps that is read, bytes.
const SEEN_BYTES_MAX: u64 = 1 << 20;

/// Carries the command out.
pub fn run(args: &Explain) -> Result<ExitCode, Failure> {
    let on = OnBoard {
        board: args.board.clone(),
        set: args.set.clone(),
        seed: 0,
    };
    let board = inputs::board(&on)?;
    let marks = marks(args)?;
    let mut folder = args
        .out
        .as_deref()
        .map(|place| Folder::open(place, MARK))
        .transpose()?;
    if let Some(folder) = &folder {
        folder.expect(|name| args.png || !name.ends_with(".png"))?;
    }
    let mut job = inputs::job(&args.job, true)?;
    let question = ExplainQuestion {
        board: &board,
        marks: &marks,
        window: args.window,
        errors: errors(&marks, args.angle_err, args.z_err),
        visible_mm: args.visible,
        seed: args.seed,
        draws: args.draws as usize,
        threads: threads(),
    };
    let answer = explain(&mut job, &question, &Bars::default()).map_err(|e| match e {
        Unexplained::Trouble(trouble) => inputs::failure(trouble, &args.board),
        Unexplained::NothingPrinted | Unexplained::TooManyLayers { .. } => {
            Failure::Unusable(format!("{}: {e}", job.name))
        }
        _ => Failure::Unusable(format!("{}: {e}", args.seen.display())),
    })?;
    let sets: Vec<String> = args.set.iter().map(ToString::to_string).collect();
    let remedies = remedies_command(&args.job.to_string_lossy(), &args.board, &sets);
    let mut table = ExplainTable::new(&answer, &remedies);
    if let Some(mut folder) = folder.take() {
        let picture = folded::svg(&answer, &table);
        pictures::picture(&mut folder, "explain", &picture, args.png)?;
        table.files = folder.names().to_vec();
        table.files.push(MARK.to_string());
        save(&mut folder, MARK, json(&table).as_bytes())?;
        folder.publish()?;
    }
    let text = if args.json {
        json(&table)
    } else {
        report(&table, &strong) + &written(args.out.as_deref(), &table.files)
    };
    match print(&text) {
        Ok(()) | Err(Failure::ClosedPipe) => Ok(ExitCode::SUCCESS),
        Err(failure) => Err(failure),
    }
}

/// The list of bumps.
fn marks(args: &Explain) -> Result<Vec<Mark>, Failure> {
    let shown = args.seen.display();
    let unusable = |why: String| Failure::Unusable(format!("{shown}: {why}"));
    let unread = |e| Failure::reading(&shown.to_string(), &e);
    let file = File::open(&args.seen).map_err(unread)?;
    let mut bytes = Vec::new();
    file.take(SEEN_BYTES_MAX + 1)
        .read_to_end(&mut bytes)
        .map_err(unread)?;
    if bytes.len() as u64 > SEEN_BYTES_MAX {
        let large = larger_than(SEEN_BYTES_MAX);
        return Err(unusable(format!(
            "{large}; a list of bumps is a page of text"
        )));
    }
    let text = String::from_utf8(bytes).map_err(|e| {
        let read = &e.as_bytes()[..e.utf8_error().valid_up_to()];
        let line = read.iter().filter(|b| **b == b'\n').count() + 1;
        unusable(format!(
            "line {line}, byte {}: is not UTF-8 text; save the list as plain text or CSV in UTF-8",
            read.len()
        ))
    })?;
    seen::read(&text).map_err(unusable)
}
