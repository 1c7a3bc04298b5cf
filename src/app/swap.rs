//! A folder in another's place, in one step.

use std::fs::{self, Metadata};
use std::io;
use std::path::{Path, PathBuf};

use super::hidden::is_leftover;

/// Swaps the folder `new` for the one at `place`, whose rights it takes on. That one may hold nothing but
/// the files `old`, and `others`, which move on to the new folder. An error means that nothing has changed.
pub fn swap(new: &Path, place: &Path, old: &[String], others: &[String]) -> io::Result<()> {
    let named = |path: &PathBuf| {
        let name = path.file_name().and_then(|n| n.to_str());
        name.is_some_and(|n| old.iter().chain(others).any(|o| o == n))
    };
    let rights = fs::metadata(place)?;
    let may = entries(place)?.iter().all(|p| named(p) || is_leftover(p))
        && same_owner(&rights, &fs::metadata(new)?)
        && same_attributes(place, new);
    if !may {
        return Err(io::ErrorKind::Unsupported.into());
    }
    for name in others {
        fs::hard_link(place.join(name), new.join(name))?;
    }
    fs::set_permissions(new, rights.permissions())?;
    exchange(new, place)?;
    // What came to the old folder in the meantime is not ours to remove.
    for late in entries(new).unwrap_or_default() {
        if let (false, Some(name)) = (named(&late), late.file_name()) {
            let _ = fs::rename(&late, place.join(name));
        }
    }
    Ok(())
}

fn entries(folder: &Path) -> io::Result<Vec<PathBuf>> {
    fs::read_dir(folder)?.map(|e| Ok(e?.path())).collect()
}

/// Swaps two folders.
fn exchange(new: &Path, place: &Path) -> io::Result<()> {
    if at_once(new, place).is_ok() {
        return Ok(());
    }
    // A kill between these leaves the old folder, whole, under the hidden name.
    let aside = new.with_extension("old");
    fs::rename(place, &aside)?;
    if let Err(e) = fs::rename(new, place) {
        let _ = fs::rename(&aside, place);
        return Err(e);
    }
    let _ = fs::rename(&aside, new);
    Ok(())
}

#[cfg(target_os = "linux")]
fn at_once(new: &Path, place: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, new, CWD, place, RenameFlags::EXCHANGE)?)
}

#[cfg(not(target_os = "linux"))]
fn at_once(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

#[cfg(unix)]
fn same_owner(a: &Metadata, b: &Metadata) -> bool {
    use std::os::unix::fs::MetadataExt;
    (a.uid(), a.gid()) == (b.uid(), b.gid())
}

#[cfg(not(unix))]
fn same_owner(_: &Metadata, _: &Metadata) -> bool {
    true
}

/// Whether neither has access lists or the like which the other has not.
#[cfg(target_os = "linux")]
fn same_attributes(a: &Path, b: &Path) -> bool {
    use rustix::fs::listxattr_query;
    listxattr_query(a).ok() == listxattr_query(b).ok()
}

#[cfg(not(target_os = "linux"))]
fn same_attributes(_: &Path, _: &Path) -> bool {
    true
}
