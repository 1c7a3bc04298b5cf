//! Answers about one job on one board.

use headstall::answer::job::Job;
use headstall::answer::replay::{ReplayQuestion, replay};
use headstall::report::advice;
use headstall::report::page_data::{self, Data};
use headstall::report::summary::Summary;
use headstall::report::told::{self, Asked};
use serde::Serialize;

use super::super::inputs;
use super::super::terminal::threads;
use super::ask::{BoardRead, Question};
use super::cancel::Cancel;
use super::store::Held;
use super::work::{self, Answer, Heard};

/// The job, to be read by the library.
pub fn job(held: &Held, cancel: &Cancel) -> Job {
    let (held, cancel) = (held.clone(), cancel.clone());
    Job::new(held.name.clone(), Some(held.bytes), move || {
        Ok(Box::new(held.reader(&cancel)))
    })
}

/// The library's question.
pub fn question<'a>(asked: &Question, board: &'a BoardRead) -> ReplayQuestion<'a> {
    ReplayQuestion {
        board: &board.board,
        seed: asked.seed,
        effort: asked.effort.into(),
        pictures: true,
        layer: asked.layer,
        strip: None,
        visible_mm: asked.visible_mm,
        whole: asked.whole,
        runs: asked.runs as usize,
        threads: threads(),
    }
}

#[derive(Serialize)]
struct Replayed<'a> {
    summary: &'a Summary,
    text: String,
    data: Data,
    ideas: Vec<Idea>,
}

#[derive(Serialize)]
struct Idea {
    text: String,
    sets: Vec<String>,
}

/// A job replayed: the summary, what the command prints, and what the views are drawn from.
///
/// # Errors
/// In words: those of the command line.
pub fn replayed(asked: &Question, held: &Held, heard: &Heard) -> Answer {
    let board = asked.board.read()?;
    let mut job = job(held, &heard.cancel);
    job.reshape = asked.reshape();
    let answer = replay(&mut job, &question(asked, &board), heard, &mut ())
        .map_err(|trouble| inputs::failure(trouble, &board.shown).to_string())?;
    let set = board.set();
    let summary = Summary::of(&answer, &set);
    let ideas = advice::ideas(&answer);
    let as_typed = Asked {
        job: &held.name,
        board: &board.shown,
        sets: &set,
        seed: asked.seed,
    };
    let text = told::replay(&answer, &summary, &ideas, &as_typed, &str::to_string);
    let Some(drawing) = &answer.drawing else {
        return Err("there is nothing to draw".to_string());
    };
    let (layers, within_mm) = drawing.paths.clone().finish(page_data::paths_fit);
    let ideas = ideas.iter().map(|idea| Idea {
        text: advice::line(idea),
        sets: idea.sets.clone(),
    });
    work::answer(&Replayed {
        summary: &summary,
        text,
        data: Data::of(&answer, drawing, &layers, within_mm),
        ideas: ideas.collect(),
    })
}
