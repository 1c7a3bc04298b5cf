//! `compare`: jobs under several settings, side by side.

use std::process::ExitCode;
use std::sync::Mutex;

use headstall::board::profile::Override;
use headstall::board::types::Board;
use headstall::report::bars;
use headstall::report::comparison::{self, Comparison, JobRow, Row};
use headstall::report::finite;
use headstall::study::causes;
use headstall::study::compare::{self, Case, has_draws};
use headstall::study::facts::{JobFacts, facts};

use super::args::{Compare, OnBoard};
use super::failure::Failure;
use super::folder::{Folder, save};
use super::inputs;
use super::pictures::picture;
use super::progress::Bar;
use super::replay::{UNASKED_WORK, threads};
use super::shelf::Shelved;
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
    if args.jobs.iter().filter(|j| j.as_os_str() == "-").count() > 1 {
        let why = "-: standard input can be read once; name it once";
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
    let limits = limits(&settings);
    let again = limits.iter().any(|l| *l != 0);
    let mut shelf: Vec<Shelved> = Vec::new();
    for path in &args.jobs {
        let mut job = Shelved::open(path, again)?;
        if shelf.iter().any(|s| s.name == job.name) {
            job.name = path.display().to_string();
        }
        shelf.push(job);
    }
    let mut all_facts = Vec::new();
    for job in &mut shelf {
        all_facts.push(facts(job.under(0, &settings[0].board)?));
    }
    let cases: Vec<Case> = (0..shelf.len() * settings.len())
        .map(|i| Case {
            board: &settings[i % settings.len()].board,
            first: i - i % settings.len(),
        })
        .collect();
    let mut bench = Bench {
        args,
        shelf,
        limits,
        cases: &cases,
    };
    let (samples, firm) = bench.sampled()?;
    let outcomes = compare::outcomes(&cases, &samples);
    let by_cause = bench.shares(&all_facts)?;
    let names: Vec<String> = bench.shelf.into_iter().map(|job| job.name).collect();
    let jobs: Vec<JobRow> = names
        .iter()
        .zip(&all_facts)
        .map(|(name, facts)| JobRow::new(name, facts))
        .collect();
    let rows: Vec<Row> = outcomes
        .iter()
        .enumerate()
        .map(|(i, outcome)| {
            let setting = &settings[i % settings.len()];
            Row::new(
                &names[i / settings.len()],
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
        let table =
            finite::csv(&result.rows).map_err(|e| Failure::Other(format!("compare.csv: {e}")))?;
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

/// For each setting the first that has its limits and waits.
fn limits(settings: &[Setting]) -> Vec<usize> {
    let first = |own: &Setting| {
        let same = |other: &Setting| same_blocks(&other.board, &own.board);
        settings.iter().position(same).unwrap_or(0)
    };
    settings.iter().map(first).collect()
}

/// All jobs under all settings, job by job.
struct Bench<'a> {
    args: &'a Compare,
    shelf: Vec<Shelved>,
    /// For each setting the first that has its limits and waits.
    limits: Vec<usize>,
    cases: &'a [Case<'a>],
}

impl Bench<'_> {
    /// Those of `wanted` that one stored job serves, for each job and its limits: the job, the limits, the
    /// cases.
    fn batches(&self, wanted: &[usize]) -> Vec<(usize, usize, Vec<usize>)> {
        let settings = self.limits.len();
        let mut batches: Vec<(usize, usize, Vec<usize>)> = Vec::new();
        for case in wanted {
            let (job, limits) = (case / settings, self.limits[case % settings]);
            match batches.iter_mut().find(|b| (b.0, b.1) == (job, limits)) {
                Some(batch) => batch.2.push(*case),
                None => batches.push((job, limits, vec![*case])),
            }
        }
        batches
    }

    /// Runs until the answer is firm, or until there are as many as asked for.
    fn sampled(&mut self) -> Result<(compare::Samples, bool), Failure> {
        let cases = self.cases;
        let mut samples: compare::Samples = vec![Vec::new(); cases.len()];
        let most = if cases.iter().any(|c| has_draws(c.board)) {
            self.args.runs as usize
        } else {
            1
        };
        for runs in LOOKS.into_iter().filter(|n| *n < most).chain([most]) {
            self.add_runs(&mut samples, runs)?;
            if compare::is_firm(cases, &compare::outcomes(cases, &samples)) {
                return Ok((samples, true));
            }
        }
        Ok((samples, false))
    }

    /// Adds runs until each case has so many.
    fn add_runs(&mut self, samples: &mut compare::Samples, runs: usize) -> Result<(), Failure> {
        let seed = |k: usize| self.args.on.seed.wrapping_add(k as u64);
        let seeds: Vec<u64> = (samples[0].len()..runs).map(seed).collect();
        let wanted: Vec<usize> = (0..samples.len())
            .filter(|i| compare::wants_more(self.cases[*i].board, &samples[*i]))
            .collect();
        let bar = Mutex::new((Bar::new("comparing"), 0));
        let drawn = wanted.iter().filter(|i| has_draws(self.cases[**i].board));
        let total = wanted.len() + drawn.count() * (seeds.len() - 1);
        let each = |_| {
            if let Ok(mut bar) = bar.lock() {
                bar.1 += 1;
                let done = bar.1;
                bar.0.at(done, Some(total as u64));
            }
        };
        for (job, limits, batch) in self.batches(&wanted) {
            let stored = self.shelf[job].under(limits, self.cases[limits].board)?;
            let boards: Vec<&Board> = batch.iter().map(|i| self.cases[*i].board).collect();
            let found = compare::samples(stored, &boards, &seeds, threads(), &each)
                .map_err(|e| Failure::Unusable(e.to_string()))?;
            for (i, found) in batch.into_iter().zip(found) {
                samples[i].extend(found);
            }
        }
        for of_case in samples {
            // Without draws all are alike.
            let same = of_case[0];
            of_case.resize(runs, same);
        }
        Ok(())
    }

    /// Lost time by cause of each case, under the first seed, where that doesn't take too long.
    fn shares(&mut self, facts: &[JobFacts]) -> Result<Vec<Option<[f64; 6]>>, Failure> {
        let count = self.cases.len();
        let work = |i: usize| {
            facts[i / self.limits.len()].lines * causes::replay_count(self.cases[i].board)
        };
        if !self.args.causes && (0..count).map(work).sum::<usize>() > 4 * UNASKED_WORK {
            return Ok(vec![None; count]);
        }
        let mut bar = Bar::new("working out causes");
        let mut all = vec![None; count];
        let mut done = 0;
        for (job, limits, batch) in self.batches(&Vec::from_iter(0..count)) {
            let stored = self.shelf[job].under(limits, self.cases[limits].board)?;
            for i in batch {
                bar.at(done, Some(count as u64));
                done += 1;
                let (board, seed) = (self.cases[i].board, self.args.on.seed);
                let shares = causes::shares(stored, board, seed, &[], threads(), &|_| {})
                    .map_err(|e| Failure::Unusable(e.to_string()))?;
                all[i] = Some(shares.total_s);
            }
        }
        Ok(all)
    }
}

fn json(result: &Comparison) -> String {
    finite::json(result)
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
