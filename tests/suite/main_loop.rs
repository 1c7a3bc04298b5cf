//! The main loop on small jobs whose times are worked out by hand (model sections 4 to 6 and 9).

use std::collections::VecDeque;

use headstall::board::types::{Board, ReplyWhen};
use headstall::job::reader::JobReader;
use headstall::motion::path::Block;
use headstall::replay::cause::{Causes, Setup};
use headstall::replay::controller;
use headstall::replay::duties::{CHORE_RUNS_MAX, Chores};
use headstall::replay::feed::Feed;
use headstall::replay::source::Planned;
use headstall::replay::store::Reading;
use headstall::replay::world::{Cause, Line, Ran, Work, World};

use super::making::{board, close, run};

/// A world that notes when blocks come into the planner queue.
struct Noted<'a> {
    job: Reading<'a>,
    inserted_s: Vec<f64>,
}

impl World for Noted<'_> {
    fn next_line(&mut self, blocks: &mut VecDeque<Block>) -> Option<Line> {
        self.job.line(blocks)
    }

    fn ran(&mut self, _ran: &Ran) {}

    fn stopped(&mut self, _start_s: f64, _end_s: f64) {}

    fn inserted(&mut self, at_s: f64) {
        self.inserted_s.push(at_s);
    }
}

/// When each block comes into the planner queue, with only these causes.
fn inserted_s(job: &str, board: &Board, causes: &[Cause]) -> Vec<f64> {
    let kept = Planned::new(JobReader::new(job.as_bytes()), board)
        .store()
        .unwrap();
    let left = causes.iter().copied().fold(Causes::NONE, Causes::with);
    let mut noted = Noted {
        job: kept.read(),
        inserted_s: Vec::new(),
    };
    controller::run(&Setup::only(board, left), 0, &mut noted).unwrap();
    noted.inserted_s
}

#[track_caller]
fn check_s(found: &[f64], expected: &[f64]) {
    assert_eq!(found.len(), expected.len(), "{found:?}");
    for (found, expected) in found.iter().zip(expected) {
        close(*found, *expected, 1e-9);
    }
}

/// Without the link every line is at hand, but its command bytes are taken in all the same:
/// 10 and 5 of them at 1 ms each.
#[test]
fn lines_at_hand_cost_their_bytes() {
    let board = board(&[
        "link.kind=serial",
        "link.baud=115200",
        "link.reply_ms=50",
        "loop.byte_us=1000",
        "queue.lines=1",
    ]);
    let job = "G1 X1 F60  ; a remark\nG1X2\n";
    check_s(&inserted_s(job, &board, &[Cause::Compute]), &[0.010, 0.015]);
}

/// Where the depth is removed, the look-ahead's cost stays capped at the board's four blocks. The
/// first block starts as the second's planning begins, and executes for minutes.
#[test]
fn passes_stay_capped_without_depth() {
    let board = board(&["queue.blocks=4", "loop.pass_us=1000"]);
    let job = "G1 X100 F60\nG1 X101\nG1 X102\nG1 X103\nG1 X104\nG1 X105\nG1 X106\n";
    let ms = [1.0, 3.0, 5.0, 8.0, 12.0, 16.0, 20.0];
    check_s(
        &inserted_s(job, &board, &[Cause::Compute]),
        &ms.map(|t: f64| t * 1e-3),
    );
}

/// `count` moves, each line `bytes` long.
fn moves(count: usize, bytes: usize) -> String {
    (1..=count)
        .map(|k| format!("{:<width$}\n", format!("G1 X{k} ;"), width = bytes - 1))
        .collect()
}

/// A block that ends just as a sector has been read or a line decoded has ended before the line is
/// planned: one block is looked at, not two (model section 3, ties). The first lasts from 1.25 to 3.5 s.
#[test]
fn a_block_ends_before_the_main_loop_goes_on() {
    for takes_1_s in ["link.sector_ms=1000", "loop.line_us=1000000"] {
        let sets =
            format!("{takes_1_s}; loop.pass_us=250000; queue.lines=1; motion.accel.travel=1");
        let line = |code: &str| format!("{code:<511}\n");
        let job = ["G1 X1.25 F60 ;", "G1 X9 ;", "G1 X20 ;"].map(line);
        check_s(
            &inserted_s(&job.concat(), &board_with(&sets), &Cause::ALL),
            &[1.25, 2.5, 3.75],
        );
    }
}

/// A block is told with what held the main loop longest since the one before it, and how long.
#[test]
fn what_makes_blocks_late() {
    for (sets, cause, ms) in [
        ("link.sector_ms=20; loop.line_us=3000", Cause::Link, 20.0),
        (
            "link.kind=serial; link.bytes_per_s=1000; link.overhead_bytes=0; link.in_flight=1; link.reply_ms=0",
            Cause::Link,
            6.0,
        ),
        (
            "link.hiccup_chance=1; link.hiccup_ms=8; link.sector_ms=2",
            Cause::Hiccup,
            8.0,
        ),
        (
            "loop.line_us=3000; loop.block_us=4000; link.sector_ms=5",
            Cause::Compute,
            7.0,
        ),
        (
            "save.when=lines; save.every=1; save.ms=9; save.reread=false; link.sector_ms=5",
            Cause::Save,
            9.0,
        ),
        (
            "queue.blocks=2; link.sector_ms=5; motion.speed_max.x=1",
            Cause::Depth,
            996.0,
        ),
    ] {
        let board = board_with(&format!("queue.lines=1; {sets}"));
        for done in &run(&moves(6, 512), &board).blocks[3..5] {
            assert_eq!(done.ran.late_by, cause, "{sets}");
            close(done.ran.late_s, ms * 1e-3, 1e-9);
        }
    }
}

/// A sector takes 10 ms, a save 100 ms. After a save the current sector is read again at the next
/// fetch, be it for a line in the same sector or for one that starts the next.
#[test]
fn a_save_loses_the_sector() {
    let saving = |every: &str, reread: &str| {
        board(&[
            "link.sector_ms=10",
            "queue.lines=1",
            "save.when=lines",
            "save.ms=100",
            every,
            reread,
        ])
    };
    for (board, bytes, saves, ms) in [
        (
            saving("save.every=2", "save.reread=true"),
            256,
            2,
            [10.0, 10.0, 120.0, 130.0, 240.0, 250.0],
        ),
        (
            saving("save.every=2", "save.reread=false"),
            256,
            2,
            [10.0, 10.0, 120.0, 120.0, 230.0, 230.0],
        ),
        (
            saving("save.every=1", "save.reread=true"),
            512,
            5,
            [10.0, 120.0, 240.0, 360.0, 480.0, 600.0],
        ),
    ] {
        let job = moves(6, bytes);
        check_s(
            &inserted_s(&job, &board, &Cause::ALL),
            &ms.map(|t: f64| t * 1e-3),
        );
        assert_eq!(run(&job, &board).totals.saves, saves);
    }
}

/// Reading a sector again takes its same draw and has no hiccup.
#[test]
fn a_lost_sector_has_its_same_draw() {
    let board = board(&[
        "link.sector_ms={ min = 1, max = 2 }",
        "link.hiccup_chance=1",
        "link.hiccup_ms=5",
    ]);
    let line = |end_byte| Line {
        number: 1,
        layer: 0,
        end_byte,
        raw_bytes: 9,
        command_bytes: 9,
        work: Work::Nothing,
    };
    let card = || match Feed::new(&board.link, 3) {
        Feed::Card(card) => card,
        _ => panic!("a card"),
    };
    let mut kept = card();
    let first_s = kept.fetch(&line(512)).sectors_s;
    let second_s = kept.fetch(&line(513)).sectors_s;
    assert!(first_s >= 1e-3 && second_s >= 1e-3 && first_s != second_s);
    let mut lost = card();
    lost.lose_sector();
    assert_eq!(lost.fetch(&line(512)).sectors_s, first_s);
    lost.lose_sector();
    let both = lost.fetch(&line(513));
    assert_eq!(both.sectors_s, first_s + second_s);
    assert_eq!(both.hiccups_s, 5e-3);
    assert_eq!(lost.fetch(&line(1024)), kept.fetch(&line(1024)));
    assert_eq!(lost.fetch(&line(2048)).hiccups_s, 10e-3);
}

/// [`board`] with keys parted by `;`.
fn board_with(sets: &str) -> Board {
    board(
        &sets
            .split("; ")
            .filter(|set| !set.is_empty())
            .collect::<Vec<_>>(),
    )
}

/// What each cause's removal sets to nothing, with all else kept.
#[test]
fn each_cause_can_be_removed() {
    const ALL: &str = "link.sector_ms=3; link.chain_ms=4; link.hiccup_chance=0.5; link.baud=9600; \
        link.reply_ms=2; link.resend_chance=0.5; save.when=layer; save.ms=5; chore=[{ us = 6 }]; \
        loop.line_us=7; loop.byte_us=8; loop.block_us=9; loop.pass_us=10; loop.chord_us=11; \
        loop.step_us=12; loop.load_max=0.5; queue.blocks=8; queue.restart_blocks=2; \
        queue.restart_wait_ms=13; queue.low_water=3; queue.stretch_ms=14";
    let removals = [
        "link.sector_ms=0; link.chain_ms=0",
        "link.hiccup_chance=0; link.resend_chance=0",
        "save.when=off",
        "chore=[]",
        "loop.line_us=0; loop.byte_us=0; loop.block_us=0; loop.pass_us=0; loop.chord_us=0; loop.step_us=0",
        "queue.restart_blocks=1; queue.restart_wait_ms=0; queue.stretch_ms=0",
    ];
    for kind in ["card", "serial"] {
        let all = format!("{ALL}; link.kind={kind}");
        let whole = board_with(&all);
        assert_eq!(Causes::of(&whole), Causes::ALL);
        for (cause, removal) in Cause::ALL.into_iter().zip(removals) {
            let others = Cause::ALL.into_iter().filter(|c| *c != cause);
            let left = Setup::only(&whole, others.fold(Causes::NONE, Causes::with));
            assert_eq!(
                left.board,
                board_with(&format!("{all}; {removal}")),
                "{removal}"
            );
            assert_eq!(Causes::ALL.with(cause), Causes::ALL);
            assert_eq!(left.at_hand, cause == Cause::Link && kind == "serial");
            let room_blocks = if cause == Cause::Depth { usize::MAX } else { 8 };
            assert_eq!(left.room_blocks, room_blocks);
        }
    }
}

/// Each cost alone makes a board have its cause; a cost of nothing doesn't.
#[test]
fn a_board_has_the_causes_that_cost_it_time() {
    use Cause::{Chore, Compute, Depth, Hiccup, Link, Save};
    const SERIAL: &str = "link.kind=serial; link.baud=9600; link.reply_ms=0";
    let broken = format!("{SERIAL}; link.resend_chance=0.1");
    let rows: [(&str, &[Cause]); 16] = [
        ("", &[]),
        ("link.sector_ms=1", &[Link]),
        ("link.chain_ms=1", &[Link]),
        ("link.hiccup_chance=0.1", &[Hiccup]),
        ("link.hiccup_chance=0.1; link.hiccup_ms=0", &[]),
        (SERIAL, &[Link]),
        (&broken, &[Link, Hiccup]),
        ("save.when=layer; save.ms=0", &[Save]),
        ("chore=[{ us = 1 }, { us = 0 }]", &[Chore]),
        ("chore=[{ us = 0 }]", &[]),
        ("loop.line_us=1", &[Compute]),
        ("loop.byte_us=1", &[Compute]),
        ("loop.block_us=1", &[Compute]),
        ("loop.pass_us=1", &[Compute]),
        ("loop.chord_us=1", &[Compute]),
        ("loop.step_us=1", &[Compute]),
    ];
    for (sets, causes) in rows {
        let found: Vec<Cause> = Causes::of(&board_with(sets)).list().collect();
        assert_eq!(found, [causes, &[Depth]].concat(), "{sets}");
    }
}

/// A board whose chores leave no time for lines is told so, with the number of their runs.
#[test]
fn endless_chores_are_told() {
    let board = board(&["chore=[{ name = \"fan\", every_s = 1, us = 1 }]"]);
    let mut chores = Chores::new(&board, 0, CHORE_RUNS_MAX);
    let mut runs = 0_u64;
    let error = loop {
        match chores.start(0, runs as f64 + 1.0) {
            Ok(_) => runs += 1,
            Err(error) => break error.to_string(),
        }
    };
    assert!(
        error.starts_with(&format!("chores ran {runs} times")) && error.contains("`fan`"),
        "{error}"
    );
}

/// After three years of waiting the clock cannot tell a block's start from its end.
#[test]
fn a_last_block_shorter_than_the_clock_can_tell() {
    let board = board(&["motion.accel.travel=1e9", "motion.accel_max.x=1e9"]);
    let job = "G4 S1000000\n".repeat(100) + "G1 X0.00000001 F60000000\n";
    close(run(&job, &board).totals.replay_s, 1e8, 1e-12);
}

/// Each run of a chore has a draw of its own.
#[test]
fn runs_of_a_chore_differ() {
    let board = board(&["chore=[{ every_s = 1, us = { min = 1, max = 2 } }]"]);
    let mut chores = Chores::new(&board, 0, u64::MAX);
    let mut work_s = |now_s| chores.start(0, now_s).unwrap();
    let (one, two, three) = (work_s(1.0), work_s(2.0), work_s(3.0));
    assert!(one != two && two != three, "{one} {two} {three}");
}

/// A cause has one name, in tables and in data.
#[test]
fn names_of_causes() {
    for cause in Cause::ALL {
        assert_eq!(serde_json::to_value(cause).unwrap(), cause.name());
    }
}

/// A host's polls count up, and their replies have draws of their own.
#[test]
fn polls_are_lines_apart() {
    let serial = |sets: &str| {
        let sets = format!("link.kind=serial; link.bytes_per_s=1000; {sets}");
        match Feed::new(&board_with(&sets).link, 0) {
            Feed::Serial(serial) => serial,
            _ => panic!("a serial line"),
        }
    };
    let line = |number, work| Line {
        number,
        layer: 0,
        end_byte: 9,
        raw_bytes: 9,
        command_bytes: 9,
        work,
    };
    let mut polling = serial("link.in_flight=99; link.poll_s=0.001; link.reply_ms=0");
    let (mut next, mut left) = (Some(line(1, Work::Nothing)), 3);
    polling.send(9.0, &mut next, |next| {
        left -= 1;
        *next = (left > 0).then(|| line(1, Work::Nothing));
    });
    let polls: Vec<u64> = std::iter::from_fn(|| polling.take(9.0))
        .filter(|line| line.work == Work::Poll)
        .map(|line| line.number)
        .collect();
    assert_eq!(polls, [0, 1]);

    let arrival_s = |work| {
        let mut feed = serial("link.in_flight=1; link.reply_ms={ min = 1, max = 9 }");
        let mut next = Some(line(1, Work::Nothing));
        feed.send(0.0, &mut next, |_| ());
        assert!(feed.take(9.0).is_some());
        feed.answer(ReplyWhen::Finished, 1.0, &line(1, work));
        feed.next_arrival_s(&next)
    };
    let (job, poll) = (arrival_s(Work::Nothing), arrival_s(Work::Poll));
    assert!(job > 1.0 && poll > 1.0 && job != poll, "{job} {poll}");
}
