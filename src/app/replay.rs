//! `replay`: one job, one board, the answer.

use std::process::ExitCode;
use std::sync::Mutex;

use headstall::board::types::Board;
use headstall::job::reader::JobReader;
use headstall::replay::duties::Restless;
use headstall::replay::source::Planned;
use headstall::replay::store::StoredJob;
use headstall::replay::stream::{self, Done, ReplayError, Replayed, Watcher};
use headstall::replay::world::Cause;
use headstall::report::advice::Idea;
use headstall::report::cures::{CureRow, CureTable};
use headstall::report::summary::{Question, Summary};
use headstall::report::words::shell_word;
use headstall::report::{advice, post, tables, words};
use headstall::study::bumps;
use headstall::study::causes::{self, Shares};
use headstall::study::paths::Paths;
use headstall::study::stalls::Stall;
use headstall::study::watch::{Found, Watch};
use headstall::surface::skin::Wanted;

use super::args::Replay;
use super::failure::Failure;
use super::folder::{Folder, save};
use super::inputs;
use super::pictures::{self, Material};
use super::progress::Bar;
use super::stall_log::{StallLog, give};
use super::table::Table;
use super::terminal::{print, strong};

/// Lines and chores that are replayed to work the causes out without being asked: some seconds.
pub const UNASKED_WORK: usize = 16_000_000;
/// Of a job whose length is not known so many blocks are kept for the causes: a few MB.
const STREAM_BLOCKS_MAX: usize = 50_000;
/// And so many stalls are held back of it.
const STREAM_STALLS_MAX: usize = 15_000;
/// The command's summary.
const MARK: &str = "summary.json";
/// Stalls whose strips of time are kept, those that lose most.
const STRIPS_MAX: usize = 200;
/// Lines of a job whose remedies are tried for a post: some seconds.
const POST_LINES_MAX: usize = 200_000;
/// Exit code where there are more stalls than allowed.
const TOO_MANY_STALLS: u8 = 3;

/// Everything that hears of the replay.
struct Desk<S> {
    watch: Watch<S>,
    blocks: Option<Table>,
    bar: Bar,
    bytes: Option<u64>,
}

impl<S: FnMut(&bumps::Found)> Watcher for Desk<S> {
    fn block(&mut self, done: &Done) {
        if let Some(table) = &mut self.blocks {
            table.row(|rows| tables::block(rows, done));
        }
        self.watch.block(done);
    }

    fn stop(&mut self, start_s: f64, end_s: f64) {
        self.watch.stop(start_s, end_s);
    }

    #[inline]
    fn spent(&mut self, on: Cause, from_s: f64, to_s: f64) {
        self.watch.spent(on, from_s, to_s);
    }

    #[inline]
    fn inserted(&mut self, at_s: f64) {
        self.watch.inserted(at_s);
    }

    fn progress(&mut self, bytes: u64) {
        self.bar.at(bytes, self.bytes);
    }
}

/// Carries the command out.
pub fn run(args: &Replay) -> Result<ExitCode, Failure> {
    let (board, board_text) = inputs::board_and_text(&args.on)?;
    let job = inputs::job(&args.job)?;
    let mut folder = args
        .out
        .as_deref()
        .map(|place| Folder::open(place, MARK))
        .transpose()?;
    let mut stalls = None;
    let mut bumps = None;
    let mut blocks = None;
    if let Some(folder) = &mut folder {
        stalls = Some(Table::open(folder, "stalls.csv", tables::STALLS_HEADER)?);
        bumps = Some(Table::open(folder, "bumps.csv", tables::BUMPS_HEADER)?);
        if args.blocks {
            blocks = Some(Table::open(folder, "blocks.csv", tables::BLOCKS_HEADER)?);
        }
    }
    let keep_blocks_max = keep_blocks_max(args, &board, job.bytes);
    let held_max = match job.bytes {
        None if !args.causes => keep_blocks_max.min(STREAM_STALLS_MAX),
        _ => keep_blocks_max,
    };
    let mut log = StallLog::new(stalls, bumps, held_max);
    let mut watch = Watch::new(&board.nozzle, |found: &bumps::Found| log.take(found));
    let second_core = threads() > 1;
    let draws = !args.quick && folder.is_some();
    if draws {
        watch = watch
            .with_trace(args.layer)
            .with_strips(STRIPS_MAX)
            .with_paths(Paths::default());
    }
    if !args.quick {
        let wanted = Wanted {
            walls: draws,
            stalls_max: held_max,
            aside: second_core,
        };
        watch = watch.with_surface(&board.nozzle, &wanted);
    }
    let mut desk = Desk {
        watch,
        blocks,
        bar: Bar::new("replaying"),
        bytes: job.bytes,
    };
    let source = Planned::new(JobReader::new(job.source), &board);
    let replay = if second_core {
        stream::replay_ahead
    } else {
        stream::replay_source
    };
    let replayed =
        replay(source, &board, args.on.seed, &mut desk, keep_blocks_max).map_err(|e| match e {
            ReplayError::Job(e) => Failure::Unusable(format!("{}: {e}", job.name)),
            ReplayError::Board(e) => Failure::Unusable(format!("--board {}: {e}", args.on.board)),
        })?;
    let Desk {
        watch, blocks, bar, ..
    } = desk;
    drop(bar);
    let Found {
        mut seen,
        trace,
        exposure,
        paths,
    } = watch.found();
    let shares = match &replayed.kept {
        Some(kept) if seen.stalls() > 0 && (args.causes || is_short(&replayed, &board)) => {
            let shares = work_out(kept, &board, args.on.seed, &log)
                .map_err(|e| Failure::Unusable(format!("--board {}: {e}", args.on.board)))?;
            log.share(&shares);
            let strips = seen.strips.iter_mut().map(|s| &mut s.stall);
            give(&shares, seen.worst.iter_mut().chain(strips));
            Some(shares)
        }
        _ => None,
    };
    let surfaces = exposure.as_ref().and_then(|e| log.expose(e));
    let set: Vec<String> = args.on.set.iter().map(ToString::to_string).collect();
    let question = Question {
        job: &job.name,
        board: &board,
        board_name: &args.on.board,
        set: &set,
        seed: args.on.seed,
    };
    let mut summary = Summary::new(&question, &replayed, &seen, shares.as_ref());
    let seen_bumps = log.seen_bumps();
    let visible: Vec<(f64, Stall)> = seen_bumps
        .iter()
        .filter(|(mm, _)| *mm >= args.visible)
        .copied()
        .collect();
    if let Some(surfaces) = surfaces {
        summary.tell_surfaces(surfaces, args.visible, &seen_bumps);
        if !visible.is_empty() && args.layer.is_none() {
            summary.worst_layer = Some(trace.layer);
            summary.verdict = words::verdict(&summary);
        }
    }
    if let Some(layer) = args.layer
        && layer >= summary.layers.max(1)
    {
        return Err(Failure::Unusable(format!(
            "--layer {layer}: the job has layers 0 to {}",
            summary.layers.max(1) - 1
        )));
    }
    let ideas = advice::ideas(&summary, &board);
    if let Some(mut folder) = folder {
        blocks.map_or(Ok(()), Table::close)?;
        if let (Some(exposure), Some(paths)) = (&exposure, paths) {
            let material = Material {
                args,
                board: &board,
                board_text: &board_text,
                summary: &summary,
                seen: &seen,
                trace: &trace,
                exposure,
                stalls: log.held(),
                visible: &visible,
                ideas: &ideas,
                comparison: folder.earlier_comparison(),
            };
            pictures::draw(&material, paths, &mut folder)?;
        }
        log.close()?;
        summary.files = folder.names().to_vec();
        summary.files.push(MARK.to_string());
        save(&mut folder, MARK, json(&summary).as_bytes())?;
        folder.publish()?;
    }
    let text = match (args.json, args.post) {
        (true, _) => json(&summary),
        (_, true) => {
            let cures = cures(args, &board, &summary)?;
            post::text(&summary, &board, &ideas, &cures)
        }
        _ => told(&summary, &ideas, args),
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

/// Lines and chores of a replay up to which the causes are worked out unasked.
fn unasked_max(board: &Board) -> usize {
    UNASKED_WORK / causes::replay_count(board)
}

/// Blocks and lines up to which the job is kept for the causes.
fn keep_blocks_max(args: &Replay, board: &Board, bytes: Option<u64>) -> usize {
    let most = unasked_max(board);
    match bytes {
        _ if args.causes => usize::MAX,
        _ if args.quick => 0,
        Some(_) => most,
        None => most.min(STREAM_BLOCKS_MAX),
    }
}

/// Whether the causes are worked out in some seconds.
fn is_short<S>(replayed: &Replayed<S>, board: &Board) -> bool {
    let lines = replayed.kept.as_ref().map_or(0, StoredJob::line_count);
    let chores = usize::try_from(replayed.totals.chores).unwrap_or(usize::MAX);
    lines.saturating_add(chores) <= unasked_max(board)
}

/// The best changes for a post, where the job can be read again and is not too long for them.
fn cures(args: &Replay, board: &Board, summary: &Summary) -> Result<Vec<CureRow>, Failure> {
    let again = args.job.is_file() && summary.commands as usize <= POST_LINES_MAX;
    if summary.stalls == 0 || !again {
        return Ok(Vec::new());
    }
    let (name, found) = super::remedies::tried(&args.job, board, &args.on)?;
    Ok(CureTable::new(&name, &board.name, args.on.seed, &found).single)
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

fn told(summary: &Summary, ideas: &[Idea], args: &Replay) -> String {
    let mut text = String::new();
    for line in words::wrap(&summary.verdict, 80) {
        text += &strong(&line);
        text.push('\n');
    }
    text.push('\n');
    text += &words::report(summary);
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
                shell_word(&args.job.to_string_lossy()),
                shell_word(&args.on.board)
            );
            for set in args
                .on
                .set
                .iter()
                .map(ToString::to_string)
                .chain(idea.set.clone())
            {
                text += &format!(" --set {}", shell_word(&set));
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
