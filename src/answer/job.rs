//! The job that a question is about: a name, and bytes that can be read, perhaps more than once.

use std::collections::BTreeMap;
use std::fmt;
use std::io::{self, Cursor, Read};
use std::sync::Arc;

use crate::job::notices::NoticeKind;
use crate::job::reader::{JobError, JobReader, Step};
use crate::replay::source::Steps;
use crate::study::reshape::{Reshape, Reshaped};

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
    pub limits: Vec<(u64, String)>,
    /// What is done to it before it is replayed.
    pub reshape: Option<Reshape>,
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
            reshape: None,
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

    /// Its steps, from the beginning, reshaped where that is wanted.
    pub(super) fn steps(&self) -> Result<JobSteps, Trouble> {
        let reader = self.read()?;
        Ok(match self.reshape {
            None => JobSteps::AsItIs(Box::new(reader)),
            Some(how) => JobSteps::Reshaped(Box::new(Reshaped::new(reader, how))),
        })
    }

    /// Its bytes, from the beginning.
    pub(super) fn open(&self) -> io::Result<JobBytes> {
        (self.open)()
    }
}

/// The job as it was read.
#[derive(Clone, Debug, PartialEq)]
pub struct JobRead {
    /// Its name.
    pub name: String,
    /// Lines of the file.
    pub lines: u64,
    /// Lines that bear a command.
    pub commands: u64,
    /// Bytes of the file.
    pub bytes: u64,
    /// Layers found.
    pub layers: u32,
    /// Whether anything is extruded.
    pub extrudes: bool,
    /// Commands that have no effect here beyond the time to decode them, with their counts.
    pub other_commands: BTreeMap<String, u64>,
}

/// What stands for commands beyond those whose names are kept; a command has no blank in its name.
const MORE_COMMANDS: &str = "all others";

impl JobRead {
    /// What a reader has come to know by its end.
    pub(super) fn of<R: Read>(name: &str, reader: &JobReader<R>) -> Self {
        let mut other_commands = reader.notices().others().clone();
        let more = reader.notices().more_others();
        if more > 0 {
            other_commands.insert(MORE_COMMANDS.to_string(), more);
        }
        JobRead {
            name: name.to_string(),
            lines: reader.line_count(),
            commands: reader.command_count(),
            bytes: reader.byte_count(),
            layers: reader.layers().count(),
            extrudes: reader.extruded(),
            other_commands,
        }
    }
}

/// Steps of a job.
pub(super) enum JobSteps {
    /// Those of the file.
    AsItIs(Box<JobReader<JobBytes>>),
    /// Reshaped.
    Reshaped(Box<Reshaped<JobReader<JobBytes>>>),
}

impl JobSteps {
    /// Who reads the file.
    pub fn reader(&self) -> &JobReader<JobBytes> {
        match self {
            JobSteps::AsItIs(reader) => reader,
            JobSteps::Reshaped(reshaped) => &reshaped.steps,
        }
    }
}

impl Steps for JobSteps {
    #[inline]
    fn next_step(&mut self) -> Result<Option<&Step>, JobError> {
        match self {
            JobSteps::AsItIs(reader) => reader.next_step(),
            JobSteps::Reshaped(reshaped) => reshaped.next_step(),
        }
    }

    fn byte_count(&self) -> u64 {
        self.reader().byte_count()
    }

    fn note(&mut self, kind: NoticeKind, line: u64) {
        match self {
            JobSteps::AsItIs(reader) => reader.note_limit(kind, line),
            JobSteps::Reshaped(reshaped) => reshaped.steps.note_limit(kind, line),
        }
    }
}
