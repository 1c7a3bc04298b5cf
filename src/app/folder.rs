//! Results: all of them or none.
//!
//! They are made in a hidden folder and come to their place in one step: a new folder is renamed, one that
//! holds nothing but results is swapped for the new one. Where that cannot be, because somebody stands in the
//! folder, keeps other things there, or it has other rights or a file system of its own, files are renamed
//! one by one, under a summary that says so until all are there.
//!
//! Only what a summary of ours lists is ever written over or removed. While a run makes results for a folder that
//! is there, it holds a lock on it, so that no other run can mix its own in: that one is refused.

use std::fs::{self, File, TryLockError};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use super::failure::Failure;
use super::hidden::Hidden;
use super::swap::swap;
use super::written::{INTERIM, WRITTEN, others};

/// A folder to be.
pub struct Folder {
    place: PathBuf,
    /// The command's summary: it lists the files of ours.
    mark: &'static str,
    hidden: Hidden,
    names: Vec<String>,
    /// Held as long as this is, where the folder was there.
    lock: Option<File>,
}

impl Folder {
    /// Makes ready to fill the folder `place`, for the command whose summary is `mark`.
    pub fn open(place: &Path, mark: &'static str) -> Result<Self, Failure> {
        let shown = place.display();
        let failed =
            |e: io::Error| Failure::Other(format!("{shown}: no results can be written there: {e}"));
        // The folder itself, or what it is to be made in.
        let above = place.ancestors().find(|p| p.symlink_metadata().is_ok());
        if let Some(above) = above
            && !above.is_dir()
        {
            let what = if above.exists() {
                "is a file"
            } else {
                "is a link that leads nowhere"
            };
            let which = if above == place {
                String::new()
            } else {
                format!("{} ", above.display())
            };
            return Err(Failure::Unusable(format!(
                "--out {shown}: {which}{what}; name a folder"
            )));
        }
        Ok(Folder {
            place: place.to_path_buf(),
            mark,
            lock: claimed(place)?,
            hidden: Hidden::open(place).map_err(failed)?,
            names: Vec::new(),
        })
    }

    /// Refuses, before anything is worked out, a folder in which something that is not ours has the name of the
    /// summary, or one of those that will be written.
    pub fn expect(&self, will_write: impl Fn(&str) -> bool) -> Result<(), Failure> {
        let names = others(self.mark).iter().copied();
        let mut names = names.filter(|n| will_write(n)).chain([self.mark]);
        names.try_for_each(|n| self.check_free(n))
    }

    /// A path in it, as messages show it.
    pub fn shown(&self, name: &str) -> String {
        self.place.join(name).display().to_string()
    }

    /// A new file.
    pub fn file(&mut self, name: &str) -> Result<BufWriter<File>, Failure> {
        self.check_free(name)?;
        let file = File::create(self.hidden.path().join(name))
            .map_err(|e| Failure::writing(&self.shown(name), &e))?;
        if !self.names.iter().any(|n| n == name) {
            self.names.push(name.to_string());
        }
        Ok(BufWriter::new(file))
    }

    /// A picture that an earlier run of another command put in the same place. `mark`: that command's summary.
    pub fn earlier_picture(&self, mark: &str, name: &str) -> Option<String> {
        let ours = earlier(&self.place, mark);
        let picture = ours.iter().find(|n| n.as_str() == name)?;
        fs::read_to_string(self.place.join(picture)).ok()
    }

    /// The files so far.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// Puts all files in their place.
    pub fn publish(self) -> Result<(), Failure> {
        let failed = |e| Failure::writing(&self.place.display().to_string(), &e);
        if !self.place.exists() {
            let above = self.place.parent();
            above.map_or(Ok(()), fs::create_dir_all).map_err(failed)?;
            match fs::rename(&*self.hidden.path(), &self.place) {
                // Another run was faster.
                Err(_) if self.place.is_dir() => {}
                done => return done.map_err(failed),
            }
        }
        let _lock = match self.lock {
            Some(_) => None,
            None => claimed(&self.place)?,
        };
        self.names.iter().try_for_each(|n| self.check_free(n))?;
        self.put(&self.hidden.path()).map_err(failed)
    }

    /// Refuses a name that something which is not ours has.
    fn check_free(&self, name: &str) -> Result<(), Failure> {
        let taken = self.place.join(name).symlink_metadata().is_ok();
        if taken && !earlier(&self.place, self.mark).iter().any(|e| e == name) {
            return Err(Failure::Unusable(format!(
                "--out {}: holds {} {name} that is not from this program; name another folder",
                self.place.display(),
                article(name)
            )));
        }
        Ok(())
    }

    fn put(&self, results: &Path) -> io::Result<()> {
        let place = self.place.canonicalize()?;
        let old = earlier(&place, self.mark);
        // Results of the other commands move on to the new folder.
        let others: Vec<String> = WRITTEN
            .iter()
            .filter(|(mark, _)| *mark != self.mark)
            .flat_map(|(mark, _)| earlier(&place, mark))
            .collect();
        if !results.starts_with(&place) && swap(results, &place, &old, &others).is_ok() {
            return Ok(());
        }
        self.put_one_by_one(results, &place, &old)
    }

    /// A kill in between leaves a summary that says so and lists all there is as ours, so that the next
    /// run can mend it.
    fn put_one_by_one(&self, results: &Path, place: &Path, old: &[String]) -> io::Result<()> {
        let plain = || self.names.iter().filter(|n| *n != self.mark);
        let stale = || old.iter().filter(|n| !self.names.contains(n));
        let interim = serde_json::json!({
            "program": concat!("headstall ", env!("CARGO_PKG_VERSION")),
            "verdict": "Incomplete: the run that wrote here was cut short. Run it again.",
            "files": self.names.iter().chain(stale()).collect::<Vec<_>>(),
        });
        let mark = place.join(self.mark);
        let staged = results.join(INTERIM);
        fs::write(&staged, format!("{interim:#}\n"))?;
        fs::rename(staged, &mark)?;
        for name in plain() {
            fs::rename(results.join(name), place.join(name))?;
        }
        for name in stale() {
            fs::remove_file(place.join(name))?;
        }
        fs::rename(results.join(self.mark), mark)
    }
}

/// The article of a file's name.
fn article(name: &str) -> &'static str {
    if name.starts_with(['a', 'e', 'i', 'o']) {
        "an"
    } else {
        "a"
    }
}

/// A lock on a folder, if it is there and can have one; an error if another run has it.
fn claimed(place: &Path) -> Result<Option<File>, Failure> {
    // Another run may swap the folder between our opening it and our lock: then we have that of the old one.
    for _ in 0..16 {
        let Ok(file) = File::open(place) else {
            return Ok(None);
        };
        match file.try_lock() {
            Ok(()) if is_at(&file, place) => return Ok(Some(file)),
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => break,
            Err(TryLockError::Error(_)) => return Ok(None),
        }
    }
    Err(Failure::Other(format!(
        "--out {}: another run is writing there; wait for its end, or name another folder",
        place.display()
    )))
}

#[cfg(unix)]
fn is_at(file: &File, place: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let id = |m: fs::Metadata| (m.dev(), m.ino());
    file.metadata().ok().map(id) == fs::metadata(place).ok().map(id)
}

#[cfg(not(unix))]
fn is_at(_: &File, _: &Path) -> bool {
    true
}

/// Adds a whole file.
pub fn save(folder: &mut Folder, name: &str, bytes: &[u8]) -> Result<(), Failure> {
    let mut file = folder.file(name)?;
    file.write_all(bytes)
        .and_then(|()| file.flush())
        .map_err(|e| Failure::writing(&folder.shown(name), &e))
}

/// Files that the mark of an earlier run lists, that its command writes, and that are there.
fn earlier(place: &Path, mark: &str) -> Vec<String> {
    let is_file = |n: &str| {
        let entry = place.join(n).symlink_metadata();
        entry.is_ok_and(|m| m.is_file())
    };
    let read = || -> Option<Vec<String>> {
        let (_, written) = WRITTEN.iter().find(|w| w.0 == mark)?;
        let text = is_file(mark).then(|| fs::read(place.join(mark)).ok())??;
        let summary: serde_json::Value = serde_json::from_slice(&text).ok()?;
        summary
            .get("program")?
            .as_str()?
            .strip_prefix("headstall ")?;
        let files = summary.get("files")?.as_array()?;
        let ours = |n: &&str| (*n == mark || written.contains(n)) && is_file(n);
        let names = files.iter().filter_map(|f| f.as_str());
        Some(names.filter(ours).map(String::from).collect())
    };
    read().unwrap_or_default()
}
