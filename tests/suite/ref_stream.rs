//! Uniform streams of blocks, and queues, against `tests/vectors`.

use headstall::board::types::Board;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;

use super::making::{Run, board, close, run};

fn number(v: &Value) -> f64 {
    v.as_f64().unwrap_or_else(|| panic!("{v} is no number"))
}

/// A stream case's board: the supplier waits for room, then works `t_s` on a block (kind `WD`).
fn stream_board(case: &Value, work: &str) -> Board {
    board(&[
        &format!("queue.blocks={}", case["N"]),
        &format!("motion.accel.travel={}", case["a"]),
        &format!("loop.{work}={}", number(&case["t_s"]) * 1e6),
    ])
}

fn stream(case: &Value, blocks: u64, work: &str) -> Run {
    let (long, speed) = (number(&case["L"]), number(&case["v"]));
    let mut job = format!("G1 F{}\n", speed * 60.0);
    for k in 1..=blocks {
        job += &format!("G1 X{}\n", k as f64 * long);
    }
    // The feed line costs a decoding too.
    let board = stream_board(case, work);
    let job = if work == "line_us" {
        job.replacen('\n', " ", 1).replacen("G1 X", "X", 1)
    } else {
        job
    };
    run(&job, &board)
}

/// Derived, and simulated by an independent script (computed). Of the eight runs, those are driven
/// in which no tie occurs: the file pushes a held block before the next plan is fixed, the model
/// after, so runs whose queue fills up with a decoded block in hand (kind `DW`) differ by that rule.
#[test]
fn finite_runs() {
    let file: Value = serde_json::from_str(include_str!("../vectors/stream.json")).unwrap();
    let mut count = 0;
    for case in file["finite_runs"]["cases"].as_array().unwrap() {
        let expect = &case["B"];
        let blocks = case["M"].as_u64().unwrap();
        let work = match case["supplier"].as_str().unwrap() {
            "WD" => "block_us",
            // In hand while the queue is full: not so here, where it never fills.
            _ if ["run_starved", "run_stopwait"].contains(&case["id"].as_str().unwrap()) => {
                "line_us"
            }
            _ => continue,
        };
        let run = stream(case, blocks, work);
        close(run.totals.replay_s, number(&expect["total_time"]), 1e-8);
        let dwell_s = run.totals.gap_s + run.totals.start_up_s;
        assert!(
            (dwell_s - number(&expect["dwell_total"])).abs() < 1e-8,
            "{case} {dwell_s}"
        );
        let rows = |key: &str| expect[key].as_array().unwrap().clone();
        let last = run.blocks.len() - rows("last4").len();
        for (done, row) in run
            .blocks
            .iter()
            .zip(rows("first12"))
            .chain(run.blocks[last..].iter().zip(rows("last4")))
        {
            close(done.ran.end_s, number(&row[0]), 1e-8);
            close(done.ran.profile.exit_mm_s, number(&row[1]), 1e-8);
            assert_eq!(
                u64::from(done.ran.queued),
                row[2].as_u64().unwrap(),
                "{row}"
            );
        }
        count += 1;
    }
    assert_eq!(count, 4);
}

/// Long-run block times of the same kind of stream (computed). `wd_N1` has a queue of one block,
/// which a board can't have.
#[test]
fn steady_streams() {
    let file: Value = serde_json::from_str(include_str!("../vectors/stream.json")).unwrap();
    let mut count = 0;
    for case in file["steady_WD"].as_array().unwrap() {
        if case["N"].as_u64() == Some(1) {
            continue;
        }
        let run = stream(case, 3000, "block_us");
        let (from, to) = (&run.blocks[1000].ran, &run.blocks[2800].ran);
        let mean_s = (to.start_s - from.start_s) / 1800.0;
        let expected = number(&case["simulated_B"]["T"]);
        assert!((mean_s / expected - 1.0).abs() < 1e-3, "{case}: {mean_s}");
        count += 1;
    }
    assert_eq!(count, 5);
}

/// A starved stream of equal blocks comes to rest at block ends where t_s > 2(√3 - √2)·√(L/a)
/// (derived, and simulated, computed), and does not just below it.
#[test]
fn starved_streams_come_to_rest() {
    let bound = 2.0 * (3f64.sqrt() - 2f64.sqrt()) * (0.2f64 / 1000.0).sqrt();
    for (factor, rests) in [
        (1.02, true),
        (1.3, true),
        (2.0, true),
        (0.98, false),
        (0.9, false),
    ] {
        let case =
            serde_json::json!({ "L": 0.2, "a": 1000, "v": 10000, "N": 64, "t_s": factor * bound });
        let run = stream(&case, 2000, "block_us");
        let least = run.blocks[200..1900]
            .iter()
            .map(|d| d.ran.profile.exit_mm_s)
            .fold(f64::MAX, f64::min);
        assert_eq!(least == 0.0, rests, "{factor}: {least}");
    }
}

/// A saturated reader with exponential times before a bounded buffer: M/M/1/K, and M/D/1/K with
/// equal blocks, K = buffer + 1 (`queueing.json`: exact; ciw and Markov chains agree, computed).
///
/// The host's answers take exponential times, one line is in flight, and a line is finished once
/// its block has room: so the host is the reader. The head is the server: blocks at one speed with
/// next to no ramps.
#[test]
fn bounded_buffers() {
    let file: Value = serde_json::from_str(include_str!("../vectors/queueing.json")).unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let mut count = 0;
    let mut check = |reader: f64, buffer: u64, exponential: bool, starved: f64, throughput: f64| {
        const BLOCKS: usize = 60_000;
        let mut job = String::from("G1 F6000\n");
        let mut x = 0.0;
        for _ in 0..BLOCKS {
            let long = if exponential {
                -(1.0 - rng.random::<f64>()).ln()
            } else {
                1.0
            };
            // Never as short as nothing, and never out of reach.
            x += long.max(1e-6);
            job += &format!("G1 X{x:.7}\n");
        }
        let board = board(&[
            "link.kind=serial",
            "link.bytes_per_s=1e9",
            &format!("link.reply_ms={{ mean = {} }}", 10.0 / reader),
            &format!("queue.blocks={buffer}"),
            "motion.accel.travel=1e9",
        ]);
        let run = run(&job, &board);
        let rest = (run.totals.gap_s + run.totals.start_up_s) / run.totals.replay_s;
        let rate = BLOCKS as f64 / run.totals.replay_s * 0.01;
        assert!(
            (rest - starved).abs() < 0.01,
            "{reader} {buffer}: rest {rest}, exact {starved}"
        );
        assert!(
            (rate / throughput - 1.0).abs() < 0.015,
            "{reader} {buffer}: {rate}, exact {throughput}"
        );
        count += 1;
    };
    for case in file["reader_buffer_executor"]["cases"].as_array().unwrap() {
        let of = |key: &str| number(&case[key]);
        check(
            of("reader_rate"),
            case["buffer"].as_u64().unwrap(),
            true,
            of("starvation_fraction"),
            of("throughput"),
        );
    }
    for case in file["md1k"]["cases"].as_array().unwrap() {
        let of = |key: &str| number(&case[key]);
        let places = case["K"].as_u64().unwrap() - 1;
        if places >= 2 {
            check(of("lam"), places, false, of("P0"), of("throughput"));
        }
    }
    assert_eq!(count, 5);
}
