//! The fast ways are bit for bit the plain ones.

use std::collections::VecDeque;
use std::io::Cursor;

use headstall::board::profile;
use headstall::board::types::{Board, Corner};
use headstall::job::reader::{JobReader, Step};
use headstall::motion::corner::{speed_mm_s_below, speed_mm_s_max};
use headstall::motion::ideal::Ideal;
use headstall::motion::lookahead::{Course, Joint, Square, Window};
use headstall::motion::path::Block;
use headstall::motion::trapezoid::Trapezoid;
use headstall::replay::cause::{Causes, Setup};
use headstall::replay::controller;
use headstall::replay::source::{Planned, Source};
use headstall::replay::store::Reading;
use headstall::replay::stream::{self, Done, ReplayError, Watcher, replay};
use headstall::replay::world::{Cause, Line, Ran, Work, World};
use headstall::study::watch::Watch;
use headstall::surface::skin::Wanted;
use proptest::prelude::*;
use proptest::test_runner::TestCaseResult;

use super::laws::{any_board, any_job};
use super::making::{Keep, board};
use super::plainly::plainly;

/// The two passes of model section 3, in full, over blocks that wait: their entries.
fn entries(blocks: &[Joint], first_mm_s: f64) -> Vec<f64> {
    let mut squares = vec![Square::default(); blocks.len()];
    let mut exit = Square::default();
    for (square, block) in squares.iter_mut().zip(blocks).rev() {
        let reach = exit.plus(Square::new(block.gain_mm2_s2()));
        *square = Square::new(block.cap_mm_s * block.cap_mm_s).min(reach);
        exit = *square;
    }
    let mut speeds = vec![first_mm_s];
    for k in 1..blocks.len() {
        let before = speeds[k - 1];
        let forward = before * before + blocks[k - 1].gain_mm2_s2();
        let cap = blocks[k].cap_mm_s;
        let capped = squares[k] == Square::new(cap * cap) && cap * cap <= forward;
        speeds.push(if capped {
            cap
        } else {
            squares[k].mm2_s2().min(forward).sqrt()
        });
    }
    speeds
}

/// What the head does with them, if none comes behind.
fn courses(blocks: &[Joint], first_mm_s: f64) -> Vec<Course> {
    let mut speeds = entries(blocks, first_mm_s);
    speeds.push(0.0);
    let course = |(block, ends): (&Joint, &[f64])| Course {
        length_mm: block.length_mm,
        nominal_mm_s: block.nominal_mm_s,
        accel_mm_s2: block.accel_mm_s2,
        entry_mm_s: ends[0],
        exit_mm_s: ends[1],
    };
    blocks.iter().zip(speeds.windows(2)).map(course).collect()
}

/// The same in floating point, as the model writes it: entry = min(cap, sqrt(exit² + 2 a L)).
fn plain_entries(blocks: &[Joint], first_mm_s: f64) -> Vec<f64> {
    let reach = |speed: f64, b: &Joint| (speed * speed + 2.0 * b.accel_mm_s2 * b.length_mm).sqrt();
    let mut speeds = vec![0.0; blocks.len()];
    let mut exit = 0.0;
    for (speed, block) in speeds.iter_mut().zip(blocks).rev() {
        *speed = block.cap_mm_s.min(reach(exit, block));
        exit = *speed;
    }
    speeds[0] = first_mm_s;
    for k in 1..blocks.len() {
        speeds[k] = speeds[k].min(reach(speeds[k - 1], &blocks[k - 1]));
    }
    speeds
}

/// A block behind another, or from rest.
fn joined(before: Option<&Joint>, block: &Block) -> Joint {
    let before_mm_s = before.map_or(0.0, |b| b.nominal_mm_s);
    Joint {
        length_mm: block.length_mm,
        nominal_mm_s: block.speed_mm_s,
        accel_mm_s2: block.accel_mm_s2,
        cap_mm_s: before_mm_s.min(block.speed_mm_s).min(block.corner_mm_s),
    }
}

/// A job's blocks, from each rest to the next.
fn stretches(job: &str, board: &Board) -> Vec<Vec<Joint>> {
    let mut source = Planned::new(JobReader::new(job.as_bytes()), board);
    let mut stretches = vec![Vec::new()];
    let mut blocks = Vec::<Block>::new();
    while let Some(line) = source.next_line(&mut blocks).unwrap() {
        if matches!(line.work, Work::Stop(_)) {
            stretches.push(Vec::new());
        }
        for block in blocks.drain(..) {
            let stretch = stretches.last_mut().unwrap();
            stretch.push(joined(stretch.last(), &block));
        }
    }
    stretches
}

/// A job of the laws; or some in a row that never stop and brake slowly: many blocks wait for one another.
fn job() -> impl Strategy<Value = String> {
    let long = (prop::collection::vec(any_job(), 1..6), 20..1000u32).prop_map(|(jobs, accel)| {
        let moves = jobs.concat().replace("M400\n", "").replace("G4 P30\n", "");
        format!("M204 S{accel}\n{moves}")
    });
    prop_oneof![any_job(), long]
}

fn block(joint: &Joint) -> Block {
    Block {
        length_mm: joint.length_mm,
        speed_mm_s: joint.nominal_mm_s,
        accel_mm_s2: joint.accel_mm_s2,
        corner_mm_s: joint.cap_mm_s,
        steps: 1.0,
    }
}

/// Takes blocks out of the ideal as soon as it lets them go: they are those of the two passes over all blocks
/// from rest to rest.
fn check_ideal(stretches: &[Vec<Joint>]) -> TestCaseResult {
    let mut ideal = Ideal::default();
    let (mut count, mut settled) = (0.., Vec::new());
    for stretch in stretches {
        for (joint, number) in stretch.iter().zip(&mut count) {
            ideal.push(&block(joint), number);
            settled.extend(std::iter::from_fn(|| ideal.pop()));
        }
        ideal.rest();
        settled.extend(std::iter::from_fn(|| ideal.pop()));
    }
    let planned = stretches.iter().flat_map(|s| courses(s, 0.0));
    prop_assert_eq!(settled, planned.zip(0..).collect::<Vec<_>>());
    Ok(())
}

/// Puts blocks into a window and takes so many out behind each: they are those of the two passes.
fn check_window(blocks: impl IntoIterator<Item = (Joint, usize)>) -> TestCaseResult {
    let mut window = Window::<usize>::default();
    let mut waiting: Vec<Joint> = Vec::new();
    let mut entry_mm_s = 0.0;
    for (number, (mut block, pops)) in blocks.into_iter().enumerate() {
        // A block before which nothing waits is entered from rest.
        if waiting.is_empty() {
            block.cap_mm_s = 0.0;
            entry_mm_s = 0.0;
        }
        window.push(block, number);
        waiting.push(block);
        for _ in 0..pops {
            let Some(found) = window.pop() else { break };
            let all = courses(&waiting, entry_mm_s);
            for (exact, plain) in all.iter().zip(plain_entries(&waiting, entry_mm_s)) {
                let off = (exact.entry_mm_s - plain).abs();
                prop_assert!(off <= 1e-9 * (1.0 + plain), "{} {}", off, plain);
            }
            prop_assert_eq!(found, (all[0], number + 1 - waiting.len()));
            entry_mm_s = all[0].exit_mm_s;
            waiting.remove(0);
        }
    }
    Ok(())
}

fn joint() -> impl Strategy<Value = Joint> {
    (
        prop_oneof![3 => 0.001..3.0f64, 1 => 1e-5..1e-3f64],
        1.0..200.0f64,
        prop_oneof![3 => Just(1000.0), 3 => 50.0..4000.0f64, 1 => 1e-3..1.0f64],
        0.0..1.2f64,
    )
        .prop_map(|(length_mm, nominal_mm_s, accel_mm_s2, cap)| Joint {
            length_mm,
            nominal_mm_s,
            accel_mm_s2,
            cap_mm_s: (cap * nominal_mm_s).min(nominal_mm_s),
        })
}

/// A square keeps all digits of a double down to 2^-10 mm²/s², and 2^-62 of any.
#[test]
fn squares() {
    for value in [
        0.0,
        1.0,
        80.0 * 80.0,
        0.1,
        1.0 / 1024.0,
        1e12,
        123.456 * 7.89,
    ] {
        assert_eq!(Square::new(value).mm2_s2(), value);
    }
    for value in [2e-10, 1e-17, 1e-300] {
        assert!(
            (Square::new(value).mm2_s2() - value).abs() < 2.2e-19,
            "{value}"
        );
    }
    let most = Square::new(f64::MAX);
    assert_eq!(most, Square::new(1e20));
    assert!(most > Square::new(4e12));
}

proptest! {
    #[test]
    fn the_window_is_the_two_passes(blocks in prop::collection::vec((joint(), 0..3usize), 1..80)) {
        check_window(blocks)?;
    }

    /// A head that takes blocks now and then, now one, now many, and all of them before it rests.
    #[test]
    fn the_window_of_a_job(
        job in job(),
        text in any_board(),
        pops in prop::collection::vec(prop_oneof![30 => Just(0), 30 => Just(1), 1 => 0..100usize], 1..60),
    ) {
        let board = profile::parse(&text, "any.toml", &[]).unwrap();
        let mut pops = pops.into_iter().cycle();
        let mut blocks = Vec::new();
        for stretch in stretches(&job, &board) {
            blocks.extend(stretch.into_iter().zip(&mut pops));
            if let Some((_, pops)) = blocks.last_mut() {
                *pops = usize::MAX;
            }
        }
        check_window(blocks)?;
    }

    #[test]
    fn the_ideal_is_one_pass_over_all(joints in prop::collection::vec(joint(), 1..120)) {
        let mut stretch = Vec::new();
        for joint in joints {
            stretch.push(joined(stretch.last(), &block(&joint)));
        }
        check_ideal(&[stretch])?;
    }

    /// The ideal, and what a replay tells of it, whatever the head has done by then.
    #[test]
    fn the_ideal_of_a_job(job in job(), text in any_board(), seed in 0..99u64) {
        let board = profile::parse(&text, "any.toml", &[]).unwrap();
        let stretches = stretches(&job, &board);
        check_ideal(&stretches)?;
        let mut keep = Keep::default();
        replay(job.as_bytes(), &board, seed, &mut keep).unwrap();
        let told: Vec<Trapezoid> = keep.blocks.iter().map(|b| b.ideal).collect();
        let planned = stretches.iter().flat_map(|s| courses(s, 0.0));
        prop_assert_eq!(told, planned.map(|c| c.profile()).collect::<Vec<_>>());
    }
}

proptest! {
    /// A corner told without its root is the corner in full, up to the speed that was enough.
    #[test]
    fn corners_without_a_root(
        before in prop::array::uniform3(-1.0..1.0f64),
        turn in prop::array::uniform3(-2.0..2.0f64),
        mm in 0.001..0.2f64,
        accel in prop_oneof![1.0..50.0f64, 100.0..5000.0f64],
        part in 0.5..1.5f64,
    ) {
        let rule = Corner::Deviation { mm };
        let along = |v: [f64; 3]| {
            let length = v.iter().map(|x| x * x).sum::<f64>().sqrt();
            [v[0] / length, v[1] / length, v[2] / length, 0.04]
        };
        let after = along(std::array::from_fn(|axis| before[axis] + turn[axis]));
        let before = along(before);
        let full = speed_mm_s_max(&rule, &before, &after, accel);
        let enough = part * full.min(1e3);
        let below = speed_mm_s_below(&rule, &before, &after, accel, enough);
        prop_assert!((below.min(enough) - full.min(enough)).abs() <= 1e-9 * enough, "{} {}", below, full);
    }
}

/// Sums of squares are exact, near nothing and up to the fastest cap.
#[test]
fn squares_add_up() {
    for mm2_s2 in [0.0, 0.25, 2f64.powi(-40), 524_288.125, 1e9 + 0.5, 1e12] {
        let square = Square::new(mm2_s2);
        for more in [2f64.powi(-12), 3.0, 524_287.5] {
            let sum = square.plus(Square::new(more));
            assert!(sum > square);
            // What the sum holds beyond a double's digits is there too.
            assert_eq!(sum.mm2_s2(), mm2_s2 + more);
            assert_eq!(sum, Square::new(more).plus(square));
            assert!(sum <= Square::new(mm2_s2 + more + 1.0));
        }
    }
}

/// A number as jobs write it: any digits, any decimals, or none.
fn number() -> impl Strategy<Value = String> {
    let digits = prop_oneof![4 => "[0-9]{1,3}", 1 => "[0-9]{0,9}"];
    let decimals =
        prop_oneof![4 => "[0-9]{3}", 4 => "[0-9]{5}", 2 => "[0-9]{0,2}0{0,6}", 1 => "[0-9]{0,12}"];
    ("-?", digits, any::<bool>(), decimals).prop_map(|(sign, digits, point, decimals)| {
        if point || digits.is_empty() {
            format!("{sign}{digits}.{decimals}")
        } else {
            format!("{sign}{digits}")
        }
    })
}

fn words() -> impl Strategy<Value = String> {
    let axes = prop_oneof![
        Just("X"),
        Just("Y"),
        Just("Z"),
        Just("E"),
        Just("F"),
        Just("P")
    ];
    let word = (axes, number()).prop_map(|(axis, number)| format!("{axis}{number}"));
    (0..2u8, prop::collection::vec(word, 1..5))
        .prop_map(|(code, words)| format!("G{code} {}", words.join(" ")))
}

/// A job of numbers of all kinds.
fn numbers() -> impl Strategy<Value = String> {
    let lines = prop::collection::vec(words(), 1..100);
    lines.prop_map(|lines| format!("M83\n{}\n", lines.join("\n")))
}

fn steps(job: &str) -> Vec<Step> {
    let mut reader = JobReader::new(job.as_bytes());
    let mut steps = Vec::new();
    while let Ok(Some(step)) = reader.next_step() {
        steps.push(*step);
    }
    steps
}

proptest! {
    /// A line is read eight bytes at a time; with a blank before it, letter by letter.
    #[test]
    fn numbers_read_at_a_stroke(lines in prop::collection::vec(words(), 1..40), crlf in any::<bool>()) {
        let end = if crlf { "\r\n" } else { "\n" };
        let fast = steps(&format!("M83{end}{}{end}", lines.join(end)));
        let slow = steps(&format!("M83{end} {}{end}", lines.join(&format!("{end} "))));
        prop_assert_eq!(fast.len(), slow.len());
        for (fast, slow) in fast.iter().zip(&slow) {
            let said = |s: &Step| (s.line, s.layer, s.command_bytes, s.spare_bytes, s.act);
            prop_assert_eq!(said(fast), said(slow));
        }
    }

    /// What is read in batches, and fast, is what a plain reading finds.
    #[test]
    fn jobs_read_plainly(job in prop_oneof![job(), numbers()]) {
        let said = |s: &Step| (s.line, s.end_byte, s.raw_bytes, s.command_bytes, s.act);
        prop_assert_eq!(steps(&job).iter().map(said).collect::<Vec<_>>(), plainly(&job));
    }

    /// A thread that reads ahead changes nothing.
    #[test]
    fn reading_ahead(job in any_job(), text in any_board(), seed in 0..99u64) {
        let board = profile::parse(&text, "any.toml", &[]).unwrap();
        let source = || Planned::new(JobReader::new(Cursor::new(job.clone())), &board);
        let (mut plain, mut ahead) = (Keep::default(), Keep::default());
        let one = stream::replay_source(source(), &board, seed, &mut plain, 0);
        let two = stream::replay_ahead(source(), &board, seed, &mut ahead, 0);
        prop_assert_eq!(plain.blocks, ahead.blocks);
        let (Ok(one), Ok(two)) = (one, two) else { return Ok(()) };
        prop_assert_eq!(one.totals, two.totals);
        prop_assert_eq!((one.ideal_s, one.lost_s), (two.ideal_s, two.lost_s));
        prop_assert_eq!(one.source.steps.line_count(), two.source.steps.line_count());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// A thread that works layers off changes nothing.
    #[test]
    fn surfaces_aside(job in any_job(), text in any_board(), seed in 0..99u64) {
        let board = profile::parse(&text, "any.toml", &[]).unwrap();
        let found = |aside: bool| {
            let wanted = Wanted { walls: true, whole: false, aside };
            let watch = Watch::new(&board.nozzle, |_| {}).with_trace(None);
            let mut watch = watch.with_surface(&board.nozzle, &wanted);
            let done = replay(job.as_bytes(), &board, seed, &mut watch);
            let found = watch.found();
            done.is_ok().then_some((found.seen, found.trace, found.exposure))
        };
        prop_assert_eq!(found(false), found(true));
    }
}

/// An error comes behind the blocks before it, whoever reads.
#[test]
fn reading_ahead_to_an_error() {
    let mut job = "G1 F3000\n".to_string();
    for k in 0..2000 {
        job += &format!("G1 X{} E1\n", k % 2 * 10);
    }
    job += "G1 X9999999\nG1 X5\n";
    let board = board(&[]);
    let source = Planned::new(JobReader::new(Cursor::new(job)), &board);
    let mut keep = Keep::default();
    let done = stream::replay_ahead(source, &board, 0, &mut keep, 0);
    let Err(ReplayError::Job(error)) = done else {
        panic!("no error");
    };
    assert!(error.to_string().starts_with("line 2002 "), "{error}");
    assert_eq!(keep.blocks.len(), 2000);
}

/// Notes the bytes that it is told of.
#[derive(Default)]
struct Told(Vec<u64>);

impl Watcher for Told {
    fn block(&mut self, _done: &Done) {}

    fn stop(&mut self, _start_s: f64, _end_s: f64) {}

    fn progress(&mut self, bytes: u64) {
        self.0.push(bytes);
    }
}

/// Progress is told every so many lines: the bytes up to there, or what was read ahead of it.
#[test]
fn progress_goes_by_the_bytes_read() {
    let line = "G1 F6000\n";
    let job = line.repeat(20_000);
    let all = job.len() as u64;
    let board = board(&[]);
    let source = || Planned::new(JobReader::new(Cursor::new(job.clone())), &board);
    let (mut plain, mut ahead) = (Told::default(), Told::default());
    stream::replay_source(source(), &board, 0, &mut plain, 0).unwrap();
    stream::replay_ahead(source(), &board, 0, &mut ahead, 0).unwrap();
    let first = plain.0[0];
    assert!(first % line.len() as u64 == 0 && first > all / 100);
    let even: Vec<u64> = (1..=all / first).map(|k| k * first).collect();
    assert_eq!(plain.0, even);
    assert_eq!(ahead.0.len(), even.len());
    assert!(ahead.0.is_sorted());
    for (ahead, plain) in ahead.0.iter().zip(even) {
        assert!((plain..=all).contains(ahead), "{ahead} {plain}");
    }
    // In memory there is nothing to read.
    let (kept, read) = (source().store().unwrap(), steps(&job));
    let mut told = Told::default();
    stream::replay_source(kept.read(), &board, 0, &mut told, 0).unwrap();
    let read = Planned::new(read.iter(), &board);
    stream::replay_source(read, &board, 0, &mut told, 0).unwrap();
    assert_eq!(told.0, vec![0; 2 * plain.0.len()]);
}

/// What is held back goes by the braking distance, not by the job: here v²/(2 a L) = 25 blocks.
#[test]
fn the_ideal_holds_little_back() {
    let mut ideal = Ideal::default();
    for k in 0..50_000u32 {
        ideal.push(
            &Block {
                length_mm: 0.2,
                speed_mm_s: 100.0,
                accel_mm_s2: 1000.0,
                // A slow corner now and then, and corners that no block reaches at once.
                corner_mm_s: if k % 97 == 0 {
                    4.0
                } else {
                    60.0 + f64::from(k % 7) * 6.0
                },
                steps: 1.0,
            },
            (),
        );
        while ideal.pop().is_some() {}
        // Whatever follows a slow corner, what is before it has its ends.
        assert!(k % 97 != 0 || ideal.held() == 1, "{k}: {}", ideal.held());
        // The newest block's exit goes by the next one.
        assert!((1..=27).contains(&ideal.held()), "{k}: {}", ideal.held());
    }
}

/// A stored job whose blocks are given again or not.
struct Ranks<'a> {
    job: Reading<'a>,
    again: bool,
    ran: Vec<(f64, f64, Trapezoid, u32)>,
    stops: Vec<f64>,
}

impl World for Ranks<'_> {
    fn next_line(&mut self, blocks: &mut VecDeque<Block>) -> Option<Line> {
        self.job.line(blocks)
    }

    fn ran(&mut self, ran: &Ran) {
        self.ran
            .push((ran.start_s, ran.gap_s, ran.profile, ran.queued));
    }

    fn stopped(&mut self, start_s: f64, end_s: f64) {
        self.stops.extend([start_s, end_s]);
    }

    fn block_again(&self, number: u64) -> Option<Block> {
        self.again.then(|| self.job.block(number))?
    }
}

/// An endless queue that holds only a number of the blocks far behind goes like one that holds them all:
/// with short ramps, and with ramps longer than what it holds.
#[test]
fn spilled_blocks() {
    for accel in ["1000", "2"] {
        let board = board(&[
            "queue.blocks=16",
            "loop.block_us=300",
            "loop.step_us=1",
            "save.when=layer",
            "save.ms=400",
            &format!("motion.accel.print={accel}"),
        ]);
        let mut job = String::from("M83\nG1 F4800\n");
        for layer in 1..=3 {
            job += &format!("G1 Z{:.1}\n", 0.2 * f64::from(layer));
            for k in 0..6000 {
                let (x, feed) = (f64::from(k) * 0.05, 900 * (1 + k / 700));
                job += &format!("G1 X{x:.2} Y{:.2} E0.01 F{feed}\n", f64::from(k % 50 / 49));
            }
            job += "G4 P300\nG1 X0 Y0\n";
        }
        let kept = Planned::new(JobReader::new(job.as_bytes()), &board)
            .store()
            .unwrap();
        let left = [Cause::Compute, Cause::Save]
            .into_iter()
            .fold(Causes::NONE, Causes::with);
        let run = |again: bool| {
            let mut ranks = Ranks {
                job: kept.read(),
                again,
                ran: Vec::new(),
                stops: Vec::new(),
            };
            let totals = controller::run(&Setup::only(&board, left), 0, &mut ranks).unwrap();
            (totals, ranks.ran, ranks.stops)
        };
        let (all, spilled) = (run(false), run(true));
        let most = all.1.iter().map(|r| r.3).max();
        assert!(most > Some(4000), "{most:?}");
        assert!(all == spilled, "{:?} {:?}", all.0, spilled.0);
    }
}
