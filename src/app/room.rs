//! What this computer has to give: memory, and threads. The system ends a program that asks for more memory than
//! there is, without a word of ours, so that it is tried beforehand.

use std::sync::OnceLock;

use super::failure::Failure;

/// Less memory than this and not even a small job is replayed, bytes.
const MEMORY_MIN: usize = 48 << 20;
/// Address space that a thread may take for itself beyond what it works on: its stack, and the heap that the C
/// library reserves for each thread (64 MiB and as much again to align it, in glibc's `arena.c`), bytes.
const THREAD: usize = 130 << 20;
/// Memory that is left for the work where several threads share it, bytes.
const SHARED: usize = 256 << 20;
/// Threads that serve the others: one for signals, one that reads ahead.
const SERVANTS: usize = 2;
/// Memory is tried in pieces of this size, so that their sum counts and not the size of one, bytes.
const PIECE: usize = 64 << 20;

/// Refuses to begin where memory is so short that the system would end the program on the way.
pub fn check_memory() -> Result<(), Failure> {
    if has(MEMORY_MIN) {
        return Ok(());
    }
    let mib = MEMORY_MIN >> 20;
    Err(Failure::Other(format!(
        "there is too little memory: {mib} MiB must be free beyond the program itself"
    )))
}

/// Whether a thread may be begun that only waits.
pub fn for_a_waiting_thread() -> bool {
    has(MEMORY_MIN + THREAD)
}

/// How many threads are to work at a time: as many as this computer runs at a time, fewer where there is no memory
/// for that many.
pub fn threads() -> usize {
    static THREADS: OnceLock<usize> = OnceLock::new();
    *THREADS.get_or_init(|| {
        let most = std::thread::available_parallelism().map_or(1, usize::from);
        let fit = |n: &usize| has(SHARED + (n + SERVANTS) * THREAD);
        (2..=most).rev().find(fit).unwrap_or(1)
    })
}

/// Whether so much memory is to be had; it is given back.
fn has(bytes: usize) -> bool {
    let mut pieces: Vec<Vec<u8>> = Vec::new();
    let mut rest = bytes;
    while rest > 0 {
        let piece = rest.min(PIECE);
        let mut room = Vec::new();
        if room.try_reserve_exact(piece).is_err() {
            return false;
        }
        pieces.push(room);
        rest -= piece;
    }
    // Memory that nobody looks at need not be asked for: a compiler may leave all of this out.
    std::hint::black_box(&pieces);
    true
}
