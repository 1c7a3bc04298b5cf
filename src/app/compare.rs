//! `compare`: jobs under several settings, side by side.

use std::io::Read;
use std::process::ExitCode;
use std::sync::Mutex;

use headstall::board::profile::Override;
use headstall::board::types::Board;
use headstall::job::reader::JobReader;
use headstall::replay::source::Planned;
use headstall::replay::store::StoredJob;
use headstall::report::bars;
use headstall::report::comparison::{self, Comparison, JobRow, Row};
use headstall::study::causes;
use headstall::study::compare::{self, Case, has_draws};
use headstall::study::facts::facts;

use super::args::{Compare, OnBoard};
use super::failure::Failure;
use super::folder::{Folder, save};
use super::inputs;
use super::pictures::picture;
use super::progress::Bar;
use super::replay::{UNASKED_WORK, threads};
use super::terminal::{print, strong};

/// The command's summary.
const MARK: &str = "compare.json";
/// Settings that one comparison may have.
const SETTINGS_MAX: usize = 1000;
/// Runs after which it is asked whether the answer is firm.
const LOOKS: [usize; 7] = [6, 10, 15, 20, 30, 40, 80];

/// A board under a setting.
struct Setting {
    name: String,
    board: Board,
}

/// Carries the command out.
pub fn run(args: &Compare) -> Result<ExitCode, Failure> {
    let settings = settings(args)?;
    let mut folder = args
        .out
        .as_deref()
        .map(|place| Folder::open(place, MARK))
        .transpose()?;
    let mut stored: Vec<(String, Vec<(usize, StoredJob)>)> = Vec::new();
    for path in &args.jobs {
        let mut input = inputs::job(path)?;
        let mut bytes = Vec::new();
        input
            .source
            .read_to_end(&mut bytes)
            .map_err(|e| Failure::Unusable(format!("{}: cannot be read: {e}", input.name)))?;
        let mut name = input.name;
        if stored.iter().any(|s| s.0 == name) {
            name = path.display().to_string();
        }
        let jobs =
            store(&bytes, &settings).map_err(|e| Failure::Unusable(format!("{name}: {e}")))?;
        stored.push((name, jobs));
    }
    let mut cases = Vec::new();
    for (_, jobs) in &stored {
        let first = cases.len();
        for (k, setting) in settings.iter().enumerate() {
            let job = jobs
                .iter()
                .rfind(|(from, _)| same_blocks(&settings[*from].board, &settings[k].board));
            let Some((_, job)) = job else { continue };
            cases.push(Case {
                job,
                board: &setting.board,
                first,
            });
        }
    }
    let (samples, firm) = sampled(args, &cases)?;
    let outcomes = compare::outcomes(&cases, &samples);
    let by_cause = shares(args, &cases)?;
    let jobs: Vec<JobRow> = stored
        .iter()
        .map(|(name, jobs)| JobRow::new(name, &facts(&jobs[0].1)))
        .collect();
    let rows: Vec<Row> = outcomes
        .iter()
        .enumerate()
        .map(|(i, outcome)| {
            let setting = &settings[i % settings.len()];
            let job = &stored[i / settings.len()].0;
            Row::new(
                job,
                &setting.name,
                &setting.board.name,
                outcome,
                by_cause[i],
            )
        })
        .collect();
    let mut result = Comparison {
        program: concat!("headstall ", env!("CARGO_PKG_VERSION")).to_string(),
        verdict: comparison::verdict(&rows, &jobs),
        seed: args.on.seed,
        runs: samples.iter().map(Vec::len).max().unwrap_or(0),
        firm,
        runs_needed: compare::runs_needed(&cases, &outcomes),
        jobs,
        rows,
        files: Vec::new(),
    };
    if let Some(mut folder) = folder.take() {
        let mut table = csv::Writer::from_writer(Vec::new());
        for row in &result.rows {
            table
                .serialize(row)
                .map_err(|e| Failure::Other(format!("compare.csv: {e}")))?;
        }
        let table = table
            .into_inner()
            .map_err(|e| Failure::Other(format!("compare.csv: {e}")))?;
        save(&mut folder, "compare.csv", &table)?;
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
                name,
                board: inputs::board(&on)?,
            });
        }
    }
    Ok(settings)
}

/// Whether a job has the same blocks and stops on both boards.
fn same_blocks(a: &Board, b: &Board) -> bool {
    a.motion == b.motion && a.wait == b.wait
}

/// The job, stored once for each set of limits, with the first setting that has them.
fn store(
    bytes: &[u8],
    settings: &[Setting],
) -> Result<Vec<(usize, StoredJob)>, headstall::job::reader::JobError> {
    let mut jobs: Vec<(usize, StoredJob)> = Vec::new();
    for (k, setting) in settings.iter().enumerate() {
        if !jobs
            .iter()
            .any(|(from, _)| same_blocks(&settings[*from].board, &setting.board))
        {
            jobs.push((
                k,
                Planned::new(JobReader::new(bytes), &setting.board).store()?,
            ));
        }
    }
    Ok(jobs)
}

/// Runs until the answer is firm, or until there are as many as asked for.
fn sampled(args: &Compare, cases: &[Case]) -> Result<(compare::Samples, bool), Failure> {
    let mut samples = compare::Samples::new();
    let most = if cases.iter().any(|c| has_draws(c.board)) {
        args.runs as usize
    } else {
        1
    };
    let looks = LOOKS.into_iter().filter(|n| *n < most).chain([most]);
    for runs in looks {
        let bar = Mutex::new(Bar::new("comparing"));
        let total = cases.len() * (runs - samples.first().map_or(0, Vec::len));
        let each = |done: usize| {
            if let Ok(mut bar) = bar.lock() {
                bar.at(done as u64, Some(total as u64));
            }
        };
        compare::add_runs(cases, &mut samples, args.on.seed, runs, threads(), &each)
            .map_err(|e| Failure::Unusable(e.to_string()))?;
        if compare::is_firm(cases, &compare::outcomes(cases, &samples)) {
            return Ok((samples, true));
        }
    }
    Ok((samples, false))
}

/// Lost time by cause of each case, under the first seed, where that doesn't take too long.
fn shares(args: &Compare, cases: &[Case]) -> Result<Vec<Option<[f64; 6]>>, Failure> {
    let work = |c: &Case| c.job.line_count() * causes::replay_count(c.board);
    if !args.causes && cases.iter().map(work).sum::<usize>() > 4 * UNASKED_WORK {
        return Ok(vec![None; cases.len()]);
    }
    let mut bar = Bar::new("working out causes");
    let mut all = Vec::new();
    for case in cases {
        bar.at(all.len() as u64, Some(cases.len() as u64));
        let shares = causes::shares(case.job, case.board, args.on.seed, &[], threads(), &|_| {})
            .map_err(|e| Failure::Unusable(e.to_string()))?;
        all.push(Some(shares.total_s));
    }
    Ok(all)
}

fn json(result: &Comparison) -> String {
    let mut text = serde_json::to_string_pretty(result).expect("a comparison is plain data");
    text.push('\n');
    text
}

fn told(result: &Comparison, args: &Compare) -> String {
    let mut text = String::new();
    for line in headstall::report::words::wrap(&result.verdict, 80) {
        text += &strong(&line);
        text.push('\n');
    }
    text.push('\n');
    text += &comparison::report(result);
    if let Some(out) = &args.out {
        text += &format!(
            "\nwritten to {}: {}\n",
            out.display(),
            result.files.join(", ")
        );
    }
    text
}
