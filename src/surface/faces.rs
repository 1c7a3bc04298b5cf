//! What each block of a job faces: a matter of geometry, the same on any board, with any seed.

use crate::board::types::Nozzle;
use crate::job::reader::JobError;
use crate::motion::path::Block;
use crate::replay::source::{Footprint, Sink, Source};
use crate::replay::store::StoredJob;

use super::skin::{Exposure, Skin, Wanted};

pub use super::facing::{Face, Faces, Surface};

/// Blocks on their way to the skin and, where the job is kept, to the store.
struct ToSkin {
    skin: Skin,
    stored: Option<StoredJob>,
    next_block: u64,
}

impl Sink for ToSkin {
    #[inline]
    fn block(&mut self, block: &Block, foot: Footprint) {
        let number = self.next_block;
        self.next_block += 1;
        self.skin
            .trace(number, &foot.place, foot.layer, foot.layer_height_mm);
        if let Some(stored) = &mut self.stored {
            stored.block(block, foot);
        }
    }
}

/// Reads all of a job into memory, and works out what its blocks face on the way.
///
/// # Errors
/// Those of the source. It must know places: a stored job does not.
pub fn store(
    source: &mut impl Source,
    nozzle: &Nozzle,
    wanted: &Wanted,
) -> Result<(StoredJob, Exposure), JobError> {
    let stored = Some(StoredJob::default());
    let (stored, exposure) = read(source, nozzle, wanted, stored)?;
    Ok((stored.unwrap_or_default(), exposure))
}

/// Works out what the blocks of a job face, in one pass over it.
///
/// # Errors
/// Those of the source. It must know places: a stored job does not.
pub fn faces(
    source: &mut impl Source,
    nozzle: &Nozzle,
    wanted: &Wanted,
) -> Result<Exposure, JobError> {
    Ok(read(source, nozzle, wanted, None)?.1)
}

fn read(
    source: &mut impl Source,
    nozzle: &Nozzle,
    wanted: &Wanted,
    stored: Option<StoredJob>,
) -> Result<(Option<StoredJob>, Exposure), JobError> {
    let mut sink = ToSkin {
        skin: Skin::new(nozzle, wanted),
        stored,
        next_block: 0,
    };
    while let Some(line) = source.next_line(&mut sink)? {
        if let Some(stored) = &mut sink.stored {
            stored.line(&line);
        }
    }
    Ok((sink.stored, sink.skin.finish().0))
}
