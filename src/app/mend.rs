//! `mend`: the job written anew, and proven.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::{Arc, Mutex};

use tempfile::{NamedTempFile, TempPath};

use headstall::answer::progress::{Progress, Task};
use headstall::job::reader::JobError;
use headstall::replay::stream::ReplayError;
use headstall::report::mend::{self as report, Mended, Question};
use headstall::study::mend::choose;
use headstall::study::mend::make;
use headstall::study::mend::runs::{MendError, Terms};

use super::args::Mend;
use super::failure::Failure;
use super::inputs;
use super::one_file::OneFile;
use super::progress::Bars;
use super::signals::{lock, sweep_at_end};
use super::terminal::print;
use super::terminal::threads;

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
    let path = match &mut file {
        Some(file) => {
            let failed = |e| Failure::Other(format!("{}: cannot be mended: {e}", job.name));
            make::write(&open, &board, &choice, file).map_err(failed)?;
            Some(file.so_far()?)
        }
        None => None,
    };
    let written =
        path.map(|path| move || -> io::Result<Box<dyn Read>> { Ok(Box::new(File::open(&path)?)) });
    let written = written.as_ref().map(|open| open as &make::Written);
    let proof = make::prove(&open, &board, &choice, &terms, written)
        .map_err(|why| Failure::Other(format!("{}: {why}", job.name)))?;
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
    let mended = Mended::new(&question, &choice, &proof.after, &proof.same, &proof.counts);
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
