//! The job and the board, opened.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use headstall::board::builtin;
use headstall::board::profile;
use headstall::board::types::Board;
use headstall::job::reader::JobReader;
use headstall::text::clean;

use super::args::OnBoard;
use super::failure::Failure;

/// A job's bytes, its name, and its length if that is known.
pub struct JobInput {
    /// The bytes.
    pub source: Source,
    /// The name that messages and results use.
    pub name: String,
    /// Length of a file proper, bytes.
    pub bytes: Option<u64>,
}

/// Where a job's bytes come from.
pub enum Source {
    /// Standard input.
    Stdin(io::Stdin),
    /// A file, or something that stands for one.
    File(File),
}

impl Read for Source {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match self {
            Source::Stdin(stdin) => stdin.read(buffer),
            Source::File(file) => file.read(buffer),
        }
    }
}

/// Less memory than this and not even a small job is replayed, bytes.
const MEMORY_MIN: usize = 48 << 20;

/// Refuses to begin where memory is so short that the system would end the program on the way.
fn check_memory() -> Result<(), Failure> {
    let mut room: Vec<u8> = Vec::new();
    room.try_reserve_exact(MEMORY_MIN).map_err(|_| {
        let mib = MEMORY_MIN >> 20;
        Failure::Other(format!(
            "there is too little memory: {mib} MiB are not to be had"
        ))
    })
}

/// Refuses a layer that the job has not, as soon as reading alone tells.
pub fn check_layer(path: &Path, layer: u32) -> Result<(), Failure> {
    let mut reader = JobReader::new(job(path)?.source);
    // What is wrong with the job is told by its replay.
    while let Ok(Some(_)) = reader.next_step() {}
    let layers = reader.layers().count().max(1);
    if layer < layers {
        return Ok(());
    }
    Err(Failure::Unusable(format!(
        "--layer {layer}: the job has layers 0 to {}",
        layers - 1
    )))
}

/// Opens the job; `-` is standard input.
pub fn job(path: &Path) -> Result<JobInput, Failure> {
    check_memory()?;
    if path.as_os_str() == "-" {
        return Ok(JobInput {
            source: Source::Stdin(io::stdin()),
            name: "standard input".to_string(),
            bytes: None,
        });
    }
    let shown = path.display().to_string();
    let unusable = |e: io::Error| Failure::Unusable(format!("{shown}: cannot be read: {e}"));
    let file = File::open(path).map_err(unusable)?;
    let meta = file.metadata().map_err(unusable)?;
    if meta.is_dir() {
        return Err(Failure::Unusable(format!(
            "{shown}: is a folder; name a job file, or - for standard input"
        )));
    }
    let name = path
        .file_name()
        .map_or(shown.clone(), |n| clean(&n.to_string_lossy()).into_owned());
    let bytes = meta.is_file().then_some(meta.len());
    Ok(JobInput {
        source: Source::File(file),
        name,
        bytes,
    })
}

/// The largest board file that is read, bytes.
const BOARD_BYTES_MAX: u64 = 1 << 20;

/// The board: a name of ours, or a file.
pub fn board(on: &OnBoard) -> Result<Board, Failure> {
    Ok(board_and_text(on)?.0)
}

/// The board, and its file as it stands.
pub fn board_and_text(on: &OnBoard) -> Result<(Board, String), Failure> {
    let text = board_text(on)?;
    let board =
        profile::parse(&text, &on.board, &on.set).map_err(|e| Failure::Unusable(e.to_string()))?;
    Ok((board, text))
}

/// The board's file.
fn board_text(on: &OnBoard) -> Result<String, Failure> {
    if let Some(text) = builtin::text(&on.board) {
        return Ok(text.to_string());
    }
    let path = Path::new(&on.board);
    let file = match File::open(path) {
        Ok(file) => file,
        Err(e) if e.kind() == io::ErrorKind::NotFound && path.extension().is_none() => {
            return Err(no_board(&on.board));
        }
        Err(e) => {
            return Err(Failure::Unusable(format!(
                "{}: cannot be read: {e}",
                on.board
            )));
        }
    };
    let mut text = Vec::new();
    file.take(BOARD_BYTES_MAX + 1)
        .read_to_end(&mut text)
        .map_err(|e| Failure::Unusable(format!("{}: cannot be read: {e}", on.board)))?;
    if text.len() as u64 > BOARD_BYTES_MAX {
        return Err(Failure::Unusable(format!(
            "{}: is larger than 1 MiB; a board file is a page of text (`headstall boards NAME`)",
            on.board
        )));
    }
    String::from_utf8(text).map_err(|e| {
        let at = e.utf8_error().valid_up_to();
        Failure::Unusable(format!(
            "{}: byte {at}: is not UTF-8 text, as TOML must be",
            on.board
        ))
    })
}

/// The failure of naming a board that there isn't.
pub fn no_board(name: &str) -> Failure {
    let names: Vec<&str> = builtin::names().collect();
    Failure::Unusable(format!(
        "--board {name}: there is no such board or file; boards that come with the program: {}",
        names.join(", ")
    ))
}
