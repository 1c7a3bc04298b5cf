//! Signals that would end the program on the spot.

/// From now on writing beyond `ulimit -f` fails like all writing.
pub fn survive_file_limit() {
    #[cfg(unix)]
    let _ = signal_hook::flag::register(signal_hook::consts::SIGXFSZ, std::sync::Arc::default());
}
