//! The job as a file.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use super::ring;

/// A job that was written.
pub struct Job {
    pub path: PathBuf,
    pub lines: usize,
}

impl Job {
    /// Writes layers of the ring until there are at least this many bytes.
    pub fn make(folder: &Path, name: &str, bytes: usize) -> Job {
        Self::of(folder, name, bytes, ring::layer)
    }

    /// Writes such layers, from 1 on, until there are at least this many bytes.
    pub fn of(folder: &Path, name: &str, bytes: usize, layer: impl Fn(u32) -> String) -> Job {
        let path = folder.join(name).with_extension("gcode");
        let mut file = BufWriter::new(File::create(&path).unwrap());
        file.write_all(ring::BEGINNING.as_bytes()).unwrap();
        let (mut written, mut lines) = (0, ring::BEGINNING.lines().count());
        for layer in (1..).map(layer) {
            file.write_all(layer.as_bytes()).unwrap();
            written += layer.len();
            lines += layer.lines().count();
            if written >= bytes {
                break;
            }
        }
        file.flush().unwrap();
        Job { path, lines }
    }

    /// All lines of the layers move the head.
    pub fn blocks(&self) -> usize {
        self.lines - ring::BEGINNING.lines().count()
    }
}
