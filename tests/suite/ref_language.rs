//! The language of RS-274/NGC (Kramer, Proctor, Messina, NISTIR 6556, 2000) and its arcs.

use headstall::job::reader::JobReader;
use headstall::job::state::Act;
use serde_json::Value;

use super::making::{board, close, run};

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

/// Arcs with centre, sweep, length and middle, by sections of NISTIR 6556 (`rs274.json`). Cut into
/// two chords, the first ends at the arc's middle. Table 10's line has an expression, which print
/// jobs don't: its value stands here.
#[test]
fn arcs() {
    let file: Value = serde_json::from_str(include_str!("../vectors/rs274.json")).unwrap();
    let arcs = file["arcs"].as_array().unwrap();
    for arc in arcs {
        let line = arc["line"].as_str().unwrap().replace("x[6-[4*3/2]]", "x0");
        let (start, end) = (numbers(&arc["start"]), numbers(&arc["end"]));
        let expect = &arc["expect"];
        let of = |key: &str| expect[key].as_f64().unwrap();
        let line = line.replace("G17 ", "");
        let job = format!(
            "G17\nG92 X{} Y{} Z{}\n{line} F600\n",
            start[0], start[1], start[2]
        );
        let halved = format!(
            "motion.arc_chord_mm={}",
            of("arc_length_in_plane") / 2.0 * (1.0 + 1e-12)
        );
        let two = run(&job, &board(&[&halved]));
        assert_eq!(two.blocks.len(), 2, "{arc}");
        let shift = |axis: usize| start[axis];
        for (axis, expected) in numbers(&expect["mid_point"]).into_iter().enumerate() {
            let found = two.blocks[0].place.to_mm[axis] + shift(axis);
            // Table 10 prints four decimals.
            assert!((found - expected).abs() < 1e-9, "{arc}: {found} {expected}");
            close(
                two.blocks[1].place.to_mm[axis] + shift(axis),
                end[axis],
                1e-12,
            );
        }
        let fine = run(&job, &board(&["motion.arc_chord_mm=0.05"]));
        let count = fine.blocks.len() as f64;
        assert_eq!(count, (of("arc_length_in_plane") / 0.05).ceil(), "{arc}");
        if of("radius_difference").abs() < 1e-9 {
            let sagged =
                2.0 * of("radius_start") * (of("sweep_deg").to_radians().abs() / 2.0 / count).sin();
            let expected = count * sagged.hypot((end[2] - start[2]) / count);
            close(
                fine.blocks.iter().map(|b| b.length_mm).sum(),
                expected,
                1e-9,
            );
        }
    }
    assert_eq!(arcs.len(), 17);
}

/// Sagitta s = r(1 - cos(θ/2)), n = ceil(π/acos(1 - tol/r)): r 20 mm within 0.05, 0.01 and
/// 0.001 mm takes 45, 100 and 315 chords of 2.79, 1.256 and 0.399 mm (computed).
#[test]
fn sagitta() {
    for (tolerance, chords, chord_mm) in [
        (0.05, 45, 2.7926),
        (0.01, 100, 1.2567),
        (0.001, 315, 0.39895),
    ] {
        let n = (std::f64::consts::PI / (1.0_f64 - tolerance / 20.0).acos()).ceil();
        assert_eq!(n, f64::from(chords));
        let run = run(
            "G92 X20 Y0\nG2 I-20 F600\n",
            &board(&[&format!("motion.arc_chord_mm={chord_mm}")]),
        );
        assert_eq!(run.blocks.len(), chords as usize, "{tolerance}");
        for block in &run.blocks {
            let (a, b) = (block.place.from_mm, block.place.to_mm);
            let middle = ((a[0] + b[0]) / 2.0 + 20.0).hypot((a[1] + b[1]) / 2.0);
            assert!(20.0 - middle <= tolerance, "{middle}");
        }
    }
}

/// Where the machine stands after these lines.
fn machine(job: &str) -> [f64; 4] {
    let mut reader = JobReader::new(job.as_bytes());
    while reader.next_step().unwrap().is_some() {}
    reader.machine_mm()
}

#[track_caller]
fn same(job: &str, other: &str) {
    assert_eq!(machine(job), machine(other), "{job}");
}

/// Sections 3.3 to 3.5 of NISTIR 6556. Where the trade's dialect departs from it the dialect wins
/// (`;` comments, E words, G4 P in milliseconds, N beyond 99999, a full circle without X or Y).
#[test]
fn sections() {
    same("g0x +0. 12 34y 7\n", "g0 x+0.1234 y7\n"); // 3.3, p. 15
    same("G1 X+.5 Y-0.8807 Z5.\n", "g1 x0.5 y-.8807 z5\n"); // 3.3.2.1
    same("G1 X00012.500\n", "G1 X12.5\n");
    same("N0 G1 X1\nN99999 G1 X2\nn00009 G1 Y3\n", "G1 X2 Y3\n"); // 3.3.1
    same("G1 X5 (to the right) Y3\n", "G1 X5 Y3\n"); // 3.3.4
    same("\n\nG1 X5\n\n", "G1 X5\n"); // 3.3
    same("G1 X5\n/G1 X9\n", "G1 X5\n"); // 2.2.2
    same("%\nG1 X5\n%\n", "G1 X5\n"); // 3.1: the frame
    same("G1 X1\nX4\nY2\n", "G1 X4 Y2\n"); // 3.3.7: motion stays
    same("G20\nG1 X1\n", "G1 X25.4\n"); // 3.5.7
    same("G91\nG1 X3\nG1 X3\n", "G1 X6\n"); // 3.5.17
    // 3.5.18: x 4, G92 x7: offset -3; then at 7, G92 x9: offset -5.
    same("G1 X4\nG92 x7\nG1 X10\n", "G1 X7\n");
    same("G1 X4\nG92 x7\nG92 x9\nG1 X10\n", "G1 X5\n");
    // No exponents: the E is a letter of its own.
    assert_eq!(machine("M83\nG1 X1E3\n"), [1.0, 0.0, 0.0, 3.0]);
}

/// 3.8, table 8: F on a line is taken before its G20 or G21; 2.1.2.6: feed is along the helix.
#[test]
fn feeds() {
    let feed = |job: &str| {
        let mut reader = JobReader::new(job.as_bytes());
        let mut last = 0.0;
        while let Some(step) = reader.next_step().unwrap() {
            if let Act::Move(m) = step.act {
                last = m.feed_mm_s;
            }
        }
        last
    };
    assert_eq!(feed("G20 F600\nG1 X1\n"), 10.0);
    assert_eq!(feed("G20\nG1 X1 F600\n"), 254.0);
    let helix = run(
        "G92 X20\nG2 I-20 Z30 F600\n",
        &board(&["motion.accel.travel=1e8", "motion.arc_chord_mm=0.05"]),
    );
    let length = (std::f64::consts::TAU * 20.0).hypot(30.0);
    close(helix.totals.replay_s, length / 10.0, 1e-5);
}

/// 3.5.4 against the trade: P in milliseconds, S in seconds, S wins (common practice, no source).
#[test]
fn dwells() {
    for (line, expected) in [
        ("G4 P250", 0.25),
        ("G4 S2", 2.0),
        ("G4 P250 S2", 2.0),
        ("G4", 0.0),
        ("G4 P0", 0.0),
    ] {
        assert_eq!(
            run(&format!("{line}\n"), &board(&[])).totals.stop_s,
            expected,
            "{line}"
        );
    }
}
