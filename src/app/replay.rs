//! `replay`: one job, one board, the answer.

use std::path::Path;
use std::process::ExitCode;

use headstall::answer::progress::Listener;
use headstall::answer::remedies::{RemediesQuestion, remedies};
use headstall::answer::replay::{Effort, ReplayAnswer, ReplayQuestion, replay};
use headstall::board::types::Board;
use headstall::replay::stream::Done;
use headstall::report::cures::{CureRow, CureTable};
use headstall::report::page::Earlier;
use headstall::report::pictures;
use headstall::report::summary::Summary;
use headstall::report::told::{self, Asked};
use headstall::report::wall::Across;
use headstall::report::{advice, post, tables};
use headstall::study::stalls::Stall;
use headstall::surface::bump::Bump;

use super::args::{By, OnBoard, Replay};
use super::failure::Failure;
use super::folder::{Folder, save};
use super::inputs;
use super::pictures::picture;
use super::progress::Bars;
use super::room::threads;
use super::table::Table;
use super::terminal::{complain, json, print, strong, written};

/// The command's summary.
const MARK: &str = "summary.json";
/// Exit code where there are more stalls or bumps than allowed.
const TOO_MANY: u8 = 3;

/// Rows of tables on their way to files: all blocks, and stalls too many to be held in an answer.
struct Rows {
    stalls: Option<Table>,
    bumps: Option<Table>,
    blocks: Option<Table>,
    /// Whether stalls have come, and bumps.
    spilled: [bool; 2],
}

impl Listener for Rows {
    fn wants_blocks(&self) -> bool {
        self.blocks.is_some()
    }

    fn block(&mut self, done: &Done) {
        if let Some(table) = &mut self.blocks {
            table.row(|rows| tables::block(rows, done));
        }
    }

    fn stall(&mut self, stall: &Stall) {
        self.spilled[0] = true;
        if let Some(table) = &mut self.stalls {
            table.row(|rows| tables::stall(rows, stall));
        }
    }

    fn bump(&mut self, bump: &Bump) {
        self.spilled[1] = true;
        if let Some(table) = &mut self.bumps {
            table.row(|rows| tables::bump(rows, bump));
        }
    }
}

impl Rows {
    /// Begins the tables that are wanted.
    fn open(folder: Option<&mut Folder>, blocks: bool) -> Result<Self, Failure> {
        let mut rows = Rows {
            stalls: None,
            bumps: None,
            blocks: None,
            spilled: [false; 2],
        };
        if let Some(folder) = folder {
            rows.stalls = Some(Table::open(folder, "stalls.csv", tables::STALLS_HEADER)?);
            rows.bumps = Some(Table::open(folder, "bumps.csv", tables::BUMPS_HEADER)?);
            if blocks {
                rows.blocks = Some(Table::open(folder, "blocks.csv", tables::BLOCKS_HEADER)?);
            }
        }
        Ok(rows)
    }

    /// Writes what the answer holds, and ends the tables.
    fn close(mut self, answer: &ReplayAnswer) -> Result<(), Failure> {
        if !self.spilled[0] {
            answer.stalls.list().iter().for_each(|s| self.stall(s));
        }
        if !self.spilled[1] {
            answer.bumps.list().iter().for_each(|b| self.bump(b));
        }
        let tables = [self.stalls, self.bumps, self.blocks];
        tables.into_iter().flatten().try_for_each(Table::close)
    }
}

/// Carries the command out.
pub fn run(args: &Replay) -> Result<ExitCode, Failure> {
    let (board, board_text) = inputs::board_and_text(&args.on)?;
    let mut job = inputs::job(&args.job, false)?;
    if let Some(layer) = args.layer {
        inputs::check_layer(&mut job, layer)?;
    }
    let mut folder = args
        .out
        .as_deref()
        .map(|place| Folder::open(place, MARK))
        .transpose()?;
    if let Some(folder) = &folder {
        folder.expect(|name| match name {
            "stalls.csv" | "bumps.csv" => true,
            "blocks.csv" => args.blocks,
            picture => !args.quick && (args.png || !picture.ends_with(".png")),
        })?;
    }
    let mut rows = Rows::open(folder.as_mut(), args.blocks)?;
    let question = ReplayQuestion {
        board: &board,
        seed: args.on.seed,
        effort: match (args.quick, args.causes) {
            (true, _) => Effort::Quick,
            (_, true) => Effort::Full,
            _ => Effort::Usual,
        },
        pictures: folder.is_some(),
        layer: args.layer,
        strip: None,
        live: false,
        shape: None,
        visible_mm: args.visible,
        whole: args.whole,
        runs: args.runs as usize,
        threads: threads(),
    };
    let answer = replay(&mut job, &question, &Bars::default(), &mut rows)
        .map_err(|trouble| inputs::failure(trouble, &args.on.board))?;
    let set: Vec<String> = args.on.set.iter().map(ToString::to_string).collect();
    let mut summary = Summary::of(&answer, &set);
    if let Some(folder) = folder {
        publish(args, &answer, &mut summary, &board_text, folder, rows)?;
    }
    let text = match (args.json, args.post) {
        (true, _) => json(&summary),
        (_, true) => {
            let wanted = advice::is_wanted(&answer);
            let cures = if wanted {
                cures(args, &board, &summary)?
            } else {
                Vec::new()
            };
            post::text(&summary, &board, &advice::ideas(&answer), &cures)
        }
        _ => told(&answer, &summary, args),
    };
    match print(&text) {
        Ok(()) | Err(Failure::ClosedPipe) => {}
        Err(failure) => return Err(failure),
    }
    if args.max_bumps.is_some() && summary.expected_bumps.is_none() {
        return Err(Failure::Other(
            "--max-bumps: visible bumps were not worked out for this job".to_string(),
        ));
    }
    let too_many = |most: Option<u64>, there: u64| most.is_some_and(|most| there > most);
    let visible = summary.expected_bumps.unwrap_or(0.0).round() as u64;
    Ok(
        if too_many(args.max_stalls, summary.stalls) || too_many(args.max_bumps, visible) {
            ExitCode::from(TOO_MANY)
        } else {
            ExitCode::SUCCESS
        },
    )
}

/// Puts the results in their folder, and lists them in the summary.
fn publish(
    args: &Replay,
    answer: &ReplayAnswer,
    summary: &mut Summary,
    board_text: &str,
    mut folder: Folder,
    rows: Rows,
) -> Result<(), Failure> {
    rows.close(answer)?;
    if let Some(drawing) = &answer.drawing {
        let across = match args.by {
            By::Angle => Across::Angle,
            By::Length => Across::Length,
        };
        let pictures = pictures::pictures(answer, summary, across);
        for (name, svg) in &pictures {
            picture(&mut folder, name, svg, args.png)?;
        }
        let earlier = Earlier {
            comparison: folder.earlier_picture("compare.json", "compare.svg"),
            explanation: folder.earlier_picture("explain.json", "explain.svg"),
        };
        let page = pictures::page(answer, summary, drawing, &pictures, board_text, &earlier);
        save(&mut folder, "report.html", page.as_bytes())?;
    }
    summary.files = folder.names().to_vec();
    summary.files.push(MARK.to_string());
    save(&mut folder, MARK, json(summary).as_bytes())?;
    folder.publish()
}

/// The best changes for a post, where the job can be read again and is not too long for them.
fn cures(args: &Replay, board: &Board, summary: &Summary) -> Result<Vec<CureRow>, Failure> {
    let again = args.job.is_file() && summary.commands <= post::LINES_MAX;
    if !again {
        return Ok(Vec::new());
    }
    Ok(tried(&args.job, board, &args.on, args.visible)?.single)
}

/// All remedies, tried on a job.
pub fn tried(
    path: &Path,
    board: &Board,
    on: &OnBoard,
    visible_mm: f64,
) -> Result<CureTable, Failure> {
    let question = RemediesQuestion {
        board,
        seed: on.seed,
        visible_mm,
        threads: threads(),
    };
    let answer = remedies(&inputs::job(path, true)?, &question, &Bars::default())
        .map_err(|trouble| inputs::failure(trouble, &on.board))?;
    let table = CureTable::of(&answer);
    table.warnings.iter().for_each(|w| complain(w));
    Ok(table)
}

fn told(answer: &ReplayAnswer, summary: &Summary, args: &Replay) -> String {
    let asked = Asked {
        job: &args.job.to_string_lossy(),
        board: &args.on.board,
        sets: &summary.set,
        seed: args.on.seed,
    };
    told::replay(answer, summary, &advice::ideas(answer), &asked, &strong)
        + &written(args.out.as_deref(), &summary.files)
}
