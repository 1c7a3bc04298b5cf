//! Connections: on this computer's own addresses only, a limited number of them at a time.

use std::collections::VecDeque;
use std::convert::Infallible;
use std::io;
use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;
use tokio::time::sleep;

use super::routes;
use super::state::State;

/// Most connections at a time.
pub const CONNECTIONS_MAX: usize = 64;
/// The head of a request must have come after so long.
const HEAD_MAX: Duration = Duration::from_secs(10);
/// Bytes of a request's head.
const HEAD_BYTES_MAX: usize = 16 << 10;
/// How often another port is tried where one is free on one of the two addresses only.
const PORTS_TRIED: usize = 20;

/// Listens on 127.0.0.1 and, where this system has it, on ::1, on one port.
///
/// # Errors
/// Where the port is not to be had.
pub async fn listen(port: u16) -> io::Result<Vec<TcpListener>> {
    let mut tried = 0;
    loop {
        let four = TcpListener::bind((Ipv4Addr::LOCALHOST, port)).await?;
        let both = four.local_addr()?.port();
        match TcpListener::bind((Ipv6Addr::LOCALHOST, both)).await {
            Ok(six) => return Ok(vec![four, six]),
            Err(e) if e.kind() != io::ErrorKind::AddrInUse => return Ok(vec![four]),
            Err(e) if port != 0 || tried == PORTS_TRIED => return Err(e),
            Err(_) => tried += 1,
        }
    }
}

/// Where these listen.
///
/// # Errors
/// Where the system does not tell.
pub fn addresses(listeners: &[TcpListener]) -> io::Result<Vec<SocketAddr>> {
    listeners.iter().map(TcpListener::local_addr).collect()
}

/// A connection that is open.
struct Open {
    task: JoinHandle<()>,
    /// Whether a request with the token has come through it.
    known: Arc<AtomicBool>,
}

/// All connections, the oldest first.
#[derive(Clone, Default)]
pub struct Connections(Arc<Mutex<VecDeque<Open>>>);

impl Connections {
    /// Whether one more may be opened. Where there are too many, the oldest of those goes that have not shown the
    /// token: whoever opens connections only to hold them cannot keep the page out.
    fn make_room(&self) -> bool {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.retain(|open| !open.task.is_finished());
        if all.len() < CONNECTIONS_MAX {
            return true;
        }
        let stranger = |open: &Open| !open.known.load(Ordering::Relaxed);
        match all.iter().position(stranger) {
            Some(at) => {
                if let Some(open) = all.remove(at) {
                    open.task.abort();
                }
                true
            }
            None => false,
        }
    }

    fn add(&self, task: JoinHandle<()>, known: Arc<AtomicBool>) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.push_back(Open { task, known });
    }
}

/// Takes connections, for ever.
pub async fn take(listener: TcpListener, all: Connections, state: Arc<State>) {
    loop {
        let Ok((stream, _)) = listener.accept().await else {
            // No file handle left, perhaps: some time later there is one.
            sleep(Duration::from_millis(100)).await;
            continue;
        };
        // Beyond the limit: closed at once.
        if all.make_room() {
            let known = Arc::new(AtomicBool::new(false));
            let task = tokio::spawn(serve(stream, Arc::clone(&state), Arc::clone(&known)));
            all.add(task, known);
        }
    }
}

async fn serve(stream: TcpStream, state: Arc<State>, known: Arc<AtomicBool>) {
    let _ = stream.set_nodelay(true);
    let service = service_fn(move |request| {
        let (state, known) = (Arc::clone(&state), Arc::clone(&known));
        async move {
            let shown = || known.store(true, Ordering::Relaxed);
            Ok::<_, Infallible>(routes::answer(state, request, shown).await)
        }
    });
    // What goes wrong with a connection is whoever's at its other end.
    let _ = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_MAX)
        .max_buf_size(HEAD_BYTES_MAX)
        .serve_connection(TokioIo::new(stream), service)
        .await;
}
