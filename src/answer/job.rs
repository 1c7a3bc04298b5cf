//! The job that a question is about: a name, and bytes that can be read, perhaps more than once.

use std::fmt;
use std::io::{self, Cursor, Read};
use std::sync::Arc;

use crate::job::reader::JobReader;

use super::trouble::Trouble;

/// Bytes of a job on their way in.
pub type JobBytes = Box<dyn Read + Send>;

/// A job: its name, and how its bytes are had.
pub struct Job {
    /// The name that answers use.
    pub name: String,
    /// Its length where that is known beforehand, bytes.
    pub bytes: Option<u64>,
    /// Where limits of this program took effect when the job was last stored: line and message.
    pub limits: Vec<(u64, &'static str)>,
    open: Box<dyn Fn() -> io::Result<JobBytes> + Send + Sync>,
}

impl fmt::Debug for Job {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Job({}, {:?} bytes)", self.name, self.bytes)
    }
}

impl Job {
    /// A job that `open` gives from its beginning each time it is called. A source that can be read only once
    /// may refuse the second call.
    pub fn new(
        name: impl Into<String>,
        bytes: Option<u64>,
        open: impl Fn() -> io::Result<JobBytes> + Send + Sync + 'static,
    ) -> Self {
        Job {
            name: name.into(),
            bytes,
            limits: Vec::new(),
            open: Box::new(open),
        }
    }

    /// A job in memory.
    pub fn in_memory(name: impl Into<String>, text: impl Into<Arc<[u8]>>) -> Self {
        let text: Arc<[u8]> = text.into();
        let bytes = text.len() as u64;
        Job::new(name, Some(bytes), move || {
            Ok(Box::new(Cursor::new(text.clone())))
        })
    }

    /// A reader of its lines, from the beginning.
    pub fn read(&self) -> Result<JobReader<JobBytes>, Trouble> {
        match self.open() {
            Ok(bytes) => Ok(JobReader::new(bytes)),
            Err(e) => Err(Trouble::job(&self.name, &format!("cannot be read: {e}"))),
        }
    }

    /// Its bytes, from the beginning.
    pub(super) fn open(&self) -> io::Result<JobBytes> {
        (self.open)()
    }
}
