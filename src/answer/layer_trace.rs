//! The path of one layer, from another pass over the job: which layer is the worst is known only when the job
//! has ended.

use crate::board::types::Board;
use crate::replay::source::Planned;
use crate::replay::stream;
use crate::study::trace::LayerTrace;
use crate::study::watch::Watch;

use super::job::Job;
use super::progress::{Progress, Task};

/// The path of this layer; `None` where the job cannot be read again.
pub(super) fn again(
    job: &mut Job,
    (board, seed, threads): (&Board, u64, usize),
    layer: u32,
    progress: &dyn Progress,
) -> Option<LayerTrace> {
    let bytes = job.bytes?;
    progress.at(Task::Tracing, 0, Some(bytes));
    let mut watch = Watch::new(&board.nozzle, |_| {}).with_trace(Some(layer));
    let source = Planned::new(job.steps().ok()?, board);
    let replay = if threads > 1 {
        stream::replay_ahead
    } else {
        stream::replay_source
    };
    replay(source, board, seed, &mut watch, 0).ok()?;
    let (_, trace) = watch.finish();
    (trace.layer == layer).then_some(trace)
}
