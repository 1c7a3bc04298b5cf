//! The same work on many items, on some threads.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread::{self, Builder};

/// Does `work` on each of `count` items, `threads` at a time; results in order, whatever the
/// threads. `each` hears how many are done. Where the system has fewer threads to give, those there are do
/// the work; the caller's own is always one of them.
pub fn map<R: Send>(
    count: usize,
    threads: usize,
    each: &(dyn Fn(usize) + Sync),
    work: &(dyn Fn(usize) -> R + Sync),
) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let done = AtomicUsize::new(0);
    let results: Mutex<Vec<Option<R>>> = Mutex::new((0..count).map(|_| None).collect());
    let worker = || {
        loop {
            let item = next.fetch_add(1, Ordering::Relaxed);
            if item >= count {
                break;
            }
            let result = work(item);
            results.lock().expect("no worker panics")[item] = Some(result);
            each(done.fetch_add(1, Ordering::Relaxed) + 1);
        }
    };
    thread::scope(|scope| {
        for _ in 1..threads.min(count) {
            if Builder::new().spawn_scoped(scope, worker).is_err() {
                break;
            }
        }
        worker();
    });
    let results = results.into_inner().expect("no worker panics");
    results
        .into_iter()
        .map(|r| r.expect("each item was worked on"))
        .collect()
}

/// The same for work that can fail: the error is that of the first item in order that fails, whatever the
/// threads; items behind one that has failed are left out.
pub fn try_map<R: Send, E: Send>(
    count: usize,
    threads: usize,
    each: &(dyn Fn(usize) + Sync),
    work: &(dyn Fn(usize) -> Result<R, E> + Sync),
) -> Result<Vec<R>, E> {
    let failed = AtomicUsize::new(usize::MAX);
    let results = map(count, threads, each, &|k| {
        if k > failed.load(Ordering::Relaxed) {
            return None;
        }
        let result = work(k);
        if result.is_err() {
            failed.fetch_min(k, Ordering::Relaxed);
        }
        Some(result)
    });
    // Those left out stand behind an error.
    results.into_iter().flatten().collect()
}
