//! `mend`: the job written anew, and proven.

use std::fs::File;
use std::io::{self, Read};
use std::process::ExitCode;
use std::sync::Arc;

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
use super::room::threads;
use super::terminal::print;

/// Carries the command out.
pub fn run(args: &Mend) -> Result<ExitCode, Failure> {
    let board = inputs::board(&args.on)?;
    let mut file = match &args.out {
        Some(place) => Some(OneFile::open(place, args.force, &[&args.job])?),
        None => None,
    };
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
    let open = || -> io::Result<Box<dyn Read + Send>> {
        Ok(Box::new(inputs::FromStart::new(Arc::clone(&job))))
    };
    let failed = |e: MendError| match e {
        MendError::Replay(ReplayError::Board(_)) => {
            Failure::Unusable(format!("--board {}: {e}", args.on.board))
        }
        MendError::Io(e) | MendError::Replay(ReplayError::Job(JobError::Io(e))) => {
            Failure::reading(&name, &e)
        }
        e => Failure::Unusable(format!("{}: {e}", name)),
    };
    let choice = {
        let bars = Bars::default();
        let progress = |done, of| bars.at(Task::Mending, done, Some(of));
        choose::choose(&open, &board, &terms, &progress).map_err(failed)?
    };
    let path = match &mut file {
        Some(file) => {
            let written = make::write(&open, &board, &choice, file);
            written.map_err(|e| file.unwritten(&e))?;
            Some(file.so_far()?)
        }
        None => None,
    };
    let written =
        path.map(|path| move || -> io::Result<Box<dyn Read>> { Ok(Box::new(File::open(&path)?)) });
    let written = written.as_ref().map(|open| open as &make::Written);
    let proof = make::prove(&open, &board, &choice, &terms, written)
        .map_err(|why| Failure::Other(format!("{}: {why}", name)))?;
    if let Some(file) = file {
        file.publish()?;
    }
    let question = Question {
        job: &name,
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
