//! Results: all of them or none.
//!
//! Files are written to a hidden folder beside their place and renamed when all are there: a folder that
//! is new comes whole, in one step. A folder that holds results gets new ones only if the command's own
//! summary there lists them; other files in it are left alone.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use tempfile::TempDir;

use super::failure::Failure;

/// The results' place in the hidden folder, which nobody else may read.
const RESULTS: &str = "results";

/// A command's summary, and all else that it may write.
const WRITTEN: [(&str, &[&str]); 3] = [
    (
        "summary.json",
        &[
            "stalls.csv",
            "blocks.csv",
            "report.html",
            "map.svg",
            "map.png",
            "wall.svg",
            "wall.png",
            "part.svg",
            "part.png",
            "queue.svg",
            "queue.png",
            "speed.svg",
            "speed.png",
        ],
    ),
    (
        "compare.json",
        &["compare.csv", "compare.svg", "compare.png"],
    ),
    ("remedies.json", &["remedies.csv"]),
];

/// A folder to be.
pub struct Folder {
    place: PathBuf,
    /// The command's summary: it lists the files of ours.
    mark: &'static str,
    staged: TempDir,
    names: Vec<String>,
    /// Files of ours that an earlier run left there.
    earlier: Vec<String>,
}

impl Folder {
    /// Makes ready to fill the folder `place`, for the command whose summary is `mark`.
    pub fn open(place: &Path, mark: &'static str) -> Result<Self, Failure> {
        let shown = place.display();
        let failed =
            |e: io::Error| Failure::Other(format!("{shown}: no results can be written there: {e}"));
        if place.exists() && !place.is_dir() {
            return Err(Failure::Unusable(format!(
                "--out {shown}: is a file; name a folder"
            )));
        }
        let earlier = if place.is_dir() {
            earlier(place, mark)
        } else {
            Vec::new()
        };
        let parent = nearest(place);
        let staged = tempfile::Builder::new()
            .prefix(".headstall-")
            .tempdir_in(parent)
            .map_err(failed)?;
        fs::create_dir(staged.path().join(RESULTS)).map_err(failed)?;
        Ok(Folder {
            place: place.to_path_buf(),
            mark,
            staged,
            names: Vec::new(),
            earlier,
        })
    }

    /// A new file.
    pub fn file(&mut self, name: &str) -> Result<BufWriter<File>, Failure> {
        let taken = self.place.join(name);
        if taken.symlink_metadata().is_ok() && !self.earlier.iter().any(|e| e == name) {
            return Err(Failure::Unusable(format!(
                "--out {}: holds a {name} that is not from this program; name another folder",
                self.place.display()
            )));
        }
        let path = self.staged.path().join(RESULTS).join(name);
        let file =
            File::create(&path).map_err(|e| Failure::writing(&taken.display().to_string(), &e))?;
        if !self.names.iter().any(|n| n == name) {
            self.names.push(name.to_string());
        }
        Ok(BufWriter::new(file))
    }

    /// The chart of a comparison that an earlier run put in the same place.
    pub fn earlier_comparison(&self) -> Option<String> {
        let ours = earlier(&self.place, "compare.json");
        let chart = ours.iter().find(|n| n.as_str() == "compare.svg")?;
        fs::read_to_string(self.place.join(chart)).ok()
    }

    /// The files so far.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// Puts all files in their place.
    pub fn publish(self) -> Result<(), Failure> {
        let place = self.place.clone();
        let results = self.staged.path().join(RESULTS);
        let result = (|| {
            if !place.exists() {
                place.parent().map_or(Ok(()), fs::create_dir_all)?;
                return fs::rename(&results, &place);
            }
            // The mark first: whatever happens then, the files are known as ours.
            let mark = |n: &&String| n.as_str() == self.mark;
            for name in self
                .names
                .iter()
                .filter(mark)
                .chain(self.names.iter().filter(|n| !mark(n)))
            {
                fs::rename(results.join(name), place.join(name))?;
            }
            for old in self.earlier.iter().filter(|e| !self.names.contains(e)) {
                fs::remove_file(place.join(old))?;
            }
            Ok(())
        })();
        result.map_err(|e: io::Error| Failure::writing(&place.display().to_string(), &e))
    }
}

/// Adds a whole file.
pub fn save(folder: &mut Folder, name: &str, bytes: &[u8]) -> Result<(), Failure> {
    let mut file = folder.file(name)?;
    file.write_all(bytes)
        .and_then(|()| file.flush())
        .map_err(|e| Failure::writing(name, &e))
}

/// The place itself, or the nearest folder above it that exists.
fn nearest(place: &Path) -> PathBuf {
    let above = place.ancestors().find(|p| p.is_dir());
    match above {
        Some(p) => p.to_path_buf(),
        None => PathBuf::from("."),
    }
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
