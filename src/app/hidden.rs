//! The hidden folder in which results are made. It goes when the run ends, be it by a signal.
//!
//! A run that is killed, or that the system ends for want of memory, cannot take it away. So whoever makes
//! results holds a lock on its hidden folder, which the system lifts with the process; the next run that makes
//! one in the same place removes those that nobody holds.

use std::env;
use std::fs::{self, File};
use std::io;
use std::ops::Deref;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::{Duration, SystemTime};

use tempfile::TempDir;

use super::signals::{lock, sweep_at_end};
use super::written::names;

/// How its name begins.
pub const PREFIX: &str = ".headstall-";

/// A hidden folder.
pub struct Hidden {
    path: Arc<Mutex<PathBuf>>,
    /// Held as long as this is.
    _lock: Option<File>,
}

impl Hidden {
    /// One from which files can be renamed to `place`; beside it, if it can be swapped from there.
    pub fn open(place: &Path) -> io::Result<Self> {
        let kept: Arc<Mutex<PathBuf>> = Arc::default();
        let mut path = lock(&kept);
        sweep_at_end(&kept, sweep);
        let made = made(place)?.keep();
        let held = held(&made);
        *path = made;
        drop(path);
        Ok(Hidden {
            path: kept,
            _lock: held,
        })
    }

    /// Its path: no signal ends the program while this is held.
    pub fn path(&self) -> impl Deref<Target = PathBuf> {
        lock(&self.path)
    }
}

impl Drop for Hidden {
    fn drop(&mut self) {
        sweep(&mut lock(&self.path));
    }
}

/// By names first: that takes no file handle, of which there may be none left.
fn sweep(path: &mut PathBuf) {
    for name in names() {
        let _ = fs::remove_file(path.join(name));
    }
    if fs::remove_dir(&*path).is_err() {
        let _ = fs::remove_dir_all(path);
    }
}

/// Whether a file that is being made is locked: elsewhere a lock would keep this program itself from reading it.
pub const LOCKS_FILES: bool = cfg!(unix);

/// A lock on a folder or file, if nobody else has one. `None` also where there are no such locks.
pub fn held(path: &Path) -> Option<File> {
    let file = File::open(path).ok()?;
    file.try_lock().is_ok().then_some(file)
}

/// A hidden folder younger than this may be one that is just being made.
const YOUNG: Duration = Duration::from_secs(60);

/// Removes what runs have left here that are no more: hidden folders that nobody holds and that hold nothing
/// but results, and hidden files that nobody holds.
pub fn sweep_leftovers(folder: &Path) {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    for entry in entries {
        let name = entry.file_name();
        let hidden = name.to_str().is_some_and(|n| {
            // What was set aside is somebody's old results.
            n.starts_with(PREFIX) && !n.ends_with(".old")
        });
        let old = entry.metadata().ok();
        let Some(old) = old.filter(|m| hidden && m.modified().is_ok_and(is_old)) else {
            continue;
        };
        let Some(_held) = held(&entry.path()) else {
            continue;
        };
        if old.is_dir() {
            for name in names() {
                let _ = fs::remove_file(entry.path().join(name));
            }
            let _ = fs::remove_dir(entry.path());
        } else if old.is_file() && LOCKS_FILES {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Whether this is what a run left that was killed as it began: then it goes.
pub fn is_leftover(path: &Path) -> bool {
    let named = path.file_name().and_then(|n| n.to_str());
    named.is_some_and(|n| n.starts_with(PREFIX)) && fs::remove_dir(path).is_ok()
}

fn is_old(changed: SystemTime) -> bool {
    changed.elapsed().is_ok_and(|age| age > YOUNG)
}

fn made(place: &Path) -> io::Result<TempDir> {
    let new_in = |folder: &Path| {
        sweep_leftovers(folder);
        // Without the hidden name, which says nothing to whoever reads the message.
        let bare = |e: io::Error| io::Error::from(e.kind());
        let mut made = tempfile::Builder::new();
        made.prefix(PREFIX).tempdir_in(folder).map_err(bare)
    };
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
