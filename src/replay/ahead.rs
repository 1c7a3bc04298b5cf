//! Reading ahead on a thread of its own: lines are read and planned while those before them are replayed.

use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::thread::{Builder, JoinHandle};

use crate::job::notices::NoticeKind;
use crate::job::reader::JobError;
use crate::motion::path::Block;

use super::source::{Footprint, Sink, Source};
use super::world::{Line, Work};

/// Lines or blocks at which a batch is handed over.
const BATCH: usize = 512;
/// Batches that wait at most.
const BATCHES: usize = 2;

/// Lines with their blocks.
#[derive(Default)]
struct Batch {
    lines: Vec<Line>,
    blocks: Vec<(Block, Footprint)>,
    /// What went wrong behind them.
    failed: Option<JobError>,
    /// Bytes read when they were.
    byte_count: u64,
}

impl Sink for Vec<(Block, Footprint)> {
    #[inline(always)]
    fn block(&mut self, block: &Block, foot: Footprint) {
        self.push((*block, foot));
    }
}

/// A source that another thread reads: the same lines and blocks in the same order.
pub struct Ahead<S> {
    batches: Receiver<Batch>,
    used: Sender<Batch>,
    batch: Batch,
    /// Lines and blocks of it that were given.
    line: usize,
    block: usize,
    /// What is to be noted with the source once it is back.
    notes: Vec<(NoticeKind, u64)>,
    reader: JoinHandle<Option<S>>,
}

impl<S: Source + Send + 'static> Ahead<S> {
    /// Starts reading; gives the source back where the system has no thread for it.
    pub fn new(source: S) -> Result<Self, S> {
        let (full, batches) = sync_channel(BATCHES);
        let (used, empty) = channel();
        let (give, take) = sync_channel::<S>(1);
        let thread = Builder::new()
            .name("reader".to_string())
            .spawn(move || take.recv().ok().map(|source| read(source, &full, &empty)));
        let Ok(reader) = thread else {
            return Err(source);
        };
        give.send(source).map_err(|unsent| unsent.0)?;
        Ok(Ahead {
            batches,
            used,
            batch: Batch::default(),
            line: 0,
            block: 0,
            notes: Vec::new(),
            reader,
        })
    }

    /// Ends the reading; returns the source as far as it was read.
    pub fn finish(self) -> S {
        // A reader that still wants to hand over ends.
        drop(self.batches);
        match self.reader.join() {
            Ok(source) => {
                let mut source = source.expect("it was sent before the first line was asked for");
                for (kind, line) in self.notes {
                    source.note(kind, line);
                }
                source
            }
            Err(panic) => std::panic::resume_unwind(panic),
        }
    }
}

/// Reads batches until the job ends or nobody wants more.
fn read<S: Source>(mut source: S, full: &SyncSender<Batch>, empty: &Receiver<Batch>) -> S {
    loop {
        let mut batch = empty.try_recv().unwrap_or_default();
        batch.lines.clear();
        batch.blocks.clear();
        let mut ended = false;
        while !ended && batch.lines.len().max(batch.blocks.len()) < BATCH {
            match source.next_line(&mut batch.blocks) {
                Ok(Some(line)) => batch.lines.push(line),
                Ok(None) => ended = true,
                Err(error) => {
                    batch.failed = Some(error);
                    ended = true;
                }
            }
        }
        batch.byte_count = source.byte_count();
        if full.send(batch).is_err() || ended {
            return source;
        }
    }
}

impl<S> Source for Ahead<S> {
    #[inline(always)]
    fn next_line(&mut self, sink: &mut impl Sink) -> Result<Option<Line>, JobError> {
        while self.line == self.batch.lines.len() {
            if let Some(error) = self.batch.failed.take() {
                return Err(error);
            }
            // No more batches: the job has ended.
            let Ok(batch) = self.batches.recv() else {
                return Ok(None);
            };
            // A reader that has ended wants none back.
            let _ = self.used.send(std::mem::replace(&mut self.batch, batch));
            (self.line, self.block) = (0, 0);
        }
        let line = self.batch.lines[self.line];
        self.line += 1;
        if let Work::Blocks { count, .. } = line.work {
            let end = self.block + count as usize;
            for (block, foot) in &self.batch.blocks[self.block..end] {
                sink.block(block, *foot);
            }
            self.block = end;
        }
        Ok(Some(line))
    }

    fn byte_count(&self) -> u64 {
        self.batch.byte_count
    }

    fn note(&mut self, kind: NoticeKind, line: u64) {
        self.notes.push((kind, line));
    }
}
