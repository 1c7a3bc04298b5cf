//! The same work on many items, on some threads.

use std::panic::resume_unwind;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread::{self, Builder};

/// Does `work` on each of `count` items, `threads` at a time; results in order, whatever the
/// threads. `each` hears how many are done. Where the system has fewer threads to give, those there are do
/// the work; the caller's own is always one of them. Where `each` or `work` unwinds, so does this, with the same payload.
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
        let spawn = || Builder::new().spawn_scoped(scope, worker).ok();
        let others: Vec<_> = (1..threads.min(count)).map_while(|_| spawn()).collect();
        worker();
        for other in others {
            // Whoever gives the work up has it unwind; so do the others, and nothing is said of it.
            if let Err(payload) = other.join() {
                resume_unwind(payload);
            }
        }
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::panic::{AssertUnwindSafe, catch_unwind};

    /// Work is given up by unwinding, whichever thread is the first to hear of it.
    #[test]
    fn what_unwinds_comes_out() {
        let others = Mutex::new(0);
        let own = thread::current().id();
        for from_own in [true, false] {
            let each = |_| {
                if (thread::current().id() == own) == from_own {
                    resume_unwind(Box::new("given up"));
                }
                *others.lock().unwrap() += 1;
                thread::sleep(std::time::Duration::from_millis(1));
            };
            let work = || map(100, 2, &each, &|k| k);
            let payload = catch_unwind(AssertUnwindSafe(work)).unwrap_err();
            assert_eq!(payload.downcast_ref(), Some(&"given up"));
        }
    }
}
