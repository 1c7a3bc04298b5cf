//! `mend`: the job written anew, and proven.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use headstall::answer::progress::{Progress, Task};
use headstall::job::reader::JobError;
use headstall::replay::stream::ReplayError;
use headstall::report::mend::{Mended, Question};
use headstall::report::mend_text;
use headstall::study::mend::choose;
use headstall::study::mend::make;
use headstall::study::mend::runs::{MendError, Terms};

use super::args::Mend;
use super::failure::Failure;
use super::inputs::{self, FromStart};
use super::one_file::OneFile;
use super::progress::Bars;
use super::room::threads;
use super::terminal::{print, remark};

/// Where the mended job goes before it is proven.
enum Target {
    /// Beside its place.
    Beside(OneFile),
    /// A file without a name: only its proof is wanted, or it goes to standard output.
    Aside(File),
}

impl Target {
    fn open(args: &Mend) -> Result<Self, Failure> {
        match &args.out {
            Some(place) if !is_dash(place) => {
                let input = match is_dash(&args.job) {
                    true => Path::new("/dev/stdin"),
                    false => &args.job,
                };
                let board = Path::new(&args.on.board);
                OneFile::open(place, args.force, &[input, board]).map(Target::Beside)
            }
            _ => {
                let file = tempfile::tempfile().map_err(|e| not_stored(&e));
                file.map(Target::Aside)
            }
        }
    }

    fn unwritten(&self, error: &io::Error) -> Failure {
        match self {
            Target::Beside(file) => file.unwritten(error),
            Target::Aside(_) => not_stored(error),
        }
    }

    fn writer(&mut self) -> &mut dyn Write {
        match self {
            Target::Beside(file) => file,
            Target::Aside(file) => file,
        }
    }

    /// What was written so far, to be read.
    fn read(&mut self) -> Result<File, Failure> {
        let failed = |e: io::Error| Failure::Other(format!("the mended job: {e}"));
        match self {
            Target::Beside(file) => {
                let path: PathBuf = file.so_far()?;
                File::open(path).map_err(failed)
            }
            Target::Aside(file) => file.try_clone().map_err(failed),
        }
    }
}

fn not_stored(error: &io::Error) -> Failure {
    Failure::storing("the mended job", error)
}

fn is_dash(path: &Path) -> bool {
    path.as_os_str() == "-"
}

/// Carries the command out.
pub fn run(args: &Mend) -> Result<ExitCode, Failure> {
    let to_stdout = args.out.as_deref().is_some_and(is_dash);
    if to_stdout && args.json {
        let why =
            "--out -: the mended job and --json cannot both go to standard output; name a file";
        return Err(Failure::Unusable(why.to_string()));
    }
    let board = inputs::board(&args.on)?;
    let mut target = Target::open(args)?;
    let (name, job, _) = inputs::job_file(&args.job)?;
    let job = Arc::new(job);
    let terms = Terms {
        within_mm: args.within,
        allow: args.allow,
        everywhere: args.everywhere,
        visible_mm: args.visible,
        runs: args.runs,
        seed: args.on.seed,
        threads: threads(),
    };
    let open =
        || -> io::Result<Box<dyn Read + Send>> { Ok(Box::new(FromStart::new(Arc::clone(&job)))) };
    let failed = |e: MendError| match e {
        MendError::Replay(ReplayError::Board(ref why)) if why.slow.is_none() => {
            Failure::Unusable(format!("--board {}: {e}", args.on.board))
        }
        MendError::Io(e) | MendError::Replay(ReplayError::Job(JobError::Io(e))) => {
            Failure::reading(&name, &e)
        }
        e => Failure::Unusable(format!("{name}: {e}")),
    };
    let choice = {
        let bars = Bars::default();
        let progress = |done, of| bars.at(Task::Mending, done, Some(of));
        choose::choose(&open, &board, &terms, &progress).map_err(failed)?
    };
    let counts = make::write(&open, &board, &choice, target.writer());
    let counts = counts.map_err(|e| target.unwritten(&e))?;
    let written = Arc::new(target.read()?);
    let read =
        || -> io::Result<Box<dyn Read>> { Ok(Box::new(FromStart::new(Arc::clone(&written)))) };
    let proof = make::prove(&open, &read, &board, &choice, &terms)
        .map_err(|why| Failure::Other(format!("{name}: {why}")))?;
    if let Target::Beside(file) = target {
        file.publish()?;
    }
    let question = Question {
        job: &name,
        board: &board,
        board_name: &args.on.board,
        terms: &terms,
        out: args.out.as_deref(),
    };
    let mended = Mended::new(&question, &choice, &proof, &counts);
    if to_stdout {
        remark(&mend_text::text(&mended));
        let copied = io::copy(&mut FromStart::new(written), &mut io::stdout().lock());
        return ended(
            copied
                .map(|_| ())
                .map_err(|e| Failure::writing("standard output", &e)),
        );
    }
    let text = if args.json {
        let mut text = serde_json::to_string_pretty(&mended).expect("a report is plain data");
        text.push('\n');
        text
    } else {
        mend_text::text(&mended)
    };
    ended(print(&text))
}

/// Whoever reads what is printed may go away: the job was written.
fn ended(printed: Result<(), Failure>) -> Result<ExitCode, Failure> {
    match printed {
        Ok(()) | Err(Failure::ClosedPipe) => Ok(ExitCode::SUCCESS),
        Err(failure) => Err(failure),
    }
}
