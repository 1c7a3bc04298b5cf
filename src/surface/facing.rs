//! What each block faces, once that is known; it takes at most one byte for each block.

/// Where a piece of bead lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Surface {
    /// On the outside of the part.
    Outer,
    /// On a hole that is open above or below: the inside of a vase or a bell.
    Hole,
    /// Buried.
    Inner,
}

impl Surface {
    /// Its name in tables.
    pub fn name(self) -> &'static str {
        ["outer", "hole", "inner"][self as usize]
    }
}

/// What a block faces. A block that prints nothing is given the face of the last block before it that prints.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Face {
    /// Unknown: nothing was printed before it, or a limit cut the work on its layer short.
    Unknown,
    /// It belongs to the part, and lies on this surface.
    Part(Surface),
    /// It belongs to something that does not count as part: a skirt, a purge line, a support.
    LeftOut,
}

impl Face {
    fn code(self) -> u8 {
        match self {
            Face::Unknown => 0,
            Face::Part(surface) => 1 + surface as u8,
            Face::LeftOut => 4,
        }
    }
}

/// The low bits of a byte hold the face; the others hold the part's number, counted from 1, or 0 for none.
const FACE_BITS: u32 = 3;
/// The number of parts that a byte can name; blocks of further parts name none.
const PARTS_NAMED: usize = (u8::MAX >> FACE_BITS) as usize;
/// The number of blocks in a chunk.
const CHUNK: usize = 4096;

/// Consecutive blocks.
#[derive(Clone, Debug, PartialEq)]
enum Chunk {
    /// All of them have this byte.
    Alike(u8),
    /// One byte for each block.
    Bytes(Box<[u8]>),
}

/// What each block of a job faces, in at most one byte for each block.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Faces {
    chunks: Vec<Chunk>,
    /// The last blocks, too few for a chunk.
    rest: Vec<u8>,
}

impl Faces {
    /// Adds blocks that all have the same face and part; `part` counts from 0.
    pub(super) fn push(&mut self, mut blocks: u64, face: Face, part: Option<usize>) {
        let part = part.map_or(0, |p| p + 1);
        let part = if part > PARTS_NAMED { 0 } else { part as u8 };
        let byte = face.code() | part << FACE_BITS;
        while blocks > 0 {
            if self.rest.is_empty() && blocks >= CHUNK as u64 {
                self.chunks.push(Chunk::Alike(byte));
                blocks -= CHUNK as u64;
                continue;
            }
            let count = blocks.min((CHUNK - self.rest.len()) as u64);
            self.rest.resize(self.rest.len() + count as usize, byte);
            blocks -= count;
            if self.rest.len() == CHUNK {
                let first = self.rest[0];
                let chunk = if self.rest.iter().all(|b| *b == first) {
                    Chunk::Alike(first)
                } else {
                    Chunk::Bytes(self.rest.as_slice().into())
                };
                self.chunks.push(chunk);
                self.rest.clear();
            }
        }
    }

    /// How many blocks there are.
    pub fn block_count(&self) -> u64 {
        (self.chunks.len() * CHUNK + self.rest.len()) as u64
    }

    fn byte(&self, block: u64) -> Option<u8> {
        let place = usize::try_from(block).ok()?;
        match self.chunks.get(place / CHUNK) {
            Some(Chunk::Alike(byte)) => Some(*byte),
            Some(Chunk::Bytes(bytes)) => Some(bytes[place % CHUNK]),
            None => self.rest.get(place - self.chunks.len() * CHUNK).copied(),
        }
    }

    /// What this block faces; blocks count from 0.
    pub fn face(&self, block: u64) -> Face {
        match self.byte(block).unwrap_or(0) & ((1 << FACE_BITS) - 1) {
            1 => Face::Part(Surface::Outer),
            2 => Face::Part(Surface::Hole),
            3 => Face::Part(Surface::Inner),
            4 => Face::LeftOut,
            _ => Face::Unknown,
        }
    }

    /// The part's surface on which this block lies; `None` where it is unknown or no part.
    pub fn of(&self, block: u64) -> Option<Surface> {
        match self.face(block) {
            Face::Part(surface) => Some(surface),
            Face::Unknown | Face::LeftOut => None,
        }
    }

    /// The part to which this block belongs, a place in [`super::shell::Exposure::parts`].
    pub fn part(&self, block: u64) -> Option<usize> {
        let part = self.byte(block)? >> FACE_BITS;
        usize::from(part).checked_sub(1)
    }

    /// The memory that this takes, bytes.
    pub fn memory_bytes(&self) -> usize {
        let bytes = |c: &Chunk| match c {
            Chunk::Alike(_) => size_of::<Chunk>(),
            Chunk::Bytes(bytes) => size_of::<Chunk>() + bytes.len(),
        };
        self.chunks.iter().map(bytes).sum::<usize>() + self.rest.len()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_block_keeps_its_face_across_chunks() {
        let all = [
            Face::Unknown,
            Face::Part(Surface::Outer),
            Face::Part(Surface::Hole),
            Face::Part(Surface::Inner),
            Face::LeftOut,
        ];
        let mut faces = Faces::default();
        let mut expected = Vec::new();
        for k in 0..40usize {
            let (face, part) = (all[k % 5], (k % 3 != 0).then_some(k));
            let count = [1, 7, 3000, 4096, 9000][k * 7 % 5];
            faces.push(count, face, part);
            let part = part.filter(|p| *p < PARTS_NAMED);
            expected.extend((0..count).map(|_| (face, part)));
        }
        assert_eq!(faces.block_count(), expected.len() as u64);
        for (block, (face, part)) in expected.iter().enumerate() {
            assert_eq!(faces.face(block as u64), *face, "{block}");
            assert_eq!(faces.part(block as u64), *part, "{block}");
        }
        assert_eq!(faces.face(expected.len() as u64), Face::Unknown);
        assert!(faces.memory_bytes() < expected.len());
    }
}
