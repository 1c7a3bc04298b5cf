//! Signals that would end the program on the spot.

#[cfg(unix)]
use std::process;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

#[cfg(unix)]
use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM, SIGXFSZ};

/// From now on writing beyond `ulimit -f` fails like all writing.
pub fn survive_file_limit() {
    #[cfg(unix)]
    let _ = signal_hook::flag::register(SIGXFSZ, Arc::default());
}

/// From now on SIGHUP, SIGINT and SIGTERM, those that are not ignored, wait for `kept`, have it swept, and
/// end the program. An error: they go on ending it at once.
#[cfg(unix)]
pub fn sweep_at_end<T: Send + 'static>(
    kept: &Arc<Mutex<T>>,
    sweep: fn(&mut T),
) -> std::io::Result<()> {
    let ignored = ignored();
    let heard = [SIGHUP, SIGINT, SIGTERM].into_iter();
    let heard = heard.filter(|signal| ignored >> (signal - 1) & 1 == 0);
    let kept = Arc::clone(kept);
    // The thread first: once signals are taken, somebody must hear them.
    let (give, take) = std::sync::mpsc::sync_channel::<signal_hook::iterator::Signals>(1);
    let end = move || {
        let Ok(mut signals) = take.recv() else { return };
        if let Some(signal) = signals.forever().next() {
            // Never given back: nobody else gets to see what has been swept.
            let mut kept = lock(&kept);
            sweep(&mut kept);
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
pub fn sweep_at_end<T>(_: &Arc<Mutex<T>>, _: fn(&mut T)) -> std::io::Result<()> {
    Ok(())
}

/// The lock, whatever became of who had it.
pub fn lock<T>(kept: &Mutex<T>) -> MutexGuard<'_, T> {
    kept.lock().unwrap_or_else(PoisonError::into_inner)
}
