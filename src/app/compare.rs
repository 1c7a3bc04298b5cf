//! `compare`: jobs under several settings, side by side.

use std::process::ExitCode;

use headstall::answer::compare::{CompareQuestion, Setting, compare, reads_again};
use headstall::answer::job::Job;
use headstall::board::profile::Override;
use headstall::report::bars;
use headstall::report::comparison::{self, Comparison};
use headstall::report::tables;
use headstall::text::clean;

use super::args::{Compare, OnBoard};
use super::failure::Failure;
use super::folder::{Folder, save};
use super::inputs;
use super::pictures::picture;
use super::progress::Bars;
use super::room::threads;
use super::terminal::{complain, headed, json, print, written};

/// The command's summary.
const MARK: &str = "compare.json";
/// Settings that one comparison may have.
pub const SETTINGS_MAX: usize = 1000;

/// Carries the command out.
pub fn run(args: &Compare) -> Result<ExitCode, Failure> {
    let settings = settings(args)?;
    if args.jobs.iter().filter(|j| j.as_os_str() == "-").count() > 1 {
        let why = "-: standard input can be read only once; name it once";
        return Err(Failure::Unusable(why.to_string()));
    }
    let mut folder = args
        .out
        .as_deref()
        .map(|place| Folder::open(place, MARK))
        .transpose()?;
    if let Some(folder) = &folder {
        folder.expect(|name| args.png || !name.ends_with(".png"))?;
    }
    let question = CompareQuestion {
        settings: &settings,
        seed: args.on.seed,
        runs_max: args.runs as usize,
        causes: args.causes,
        visible_mm: args.visible,
        threads: threads(),
    };
    let answer = compare(
        jobs(args, reads_again(&settings))?,
        &question,
        &Bars::default(),
    )
    .map_err(|trouble| inputs::failure(trouble, &args.on.board))?;
    let mut result = Comparison::of(&answer);
    result.warnings.iter().for_each(|w| complain(w));
    if let Some(mut folder) = folder.take() {
        save(&mut folder, "compare.csv", &tables::csv(&result.rows))?;
        picture(&mut folder, "compare", &bars::svg(&result), args.png)?;
        result.files = folder.names().to_vec();
        result.files.push(MARK.to_string());
        save(&mut folder, MARK, json(&result).as_bytes())?;
        folder.publish()?;
    }
    let text = if args.json {
        json(&result)
    } else {
        told(&result, args)
    };
    match print(&text) {
        Ok(()) | Err(Failure::ClosedPipe) => Ok(ExitCode::SUCCESS),
        Err(failure) => Err(failure),
    }
}

/// The jobs, each under a name of its own.
fn jobs(args: &Compare, again: bool) -> Result<Vec<Job>, Failure> {
    let mut jobs: Vec<Job> = Vec::new();
    for path in &args.jobs {
        let mut job = inputs::job(path, again)?;
        if jobs.iter().any(|j| j.name == job.name) {
            job.name = clean(&path.display().to_string()).into_owned();
        }
        jobs.push(job);
    }
    Ok(jobs)
}

/// All boards with all values of all keys.
fn settings(args: &Compare) -> Result<Vec<Setting>, Failure> {
    let boards = if args.boards.is_empty() {
        vec![args.on.board.clone()]
    } else {
        args.boards.clone()
    };
    let mut grid: Vec<(Vec<String>, Vec<Override>)> = vec![(Vec::new(), Vec::new())];
    for vary in &args.vary {
        let mut wider = Vec::new();
        for (names, sets) in &grid {
            for (name, more) in &vary.settings {
                wider.push((
                    [&names[..], std::slice::from_ref(name)].concat(),
                    [&sets[..], more].concat(),
                ));
            }
        }
        grid = wider;
        if grid.len() * boards.len() > SETTINGS_MAX {
            return Err(Failure::Unusable(format!(
                "more than {SETTINGS_MAX} settings; give fewer values"
            )));
        }
    }
    let mut settings = Vec::new();
    for board in &boards {
        for (names, sets) in &grid {
            let set = [&args.on.set[..], sets].concat();
            let on = OnBoard {
                board: board.clone(),
                set,
                seed: args.on.seed,
            };
            let mut name = names.join(" ");
            if boards.len() > 1 || name.is_empty() {
                let space = if name.is_empty() { "" } else { " " };
                name = format!("{board}{space}{name}");
            }
            settings.push(Setting {
                name: clean(&name).into_owned(),
                board: inputs::board(&on)?,
            });
        }
    }
    Ok(settings)
}

fn told(result: &Comparison, args: &Compare) -> String {
    headed(&result.verdict)
        + &comparison::report(result)
        + &written(args.out.as_deref(), &result.files)
}
