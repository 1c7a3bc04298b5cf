//! What the page has sent, and what was made for it: files without a name, which nobody else can open and which
//! the system takes back with this process, however it ends.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use headstall::answer::job::Job;

use super::super::inputs::FromStart;
use super::cancel::Cancel;

/// Most files held at a time.
pub const FILES_MAX: usize = 20;
/// Most bytes that all of them have together.
pub const BYTES_MAX: u64 = 4 << 30;

/// What a file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A job.
    Job,
    /// A recording.
    Recording,
    /// A job that was mended; the one before it goes.
    Mended,
}

/// A file.
#[derive(Clone, Debug)]
pub struct Held {
    /// Random, so that an address of an earlier start names nothing.
    pub id: String,
    /// What it is.
    pub kind: Kind,
    /// A label, never a path.
    pub name: String,
    /// Its length, bytes.
    pub bytes: u64,
    /// The file.
    pub file: Arc<File>,
}

impl Held {
    /// A file with a new ID.
    ///
    /// # Errors
    /// Where its length cannot be told, or the system gives no random bytes.
    pub fn new(kind: Kind, name: String, file: File) -> io::Result<Self> {
        let mut id = [0; 8];
        getrandom::fill(&mut id).map_err(|e| io::Error::other(e.to_string()))?;
        Ok(Held {
            id: id.iter().map(|b| format!("{b:02x}")).collect(),
            kind,
            name,
            bytes: file.metadata()?.len(),
            file: Arc::new(file),
        })
    }

    /// The job in it.
    pub fn job(&self, cancel: &Cancel) -> Job {
        let (held, cancel) = (self.clone(), cancel.clone());
        Job::new(self.name.clone(), Some(self.bytes), move || {
            Ok(Box::new(held.reader(&cancel)))
        })
    }

    /// Reads it from its beginning; ends with an error when the work is cancelled.
    pub fn reader(&self, cancel: &Cancel) -> Reading {
        Reading {
            file: FromStart::new(Arc::clone(&self.file)),
            bytes: self.bytes,
            cancel: cancel.clone(),
        }
    }
}

#[derive(Default)]
struct Inside {
    list: Vec<Held>,
    /// Bytes of all files, those on their way included.
    bytes: u64,
    /// Files on their way.
    coming: usize,
}

/// All files.
#[derive(Clone, Default)]
pub struct Store(Arc<Mutex<Inside>>);

/// Room for a file on its way; given back when this goes.
pub struct Room {
    store: Store,
    bytes: u64,
}

impl Store {
    fn inside(&self) -> MutexGuard<'_, Inside> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Room for one more file.
    ///
    /// # Errors
    /// In words, where there is none.
    pub fn room(&self) -> Result<Room, String> {
        let mut inside = self.inside();
        if inside.list.len() + inside.coming >= FILES_MAX {
            return Err(format!(
                "{FILES_MAX} files are here already, and no more are taken; remove one first"
            ));
        }
        inside.coming += 1;
        Ok(Room {
            store: self.clone(),
            bytes: 0,
        })
    }

    /// The file of this name and kind.
    pub fn find(&self, id: &str, kinds: &[Kind]) -> Option<Held> {
        let inside = self.inside();
        let mut all = inside.list.iter();
        all.find(|held| held.id == id && kinds.contains(&held.kind))
            .cloned()
    }

    /// Removes a file; work that reads it goes on. Whether there was one.
    pub fn remove(&self, id: &str) -> bool {
        self.take_out(|held| held.id == id)
    }

    fn take_out(&self, which: impl Fn(&Held) -> bool) -> bool {
        let mut inside = self.inside();
        let Some(at) = inside.list.iter().position(which) else {
            return false;
        };
        let held = inside.list.remove(at);
        inside.bytes = inside.bytes.saturating_sub(held.bytes);
        true
    }
}

impl Room {
    /// Takes so many bytes more.
    ///
    /// # Errors
    /// In words, where all files together would be too long.
    pub fn grow(&mut self, bytes: u64) -> Result<(), String> {
        let mut inside = self.store.inside();
        if inside.bytes + bytes > BYTES_MAX {
            return Err(format!(
                "the files here have {} GiB together, and no more are taken; remove one first",
                BYTES_MAX >> 30
            ));
        }
        inside.bytes += bytes;
        self.bytes += bytes;
        Ok(())
    }

    /// Puts the file, whose bytes were counted, among the others.
    pub fn keep(mut self, held: Held) {
        if held.kind == Kind::Mended {
            self.store.take_out(|held| held.kind == Kind::Mended);
        }
        self.store.inside().list.push(held);
        self.bytes = 0;
    }
}

impl Drop for Room {
    fn drop(&mut self) {
        let mut inside = self.store.inside();
        inside.coming -= 1;
        inside.bytes = inside.bytes.saturating_sub(self.bytes);
    }
}

/// A reading of a file, which ends with an error when the work is cancelled.
pub struct Reading {
    file: FromStart,
    bytes: u64,
    cancel: Cancel,
}

impl Read for Reading {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.cancel.is_cancelled() {
            return Err(io::Error::other("the work was cancelled"));
        }
        self.file.read(buffer)
    }
}

impl Seek for Reading {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let (from, by) = match to {
            SeekFrom::Start(at) => (at, 0),
            SeekFrom::Current(by) => (self.file.at, by),
            SeekFrom::End(by) => (self.bytes, by),
        };
        let at = from.checked_add_signed(by);
        self.file.at = at.ok_or(io::ErrorKind::InvalidInput)?;
        Ok(self.file.at)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kept(store: &Store, kind: Kind) -> Held {
        use std::io::Write;
        let mut file = tempfile::tempfile().unwrap();
        file.write_all(b"abc").unwrap();
        let mut room = store.room().unwrap();
        room.grow(3).unwrap();
        let held = Held::new(kind, "a".to_string(), file).unwrap();
        room.keep(held.clone());
        held
    }

    #[test]
    fn room_is_counted_and_given_back() {
        let store = Store::default();
        let mut all: Vec<Held> = (0..FILES_MAX).map(|_| kept(&store, Kind::Job)).collect();
        assert!(store.room().err().unwrap().contains("20 files"));
        assert!(store.remove(&all.pop().unwrap().id));
        let mut room = store.room().unwrap();
        assert!(room.grow(BYTES_MAX).unwrap_err().contains("4 GiB"));
        assert!(room.grow(BYTES_MAX - 19 * 3).is_ok());
        drop(room);
        assert_eq!(store.inside().bytes, 19 * 3);
        kept(&store, Kind::Job);
    }

    #[test]
    fn only_the_last_mended_job_is_kept() {
        let store = Store::default();
        let first = kept(&store, Kind::Mended);
        let second = kept(&store, Kind::Mended);
        assert!(store.find(&first.id, &[Kind::Mended]).is_none());
        assert!(store.find(&second.id, &[Kind::Mended]).is_some());
        assert!(store.find(&second.id, &[Kind::Job]).is_none());
        assert!(!store.remove(&first.id));
    }
}
