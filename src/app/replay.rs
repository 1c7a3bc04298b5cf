//! `replay`: one job, one board, the answer.

use std::process::ExitCode;
use std::sync::Mutex;

use headstall::board::types::Board;
use headstall::job::reader::JobReader;
use headstall::replay::duties::Restless;
use headstall::replay::source::Planned;
use headstall::replay::store::StoredJob;
use headstall::replay::stream::{self, Done, ReplayError, Watcher};
use headstall::report::map::{self, MapText};
use headstall::report::summary::{Question, Summary};
use headstall::report::wall::{Across, Bump, Caption};
use headstall::report::{advice, part, tables, wall, words};
use headstall::study::causes::{self, Shares};
use headstall::study::stalls::Stall;
use headstall::study::watch::Watch;
use headstall::surface::skin::Skin;

use super::args::{By, Replay};
use super::failure::Failure;
use super::folder::{Folder, save};
use super::inputs;
use super::progress::Bar;
use super::stall_log::StallLog;
use super::table::Table;
use super::terminal::{print, strong};

/// Line replays that are done to work the causes out without being asked: some seconds.
pub const UNASKED_WORK: usize = 16_000_000;
/// The command's summary.
const MARK: &str = "summary.json";
/// Exit code where there are more stalls than allowed.
const TOO_MANY_STALLS: u8 = 3;

/// Everything that hears of the replay.
struct Desk<S> {
    watch: Watch<S>,
    skin: Option<Skin>,
    blocks: Option<Table>,
    bar: Bar,
    bytes: Option<u64>,
}

impl<S: FnMut(&Stall)> Watcher for Desk<S> {
    fn block(&mut self, done: &Done) {
        if let Some(table) = &mut self.blocks {
            table.row(|rows| tables::block(rows, done));
        }
        if let Some(skin) = &mut self.skin {
            skin.block(done);
        }
        self.watch.block(done);
    }

    fn stop(&mut self, start_s: f64, end_s: f64) {
        self.watch.stop(start_s, end_s);
    }

    fn progress(&mut self, bytes: u64) {
        self.bar.at(bytes, self.bytes);
    }
}

/// Carries the command out.
pub fn run(args: &Replay) -> Result<ExitCode, Failure> {
    let board = inputs::board(&args.on)?;
    let job = inputs::job(&args.job)?;
    let mut folder = args
        .out
        .as_deref()
        .map(|place| Folder::open(place, MARK))
        .transpose()?;
    let mut stalls = None;
    let mut blocks = None;
    if let Some(folder) = &mut folder {
        stalls = Some(Table::open(folder, "stalls.csv", tables::STALLS_HEADER)?);
        if args.blocks {
            blocks = Some(Table::open(folder, "blocks.csv", tables::BLOCKS_HEADER)?);
        }
    }
    let keep_blocks_max = match (args.causes, args.quick) {
        (true, _) => usize::MAX,
        (_, true) => 0,
        _ => UNASKED_WORK / causes::replay_count(&board),
    };
    let mut log = StallLog::new(stalls, &board.nozzle, keep_blocks_max);
    let watch = Watch::new(&board.nozzle, args.layer, |stall: &Stall| log.take(stall));
    let mut desk = Desk {
        skin: (!args.quick).then(|| Skin::new(&board.nozzle)),
        watch,
        blocks,
        bar: Bar::new("replaying"),
        bytes: job.bytes,
    };
    let source = Planned::new(JobReader::new(job.source), &board);
    let replayed = stream::replay_source(source, &board, args.on.seed, &mut desk, keep_blocks_max)
        .map_err(|e| match e {
            ReplayError::Job(e) => Failure::Unusable(format!("{}: {e}", job.name)),
            ReplayError::Board(e) => Failure::Unusable(format!("--board {}: {e}", args.on.board)),
        })?;
    let Desk {
        watch,
        skin,
        blocks,
        bar,
        ..
    } = desk;
    drop(bar);
    let (mut seen, trace) = watch.finish();
    let shares = match &replayed.kept {
        Some(kept) if seen.stalls() > 0 => {
            let shares = work_out(kept, &board, args.on.seed, &log)
                .map_err(|e| Failure::Unusable(format!("--board {}: {e}", args.on.board)))?;
            log.share(&shares, &mut seen.worst);
            Some(shares)
        }
        _ => None,
    };
    let exposure = skin.map(Skin::finish);
    let surfaces = exposure.as_ref().map(|e| log.expose(e));
    let set: Vec<String> = args.on.set.iter().map(ToString::to_string).collect();
    let question = Question {
        job: &job.name,
        board: &board,
        board_name: &args.on.board,
        set: &set,
        seed: args.on.seed,
    };
    let mut summary = Summary::new(&question, &replayed, &seen, shares.as_ref());
    let visible = log.visible(args.visible);
    if let Some(surfaces) = surfaces {
        summary.tell_surfaces(surfaces, args.visible, &visible);
    }
    if let Some(layer) = args.layer
        && layer >= summary.layers.max(1)
    {
        return Err(Failure::Unusable(format!(
            "--layer {layer}: the job has layers 0 to {}",
            summary.layers.max(1) - 1
        )));
    }
    if let Some(mut folder) = folder {
        log.close()?;
        blocks.map_or(Ok(()), Table::close)?;
        if !args.quick {
            let text = MapText {
                verdict: summary.verdict.clone(),
                job: summary.job.clone(),
                board: summary.board.clone(),
                layers: summary.layers,
            };
            save(&mut folder, "map.svg", map::svg(&trace, &text).as_bytes())?;
        }
        if let Some(exposure) = &exposure {
            let caption = Caption {
                verdict: summary.verdict.clone(),
                job: summary.job.clone(),
                board: summary.board.clone(),
                visible_mm: args.visible,
                across: match args.by {
                    By::Angle => Across::Angle,
                    By::Length => Across::Length,
                },
            };
            let bumps: Vec<Bump> = visible
                .iter()
                .map(|(bump_mm, stall)| Bump {
                    place_mm: stall.place_mm,
                    bump_mm: *bump_mm,
                })
                .collect();
            save(
                &mut folder,
                "wall.svg",
                wall::svg(&exposure.walls, &bumps, &caption).as_bytes(),
            )?;
            save(
                &mut folder,
                "part.svg",
                part::svg(&exposure.walls, &bumps, &caption).as_bytes(),
            )?;
        }
        summary.files = folder.names().to_vec();
        summary.files.push(MARK.to_string());
        save(&mut folder, MARK, json(&summary).as_bytes())?;
        folder.publish()?;
    }
    let text = if args.json {
        json(&summary)
    } else {
        told(&summary, args, &board)
    };
    match print(&text) {
        Ok(()) | Err(Failure::ClosedPipe) => {}
        Err(failure) => return Err(failure),
    }
    Ok(match args.max_stalls {
        Some(most) if summary.stalls > most => ExitCode::from(TOO_MANY_STALLS),
        _ => ExitCode::SUCCESS,
    })
}

/// How many threads this machine runs at a time.
pub fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

/// Works the causes out, with a progress bar and on all cores.
fn work_out(job: &StoredJob, board: &Board, seed: u64, log: &StallLog) -> Result<Shares, Restless> {
    let total = causes::replay_count(board) as u64;
    let bar = Mutex::new(Bar::new("working out causes"));
    let each = |done: usize| {
        if let Ok(mut bar) = bar.lock() {
            bar.at(done as u64, Some(total));
        }
    };
    causes::shares(job, board, seed, &log.spans(), threads(), &each)
}

fn json(summary: &Summary) -> String {
    let mut text = serde_json::to_string_pretty(summary).expect("a summary is plain data");
    text.push('\n');
    text
}

fn told(summary: &Summary, args: &Replay, board: &Board) -> String {
    let mut text = String::new();
    for line in words::wrap(&summary.verdict, 80) {
        text += &strong(&line);
        text.push('\n');
    }
    text.push('\n');
    text += &words::report(summary);
    let ideas = advice::ideas(summary, board);
    if !ideas.is_empty() {
        text += "\ntry next\n";
    }
    for idea in ideas {
        for line in words::wrap(&idea.why, 76) {
            text += &format!("  {line}\n");
        }
        if !idea.set.is_empty() {
            text += &format!(
                "    headstall replay {} --board {}",
                shown(&args.job.to_string_lossy()),
                shown(&args.on.board)
            );
            for set in args.on.set.iter().map(ToString::to_string).chain(idea.set) {
                text += &format!(" --set {}", shown(&set));
            }
            if args.on.seed != 0 {
                text += &format!(" --seed {}", args.on.seed);
            }
            text.push('\n');
        }
    }
    if let Some(out) = &args.out {
        text += &format!(
            "\nwritten to {}: {}\n",
            out.display(),
            summary.files.join(", ")
        );
    }
    text
}

/// As a shell would have to be given it.
fn shown(text: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./=,+:@%".contains(c);
    if !text.is_empty() && text.chars().all(plain) {
        text.to_string()
    } else {
        format!("'{}'", text.replace('\'', "'\\''"))
    }
}
