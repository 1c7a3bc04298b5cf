//! `open`: starts the server, prints its address, has the browser open it, and waits for the end.

use std::io;
use std::path::Path;
use std::process::ExitCode;
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use headstall::board::builtin;

use super::super::args::{OnBoard, Open};
use super::super::failure::Failure;
use super::super::inputs;
use super::super::terminal::print;
use super::ask::BoardAsked;
use super::browser;
use super::connections::{self, Connections};
use super::guard::{self, Guard};
use super::life::Life;
use super::shapes::Shapes;
use super::state::{JobHeld, Start, State};
use super::store::{Held, Kind, Store};
use super::work::Works;

/// A thread without work is kept this long.
const FOR_EVER: Duration = Duration::from_secs(u32::MAX as u64);

/// Carries the command out.
pub fn run(args: &Open) -> Result<ExitCode, Failure> {
    let store = Store::default();
    let start = Start {
        board: board(args)?,
        job: match &args.job {
            Some(path) => Some(job(&store, path)?),
            None => None,
        },
    };
    let failed = |e: io::Error| Failure::Other(format!("the server cannot start: {e}"));
    // Answers are worked out on threads; without one there is none.
    let tried = thread::Builder::new().spawn(|| ());
    let _ = tried
        .map_err(|e| {
            Failure::Other(format!(
                "the page needs a thread beside its own, and this system gives none: {e}"
            ))
        })?
        .join();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_io()
        .enable_time()
        .thread_keep_alive(FOR_EVER)
        .build()
        .map_err(failed)?;
    // The first is kept, so that later there is always one.
    runtime.spawn_blocking(|| ());
    let ended = runtime.block_on(serve(args, store, start));
    runtime.shutdown_background();
    ended.map(|()| ExitCode::SUCCESS)
}

/// The board to begin with, checked.
fn board(args: &Open) -> Result<BoardAsked, Failure> {
    let on = OnBoard {
        board: args.board.clone(),
        set: args.set.clone(),
        seed: 0,
    };
    let (_, text) = inputs::board_and_text(&on)?;
    let built_in = builtin::text(&args.board).is_some();
    Ok(BoardAsked {
        name: built_in.then(|| args.board.clone()),
        text: (!built_in).then_some(text),
        file: (!built_in).then(|| super::ask::label(&args.board)),
        sets: args.set.iter().map(ToString::to_string).collect(),
    })
}

/// The job to begin with.
fn job(store: &Store, path: &Path) -> Result<JobHeld, Failure> {
    let (name, file, bytes) = inputs::job_file(path)?;
    let held = store.room().and_then(|mut room| {
        room.grow(bytes)?;
        let held = Held::new(Kind::Job, name, file).map_err(|e| e.to_string())?;
        room.keep(held.clone());
        Ok(held)
    });
    let held = held.map_err(|why| Failure::Unusable(format!("{}: {why}", path.display())))?;
    Ok(JobHeld::from(&held))
}

async fn serve(args: &Open, store: Store, start: Start) -> Result<(), Failure> {
    let failed = |e: &dyn std::fmt::Display| {
        Failure::Other(format!(
            "127.0.0.1:{}: cannot be listened on: {e}",
            args.port
        ))
    };
    let listeners = connections::listen(args.port)
        .await
        .map_err(|e| failed(&e))?;
    let addresses = connections::addresses(&listeners).map_err(|e| failed(&e))?;
    let secret = || guard::secret().map_err(|e| Failure::Other(format!("no random bytes: {e}")));
    let (token, code) = (secret()?, secret()?);
    let life = Life::new();
    let state = Arc::new(State {
        token,
        code: Mutex::new((!args.no_browser).then(|| (code.clone(), Instant::now()))),
        guard: Guard::of(&addresses),
        store,
        shapes: Shapes::default(),
        works: Works::new(life.clone()),
        life: life.clone(),
        start,
    });
    let all = Connections::default();
    for listener in listeners {
        tokio::spawn(connections::take(listener, all.clone(), Arc::clone(&state)));
    }
    let server = format!("http://{}", addresses[0]);
    print(&told(&format!("{server}/{}/", state.token), args.idle))?;
    if !args.no_browser && browser::open(&format!("{server}/{code}")).is_err() {
        print("No browser could be opened: open the address yourself.\n")?;
    }
    life.ends(args.idle).await;
    Ok(())
}

fn told(address: &str, idle_s: u64) -> String {
    format!(
        "{address}\n\
         The page is for this computer only; whoever has the address can use it, so don't pass it on. It ends {idle_s} s after you\n\
         close the page, or with Ctrl-C. Nothing that you drop on it is kept.\n"
    )
}
