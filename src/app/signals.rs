//! Signals that would end the program on the spot.

#[cfg(unix)]
use std::process;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

#[cfg(unix)]
use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM, SIGXFSZ};

#[cfg(unix)]
use super::room::for_a_waiting_thread;

/// From now on writing beyond `ulimit -f` fails like all writing.
pub fn survive_file_limit() {
    #[cfg(unix)]
    let _ = signal_hook::flag::register(SIGXFSZ, Arc::default());
}

/// What is swept when a signal ends the program.
#[cfg(unix)]
static SWEEPS: Mutex<Vec<Box<dyn Fn() + Send>>> = Mutex::new(Vec::new());

/// From now on SIGHUP, SIGINT and SIGTERM, those that are not ignored, wait for `kept`, have it swept, and
/// end the program. Where there is no thread to hear them they go on ending it at once, and the next run sweeps.
#[cfg(unix)]
pub fn sweep_at_end<T: Send + 'static>(kept: &Arc<Mutex<T>>, sweep: fn(&mut T)) {
    let mut sweeps = lock(&SWEEPS);
    if sweeps.is_empty() && (!for_a_waiting_thread() || listen().is_err()) {
        return;
    }
    let kept = Arc::clone(kept);
    sweeps.push(Box::new(move || {
        let mut kept = lock(&kept);
        sweep(&mut kept);
        // Never given back: nobody else gets to see what has been swept.
        std::mem::forget(kept);
    }));
}

/// Begins the thread that hears signals.
#[cfg(unix)]
fn listen() -> std::io::Result<()> {
    let ignored = ignored();
    let heard = [SIGHUP, SIGINT, SIGTERM].into_iter();
    let heard = heard.filter(|signal| ignored >> (signal - 1) & 1 == 0);
    // The thread first: once signals are taken, somebody must hear them.
    let (give, take) = std::sync::mpsc::sync_channel::<signal_hook::iterator::Signals>(1);
    let end = move || {
        let Ok(mut signals) = take.recv() else { return };
        if let Some(signal) = signals.forever().next() {
            lock(&SWEEPS).iter().for_each(|sweep| sweep());
            // By the signal itself, so that a shell's loop ends with us.
            let _ = signal_hook::low_level::emulate_default_handler(signal);
            process::exit(128 + signal);
        }
    };
    std::thread::Builder::new().spawn(end)?;
    // A thread that has ended by now has left the signals as they were.
    let _ = give.send(signal_hook::iterator::Signals::new(heard)?);
    Ok(())
}

/// The signals that whoever started the program has it ignore, as bits (Linux only).
#[cfg(unix)]
fn ignored() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let bits = status.lines().find_map(|l| l.strip_prefix("SigIgn:"));
    let bits = bits.and_then(|b| u64::from_str_radix(b.trim(), 16).ok());
    bits.unwrap_or(0)
}

/// Elsewhere they end it at once.
#[cfg(not(unix))]
pub fn sweep_at_end<T>(_: &Arc<Mutex<T>>, _: fn(&mut T)) {}

/// The lock, whatever became of who had it.
pub fn lock<T>(kept: &Mutex<T>) -> MutexGuard<'_, T> {
    kept.lock().unwrap_or_else(PoisonError::into_inner)
}
