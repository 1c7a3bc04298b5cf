//! `fit`: a board's numbers from the times of a coupon.

use std::fs::File;
use std::io::Read as _;
use std::path::Path;
use std::process::ExitCode;

use headstall::answer::fit::{self as answer, FitQuestion};
use headstall::board::profile;
use headstall::board::types::Board;
use headstall::job::reader::Step;
use headstall::report::fit::{self as words, Given, JobLoss};
use headstall::report::{board_file, loudness};
use headstall::study::fit::compare_times;
use headstall::study::fit::fitting::{self, Fit};
use headstall::study::fit::forward::Coupon;
use headstall::study::fit::problem::Reading;
use headstall::study::fit::times;

use super::args;
use super::failure::{Failure, larger_than};
use super::inputs;
use super::one_file::OneFile;
use super::progress::Bars;
use super::recording::{self, Recording};
use super::room::threads;
use super::terminal::print;

/// Largest coupon, and largest list of times, bytes.
const COUPON_BYTES_MAX: u64 = 64 << 20;
const TIMES_BYTES_MAX: u64 = 1 << 20;

/// The command's inputs, read.
struct Read {
    coupon: Coupon,
    board: Board,
    board_text: String,
    given: Given,
}

/// Where results go.
struct Targets {
    times: Option<OneFile>,
    picture: Option<OneFile>,
    out: Option<OneFile>,
}

/// Carries the command out.
pub fn run(args: &args::Fit) -> Result<ExitCode, Failure> {
    let mut targets = targets(args)?;
    let read = read(args)?;
    let lists = args
        .lists
        .iter()
        .map(|list| readings(list, args, &read, &mut targets))
        .collect::<Result<Vec<_>, _>>()?;
    let text = match &lists[..] {
        [first, second] => differences(args, &read, first, second)?,
        _ => fitted(args, read, &lists[0], targets)?,
    };
    match print(&text) {
        Ok(()) | Err(Failure::ClosedPipe) => Ok(ExitCode::SUCCESS),
        Err(failure) => Err(failure),
    }
}

fn targets(args: &args::Fit) -> Result<Targets, Failure> {
    if args.lists.len() > 1 && (args.out.is_some() || args.times.is_some() || !args.job.is_empty())
    {
        return Err(Failure::Unusable(
            "two lists of times are compared and fit no board: leave --out, --times and --job away"
                .to_string(),
        ));
    }
    let mut inputs: Vec<&Path> = vec![&args.coupon, Path::new(&args.on.board)];
    inputs.extend(args.lists.iter().chain(&args.job).map(|p| p.as_path()));
    let open = |option: &str, place: &Option<std::path::PathBuf>| {
        place
            .as_deref()
            .map(|place| OneFile::open_as(option, place, args.force, &inputs))
            .transpose()
    };
    let named: Vec<_> = [&args.times, &args.picture, &args.out]
        .into_iter()
        .flatten()
        .collect();
    if named
        .iter()
        .enumerate()
        .any(|(k, a)| named[..k].contains(a))
    {
        return Err(Failure::Unusable(
            "--times, --picture and --out must name different files".to_string(),
        ));
    }
    Ok(Targets {
        times: open("--times", &args.times)?,
        picture: open("--picture", &args.picture)?,
        out: open("--out", &args.out)?,
    })
}

fn read(args: &args::Fit) -> Result<Read, Failure> {
    let (board, board_text) = inputs::board_and_text(&args.on)?;
    let shown = args.coupon.display();
    let bytes = whole(&args.coupon, COUPON_BYTES_MAX)?;
    let read = answer::coupon(&bytes, &shown.to_string(), &board).map_err(Failure::Unusable)?;
    let given = Given {
        coupon: shown.to_string(),
        times: args.lists[0].display().to_string(),
        board: args.on.board.clone(),
        names: read.names,
        warnings: read.warnings,
    };
    Ok(Read {
        coupon: read.coupon,
        board,
        board_text,
        given,
    })
}

/// A whole file, if it is not too large.
fn whole(path: &Path, most: u64) -> Result<Vec<u8>, Failure> {
    let shown = path.display();
    let failed = |e: std::io::Error| Failure::reading(&shown.to_string(), &e);
    let mut bytes = Vec::new();
    // A device or a pipe has no length of its own.
    let file = File::open(path).map_err(failed)?;
    file.take(most + 1)
        .read_to_end(&mut bytes)
        .map_err(failed)?;
    if bytes.len() as u64 > most {
        return Err(Failure::Unusable(format!("{shown}: {}", larger_than(most))));
    }
    Ok(bytes)
}

/// The readings of a list of times, or of a recording.
fn readings(
    list: &Path,
    args: &args::Fit,
    read: &Read,
    targets: &mut Targets,
) -> Result<Vec<Reading>, Failure> {
    let shown = list.display().to_string();
    let sections = read.coupon.count();
    if !recording::is_wav(list)? {
        if args.picture.is_some() || args.times.is_some() {
            return Err(Failure::Unusable(format!(
                "{shown}: is no WAV file; --times and --picture tell what was heard in a recording"
            )));
        }
        let text = String::from_utf8(whole(list, TIMES_BYTES_MAX)?).map_err(|_| {
            Failure::Unusable(format!(
                "{shown}: is neither a WAV file nor a table in UTF-8"
            ))
        })?;
        return times::read(&text, &shown, sections, args.sigma).map_err(Failure::Unusable);
    }
    let recording = Recording::read(list)?;
    let heard = recording.hear(sections);
    let (loud, edges_s, line) = match &heard {
        Ok(heard) => (&heard.loudness, &heard.edges_s[..], String::new()),
        Err(refused) => (&refused.loudness, &[][..], format!("{}.", refused.why)),
    };
    if !loud.presence.is_empty()
        && let Some(picture) = targets.picture.take()
    {
        picture.publish_whole(loudness::svg(loud, edges_s, &shown, &line).as_bytes())?;
    }
    let heard = heard.map_err(|no| Failure::Unusable(loudness::refused(&no, &shown)))?;
    if let Some(file) = targets.times.take() {
        file.publish_whole(times::write(&heard.readings, &read.given.names).as_bytes())?;
    }
    Ok(heard.readings)
}

fn differences(
    args: &args::Fit,
    read: &Read,
    first: &[Reading],
    second: &[Reading],
) -> Result<String, Failure> {
    const REPLAYS: usize = 12;
    let luck = fitting::luck(&read.coupon, &read.board, REPLAYS, threads()).ok_or_else(|| {
        Failure::Unusable(format!(
            "--board {}: cannot replay the coupon",
            args.on.board
        ))
    })?;
    let all = compare_times::compare(first, second, &luck, &read.given.names);
    let files = [&args.lists[0], &args.lists[1]].map(|p| p.display().to_string());
    Ok(if args.json {
        words::differences_json(&all, &read.given)
    } else {
        words::differences(&all, &read.given, [&files[0], &files[1]])
    })
}

fn fitted(
    args: &args::Fit,
    mut read: Read,
    readings: &[Reading],
    targets: Targets,
) -> Result<String, Failure> {
    let jobs: Vec<(String, Vec<Step>)> = args
        .job
        .iter()
        .map(|j| job(j, &mut read))
        .collect::<Result<_, _>>()?;
    let read = &read;
    let rate_is_free = profile::gives_bytes_per_s(&read.board_text, &args.on.board, &args.on.set)
        .map_err(|e| Failure::Unusable(e.to_string()))?;
    let fit = fit(args, read, readings, rate_is_free)?;
    let losses: Vec<JobLoss> = jobs
        .iter()
        .map(|(name, steps)| loss(name, steps, &fit.board))
        .collect::<Result<_, _>>()?;
    if let Some(out) = targets.out {
        let from = words::origin(&read.given);
        let text = board_file::text(&fit, &from, !rate_is_free);
        out.publish_whole(text.as_bytes())?;
    }
    if args.json {
        return Ok(words::json(&fit, &read.given, &losses));
    }
    let mut text = words::told(&fit, &read.given, &losses);
    if let Some(out) = &args.out {
        text += &format!("\nwritten to {0}; use it with --board {0}\n", out.display());
    }
    Ok(text)
}

fn fit(
    args: &args::Fit,
    read: &Read,
    readings: &[Reading],
    rate_is_free: bool,
) -> Result<Fit, Failure> {
    let question = FitQuestion {
        coupon: &read.coupon,
        board: &read.board,
        board_name: &args.on.board,
        rate_is_free,
        readings,
        times_name: &read.given.times,
        seed: args.on.seed,
        threads: threads(),
    };
    answer::fit(&question, &Bars::default()).map_err(Failure::Unusable)
}

fn job(path: &Path, read: &mut Read) -> Result<(String, Vec<Step>), Failure> {
    let job = inputs::job(path, false)?;
    let (steps, warnings) = answer::steps(&job, &read.board).map_err(Failure::Unusable)?;
    read.given.warnings.extend(warnings);
    Ok((path.display().to_string(), steps))
}

fn loss(name: &str, steps: &[Step], board: &Board) -> Result<JobLoss, Failure> {
    let lost_s = answer::lost_s(name, steps, board, threads(), &Bars::default());
    let [lost_s, low, high] = lost_s.map_err(Failure::Unusable)?;
    Ok(JobLoss {
        job: name.to_string(),
        lost_s,
        low,
        high,
    })
}
