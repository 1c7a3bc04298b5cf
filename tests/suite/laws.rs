//! Laws that hold for any job and any board.

use headstall::board::profile;
use headstall::board::types::Board;
use headstall::job::reader::JobReader;
use headstall::replay::cause::Causes;
use headstall::replay::stream::{Done, replay};
use headstall::replay::world::Cause;
use headstall::report::tables;
use headstall::study::sample::has_draws;
use headstall::study::watch::Watch;
use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;

use super::making::{Keep, Run, board, close, run};

fn config() -> ProptestConfig {
    ProptestConfig {
        cases: 96,
        failure_persistence: Some(Box::new(FileFailurePersistence::WithSource("regressions"))),
        ..ProptestConfig::default()
    }
}

prop_compose! {
    /// A duration as a board file has it, in its key's unit.
    fn duration(most: f64)(kind in 0..4, a in 0.0..1.0f64, b in 0.01..1.0f64) -> String {
        let (low, high) = (a * most * b, a.max(0.01) * most);
        match kind {
            0 => format!("{low}"),
            1 => format!("{{ min = {low}, max = {high} }}"),
            2 => format!("{{ mean = {high} }}"),
            _ => format!("{{ median = {}, p99 = {} }}", high * b.min(0.9), high),
        }
    }
}

prop_compose! {
    fn link()(card in any::<bool>(), sector in duration(5.0), chance in 0.0..0.05f64,
              reply in duration(8.0), rate in 3000.0..60000.0f64, window in 1..6u32,
              received in any::<bool>(), poll in prop_oneof![Just(0.0), Just(0.21)]) -> String {
        if card {
            format!("[link]\nkind = \"card\"\nsector_ms = {sector}\ncluster_kib = 1\nchain_ms = 1.5\n\
                     hiccup_chance = {chance}\nhiccup_ms = {{ median = 10, p99 = 60 }}\n")
        } else {
            format!("[link]\nkind = \"serial\"\nbytes_per_s = {rate}\nreply_ms = {reply}\nin_flight = {window}\n\
                     reply_when = \"{}\"\npoll_s = {poll}\nresend_chance = {chance}\n",
                    if received { "received" } else { "finished" })
        }
    }
}

prop_compose! {
    /// A board file.
    pub fn any_board()(link in link(), line in 0.0..2000.0f64, block in 0.0..3000.0f64, pass in 0.0..100.0f64,
                       step in 0.0..30.0f64, chore in duration(9000.0), every in 0.02..0.5f64,
                       lines in 1..9u32, blocks in 2..33u32, restart in 1..3u32, wait in 0..2u32,
                       low in 0..12u32, jump in any::<bool>(), corexy in any::<bool>(),
                       save in 0..4usize, hold in duration(90.0), stop in any::<bool>()) -> String {
        let corner = if jump { "{ rule = \"jump\", x = 8, y = 6, z = 0.4, e = 5 }" }
                     else { "{ rule = \"deviation\", mm = 0.03 }" };
        let (when, every_save) = [("off", 1.0), ("seconds", 0.4), ("lines", 7.0), ("layer", 1.0)][save];
        format!("name = \"any\"\n{link}[loop]\nline_us = {line}\nbyte_us = 3\nblock_us = {block}\npass_us = {pass}\n\
                 chord_us = 50\nstep_us = {step}\n[[chore]]\nname = \"c\"\nevery_s = {every}\nus = {chore}\n\
                 [queue]\nlines = {lines}\nblocks = {blocks}\nrestart_blocks = {restart}\n\
                 restart_wait_ms = {}\nlow_water = {low}\nstretch_ms = 20\n\
                 [motion]\nlayout = \"{}\"\nspeed_max = {{ x = 200, y = 150, z = 12, e = 40 }}\n\
                 accel_max = {{ x = 2000, y = 1500, z = 100, e = 3000 }}\n\
                 accel = {{ print = 1000, travel = 1500, retract = 2000 }}\ncorner = {corner}\n\
                 steps_per_mm = {{ x = 80, y = 80, z = 400, e = 93 }}\n\
                 [save]\nwhen = \"{when}\"\nevery = {every_save}\nms = {hold}\nstop_first = {stop}\n",
                wait * 40, if corexy { "corexy" } else { "cartesian" })
    }
}

fn line() -> impl Strategy<Value = String> {
    let at = 0.0..40.0f64;
    prop_oneof![
        12 => (at.clone(), at.clone()).prop_map(|(x, y)| format!("G1 X{x:.3} Y{y:.3} E{:.4}", x / 30.0)),
        12 => (at.clone(), 0.0..0.4f64).prop_map(|(x, d)| format!("G1 X{:.3} Y{d:.3} E0.01", 20.0 + x / 50.0)),
        2 => at.clone().prop_map(|x| format!("G0 X{x:.2} F9000")),
        2 => at.clone().prop_map(|z| format!("G0 Z{:.2}", z / 10.0)),
        2 => Just("G1 E-0.8 F1800".to_string()),
        1 => (300..6000u32).prop_map(|f| format!("G1 F{f}")),
        1 => (-4.0..4.0f64, -4.0..4.0f64).prop_map(|(i, j)| format!("G2 I{i:.3} J{j:.3} E0.4")),
        1 => Just("G4 P30".to_string()),
        1 => Just("M400".to_string()),
        1 => Just("M220 S80".to_string()),
        1 => Just("; a remark of some length, as people write them".to_string()),
        1 => Just("M117 Layer 3 of 40".to_string()),
    ]
}

pub fn any_job() -> impl Strategy<Value = String> {
    prop::collection::vec(line(), 1..120)
        .prop_map(|lines| format!("M83\nG1 F3000 Z0.2\n{}\n", lines.join("\n")))
}

fn parsed(text: &str) -> Board {
    profile::parse(text, "any.toml", &[]).unwrap_or_else(|e| panic!("{e}"))
}

fn check_blocks(run: &Run, board: &Board) {
    let mut end_s = 0.0;
    for done in &run.blocks {
        let Done { ran, ideal, .. } = done;
        assert!(
            ran.start_s >= end_s - 1e-12 && ran.end_s >= ran.start_s,
            "{ran:?}"
        );
        end_s = ran.end_s;
        assert!(ran.gap_s >= 0.0);
        assert!(
            ran.queued >= 1 && ran.queued as usize <= board.queue.blocks,
            "{ran:?}"
        );
        let p = ran.profile;
        for speed in [p.entry_mm_s, p.peak_mm_s, p.exit_mm_s] {
            assert!(
                speed >= 0.0 && speed <= ran.nominal_mm_s * (1.0 + 1e-9),
                "{ran:?}"
            );
        }
        assert!(
            p.entry_mm_s <= ideal.entry_mm_s * (1.0 + 1e-9) + 1e-9,
            "{ran:?} {ideal:?}"
        );
        assert!(
            p.exit_mm_s <= ideal.exit_mm_s * (1.0 + 1e-9) + 1e-9,
            "{ran:?} {ideal:?}"
        );
        assert!(
            p.peak_mm_s <= ideal.peak_mm_s * (1.0 + 1e-9),
            "{ran:?} {ideal:?}"
        );
        assert!(done.lost_s() >= -1e-12 * end_s.max(1.0), "{done:?}");
        // The ramps reach what they claim: distance under the profile is the length.
        let a = done.accel_mm_s2;
        let ramp = |from: f64, to: f64| (to * to - from * from) / (2.0 * a);
        let went = ramp(p.entry_mm_s, p.peak_mm_s)
            + p.cruise_s * p.peak_mm_s
            + ramp(p.exit_mm_s, p.peak_mm_s);
        assert!(
            (went - done.length_mm).abs() <= 1e-9 * done.length_mm.max(1e-3),
            "{done:?}"
        );
    }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn limits_and_order_hold(text in any_board(), job in any_job()) {
        let board = parsed(&text);
        check_blocks(&run(&job, &board), &board);
    }

    #[test]
    fn columns_add_up(text in any_board(), job in any_job()) {
        let run = run(&job, &parsed(&text));
        let t = run.totals;
        let parts = t.moving_s + t.gap_s + t.start_up_s + t.stop_s + t.stop_wait_s;
        prop_assert!((parts - t.replay_s).abs() < 1e-9 * t.replay_s.max(1.0), "{t:?}");
        let lost: f64 = run.blocks.iter().map(Done::lost_s).sum();
        prop_assert!((lost - run.lost_s).abs() < 1e-9);
        let apart = t.start_up_s + t.stop_wait_s;
        prop_assert!((t.replay_s - run.ideal_s - apart - lost).abs() < 1e-9 * t.replay_s.max(1.0));
    }

    #[test]
    fn the_same_gives_the_same_bytes(text in any_board(), job in any_job(), seed in any::<u64>()) {
        let board = parsed(&text);
        let table = || {
            let mut keep = Keep::default();
            replay(job.as_bytes(), &board, seed, &mut keep).unwrap();
            let mut rows = csv::Writer::from_writer(Vec::new());
            for done in &keep.blocks {
                tables::block(&mut rows, done).unwrap();
            }
            rows.into_inner().unwrap()
        };
        let first = table();
        prop_assert_eq!(&first, &table());
        // And the numbers read back to themselves.
        let mut keep = Keep::default();
        replay(job.as_bytes(), &board, seed, &mut keep).unwrap();
        for (row, done) in csv::Reader::from_reader(&first[..]).records().zip(&keep.blocks) {
            let row = row.unwrap();
            prop_assert_eq!(row[15].parse::<f64>().unwrap(), done.ran.start_s);
            prop_assert_eq!(row[19].parse::<f64>().unwrap(), done.lost_s());
        }
    }

    #[test]
    fn without_costs_the_replay_is_the_ideal(job in any_job(), jump in any::<bool>()) {
        let corner = "motion.corner={ rule = \"jump\", x = 8, y = 6, z = 0.4, e = 5 }";
        let sets: &[&str] = if jump { &[corner] } else { &[] };
        let run = run(&job, &board(sets));
        prop_assert!(run.lost_s.abs() < 1e-9, "{}", run.lost_s);
        prop_assert!((run.totals.replay_s - run.ideal_s).abs() < 1e-9 * run.ideal_s.max(1.0));
        for done in &run.blocks {
            prop_assert_eq!(done.ran.profile, done.ideal);
        }
    }

    #[test]
    fn the_machine_ends_where_its_moves_lead(job in any_job()) {
        let mut reader = JobReader::new(job.as_bytes());
        while reader.next_step().unwrap().is_some() {}
        let end = reader.machine_mm();
        let run = run(&job, &board(&[]));
        for (axis, end) in end.iter().enumerate().take(3) {
            let sum: f64 = run.blocks.iter().map(|b| b.place.to_mm[axis] - b.place.from_mm[axis]).sum();
            prop_assert!((sum - end).abs() < 1e-9);
        }
        let e: f64 = run.blocks.iter().map(|b| b.place.e_mm).sum();
        prop_assert!((e - end[3]).abs() < 1e-6);
    }

    #[test]
    fn a_cut_line_is_one_line(pieces in 2..60u32, x in 5.0..90.0f64, y in -50.0..50.0f64, feed in 600.0..12000.0f64) {
        let whole = run(&format!("G1 X{x} Y{y} F{feed}\n"), &board(&[]));
        let mut job = format!("G1 F{feed}\n");
        for k in 1..=pieces {
            let part = f64::from(k) / f64::from(pieces);
            job += &format!("G1 X{} Y{}\n", x * part, y * part);
        }
        let cut = run(&job, &board(&[]));
        prop_assert!((cut.totals.replay_s / whole.totals.replay_s - 1.0).abs() < 1e-6);
    }

    #[test]
    fn a_faster_feed_is_never_later_without_costs(x in 1.0..50.0f64, feed in 300.0..6000.0f64, more in 1.0..3.0f64) {
        let job = |f: f64| format!("G1 X{x} F{f}\nG1 Y{x}\nG1 X0 Y1\n");
        let (slow, fast) = (run(&job(feed), &board(&[])), run(&job(feed * more), &board(&[])));
        prop_assert!(fast.totals.replay_s <= slow.totals.replay_s * (1.0 + 1e-12));
    }
}

/// On a starved board a faster feed can finish later: the head runs the queue dry sooner, brakes,
/// and starts from rest, where a slower one keeps rolling.
#[test]
fn a_faster_feed_can_finish_later() {
    let job = |feed: f64| {
        let mut job = format!("G1 F{feed}\n");
        for k in 1..=400 {
            job += &format!("G1 X{:.2}\n", f64::from(k) * 0.2);
        }
        job
    };
    let board = board(&[
        "queue.blocks=4",
        "loop.block_us=11000",
        "motion.accel.travel=400",
    ]);
    let times: Vec<f64> = (1..=30)
        .map(|k| run(&job(60.0 * f64::from(k)), &board).totals.replay_s)
        .collect();
    assert!(times.windows(2).any(|w| w[1] > w[0] + 1e-6), "{times:?}");
}

/// Rest that no block will bear, before a stop that ends the job, is start-up; the sums hold.
#[test]
fn a_rest_before_the_last_stop_is_counted() {
    let board = board(&["loop.line_us=20000"]);
    let job = format!("G1 X1 F6000\n{}M400\n", "M117 a\n".repeat(40));
    let t = run(&job, &board).totals;
    assert!(t.start_up_s > 0.5, "{t:?}");
    let sum = t.moving_s + t.gap_s + t.start_up_s + t.stop_s + t.stop_wait_s;
    close(sum, t.replay_s, 1e-12);
}

/// Replayed over ideal speed is ideal over replayed time, the rest before the block included.
#[test]
fn speed_ratios() {
    let mut done = run("G1 X10 F6000\n", &board(&[])).blocks[0];
    let ideal_s = done.ideal_s();
    assert_eq!(done.speed_ratio(), 1.0);
    done.ran.gap_s = 0.5 * ideal_s;
    close(done.speed_ratio(), 1.0 / 1.5, 1e-12);
    done.ran.profile.cruise_s += 1.5 * ideal_s;
    close(done.speed_ratio(), 1.0 / 3.0, 1e-12);
    close(done.lost_s(), 2.0 * ideal_s, 1e-12);
    // Never above 1, be it by rounding; nor for a block too short to tell.
    done.ran.gap_s = -1.75 * ideal_s;
    assert_eq!(done.speed_ratio(), 1.0);
    done.ran.gap_s = -done.ran.profile.duration_s();
    assert_eq!(done.speed_ratio(), 1.0);
}

/// Told the quick way, slow planning is told as computing, a slow card as the link.
#[test]
fn the_main_loop_is_blamed_for_what_it_does() {
    let mut job = String::from("M83\nG1 F6000\n");
    for k in 1..=800 {
        job += &format!("G1 X{:.2} E.01\n", f64::from(k) * 0.2);
    }
    for (sets, cause) in [
        (
            ["loop.block_us=9000", "queue.blocks=16", "queue.lines=4"],
            Cause::Compute,
        ),
        (
            ["link.sector_ms=400", "queue.blocks=16", "queue.lines=4"],
            Cause::Link,
        ),
    ] {
        let board = board(&sets);
        let mut watch = Watch::new(&board.nozzle, |_| {});
        let done = replay(job.as_bytes(), &board, 0, &mut watch).unwrap();
        let (seen, _) = watch.finish();
        assert!(done.lost_s > 1.0);
        let own_s = seen.by_cause_s[cause];
        assert!(own_s > 0.9 * done.lost_s, "{:?}", seen.by_cause_s);
    }
}

/// What a board does not draw, or does not have.
#[test]
fn draws_and_causes_that_a_board_lacks() {
    assert!(!has_draws(&board(&[])));
    assert!(!has_draws(&board(&["link.sector_ms=3"])));
    assert!(has_draws(&board(&["link.sector_ms={ min = 1, max = 2 }"])));
    assert!(!Causes::of(&board(&[])).has(Cause::Link));
    assert!(Causes::of(&board(&["link.chain_ms=2"])).has(Cause::Link));
    assert!(!Causes::of(&board(&["link.hiccup_chance=0"])).has(Cause::Hiccup));
}
