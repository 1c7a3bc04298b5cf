//! Serial lines and cards against `tests/vectors/link.json` and handbook figures.

use serde_json::Value;

use super::making::{Run, board, close, run};

fn number(v: &Value) -> f64 {
    v.as_f64().unwrap_or_else(|| panic!("{v} is no number"))
}

/// A job of tiny moves, each line `bytes` long with its newline.
fn lines(bytes: usize, count: u64) -> String {
    let digits = bytes - "G1 X".len() - 1;
    (1..=count)
        .map(|k| format!("G1 X{:0digits$.6}\n", k as f64 * 1e-4))
        .collect()
}

fn serial(sets: &[&str], job: &str) -> Run {
    let mut all = vec![
        "link.kind=serial",
        "link.reply_ms=0",
        "motion.accel.travel=1e9",
    ];
    all.extend(sets);
    run(job, &board(&all))
}

/// Lines a second, between the 20th and the last.
fn rate(run: &Run) -> f64 {
    let (from, to) = (&run.blocks[20], &run.blocks[run.blocks.len() - 1]);
    (run.blocks.len() - 21) as f64 / (to.ran.start_s - from.ran.start_s)
}

/// UART 8N1: 10 bit times a byte. 115200 baud carry 11520 B/s, a 40-byte line takes 3.472 ms;
/// 250000 carry 25000 B/s, 1.600 ms (computed).
#[test]
fn uart() {
    let file: Value = serde_json::from_str(include_str!("../vectors/link.json")).unwrap();
    for case in file["uart"].as_array().unwrap() {
        for (bytes, key) in [(40, "line40_ms"), (25, "line25_ms")] {
            let baud = format!("link.baud={}", case["baud"]);
            let run = serial(&[&baud], &lines(bytes, 2));
            assert!(
                (run.totals.start_up_s * 1e3 - number(&case[key])).abs() < 1e-9,
                "{case}"
            );
        }
    }
    let run = serial(&["link.baud=115200"], &lines(40, 2));
    assert!((run.totals.start_up_s - 3.472e-3).abs() < 1e-6);
    let run = serial(&["link.baud=250000"], &lines(40, 2));
    assert!((run.totals.start_up_s - 1.6e-3).abs() < 1e-12);
}

/// Stop-and-wait and window: rate = min(W/cycle, 1/t_frame) (computed).
#[test]
fn windows() {
    let file: Value = serde_json::from_str(include_str!("../vectors/link.json")).unwrap();
    let cases = file["arq"].as_array().unwrap();
    for case in cases {
        let reply_ms = number(&case["t_ack_ms"]) + number(&case["lat_sum_s"]) * 1e3;
        for when in ["finished", "received"] {
            let sets = [
                format!("link.baud={}", case["baud"]),
                format!("link.reply_ms={reply_ms}"),
                format!("link.in_flight={}", case["W"]),
                format!("link.reply_when={when}"),
            ];
            let sets: Vec<&str> = sets.iter().map(String::as_str).collect();
            let long = case["L"].as_u64().unwrap() as usize;
            // A multiple of the window, so that whole rounds are counted.
            let run = serial(&sets, &lines(long, 21 + 80 * case["W"].as_u64().unwrap()));
            let expected = number(&case["lines_per_s"]);
            assert!(
                (rate(&run) / expected - 1.0).abs() < 1e-6,
                "{case}: {}",
                rate(&run)
            );
        }
    }
    assert_eq!(cases.len(), 24);
}

/// Tanenbaum, exercise: 64 kb/s, frames of 512 bytes, 270 ms each way; and Kurose & Ross: 8000
/// bits at 1 Gb/s over a round trip of 30 ms use 0.00027 of the line.
#[test]
fn textbook_windows() {
    let file: Value = serde_json::from_str(include_str!("../vectors/link.json")).unwrap();
    let bps = file["arq_textbook"]["tanenbaum_ex"]["bps"]
        .as_object()
        .unwrap();
    for (window, expected) in bps {
        let window: u64 = window.parse().unwrap();
        let sets = [
            "link.bytes_per_s=8000".to_string(),
            "link.reply_ms=540".to_string(),
            format!("link.in_flight={window}"),
        ];
        let sets: Vec<&str> = sets.iter().map(String::as_str).collect();
        let found = rate(&serial(&sets, &lines(512, 21 + 40 * window))) * 4096.0;
        assert!(
            (found / number(expected) - 1.0).abs() < 1e-6,
            "{window}: {found}"
        );
    }
    assert_eq!(bps.len(), 6);
    let run = serial(
        &["link.bytes_per_s=125e6", "link.reply_ms=30"],
        &lines(1000, 200),
    );
    let utilisation = rate(&run) * 8000.0 / 1e9;
    assert!((utilisation - 0.00027).abs() < 5e-6, "{utilisation}");
    close(
        utilisation,
        number(&file["arq_textbook"]["kurose"]["U"]),
        1e-9,
    );
}

/// Each broken line is sent once more, after one reply time. (Stallings' N = 1/(1-p) lets a line
/// break again and again; here it breaks at most once, so N = 1 + p. The bounds are those of the
/// binomial distribution, five standard deviations.)
#[test]
fn broken_lines() {
    const LINES: u64 = 20_000;
    let plain = serial(&["link.baud=250000"], &lines(40, LINES))
        .totals
        .replay_s;
    for p in [0.004, 0.04, 0.3] {
        let chance = format!("link.resend_chance={p}");
        let sent_again = (serial(&["link.baud=250000", &chance], &lines(40, LINES))
            .totals
            .replay_s
            - plain)
            / 1.6e-3;
        let (mean, sigma) = (p * LINES as f64, (p * (1.0 - p) * LINES as f64).sqrt());
        assert!(
            (sent_again - mean).abs() < 5.0 * sigma,
            "{p}: {sent_again} of {LINES}"
        );
        assert!((sent_again - sent_again.round()).abs() < 1e-3);
    }
}

/// A card read over SPI: at least 525 bytes are clocked for a block of 512: 1, 4, 8 and 20 MHz
/// carry 122, 488, 975 and 2438 kB/s (computed; block size: SD Part 1 Simplified v4.10).
#[test]
fn card_rates() {
    let job = lines(64, 8 * 400);
    for (mhz, kb_per_s) in [(1.0, 122.0), (4.0, 488.0), (8.0, 975.0), (20.0, 2438.0)] {
        let sector_ms = 525.0 * 8.0 / (mhz * 1e3);
        let sector = format!("link.sector_ms={sector_ms}");
        let run = run(
            &job,
            &board(&[&sector, "queue.lines=1", "motion.accel.travel=1e9"]),
        );
        let rate = job.len() as f64 / run.blocks[run.blocks.len() - 1].ran.start_s / 1e3;
        assert!(
            (rate / kb_per_s - 1.0).abs() < 1e-3,
            "{mhz} MHz: {rate} kB/s"
        );
    }
}

/// A cluster of 4 KiB holds 8 sectors (FAT specification v1.03: cards up to 8 GB); each further one
/// costs a look-up.
#[test]
fn clusters() {
    let job = lines(64, 8 * 64);
    let sets = [
        "link.cluster_kib=4",
        "link.chain_ms=3",
        "queue.lines=1",
        "motion.accel.travel=1e9",
    ];
    let run = run(&job, &board(&sets));
    let last = run.blocks[run.blocks.len() - 1].ran.start_s;
    assert!((last - 7.0 * 3e-3).abs() < 1e-3, "{last}");
}

/// NISTIR 6556, 5.3 (p. 68): 0.1 mm pieces at 1000 mm/min need a block each 6 ms; 2000 of them
/// take 12 s. A board that needs longer starves.
#[test]
fn largest_feed() {
    let job: String = (1..=2000)
        .map(|k| format!("G1 X{:.1} F1000\n", f64::from(k) * 0.1))
        .collect();
    let on = |us: f64| {
        run(
            &job,
            &board(&["queue.blocks=16", &format!("loop.block_us={us}")]),
        )
    };
    let fast = on(5900.0);
    assert!((fast.ideal_s - 12.0).abs() < 0.05, "{}", fast.ideal_s);
    assert!(fast.lost_s < 0.03, "{}", fast.lost_s);
    let slow = on(7500.0);
    assert!(
        (slow.totals.replay_s - 2000.0 * 7.5e-3).abs() < 0.1,
        "{}",
        slow.totals.replay_s
    );
}
