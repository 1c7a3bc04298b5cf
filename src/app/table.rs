//! A table on its way to a file.

use std::fs::File;
use std::io::{BufWriter, Write};

use super::failure::Failure;
use super::folder::Folder;

/// A table on its way to a file. The first failure is kept.
pub struct Table {
    rows: csv::Writer<BufWriter<File>>,
    /// Where it goes, for messages.
    shown: String,
    failed: Option<csv::Error>,
}

impl Table {
    /// Begins the table `name` of `folder`.
    pub fn open(folder: &mut Folder, name: &'static str, header: &str) -> Result<Self, Failure> {
        let mut file = folder.file(name)?;
        let shown = folder.shown(name);
        writeln!(file, "{header}").map_err(|e| Failure::writing(&shown, &e))?;
        let rows = csv::WriterBuilder::new()
            .has_headers(false)
            .from_writer(file);
        Ok(Table {
            rows,
            shown,
            failed: None,
        })
    }

    /// Writes a row.
    pub fn row(
        &mut self,
        write: impl FnOnce(&mut csv::Writer<BufWriter<File>>) -> csv::Result<()>,
    ) {
        if self.failed.is_none()
            && let Err(e) = write(&mut self.rows)
        {
            self.failed = Some(e);
        }
    }

    /// Ends the table.
    pub fn close(mut self) -> Result<(), Failure> {
        if let Some(e) = self.failed {
            return Err(Failure::Other(format!(
                "{}: cannot be written: {e}",
                self.shown
            )));
        }
        self.rows
            .flush()
            .map_err(|e| Failure::writing(&self.shown, &e))
    }
}
