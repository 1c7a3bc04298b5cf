//! Answers about changes: boards compared, remedies tried, a job mended.

use std::io::{self, BufWriter, Read, Write};
use std::path::Path;

use headstall::answer::compare::{CompareQuestion, Setting, compare};
use headstall::answer::progress::{Progress, Task};
use headstall::answer::remedies::{RemediesAnswer, RemediesQuestion, remedies};
use headstall::replay::stream::ReplayError;
use headstall::report::comparison::{self, Comparison};
use headstall::report::cures::{self, CureTable, Settings};
use headstall::report::mend::{self as report, Mended};
use headstall::report::mend_text;
use headstall::report::told::{self, Asked};
use headstall::report::{bars, text};
use headstall::study::mend::choose;
use headstall::study::mend::make;
use headstall::study::mend::plan::Allow;
use headstall::study::mend::runs::{MendError, Terms};
use headstall::text::clean_lines;
use serde::{Deserialize, Serialize};

use super::super::compare::SETTINGS_MAX;
use super::super::inputs;
use super::super::room::threads;
use super::ask::{BoardAsked, BoardRead, Question};
use super::store::{Held, Kind, Store};
use super::work::{self, Answer, Heard};

/// A question about a job, or several, on several boards.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CompareAsked {
    /// The jobs' IDs.
    pub job: OneOrMore,
    /// The boards; the others are compared with the first.
    boards: Vec<BoardAsked>,
    /// The first seed.
    #[serde(default)]
    seed: u64,
    /// Most runs of a board with draws.
    #[serde(default = "runs")]
    runs: u64,
    /// Height from which a bump counts as visible, mm.
    #[serde(default = "visible_mm")]
    visible_mm: f64,
}

/// One ID, or several.
#[derive(Clone, Debug, Deserialize)]
#[serde(untagged)]
pub enum OneOrMore {
    /// One.
    One(String),
    /// Several.
    More(Vec<String>),
}

impl OneOrMore {
    /// All of them.
    pub fn all(&self) -> &[String] {
        match self {
            OneOrMore::One(id) => std::slice::from_ref(id),
            OneOrMore::More(ids) => ids,
        }
    }
}

fn runs() -> u64 {
    40
}

fn visible_mm() -> f64 {
    0.1
}

impl CompareAsked {
    /// Checks what the command line checks as it reads its arguments.
    ///
    /// # Errors
    /// In words.
    pub fn check(&self) -> Result<(), String> {
        let settings = self.boards.len();
        if settings == 0 || self.job.all().is_empty() {
            return Err("compare: name a job and a board at least".to_string());
        }
        if settings * self.job.all().len() > SETTINGS_MAX {
            return Err(format!(
                "more than {SETTINGS_MAX} settings; give fewer values"
            ));
        }
        if !(0.0..=100.0).contains(&self.visible_mm) {
            return Err("visible_mm: must be a number of mm from 0 to 100".to_string());
        }
        if !(1..=10_000).contains(&self.runs) {
            return Err("runs: must be a whole number from 1 to 10000".to_string());
        }
        Ok(())
    }
}

#[derive(Serialize)]
struct Compared<'a> {
    json: &'a Comparison,
    text: String,
    svg: String,
    notes: Vec<String>,
}

/// The boards, each under a name that tells what is different.
fn settings(boards: Vec<BoardRead>) -> Vec<Setting> {
    let sets: Vec<Vec<String>> = boards.iter().map(BoardRead::set).collect();
    let common = |set: &&String| sets.iter().all(|own| own.contains(set));
    let alike = boards.iter().all(|b| b.shown == boards[0].shown);
    let names: Vec<String> = boards
        .iter()
        .zip(&sets)
        .map(|(board, own)| {
            let own = own.iter().filter(|set| !common(set)).cloned();
            let shown = (!alike).then(|| board.shown.clone());
            let words: Vec<String> = shown.into_iter().chain(own).collect();
            match words.join(" ") {
                name if name.is_empty() => board.shown.clone(),
                name => name,
            }
        })
        .collect();
    let of = |(name, read): (String, BoardRead)| Setting {
        name,
        board: read.board,
    };
    names.into_iter().zip(boards).map(of).collect()
}

/// Boards side by side, with the same luck.
///
/// # Errors
/// In words: those of the command line.
pub fn compared(asked: &CompareAsked, held: &[Held], heard: &Heard) -> Answer {
    let boards = asked.boards.iter().map(BoardAsked::read);
    let boards: Vec<BoardRead> = boards.collect::<Result<_, _>>()?;
    let shown = boards[0].shown.clone();
    let settings = settings(boards);
    let question = CompareQuestion {
        settings: &settings,
        seed: asked.seed,
        runs_max: asked.runs as usize,
        causes: false,
        visible_mm: asked.visible_mm,
        threads: threads(),
    };
    let jobs = held.iter().map(|held| held.job(&heard.cancel)).collect();
    let answer = compare(jobs, &question, heard);
    let answer = answer.map_err(|trouble| inputs::failure(trouble, &shown).to_string())?;
    let result = Comparison::of(&answer);
    let told = text::headed(&result.verdict, &str::to_string) + &comparison::report(&result);
    work::answer(&Compared {
        json: &result,
        text: clean_lines(&told).into(),
        svg: bars::svg(&result),
        notes: result.warnings.clone(),
    })
}

#[derive(Serialize)]
struct Cured<'a> {
    json: &'a CureTable,
    /// For each row of `json.single`, and for `json.set`, the settings that make the change.
    settings: Vec<Option<Settings>>,
    set: Option<Settings>,
    text: String,
    notes: Vec<String>,
}

/// All remedies, tried on a job.
///
/// # Errors
/// In words: those of the command line.
pub fn tried(
    asked: &Question,
    held: &Held,
    board: &BoardRead,
    heard: &Heard,
) -> Result<(CureTable, RemediesAnswer), String> {
    let question = RemediesQuestion {
        board: &board.board,
        seed: asked.seed,
        visible_mm: asked.visible_mm,
        threads: threads(),
    };
    let answer = remedies(&held.job(&heard.cancel), &question, heard);
    let answer = answer.map_err(|trouble| inputs::failure(trouble, &board.shown).to_string())?;
    Ok((CureTable::of(&answer), answer))
}

/// Remedies, ranked.
///
/// # Errors
/// In words: those of the command line.
pub fn cured(asked: &Question, held: &Held, heard: &Heard) -> Answer {
    asked.as_it_is()?;
    let board = asked.board.read()?;
    let (table, answer) = tried(asked, held, &board, heard)?;
    let as_typed = Asked {
        job: &held.name,
        board: &board.shown,
        sets: &board.set(),
        seed: asked.seed,
    };
    let told = told::remedies(&table, &as_typed, &str::to_string);
    work::answer(&Cured {
        json: &table,
        settings: answer.cures.single.iter().map(cures::settings).collect(),
        set: answer.cures.set.as_ref().and_then(cures::settings),
        text: clean_lines(&told).into(),
        notes: table.warnings.clone(),
    })
}

#[derive(Serialize)]
struct MendedJob<'a> {
    json: &'a Mended,
    text: String,
    file: Option<String>,
    name: String,
}

/// The job written anew, kept to be fetched, and proven.
///
/// # Errors
/// In words: those of the command line; and where there is no room for it.
pub fn mended(asked: &Question, held: &Held, store: &Store, heard: &Heard) -> Answer {
    asked.as_it_is()?;
    let board = asked.board.read()?;
    let terms = Terms {
        within_mm: asked.within_mm,
        allow: match &asked.allow {
            Some(names) => Allow::parse(names)?,
            None => Allow::USUAL,
        },
        everywhere: asked.everywhere,
        visible_mm: asked.visible_mm,
        runs: asked.runs,
        seed: asked.seed,
        threads: threads(),
    };
    let open = || -> io::Result<Box<dyn Read + Send>> { Ok(Box::new(held.reader(&heard.cancel))) };
    let progress = |done, of| heard.at(Task::Mending, done, Some(of));
    // The job as it is comes first, before anything is counted.
    heard.at(Task::Mending, 0, None);
    let choice = choose::choose(&open, &board.board, &terms, &progress);
    let choice = choice.map_err(|e| unmended(&e, &board, held))?;
    let failed = |e: io::Error| format!("{}: cannot be mended: {}", held.name, e.kind());
    let mut room = store.room()?;
    let mut file = BufWriter::new(tempfile::tempfile().map_err(failed)?);
    let counts = make::write(&open, &board.board, &choice, &mut file).map_err(failed)?;
    file.flush().map_err(failed)?;
    let file = file.into_inner().map_err(|e| failed(e.into_error()))?;
    room.grow(file.metadata().map_err(failed)?.len())?;
    let (name, ending) = held.name.rsplit_once('.').unwrap_or((&held.name, "gcode"));
    let name = format!("{name}-mended.{ending}");
    let unproven = Held::new(Kind::Mended, name.clone(), file).map_err(failed)?;
    let written = || -> io::Result<Box<dyn Read>> { Ok(Box::new(unproven.reader(&heard.cancel))) };
    let proof = make::prove(&open, &written, &board.board, &choice, &terms)
        .map_err(|why| format!("{}: {why}", held.name))?;
    heard.cancel.check();
    let question = report::Question {
        job: &held.name,
        board: &board.board,
        board_name: &board.shown,
        terms: &terms,
        out: Some(Path::new(&name)),
    };
    let mended = Mended::new(&question, &choice, &proof, &counts);
    let kept = unproven.id.clone();
    room.keep(unproven);
    work::answer(&MendedJob {
        text: clean_lines(&mend_text::text(&mended)).into(),
        json: &mended,
        file: Some(kept),
        name,
    })
}

fn unmended(error: &MendError, board: &BoardRead, held: &Held) -> String {
    match error {
        MendError::Replay(ReplayError::Board(why)) if why.slow.is_none() => {
            format!("--board {}: {why}", board.shown)
        }
        error => format!("{}: {error}", held.name),
    }
}
