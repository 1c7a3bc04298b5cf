//! A progress bar on standard error, for long work on a terminal.

use std::io::{self, IsTerminal, Write};
use std::sync::Mutex;
use std::time::{Duration, Instant};

use headstall::answer::progress::{Progress, Task};

/// Work shorter than this shows no bar.
const QUIET: Duration = Duration::from_millis(700);
/// Time between two drawings.
const EVERY: Duration = Duration::from_millis(150);
const WIDTH: usize = 40;

/// A bar for each task in turn.
#[derive(Default)]
pub struct Bars(Mutex<Option<(Task, Bar)>>);

impl Progress for Bars {
    fn at(&self, task: Task, done: u64, of: Option<u64>) {
        let Ok(mut current) = self.0.lock() else {
            return;
        };
        match current.as_mut() {
            Some((own, bar)) if *own == task => bar.at(done, of),
            _ => *current = Some((task, Bar::new(task.name()))),
        }
    }
}

/// A bar.
struct Bar {
    what: &'static str,
    began: Instant,
    drawn: Option<Instant>,
    shows: bool,
}

impl Bar {
    /// A bar for this work; it shows itself only if the work takes long.
    fn new(what: &'static str) -> Self {
        Bar {
            what,
            began: Instant::now(),
            drawn: None,
            shows: io::stderr().is_terminal(),
        }
    }

    /// So much is done of so much; without a total, megabytes are shown.
    fn at(&mut self, done: u64, total: Option<u64>) {
        if !self.shows || self.began.elapsed() < QUIET {
            return;
        }
        if self.drawn.is_some_and(|d| d.elapsed() < EVERY) {
            return;
        }
        self.drawn = Some(Instant::now());
        let line = match total {
            Some(total) if total > 0 => {
                let part = (done as f64 / total as f64).min(1.0);
                let full = (part * WIDTH as f64) as usize;
                format!(
                    "{} [{}{}] {:3.0} %",
                    self.what,
                    "#".repeat(full),
                    "-".repeat(WIDTH - full),
                    part * 100.0
                )
            }
            _ => format!("{} {:.1} MB", self.what, done as f64 / 1e6),
        };
        let _ = write!(io::stderr(), "\r{line}");
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        if self.drawn.is_some() {
            let _ = write!(io::stderr(), "\r{:78}\r", "");
        }
    }
}
