//! `mend`: the job written anew, and proven.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::{Arc, Mutex};

use tempfile::{NamedTempFile, TempPath};

use headstall::answer::progress::{Progress, Task};
use headstall::board::types::Board;
use headstall::job::reader::JobError;
use headstall::replay::stream::ReplayError;
use headstall::report::mend::{self as report, Mended, Question};
use headstall::study::mend::choose::{self, Choice};
use headstall::study::mend::counts::Counts;
use headstall::study::mend::pass::Pass;
use headstall::study::mend::proof::{Sameness, sameness};
use headstall::study::mend::runs::{self, MendError, Runs, Terms};

use super::args::Mend;
use super::failure::Failure;
use super::inputs;
use super::one_file::OneFile;
use super::progress::Bars;
use super::signals::{lock, sweep_at_end};
use super::terminal::print;
use super::terminal::threads;

/// Rounding may add this to the deviation that was asked for, mm: half a step of 0.001 mm on two axes.
const ROUNDING_MM: f64 = 0.75e-3;
/// A layer's filament may differ by this, mm.
const FILAMENT_MM: f64 = 1e-4;

/// The job, to be opened again and again.
struct Job {
    name: String,
    path: PathBuf,
    /// Standard input, kept; a signal takes it away too.
    kept: Arc<Mutex<Option<TempPath>>>,
}

impl Drop for Job {
    fn drop(&mut self) {
        drop(lock(&self.kept).take());
    }
}

impl Job {
    fn open(path: &Path) -> Result<Self, Failure> {
        // It says what is wrong with a name.
        let name = inputs::job(path, false)?.name;
        let stdin = path.as_os_str() == "-";
        if !stdin && path.is_file() {
            return Ok(Job {
                name,
                path: path.to_path_buf(),
                kept: Arc::default(),
            });
        }
        let failed = |e: io::Error| Failure::Other(format!("{name}: cannot be kept: {e}"));
        let kept: Arc<Mutex<Option<TempPath>>> = Arc::default();
        let mut held = lock(&kept);
        sweep_at_end(&kept, |path: &mut Option<TempPath>| drop(path.take())).map_err(failed)?;
        let (mut file, copy) = NamedTempFile::new().map_err(failed)?.into_parts();
        let path_of_copy = copy.to_path_buf();
        *held = Some(copy);
        drop(held);
        let mut source: Box<dyn Read> = if stdin {
            Box::new(io::stdin())
        } else {
            Box::new(File::open(path).map_err(failed)?)
        };
        let job = Job {
            name: name.clone(),
            path: path_of_copy,
            kept,
        };
        io::copy(&mut source, &mut file).map_err(failed)?;
        Ok(job)
    }
}

fn opened(path: &Path) -> io::Result<Box<dyn Read + Send>> {
    Ok(Box::new(File::open(path)?))
}

/// Carries the command out.
pub fn run(args: &Mend) -> Result<ExitCode, Failure> {
    let board = inputs::board(&args.on)?;
    let job = Job::open(&args.job)?;
    let mut file = match &args.out {
        Some(place) => Some(OneFile::open(place, args.force, &[&job.path])?),
        None => None,
    };
    let terms = Terms {
        within_mm: args.within,
        allow: args.allow,
        everywhere: args.everywhere,
        visible_mm: args.visible,
        runs: args.runs,
        seed: args.on.seed,
        threads: threads(),
    };
    let open = || opened(&job.path);
    let failed = |e: MendError| match e {
        MendError::Replay(ReplayError::Board(_)) => {
            Failure::Unusable(format!("--board {}: {e}", args.on.board))
        }
        MendError::Io(e) | MendError::Replay(ReplayError::Job(JobError::Io(e))) => {
            Failure::reading(&job.name, &e)
        }
        e => Failure::Unusable(format!("{}: {e}", job.name)),
    };
    let choice = {
        let bars = Bars::default();
        let progress = |done, of| bars.at(Task::Mending, done, Some(of));
        choose::choose(&open, &board, &terms, &progress).map_err(failed)?
    };
    let (after, same, counts) = match &mut file {
        Some(file) => written(&job, &board, &choice, &terms, file)?,
        None => proven(&job, &board, &choice, &terms, None)?,
    };
    if same.deviation_mm > args.within + ROUNDING_MM || same.filament_mm > FILAMENT_MM {
        return Err(Failure::Other(format!(
            "{}: the proof failed: the path moved by {} mm, a layer's filament changed by {} mm; nothing was written",
            job.name, same.deviation_mm, same.filament_mm
        )));
    }
    if let Some(file) = file {
        file.publish()?;
    }
    let question = Question {
        job: &job.name,
        board: &board,
        board_name: &args.on.board,
        terms: &terms,
        out: args.out.as_deref(),
    };
    let mended = Mended::new(&question, &choice, &after, &same, &counts);
    let text = if args.json {
        let mut text = serde_json::to_string_pretty(&mended).expect("a report is plain data");
        text.push('\n');
        text
    } else {
        report::text(&mended)
    };
    match print(&text) {
        Ok(()) | Err(Failure::ClosedPipe) => Ok(ExitCode::SUCCESS),
        Err(failure) => Err(failure),
    }
}

/// Writes the mended job, and proves what was written.
fn written(
    job: &Job,
    board: &Board,
    choice: &Choice,
    terms: &Terms,
    file: &mut OneFile,
) -> Result<(Runs, Sameness, Counts), Failure> {
    let failed = |e: io::Error| Failure::Other(format!("{}: cannot be mended: {e}", job.name));
    if choice.plan.is_none() {
        io::copy(&mut opened(&job.path).map_err(failed)?, file).map_err(failed)?;
    } else {
        let mut pass = pass(job, board, choice).map_err(failed)?;
        io::copy(&mut pass, file).map_err(failed)?;
    }
    let path = file.so_far()?;
    proven(job, board, choice, terms, Some(&path))
}

fn pass(
    job: &Job,
    board: &Board,
    choice: &Choice,
) -> io::Result<Pass<Box<dyn Read + Send>, Box<dyn Read + Send>>> {
    Ok(Pass::new(
        opened(&job.path)?,
        opened(&job.path)?,
        board,
        &choice.plan,
    ))
}

/// Replays the mended job and sets it beside the old one. `place`: where it was written; without, as it would be.
fn proven(
    job: &Job,
    board: &Board,
    choice: &Choice,
    terms: &Terms,
    place: Option<&Path>,
) -> Result<(Runs, Sameness, Counts), Failure> {
    let failed = |e: &dyn std::fmt::Display| {
        Failure::Other(format!(
            "{}: the mended job: {e}; nothing was written",
            job.name
        ))
    };
    let new = || -> io::Result<Box<dyn Read>> {
        match place {
            Some(path) => Ok(Box::new(File::open(path)?)),
            None if choice.plan.is_none() => Ok(Box::new(File::open(&job.path)?)),
            None => Ok(Box::new(pass(job, board, choice)?)),
        }
    };
    let counts = if choice.plan.is_none() {
        choice.survey.clone()
    } else {
        let pass = pass(job, board, choice).map_err(|e| failed(&e))?;
        pass.through().map_err(|e| failed(&e))?
    };
    let old = opened(&job.path).map_err(|e| failed(&e))?;
    let same = sameness(old, new().map_err(|e| failed(&e))?, board).map_err(|e| failed(&e))?;
    let after = if choice.plan.is_none() {
        choice.before.clone()
    } else {
        runs::runs(&new, board, &runs::seeds(terms), terms).map_err(|e| failed(&e))?
    };
    Ok((after, same, counts))
}
