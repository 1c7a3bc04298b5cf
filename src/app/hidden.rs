//! The hidden folder in which results are made. It goes when the run ends, be it by a signal.

use std::env;
use std::fs;
use std::io;
use std::ops::Deref;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use tempfile::TempDir;

use super::signals::{lock, sweep_at_end};

/// How its name begins.
const PREFIX: &str = ".headstall-";

/// A hidden folder.
pub struct Hidden(Arc<Mutex<PathBuf>>);

impl Hidden {
    /// One from which files can be renamed to `place`; beside it, if it can be swapped from there.
    pub fn open(place: &Path) -> io::Result<Self> {
        let hidden = Hidden(Arc::default());
        let mut path = lock(&hidden.0);
        sweep_at_end(&hidden.0, sweep)?;
        *path = made(place)?.keep();
        drop(path);
        Ok(hidden)
    }

    /// Its path: no signal ends the program while this is held.
    pub fn path(&self) -> impl Deref<Target = PathBuf> {
        lock(&self.0)
    }
}

impl Drop for Hidden {
    fn drop(&mut self) {
        sweep(&mut lock(&self.0));
    }
}

fn sweep(path: &mut PathBuf) {
    let _ = fs::remove_dir_all(path);
}

/// Whether this is what a run left that was killed as it began: then it goes.
pub fn is_leftover(path: &Path) -> bool {
    let named = path.file_name().and_then(|n| n.to_str());
    named.is_some_and(|n| n.starts_with(PREFIX)) && fs::remove_dir(path).is_ok()
}

fn made(place: &Path) -> io::Result<TempDir> {
    let new_in = |folder: &Path| tempfile::Builder::new().prefix(PREFIX).tempdir_in(folder);
    let Ok(place) = place.canonicalize() else {
        return new_in(nearest(place));
    };
    let within = new_in(&place)?;
    let beside = place.parent().filter(|_| !holds_us(&place));
    match beside.and_then(|parent| new_in(parent).ok()) {
        // Neither another file system nor a lack of rights parts the two.
        Some(beside) if fs::rename(within.path(), beside.path()).is_ok() => Ok(beside),
        _ => Ok(within),
    }
}

/// Whether the current folder is this one or in it: who stands there would be left in a deleted one.
fn holds_us(place: &Path) -> bool {
    env::current_dir().map_or(true, |d| d.starts_with(place))
}

/// The nearest folder above a place that exists.
fn nearest(place: &Path) -> &Path {
    let above = place.ancestors().find(|p| p.is_dir());
    above.unwrap_or(Path::new("."))
}
