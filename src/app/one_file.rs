//! `-o FILE`: one file, never over its input, over another only with --force, in one step.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::failure::Failure;

/// A file to be.
pub struct OneFile {
    place: PathBuf,
    over: bool,
}

impl OneFile {
    /// Checks that `place`, given by the option `option`, may be written.
    pub fn open(
        option: &str,
        place: &Path,
        inputs: &[&Path],
        force: bool,
    ) -> Result<Self, Failure> {
        let refused = |why: &str| {
            let shown = place.display();
            Err(Failure::Unusable(format!("{option} {shown}: {why}")))
        };
        let folder = folder_of(place);
        if !folder.is_dir() {
            return refused("there is no such folder");
        }
        let Ok(meta) = place.metadata() else {
            if place.symlink_metadata().is_ok() {
                return refused("is a link that leads nowhere");
            }
            return Ok(OneFile {
                place: place.to_path_buf(),
                over: false,
            });
        };
        if !meta.is_file() {
            return refused("is not a plain file; name a file");
        }
        let own = place.canonicalize().ok();
        if own.is_some() && inputs.iter().any(|i| i.canonicalize().ok() == own) {
            return refused("is one of the files read; name another file");
        }
        if !force {
            return refused("is there already; --force writes over it");
        }
        Ok(OneFile {
            place: own.unwrap_or_else(|| place.to_path_buf()),
            over: true,
        })
    }

    /// Puts the file in its place, whole or not at all.
    pub fn write(&self, bytes: &[u8]) -> Result<(), Failure> {
        let failed = |e: std::io::Error| Failure::writing(&self.place.display().to_string(), &e);
        let mut builder = tempfile::Builder::new();
        builder.prefix(".headstall-");
        #[cfg(unix)]
        let builder = {
            use std::os::unix::fs::PermissionsExt;
            // As any new file: less what the umask forbids.
            builder.permissions(std::fs::Permissions::from_mode(0o666))
        };
        let mut file = builder
            .tempfile_in(folder_of(&self.place))
            .map_err(failed)?;
        file.write_all(bytes).map_err(failed)?;
        let put = if self.over {
            if let Ok(old) = self.place.metadata() {
                file.as_file()
                    .set_permissions(old.permissions())
                    .map_err(failed)?;
            }
            file.persist(&self.place)
        } else {
            file.persist_noclobber(&self.place)
        };
        put.map(drop).map_err(|e| failed(e.error))
    }
}

fn folder_of(place: &Path) -> &Path {
    match place.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}
