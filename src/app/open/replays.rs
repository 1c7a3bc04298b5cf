//! Answers about one job on one board: replayed, a strip of time, files to take away.

use headstall::answer::job::Job;
use headstall::answer::progress::Listener;
use headstall::answer::replay::{ReplayAnswer, ReplayQuestion, replay};
use headstall::report::figures::{self, Causes, Figure};
use headstall::report::look::png::png;
use headstall::report::page::Earlier;
use headstall::report::page_data::{self, Data};
use headstall::report::summary::Summary;
use headstall::report::tables::Lists;
use headstall::report::told::{self, Asked};
use headstall::report::{advice, pictures, post, queue};
use headstall::study::remedy::Change;
use headstall::study::reshape::Reshape;
use headstall::text::clean_lines;
use serde::Serialize;

use super::super::inputs;
use super::super::room::threads;
use super::super::terminal::json;
use super::super::written;
use super::ask::{BoardRead, Question};
use super::cancel::Cancel;
use super::changes;
use super::reply::{self, Reply};
use super::shapes::Shapes;
use super::store::Held;
use super::work::{self, Answer, Heard};

/// The job, to be read by the library.
fn job(asked: &Question, held: &Held, cancel: &Cancel) -> Job {
    let mut job = held.job(cancel);
    job.reshape = asked.reshape();
    job
}

/// The library's question; `live`: for the page's views.
fn question<'a>(asked: &Question, board: &'a BoardRead, live: bool) -> ReplayQuestion<'a> {
    ReplayQuestion {
        board: &board.board,
        seed: asked.seed,
        effort: asked.effort.into(),
        pictures: true,
        layer: asked.layer,
        strip: asked.stall,
        live,
        shape: None,
        visible_mm: asked.visible_mm,
        whole: asked.whole,
        runs: asked.runs as usize,
        threads: threads(),
    }
}

/// The library's answer.
fn answered(
    question: &ReplayQuestion,
    mut job: Job,
    board: &BoardRead,
    heard: &Heard,
    listener: &mut dyn Listener,
) -> Result<ReplayAnswer, String> {
    let answer = replay(&mut job, question, heard, listener);
    answer.map_err(|trouble| inputs::failure(trouble, &board.shown).to_string())
}

/// The library's answer for the page's views, from what is known of the job's shape.
fn live(
    asked: &Question,
    held: &Held,
    board: &BoardRead,
    shapes: &Shapes,
    heard: &Heard,
) -> Result<ReplayAnswer, String> {
    let known = shapes.find(asked, &board.board);
    let question = ReplayQuestion {
        shape: known.as_deref(),
        ..question(asked, board, true)
    };
    let job = job(asked, held, &heard.cancel);
    let answer = answered(&question, job, board, heard, &mut ())?;
    if let (None, Some(drawing)) = (known, &answer.drawing) {
        shapes.keep(asked, &board.board, drawing.shape());
    }
    Ok(answer)
}

#[derive(Serialize)]
struct Replayed<'a> {
    summary: &'a Summary,
    text: String,
    figures: Vec<Figure>,
    causes: Option<Causes>,
    data: Data,
    ideas: Vec<Idea>,
}

#[derive(Serialize)]
struct Idea {
    text: String,
    sets: Vec<String>,
    /// Chords are merged within this, mm.
    merge_mm: Option<f64>,
}

/// The summary, what the command prints, and what the views are drawn from.
///
/// # Errors
/// In words: those of the command line.
pub fn replayed(asked: &Question, held: &Held, shapes: &Shapes, heard: &Heard) -> Answer {
    let board = asked.board.read()?;
    let answer = live(asked, held, &board, shapes, heard)?;
    heard.cancel.check();
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
        merge_mm: match idea.change {
            Change::Job(Reshape::Merge(mm)) => Some(mm),
            _ => None,
        },
    });
    work::answer(&Replayed {
        summary: &summary,
        text: clean_lines(&text).into(),
        figures: figures::figures(&answer, &summary),
        causes: figures::causes(&summary),
        data: Data::of(&answer, drawing, &layers, within_mm),
        ideas: ideas.collect(),
    })
}

#[derive(Serialize)]
struct Strip {
    svg: String,
}

/// The time around one stall.
///
/// # Errors
/// In words: those of the command line; and where there is no such stall, or too much happens around it.
pub fn strip(
    asked: &Question,
    held: &Held,
    shapes: &Shapes,
    heard: &Heard,
) -> Result<Reply, String> {
    let number = asked
        .stall
        .ok_or("stall: the number of a stall is missing")?;
    let board = asked.board.read()?;
    let answer = live(asked, held, &board, shapes, heard)?;
    let strips = answer.drawing.as_ref().map(|d| &d.strips[..]);
    let strip = strips.and_then(|all| all.iter().find(|strip| strip.stall == number));
    match (answer.stalls.of(number), strip) {
        (Some(stall), Some(strip)) => Ok(reply::json(&Strip {
            svg: queue::bare(stall, strip, answer.board.queue.blocks),
        })),
        _ if number >= answer.stall_count() => Err(format!(
            "stall {number}: the job has {} stalls, counted from 0",
            answer.stall_count()
        )),
        _ => Err(format!(
            "stall {number}: too much happens around it for a picture"
        )),
    }
}

/// The files that can be taken away: all that `replay` writes, but for the table of blocks.
fn files() -> impl Iterator<Item = &'static str> {
    const MARK: &str = "summary.json";
    let others = written::others(MARK).iter().copied();
    others.filter(|name| *name != "blocks.csv").chain([MARK])
}
/// The text for a forum.
const POST: &str = "post.txt";

/// A file to take away.
///
/// # Errors
/// In words: those of the command line; and where there is no such file.
pub fn take(asked: &Question, held: &Held, heard: &Heard) -> Result<Reply, String> {
    let what = asked.what.as_deref().unwrap_or_default();
    let Some(name) = files().chain([POST]).find(|known| *known == what) else {
        let all: Vec<&str> = files().chain([POST]).collect();
        return Err(format!("what: must be one of {}", all.join(", ")));
    };
    let board = asked.board.read()?;
    let mut lists = Lists::default();
    let job = job(asked, held, &heard.cancel);
    let mut question = question(asked, &board, false);
    // Tables and texts need nothing that is drawn from.
    let is_drawn = |kind: &&str| name.ends_with(*kind);
    question.pictures = [".svg", ".png", ".html"].iter().any(is_drawn);
    let answer = answered(&question, job, &board, heard, &mut lists)?;
    let summary = Summary::of(&answer, &board.set());
    heard.cancel.check();
    let file = |kind: &str, bytes: Vec<u8>| Ok(reply::file(kind, &file_name(held, name), bytes));
    match name {
        "summary.json" => file(reply::JSON, json(&summary).into_bytes()),
        "stalls.csv" => {
            let [stalls, _] = lists.finish(&answer);
            file("text/csv", stalls)
        }
        "bumps.csv" => {
            let [_, bumps] = lists.finish(&answer);
            file("text/csv", bumps)
        }
        POST => {
            let text = posted(asked, held, &board, &answer, &summary, heard)?;
            file("text/plain; charset=utf-8", text.into_bytes())
        }
        picture => {
            let (kind, bytes) = drawn(asked, &answer, &summary, &board, picture)?;
            file(kind, bytes)
        }
    }
}

/// The name to save it under: the job's before it.
fn file_name(held: &Held, name: &str) -> String {
    let job = held
        .name
        .rsplit_once('.')
        .map_or(&held.name[..], |(job, _)| job);
    format!("{job}-{name}")
}

/// The text for a forum.
fn posted(
    asked: &Question,
    held: &Held,
    board: &BoardRead,
    answer: &ReplayAnswer,
    summary: &Summary,
    heard: &Heard,
) -> Result<String, String> {
    let tries = advice::is_wanted(answer)
        && summary.commands <= post::LINES_MAX
        && asked.as_it_is().is_ok();
    let cures = if tries {
        changes::tried(asked, held, board, heard)?.0.single
    } else {
        Vec::new()
    };
    let text = post::text(summary, &board.board, &advice::ideas(answer), &cures);
    Ok(clean_lines(&text).into())
}

/// A picture, or the page that holds them.
fn drawn(
    asked: &Question,
    answer: &ReplayAnswer,
    summary: &Summary,
    board: &BoardRead,
    name: &str,
) -> Result<(&'static str, Vec<u8>), String> {
    let Some(drawing) = &answer.drawing else {
        return Err("there is nothing to draw".to_string());
    };
    let pictures = pictures::pictures(answer, summary, asked.by.into());
    if name == "report.html" {
        let earlier = Earlier::default();
        let page = pictures::page(answer, summary, drawing, &pictures, &board.text, &earlier);
        return Ok(("text/html; charset=utf-8", page.into_bytes()));
    }
    let (own, kind) = name.split_once('.').unwrap_or_default();
    let picture = pictures.iter().find(|(known, _)| *known == own);
    let (_, svg) = picture.ok_or("there is nothing to draw")?;
    match kind {
        "png" => Ok(("image/png", png(svg).map_err(|e| format!("{name}: {e}"))?)),
        _ => Ok(("image/svg+xml", svg.clone().into_bytes())),
    }
}
