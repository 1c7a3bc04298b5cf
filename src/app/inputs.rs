//! The job and the board, opened.

use std::fs::File;
use std::io::{self, Read, Seek, Write};
use std::path::Path;
use std::sync::Arc;

use headstall::answer::job::Job;
use headstall::answer::trouble::Trouble;
use headstall::board::builtin;
use headstall::board::profile;
use headstall::board::types::Board;
use headstall::job::reader::{HEAD_BYTES, JobError, foreign};
use headstall::text::clean;

use super::args::OnBoard;
use super::failure::{Failure, larger_than};

/// What is said in place of a file's name.
const STANDARD_INPUT: &str = "standard input";

/// Refuses a layer that a file's job has not, as soon as reading alone tells.
pub fn check_layer(job: &mut Job, layer: u32) -> Result<(), Failure> {
    if job.bytes.is_none() {
        return Ok(());
    }
    // What is wrong with the job is told by its replay.
    let Ok(mut reader) = job.read() else {
        return Ok(());
    };
    while let Ok(Some(_)) = reader.next_step() {}
    let layers = reader.layers().count().max(1);
    if layer < layers {
        return Ok(());
    }
    Err(Failure::Unusable(format!(
        "--{}",
        Trouble::Layer { layer, layers }
    )))
}

/// The job, opened; `-` is standard input. `again`: it will be read more than once.
pub fn job(path: &Path, again: bool) -> Result<Job, Failure> {
    if path.as_os_str() == "-" {
        return standard_input(again);
    }
    let (name, mut file, bytes) = opened(path)?;
    if bytes.is_some() {
        return Ok(from_file(name, bytes, file));
    }
    if again {
        let file = spooled(&mut file, &name)?;
        return Ok(from_file(name, None, file));
    }
    let file = Arc::new(file);
    Ok(Job::new(name, None, move || {
        Ok(Box::new(Onward(Arc::clone(&file))))
    }))
}

/// The job as a file that stays open, its name, and its length in bytes; what can be read only once is stored
/// first.
pub fn job_file(path: &Path) -> Result<(String, File, u64), Failure> {
    let (name, file) = if path.as_os_str() == "-" {
        let name = STANDARD_INPUT.to_string();
        let file = spooled(&mut io::stdin().lock(), &name)?;
        (name, file)
    } else {
        let (name, mut file, bytes) = opened(path)?;
        if bytes.is_none() {
            file = spooled(&mut file, &name)?;
        }
        (name, file)
    };
    let meta = file.metadata();
    let meta = meta.map_err(|e| Failure::Unusable(format!("{name}: cannot be read: {e}")))?;
    Ok((name, file, meta.len()))
}

/// A file that is no folder, its name, and its length where it is a plain file, bytes.
fn opened(path: &Path) -> Result<(String, File, Option<u64>), Failure> {
    let shown = path.display().to_string();
    let unusable = |e: io::Error| Failure::reading(&shown, &e);
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
    Ok((name, file, bytes))
}

fn standard_input(again: bool) -> Result<Job, Failure> {
    let name = STANDARD_INPUT.to_string();
    if again {
        let file = spooled(&mut io::stdin().lock(), &name)?;
        return Ok(from_file(name, None, file));
    }
    Ok(Job::new(name, None, || Ok(Box::new(io::stdin()))))
}

/// A job in a file that stays open, so that it is the same each time it is read.
fn from_file(name: String, bytes: Option<u64>, file: File) -> Job {
    let file = Arc::new(file);
    Job::new(name, bytes, move || {
        Ok(Box::new(FromStart::new(Arc::clone(&file))))
    })
}

/// A file that can be read only once, from where it is.
struct Onward(Arc<File>);

impl Read for Onward {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        (&*self.0).read(buffer)
    }
}

/// A reading of a file that minds its own place, so that several may go on at a time.
pub struct FromStart {
    file: Arc<File>,
    /// Where it has got to, bytes.
    pub at: u64,
}

impl FromStart {
    /// A reading that has not begun.
    pub fn new(file: Arc<File>) -> Self {
        FromStart { file, at: 0 }
    }
}

impl Read for FromStart {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        #[cfg(unix)]
        let count = std::os::unix::fs::FileExt::read_at(&*self.file, buffer, self.at)?;
        #[cfg(windows)]
        let count = std::os::windows::fs::FileExt::seek_read(&*self.file, buffer, self.at)?;
        self.at += count as u64;
        Ok(count)
    }
}

/// What can be read only once is stored up to this length, bytes: a device may have no end.
const SPOOLED_BYTES_MAX: u64 = 4 << 30;

/// What can be read only once, in a temporary file.
fn spooled(source: &mut impl Read, name: &str) -> Result<File, Failure> {
    stored(source, name, SPOOLED_BYTES_MAX)
}

/// The same up to this length, bytes.
fn stored(source: &mut impl Read, name: &str, bytes_max: u64) -> Result<File, Failure> {
    let failed =
        |e: io::Error| Failure::storing(&format!("{name}: has to be read more than once, but"), &e);
    let mut kept = tempfile::tempfile().map_err(failed)?;
    let mut buffer = vec![0; 1 << 16];
    let mut bytes = 0;
    loop {
        match source.read(&mut buffer) {
            Ok(0) => break,
            Ok(n) => {
                let head = &buffer[..n.min(HEAD_BYTES)];
                if let Some(why) = foreign(head).filter(|_| bytes == 0) {
                    let no = JobError::NotAJob(why);
                    return Err(Failure::Unusable(format!("{name}: {no}")));
                }
                bytes += n as u64;
                if bytes > bytes_max {
                    let large = larger_than(bytes_max);
                    return Err(Failure::Unusable(format!(
                        "{name}: {large}; name a file instead, which need not be stored"
                    )));
                }
                kept.write_all(&buffer[..n]).map_err(failed)?;
            }
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(Failure::reading(name, &e)),
        }
    }
    kept.rewind().map_err(failed)?;
    Ok(kept)
}

/// The largest board file that is read, bytes.
pub const BOARD_BYTES_MAX: u64 = 1 << 20;
/// What is said of a larger one.
pub fn large_board() -> String {
    let large = larger_than(BOARD_BYTES_MAX);
    format!("{large}; a board file is a page of text (`headstall boards NAME`)")
}

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
        Err(e) => return Err(Failure::reading(&on.board, &e)),
    };
    let mut text = Vec::new();
    file.take(BOARD_BYTES_MAX + 1)
        .read_to_end(&mut text)
        .map_err(|e| Failure::reading(&on.board, &e))?;
    if text.len() as u64 > BOARD_BYTES_MAX {
        return Err(Failure::Unusable(format!(
            "{}: {}",
            on.board,
            large_board()
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

/// The failure of a question about a board that was named so.
pub fn failure(trouble: Trouble, board: &str) -> Failure {
    Failure::Unusable(match trouble {
        Trouble::Board { why } => format!("--board {board}: {why}"),
        Trouble::Layer { .. } => format!("--{trouble}"),
        Trouble::Job { .. } => trouble.to_string(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Something without an end is stored up to a limit, here a small one.
    #[test]
    fn what_is_stored_has_an_end() {
        let job = "G1 X1\n".repeat(1 << 18);
        let stored = |bytes: usize| stored(&mut &job.as_bytes()[..bytes], "a pipe", 1 << 20);
        let whole = stored(1 << 20).unwrap();
        assert_eq!(whole.metadata().unwrap().len(), 1 << 20);
        let why = stored((1 << 20) + 1).unwrap_err();
        assert_eq!(why.exit_code(), 2);
        let why = why.to_string();
        assert!(
            why.starts_with("a pipe: is larger than 1 MiB; name a file"),
            "{why}"
        );
        assert_eq!(larger_than(SPOOLED_BYTES_MAX), "is larger than 4 GiB");
    }
}
