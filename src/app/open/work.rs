//! Work: on threads of its own, a few at a time, given up when whoever asked has gone.

use std::sync::Arc;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use headstall::answer::progress::{Progress, Task};
use hyper::StatusCode;
use hyper::body::Bytes;
use serde::Serialize;
use tokio::sync::{Semaphore, mpsc};
use tokio::task::{JoinError, spawn_blocking};

use super::cancel::{Cancel, Cancelled, Wanted};
use super::life::Life;
use super::reply::{self, Reply};

/// Pieces of work at a time; the others wait.
pub const WORKS_MAX: usize = 4;
/// Pieces of work that wait or are under way at most: half as many as there may be connections, so that whoever asks
/// for more is told so, and all that is no work is still answered.
const WAITING_MAX: usize = 32;
/// Time between two reports of progress.
const EVERY: Duration = Duration::from_millis(50);
/// Lines that wait for a slow reader; reports of progress beyond them are left out.
const LINES: usize = 16;

/// Whoever works.
#[derive(Clone)]
pub struct Works {
    running: Arc<Semaphore>,
    waiting: Arc<Semaphore>,
    life: Life,
}

/// What a piece of work gets to know.
pub struct Heard {
    /// Whether it is still wanted.
    pub cancel: Cancel,
    lines: Option<mpsc::Sender<Bytes>>,
    told: Mutex<Option<Instant>>,
}

#[derive(Serialize)]
struct At {
    task: &'static str,
    done: u64,
    of: Option<u64>,
}

impl Heard {
    fn new(cancel: Cancel, lines: Option<mpsc::Sender<Bytes>>) -> Self {
        Heard {
            cancel,
            lines,
            told: Mutex::new(None),
        }
    }
}

impl Progress for Heard {
    fn at(&self, task: Task, done: u64, of: Option<u64>) {
        self.cancel.check();
        let (Some(lines), Ok(mut told)) = (&self.lines, self.told.try_lock()) else {
            return;
        };
        if told.is_some_and(|told| told.elapsed() < EVERY) {
            return;
        }
        *told = Some(Instant::now());
        let task = task.name();
        let line = line("at", &At { task, done, of });
        // A reader that is slow gets fewer of them.
        let _ = lines.try_send(line);
    }
}

/// A line of a stream.
fn line(what: &str, value: &impl Serialize) -> Bytes {
    line_of(
        what,
        &serde_json::to_vec(value).expect("a line is plain data"),
    )
}

/// The same of what is JSON already.
fn line_of(what: &str, json: &[u8]) -> Bytes {
    [format!("{{\"{what}\":").as_bytes(), json, b"}\n"]
        .concat()
        .into()
}

/// What an answer is, as JSON; or, in words, why there is none.
pub type Answer = Result<Vec<u8>, String>;

/// An answer as JSON.
pub fn answer(value: &impl Serialize) -> Answer {
    headstall::report::finite::assert_finite(value);
    serde_json::to_vec(value).map_err(|e| e.to_string())
}

impl Works {
    /// Nothing to do yet.
    pub fn new(life: Life) -> Self {
        Works {
            running: Arc::new(Semaphore::new(WORKS_MAX)),
            waiting: Arc::new(Semaphore::new(WAITING_MAX)),
            life,
        }
    }

    /// Streams reports of progress and then the answer, as lines of JSON.
    pub fn stream(&self, work: impl FnOnce(&Heard) -> Answer + Send + 'static) -> Reply {
        let Ok(place) = Arc::clone(&self.waiting).try_acquire_owned() else {
            return busy();
        };
        let (give, take) = mpsc::channel(LINES);
        let cancel = Cancel::default();
        let heard = Heard::new(cancel.clone(), Some(give.clone()));
        let (works, alive) = (self.clone(), self.life.busy());
        tokio::spawn(async move {
            let last = works.run(heard, work).await;
            drop(place);
            let last = match last {
                Done::Answered(json) => line_of("answer", &json),
                Done::Failed(why) => line("error", &why),
                Done::Cancelled => return,
            };
            let _ = give.send(last).await;
            drop(alive);
        });
        reply::lines(take, Box::new(Wanted(cancel)))
    }

    /// Does a piece of work, whose reply comes in one piece.
    pub async fn whole(
        &self,
        work: impl FnOnce(&Heard) -> Result<Reply, String> + Send + 'static,
    ) -> Reply {
        let Ok(_place) = self.waiting.try_acquire() else {
            return busy();
        };
        let _alive = self.life.busy();
        let cancel = Cancel::default();
        // Whoever asked goes: this future goes, and so does this.
        let _wanted = Wanted(cancel.clone());
        match self.run(Heard::new(cancel, None), work).await {
            Done::Answered(reply) => reply,
            Done::Failed(why) => reply::error(StatusCode::UNPROCESSABLE_ENTITY, &why),
            Done::Cancelled => reply::empty(StatusCode::SERVICE_UNAVAILABLE),
        }
    }

    async fn run<T: Send + 'static>(
        &self,
        heard: Heard,
        work: impl FnOnce(&Heard) -> Result<T, String> + Send + 'static,
    ) -> Done<T> {
        let Ok(turn) = Arc::clone(&self.running).acquire_owned().await else {
            return Done::Cancelled;
        };
        // The turn ends with the work, not with whoever waits for it.
        let done = spawn_blocking(move || {
            let _turn = turn;
            if heard.cancel.is_cancelled() {
                return None;
            }
            Some(work(&heard)).filter(|_| !heard.cancel.is_cancelled())
        });
        match done.await {
            Ok(Some(Ok(value))) => Done::Answered(value),
            Ok(Some(Err(why))) => Done::Failed(why),
            Ok(None) => Done::Cancelled,
            Err(error) => unwound(error),
        }
    }
}

/// How a piece of work ended.
enum Done<T> {
    Answered(T),
    Failed(String),
    Cancelled,
}

/// Why it unwound: it was cancelled, or this program has a fault.
fn unwound<T>(error: JoinError) -> Done<T> {
    match error.try_into_panic() {
        Ok(payload) if payload.is::<Cancelled>() => Done::Cancelled,
        Ok(_) => Done::Failed(
            "the program has a fault: the answer could not be worked out; its message stands where it was started"
                .to_string(),
        ),
        Err(_) => Done::Cancelled,
    }
}

fn busy() -> Reply {
    let why = format!("{WAITING_MAX} questions wait already; ask again when some are answered");
    reply::error(StatusCode::SERVICE_UNAVAILABLE, &why)
}
