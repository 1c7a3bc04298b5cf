//! A result that is one file: made beside its place, and put there in one step when it is complete.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use tempfile::{Builder, TempPath};

use super::failure::Failure;
use super::hidden::{LOCKS_FILES, PREFIX, sweep_leftovers};
use super::signals::{lock, sweep_at_end};

/// A file to be. What was written goes if it is never put in place, be it by a signal.
pub struct OneFile {
    place: PathBuf,
    force: bool,
    hidden: Arc<Mutex<Option<TempPath>>>,
    file: BufWriter<File>,
}

impl OneFile {
    /// Makes ready to write the file `place`, which `--out` names.
    ///
    /// # Errors
    /// Where it is one of `inputs`, a link, or exists and may not be replaced, or cannot be written.
    pub fn open(place: &Path, force: bool, inputs: &[&Path]) -> Result<Self, Failure> {
        Self::open_as("--out", place, force, inputs)
    }

    /// The same for another option.
    ///
    /// # Errors
    /// As [`OneFile::open`].
    pub fn open_as(
        option: &str,
        place: &Path,
        force: bool,
        inputs: &[&Path],
    ) -> Result<Self, Failure> {
        let shown = place.display();
        let unusable = |what: &str| Failure::Unusable(format!("{option} {shown}: {what}"));
        if inputs.iter().any(|input| is_same(input, place)) {
            return Err(unusable("is the input; name another file"));
        }
        if place.is_dir() {
            return Err(unusable("is a folder; name a file"));
        }
        if place.is_symlink() {
            return Err(unusable("is a link; name the file itself"));
        }
        let there = place.symlink_metadata().ok();
        if there.as_ref().is_some_and(|meta| !meta.is_file()) {
            return Err(unusable("is a device or a pipe; name a plain file"));
        }
        if !force && there.is_some() {
            return Err(unusable("exists; add --force to replace it"));
        }
        let failed = |e: io::Error| Failure::Other(format!("{shown}: cannot be written: {e}"));
        // Without the name of a file that nobody sees.
        let bare = |e: io::Error| io::Error::from(e.kind());
        let folder = match place.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        if !folder.is_dir() {
            let there = folder.symlink_metadata().is_ok();
            let what = if there {
                "is not a folder"
            } else {
                "does not exist"
            };
            return Err(unusable(&format!(
                "{} {what}; name a file in a folder that exists",
                folder.display()
            )));
        }
        sweep_leftovers(folder);
        let hidden = Arc::default();
        let mut held = lock(&hidden);
        sweep_at_end(&hidden, |path: &mut Option<TempPath>| drop(path.take()));
        let mut builder = Builder::new();
        builder.prefix(PREFIX);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            builder.permissions(std::fs::Permissions::from_mode(0o666));
        }
        let (file, path) = builder
            .tempfile_in(folder)
            .map_err(bare)
            .map_err(failed)?
            .into_parts();
        if LOCKS_FILES {
            // So that no other run takes it for a leftover.
            let _ = file.try_lock();
        }
        *held = Some(path);
        drop(held);
        Ok(OneFile {
            place: place.to_path_buf(),
            force,
            hidden,
            file: BufWriter::new(file),
        })
    }

    /// The failure of writing it.
    pub fn unwritten(&self, error: &io::Error) -> Failure {
        Failure::writing(&self.place.display().to_string(), error)
    }

    /// Where it is being made, all that was written so far in it.
    ///
    /// # Errors
    /// Where that cannot be written.
    pub fn so_far(&mut self) -> Result<PathBuf, Failure> {
        let flushed = self.file.flush();
        flushed.map_err(|e| self.unwritten(&e))?;
        let held = lock(&self.hidden);
        let path = held.as_ref().map(|path| path.to_path_buf());
        Ok(path.unwrap_or_default())
    }

    /// Writes all of it and puts it in its place.
    ///
    /// # Errors
    /// Where that cannot be done; then nothing is left.
    pub fn publish_whole(mut self, bytes: &[u8]) -> Result<(), Failure> {
        let written = self.write_all(bytes);
        written.map_err(|e| self.unwritten(&e))?;
        self.publish()
    }

    /// Puts it in its place.
    ///
    /// # Errors
    /// Where that cannot be done; then nothing is left.
    pub fn publish(mut self) -> Result<(), Failure> {
        let shown = self.place.display().to_string();
        let failed = |e: io::Error| Failure::Other(format!("{shown}: cannot be written: {e}"));
        self.file.flush().map_err(failed)?;
        self.file.get_ref().sync_all().map_err(failed)?;
        let Some(path) = lock(&self.hidden).take() else {
            return Ok(());
        };
        let put = if self.force {
            path.persist(&self.place)
        } else {
            path.persist_noclobber(&self.place)
        };
        put.map_err(|e| failed(e.error))
    }
}

impl Write for OneFile {
    fn write(&mut self, buffer: &[u8]) -> io::Result<usize> {
        self.file.write(buffer)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Drop for OneFile {
    fn drop(&mut self) {
        drop(lock(&self.hidden).take());
    }
}

/// Whether two names are of one file, by whatever links.
fn is_same(one: &Path, other: &Path) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        if let (Ok(one), Ok(other)) = (one.metadata(), other.metadata()) {
            return one.dev() == other.dev() && one.ino() == other.ino();
        }
    }
    match (one.canonicalize(), other.canonicalize()) {
        (Ok(one), Ok(other)) => one == other,
        _ => false,
    }
}
