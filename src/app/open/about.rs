//! What the page is told as it opens.

use headstall::board::{builtin, handbook, questions};
use serde::Serialize;
use serde_json::{Value, json};

use super::state::State;
use super::{intake, store, work};

/// Longest job, bytes.
pub const JOB_BYTES_MAX: u64 = 1 << 30;
/// Longest recording, bytes.
pub const RECORDING_BYTES_MAX: u64 = 512 << 20;

#[derive(Serialize)]
struct BuiltIn {
    name: &'static str,
    what: &'static str,
    text: &'static str,
}

/// Version, boards, questions, keys, limits, and what to begin with.
pub fn about(state: &State) -> Value {
    let boards = builtin::names().map(|name| BuiltIn {
        name,
        what: builtin::one_line(name).unwrap_or_default(),
        text: builtin::text(name).unwrap_or_default(),
    });
    json!({
        "version": env!("CARGO_PKG_VERSION"),
        "boards": boards.collect::<Vec<_>>(),
        "questions": questions::QUESTIONS,
        "keys": handbook::notes(),
        "limits": {
            "job_bytes": JOB_BYTES_MAX,
            "recording_bytes": RECORDING_BYTES_MAX,
            "json_bytes": intake::JSON_BYTES_MAX,
            "files": store::FILES_MAX,
            "files_bytes": store::BYTES_MAX,
            "works": work::WORKS_MAX,
        },
        "start": state.start,
    })
}
