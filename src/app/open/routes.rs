//! What can be asked, and who answers.

use std::collections::BTreeMap;
use std::io::Read;
use std::sync::Arc;
use std::time::Duration;

use headstall::board::profile::BoardError;
use headstall::board::{edited, handbook, questions};
use headstall::report::page_files;
use hyper::body::{Bytes, Incoming};
use hyper::header::{HeaderValue, LOCATION};
use hyper::http::request::Parts;
use hyper::{Method, Request, StatusCode, Uri};
use serde::Serialize;
use tokio::sync::mpsc;
use tokio::time::{MissedTickBehavior, interval};

use super::about::{self, JOB_BYTES_MAX, RECORDING_BYTES_MAX};
use super::ask::{BoardAsked, Question, label};
use super::cancel::Cancel;
use super::changes::{self, CompareAsked};
use super::guard::same;
use super::intake;
use super::measures::{self, CouponAsked, FitAsked};
use super::replays;
use super::reply::{self, Refusal, Reply};
use super::state::{JobHeld, State};
use super::store::{Held, Kind};

/// A page that is open hears something this often.
const ALIVE: Duration = Duration::from_secs(15);

/// Answers a request. `known` hears that whoever asks has the token.
pub async fn answer(state: Arc<State>, request: Request<Incoming>, known: impl FnOnce()) -> Reply {
    if let Err(status) = state.guard.check(request.uri(), request.headers()) {
        return reply::empty(status);
    }
    let path = request.uri().path().trim_start_matches('/').to_string();
    let (token, rest) = path
        .split_once('/')
        .map_or((&path[..], None), |(t, r)| (t, Some(r)));
    if !same(token, &state.token) {
        if request.method() == Method::GET && rest.is_none() && state.takes(token) {
            return to_page(&state.token);
        }
        return reply::empty(StatusCode::NOT_FOUND);
    }
    known();
    let Some(rest) = rest else {
        return to_page(&state.token);
    };
    match route(&state, rest, request).await {
        Ok(reply) => reply,
        Err(refusal) => refusal.reply(),
    }
}

fn to_page(token: &str) -> Reply {
    let mut reply = reply::empty(StatusCode::SEE_OTHER);
    if let Ok(place) = HeaderValue::from_str(&format!("/{token}/")) {
        reply.headers_mut().insert(LOCATION, place);
    }
    reply
}

async fn route(
    state: &Arc<State>,
    path: &str,
    request: Request<Incoming>,
) -> Result<Reply, Refusal> {
    let parts: Vec<&str> = path.split('/').collect();
    let method = request.method().clone();
    match (&method, &parts[..]) {
        (&Method::GET, [""]) => Ok(reply::bytes(page_files::kind(""), page_files::OPEN)),
        (&Method::GET, ["page", name]) => page_file(name),
        (&Method::GET, ["about"]) => Ok(reply::json(&about::about(state))),
        (&Method::GET, ["alive"]) => Ok(alive(state)),
        (&Method::GET, ["files", id]) => file(state, id),
        (&Method::DELETE, ["jobs" | "files", id]) => {
            if state.store.remove(id) {
                state.shapes.forget(id);
                Ok(reply::empty(StatusCode::NO_CONTENT))
            } else {
                Err(gone())
            }
        }
        (&Method::POST, [what]) if POSTS.contains(what) => post(state, what, request).await,
        (_, ["" | "about" | "alive"] | ["page" | "jobs" | "files", _]) => {
            Err(Refusal::bare(StatusCode::METHOD_NOT_ALLOWED))
        }
        (_, [what]) if POSTS.contains(what) => Err(Refusal::bare(StatusCode::METHOD_NOT_ALLOWED)),
        _ => Err(Refusal::bare(StatusCode::NOT_FOUND)),
    }
}

/// What is asked by POST.
const POSTS: [&str; 13] = [
    "jobs",
    "recordings",
    "board",
    "nearest",
    "replay",
    "strip",
    "take",
    "compare",
    "remedies",
    "mend",
    "explain",
    "coupon",
    "fit",
];

async fn post(
    state: &Arc<State>,
    what: &str,
    request: Request<Incoming>,
) -> Result<Reply, Refusal> {
    let (head, body) = request.into_parts();
    let headers = &head.headers;
    match what {
        "jobs" => {
            let held = upload(state, &head, body, (Kind::Job, JOB_BYTES_MAX)).await?;
            Ok(reply::json(&JobHeld::from(&held)))
        }
        "recordings" => {
            let limit = (Kind::Recording, RECORDING_BYTES_MAX);
            let held = upload(state, &head, body, limit).await?;
            Ok(reply::json(&RecordingHeld { recording: held.id }))
        }
        "board" => board(&intake::json(headers, body).await?),
        "nearest" => {
            let answers: BTreeMap<String, String> = intake::json(headers, body).await?;
            let nearest = questions::nearest(&answers);
            nearest.map(|n| reply::json(&n)).map_err(unusable)
        }
        "coupon" => {
            let asked: CouponAsked = intake::json(headers, body).await?;
            let work = move |_: &_| Ok(reply::bytes(reply::JSON, measures::coupon(&asked)?));
            Ok(state.works.whole(work).await)
        }
        "fit" => {
            let asked: FitAsked = intake::json(headers, body).await?;
            let recording = asked.recording.as_ref();
            let recording = recording.map(|id| held(state, id, &[Kind::Recording]));
            let (recording, jobs) = (recording.transpose()?, jobs(state, &asked.jobs)?);
            let work = move |heard: &_| measures::fitted(&asked, recording.as_ref(), &jobs, heard);
            Ok(state.works.stream(work))
        }
        "compare" => {
            let asked: CompareAsked = intake::json(headers, body).await?;
            asked.check().map_err(unusable)?;
            let jobs = jobs(state, asked.job.all())?;
            Ok(state
                .works
                .stream(move |heard| changes::compared(&asked, &jobs, heard)))
        }
        "replay" | "strip" | "take" | "remedies" | "mend" | "explain" => {
            let asked: Question = intake::json(headers, body).await?;
            asked.check().map_err(unusable)?;
            let held = held(state, &asked.job, JOBS)?;
            Ok(about_job(state, what, asked, held).await)
        }
        _ => Err(Refusal::bare(StatusCode::NOT_FOUND)),
    }
}

/// Answers about one job on one board.
async fn about_job(state: &State, what: &str, asked: Question, held: Held) -> Reply {
    let (works, shapes) = (&state.works, state.shapes.clone());
    match what {
        "strip" => {
            let work = move |heard: &_| replays::strip(&asked, &held, &shapes, heard);
            works.whole(work).await
        }
        "take" => {
            let work = move |heard: &_| replays::take(&asked, &held, heard);
            works.whole(work).await
        }
        "remedies" => works.stream(move |heard| changes::cured(&asked, &held, heard)),
        "mend" => {
            let store = state.store.clone();
            works.stream(move |heard| changes::mended(&asked, &held, &store, heard))
        }
        "explain" => works.stream(move |heard| measures::explained(&asked, &held, heard)),
        _ => works.stream(move |heard| replays::replayed(&asked, &held, &shapes, heard)),
    }
}

/// A recording that is here.
#[derive(Serialize)]
struct RecordingHeld {
    /// Its ID.
    recording: String,
}

#[derive(Serialize)]
struct BoardShown<'a> {
    name: &'a str,
    text: &'a str,
    values: BTreeMap<String, String>,
}

fn board(asked: &BoardAsked) -> Result<Reply, Refusal> {
    let read = asked.read().map_err(unusable)?;
    let wrong = |e: BoardError| unusable(e.to_string());
    let text = edited::text(&read.text, &read.shown, &read.sets).map_err(wrong)?;
    Ok(reply::json(&BoardShown {
        name: &read.board.name,
        values: handbook::values(&text, &read.shown, &[]).map_err(wrong)?,
        text: &text,
    }))
}

/// A file that the page sends.
async fn upload(
    state: &State,
    head: &Parts,
    body: Incoming,
    (kind, most): (Kind, u64),
) -> Result<Held, Refusal> {
    let _alive = state.life.busy();
    let full = |why: String| Refusal::new(StatusCode::INSUFFICIENT_STORAGE, why);
    let mut room = state.store.room().map_err(full)?;
    let file = intake::file(&head.headers, body, most, &mut room).await?;
    let name = label(&name(&head.uri));
    let held = Held::new(kind, name, file).map_err(|e| full(e.to_string()))?;
    room.keep(held.clone());
    Ok(held)
}

/// The name that a request gives a file.
fn name(uri: &Uri) -> String {
    let query = uri.query().unwrap_or_default();
    let name = query.split('&').find_map(|pair| pair.strip_prefix("name="));
    decoded(name.unwrap_or_default())
}

/// A text out of an address (RFC 3986, section 2.1).
fn decoded(text: &str) -> String {
    let mut bytes = Vec::new();
    let mut rest = text.as_bytes();
    while let Some((first, after)) = rest.split_first() {
        let hex = after
            .get(..2)
            .filter(|two| two.iter().all(u8::is_ascii_hexdigit));
        let hex = hex.and_then(|two| std::str::from_utf8(two).ok());
        let byte = hex.and_then(|two| u8::from_str_radix(two, 16).ok());
        match byte {
            Some(byte) if *first == b'%' => {
                bytes.push(byte);
                rest = &after[2..];
            }
            _ => {
                bytes.push(*first);
                rest = after;
            }
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// What is a job.
const JOBS: &[Kind] = &[Kind::Job, Kind::Mended];

/// The file of this ID and kind.
fn held(state: &State, id: &str, kinds: &[Kind]) -> Result<Held, Refusal> {
    state.store.find(id, kinds).ok_or_else(gone)
}

/// The jobs of these IDs.
fn jobs(state: &State, ids: &[String]) -> Result<Vec<Held>, Refusal> {
    ids.iter().map(|id| held(state, id, JOBS)).collect()
}

/// A file that is here, to be saved.
fn file(state: &State, id: &str) -> Result<Reply, Refusal> {
    const PIECE_BYTES: usize = 1 << 16;
    let held = held(state, id, JOBS)?;
    let (give, take) = mpsc::channel(2);
    let alive = state.life.busy();
    let name = held.name.clone();
    tokio::task::spawn_blocking(move || {
        let _alive = alive;
        let mut reader = held.reader(&Cancel::default());
        let mut piece = vec![0; PIECE_BYTES];
        while let Ok(count) = reader.read(&mut piece)
            && count > 0
        {
            let bytes = Bytes::copy_from_slice(&piece[..count]);
            if give.blocking_send(bytes).is_err() {
                return;
            }
        }
    });
    Ok(reply::saved(&name, take))
}

fn gone() -> Refusal {
    let why = "this file is not here any more; drop it on the page again";
    Refusal::new(StatusCode::NOT_FOUND, why)
}

fn unusable(why: impl Into<String>) -> Refusal {
    Refusal::new(StatusCode::UNPROCESSABLE_ENTITY, why)
}

fn page_file(name: &str) -> Result<Reply, Refusal> {
    let text = page_files::text(name).ok_or_else(|| Refusal::bare(StatusCode::NOT_FOUND))?;
    Ok(reply::bytes(page_files::kind(name), text))
}

/// A stream without an end: as long as somebody reads it, a page is open.
fn alive(state: &State) -> Reply {
    let (give, take) = mpsc::channel(1);
    let page = state.life.page();
    tokio::spawn(async move {
        let mut ticks = interval(ALIVE);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            ticks.tick().await;
            if give.send(Bytes::from_static(b"\n")).await.is_err() {
                return;
            }
        }
    });
    reply::lines(take, Box::new(page))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_decoded() {
        for (text, name) in [
            ("a%20b.gcode", "a b.gcode"),
            ("%C3%A4", "ä"),
            ("%", "%"),
            ("%zz%4", "%zz%4"),
            ("%+1", "%+1"),
            ("%FF", "\u{fffd}"),
        ] {
            assert_eq!(decoded(text), name);
        }
        for (name, shown) in [
            ("../../etc/passwd", "passwd"),
            ("C:\\jobs\\a.gcode", "a.gcode"),
            ("..", ".."),
            ("", "unnamed"),
            ("a/", "unnamed"),
        ] {
            assert_eq!(label(name), shown);
        }
    }
}
