//! A job kept in memory: what is read is what was put in, in eight bytes a line where it fits.

use headstall::job::reader::JobReader;
use headstall::motion::path::{Block, Place};
use headstall::replay::source::{Footprint, Planned, Sink};
use headstall::replay::store::StoredJob;
use headstall::replay::stream::replay_source;
use headstall::replay::world::{Line, Work};

use super::making::{Keep, board};

/// The plain follower of a line, with these steps of number, layer and bytes.
fn after(last: &Line, numbers: u64, layers: i32, raw_bytes: u32, work: Work) -> Line {
    Line {
        number: last.number + numbers,
        layer: last.layer.checked_add_signed(layers).unwrap(),
        end_byte: last.end_byte + u64::from(raw_bytes),
        raw_bytes,
        command_bytes: 10,
        work,
    }
}

#[test]
fn lines_come_back_as_they_went_in() {
    let blocks = |count| Work::Blocks { count, arc: false };
    let arc = Work::Blocks {
        count: 3,
        arc: true,
    };
    let mut last = Line {
        number: 7,
        layer: 0,
        end_byte: 90,
        raw_bytes: 20,
        command_bytes: 9,
        work: blocks(1),
    };
    // Each with whether it fits into eight bytes.
    let mut lines = vec![(last, false)];
    for (numbers, layers, raw_bytes, work, fits) in [
        (1, 0, 30, Work::Nothing, true),
        (1, 0, 30, blocks(1), true),
        (2, 0, 31, blocks(0), true),
        (1, 0, 30, arc, true),
        (1, 0, 30, Work::Stop(1.5), false),
        (255, 0, 30, Work::Nothing, true),
        (256, 0, 30, Work::Nothing, false),
        (0, 0, 30, Work::Nothing, false),
        (1, 1, 30, arc, true),
        (1, 2, 30, blocks(2), false),
        (1, -1, 30, blocks(2), false),
        (1, 1, 65_535, blocks(2), true),
        (1, 0, 65_536, blocks(2), false),
        (1, 0, 30, blocks(65_535), true),
        (1, 0, 30, blocks(65_536), false),
        (1, 0, 30, Work::Nothing, true),
    ] {
        last = after(&last, numbers, layers, raw_bytes, work);
        lines.push((last, fits));
    }
    for (command_bytes, skipped_bytes, fits) in
        [(65_535, 0, true), (65_536, 0, false), (9, 1, false)]
    {
        last = after(&last, 1, 0, 30, arc);
        last.command_bytes = command_bytes;
        last.end_byte += skipped_bytes;
        lines.push((last, fits));
    }

    let mut made = 0;
    let mut block = || {
        made += 1;
        Block {
            length_mm: f64::from(made),
            speed_mm_s: 1.0,
            accel_mm_s2: 1.0,
            corner_mm_s: 1.0,
            steps: 1.0,
        }
    };
    let foot = Footprint {
        place: Place::default(),
        line: 0,
        layer: 0,
        layer_height_mm: 0.2,
        bytes: 0.0,
    };
    let mut job = StoredJob::default();
    for (line, _) in &lines {
        if let Work::Blocks { count, .. } = line.work {
            for _ in 0..count {
                job.block(&block(), foot);
            }
        }
        job.line(line);
    }
    let odd = lines.iter().filter(|(_, fits)| !fits).count();
    assert_eq!(
        job.memory_bytes(),
        8 * lines.len()
            + size_of::<Line>() * odd
            + (size_of::<Block>() + 8) * job.block_count()
            + 16
    );

    let mut next = 1;
    let mut reading = job.read();
    for (line, _) in &lines {
        let (read, blocks) = reading.next().unwrap();
        assert_eq!(read, *line);
        for block in blocks {
            assert_eq!(block.length_mm, f64::from(next));
            next += 1;
        }
    }
    assert!(reading.next().is_none());
    assert_eq!((next - 1, job.line_count()), (made, lines.len()));
}

/// A replay keeps the job as it was read, if it has no more lines or blocks than that.
#[test]
fn a_replay_keeps_its_job() {
    let board = board(&[]);
    let arcs = "G1 X10 F6000\nG2 I5\nM400\nG2 I-5 E1\nG1 X3\n";
    let words = "M117 a\n".repeat(9) + arcs.lines().next().unwrap();
    for job in [arcs, &words] {
        let source = || Planned::new(JobReader::new(job.as_bytes()), &board);
        let stored = source().store().unwrap();
        let size = stored.block_count().max(stored.line_count());
        for (most, is_kept) in [(0, false), (size - 1, false), (size, true), (999, true)] {
            let done = replay_source(source(), &board, 0, &mut Keep::default(), most).unwrap();
            assert_eq!(done.kept.is_some(), is_kept, "{most}");
            if let Some(kept) = done.kept {
                assert!(kept.read().eq(stored.read()), "{most}");
            }
        }
    }
}

/// Blocks share their line's command bytes, also where the line was kept.
#[test]
fn blocks_share_their_lines_bytes() {
    let board = board(&[]);
    let job = "G1 X10 F6000 ; away\nG2 I5 E1\n";
    let source = || Planned::new(JobReader::new(job.as_bytes()), &board);
    let (mut read, mut kept) = (Keep::default(), Keep::default());
    let stored = source().store().unwrap();
    replay_source(source(), &board, 0, &mut read, 0).unwrap();
    replay_source(stored.read(), &board, 0, &mut kept, 0).unwrap();
    for keep in [read, kept] {
        let bytes = |line| {
            keep.blocks
                .iter()
                .filter(move |b| b.line == line)
                .map(|b| b.bytes)
        };
        assert_eq!(bytes(1).collect::<Vec<_>>(), [13.0]);
        // Round a circle of 5 mm in chords of at most 1 mm.
        assert_eq!(bytes(2).collect::<Vec<_>>(), [9.0 / 32.0; 32]);
    }
}
