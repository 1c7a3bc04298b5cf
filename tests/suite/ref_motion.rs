//! Single moves, corners and look-ahead against `tests/vectors`, through the real code.

use headstall::board::types::{Board, Corner};
use headstall::job::state::Move;
use headstall::motion::corner::speed_mm_s_max;
use headstall::motion::path::{Block, Path};
use headstall::motion::trapezoid::Trapezoid;
use serde_json::Value;

use super::making::{board, close, run};

fn vectors(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

fn number(v: &Value) -> f64 {
    v.as_f64().unwrap_or_else(|| panic!("{v} is no number"))
}

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array().unwrap().iter().map(number).collect()
}

/// Constant acceleration; ruckig 0.19.4 agrees to 3e-17 s (computed). Two cases have unequal ramps,
/// which this model doesn't know.
#[test]
fn single_moves() {
    let file = vectors(include_str!("../vectors/profiles.json"));
    let mut count = 0;
    for case in file["cases"].as_array().unwrap() {
        let of = |key: &str| number(&case[key]);
        if of("a_acc") != of("a_dec") {
            continue;
        }
        let (long, speed, accel) = (of("L"), of("v_cmd"), of("a_acc"));
        let fit = Trapezoid::fit(long, speed, accel, of("v_entry"), of("v_exit"));
        let expect = &case["expect"];
        for (found, key) in [
            (fit.peak_mm_s, "peak"),
            (fit.rise_s, "t_acc"),
            (fit.cruise_s, "t_cruise"),
            (fit.fall_s, "t_dec"),
            (fit.duration_s(), "T"),
        ] {
            let expected = number(&expect[key]);
            assert!(
                (found - expected).abs() <= 1e-9 * expected.max(1e-3),
                "{case}: {key} {found}"
            );
        }
        if of("v_entry") == 0.0 && of("v_exit") == 0.0 {
            let board = board(&[&format!("motion.accel.travel={accel}")]);
            let run = run(&format!("G1 X{long} F{}\n", speed * 60.0), &board);
            close(run.totals.replay_s, number(&expect["T"]), 1e-9);
        }
        count += 1;
    }
    assert_eq!(count, 10);
}

/// Lynch & Park, Modern Robotics, ch. 9.2 (from memory): T = (a + v²)/(v a) for a unit move with
/// v²/a <= 1.
#[test]
fn unit_moves() {
    let file = vectors(include_str!("../vectors/profiles.json"));
    let mut count = 0;
    for case in file["literature"].as_array().unwrap() {
        let (Some(speed), Some(accel)) = (case["v"].as_f64(), case["a"].as_f64()) else {
            continue;
        };
        let fit = Trapezoid::fit(1.0, speed, accel, 0.0, 0.0);
        close(
            fit.duration_s(),
            (accel + speed * speed) / (speed * accel),
            1e-12,
        );
        close(fit.duration_s(), number(&case["expect"]["T"]), 1e-9);
        count += 1;
    }
    assert_eq!(count, 3);
}

/// Speeds and places within a block by v² = v0² + 2 a s, also where it doesn't rise, cruise or fall.
#[test]
fn within_a_block() {
    let rises = Trapezoid::fit(10.0, 50.0, 1000.0, 10.0, 0.0);
    close(rises.speed_mm_s(1.0), 2100f64.sqrt(), 1e-12);
    close(rises.speed_mm_s(5.0), 50.0, 1e-12);
    let falls = Trapezoid::fit(10.0, 50.0, 1000.0, 50.0, 30.0);
    close(falls.speed_mm_s(0.0), 50.0, 1e-12);
    close(falls.speed_mm_s(9.5), 1900f64.sqrt(), 1e-12);
    let cruises = Trapezoid::fit(10.0, 50.0, 1000.0, 50.0, 50.0);
    close(cruises.speed_mm_s(10.0), 50.0, 1e-12);
    let peaks = Trapezoid::fit(1.0, 50.0, 1000.0, 0.0, 0.0);
    for block in [rises, falls, cruises, peaks] {
        let whole_mm = if block == peaks { 1.0 } else { 10.0 };
        close(block.covered_mm(block.duration_s()), whole_mm, 1e-12);
        close(block.covered_mm(0.0), 0.0, 1e-12);
    }
    close(peaks.speed_mm_s(0.5), 1000f64.sqrt(), 1e-12);
}

/// Centripetal acceleration on the circle tangent to both legs: r = δ s/(1-s), v = sqrt(a r), with
/// s = sin(θ/2) (derivation; the radius confirmed by bisection, computed).
#[test]
fn corners() {
    let file = vectors(include_str!("../vectors/corner.json"));
    let cases = file["cases"].as_array().unwrap();
    for case in cases {
        let turn = number(&case["turn_angle_deg"]).to_radians();
        let rule = Corner::Deviation {
            mm: number(&case["delta_mm"]),
        };
        let after = [turn.cos(), turn.sin(), 0.0, 0.04];
        let found = speed_mm_s_max(&rule, &[1.0, 0.0, 0.0, 0.04], &after, number(&case["a"]));
        // Near straight on, 1 - s has few digits left: their number bounds the agreement.
        let s = (turn / 2.0).cos();
        let allowed = 1e-12_f64.max(4.0 * f64::EPSILON / (1.0 - s));
        let expected = number(&case["v_mm_s"]);
        assert!((found / expected - 1.0).abs() <= allowed, "{case}: {found}");
    }
    assert_eq!(cases.len(), 10);
}

/// A turn whose half has a cosine above 1 - 1e-9 sets no limit (model section 2).
#[test]
fn straight_on() {
    let rule = Corner::Deviation { mm: 0.05 };
    for (less, is_free) in [(0.0, true), (0.5e-9, true), (2e-9, false), (1e-3, false)] {
        let turn: f64 = 2.0 * f64::acos(1.0 - less);
        let after = [turn.cos(), turn.sin(), 0.0, 0.0];
        let found = speed_mm_s_max(&rule, &[1.0, 0.0, 0.0, 0.0], &after, 1000.0);
        assert_eq!(found == f64::INFINITY, is_free, "{less}: {found}");
    }
}

/// Time-optimal path problem: linear program (scipy HiGHS), toppra 0.6.10 and a second-order cone
/// program (cvxpy, Clarabel; Verscheure et al., IEEE TAC 54(10), 2009, 2318-2327) agree (computed).
/// Each polyline is a job; on a board without costs the replay must be the ideal.
#[test]
fn polylines() {
    let file = vectors(include_str!("../vectors/lookahead.json"));
    let mut count = 0;
    for case in file["cases"].as_array().unwrap() {
        let id = case["id"].as_str().unwrap();
        // The file may take another acceleration at corners than on the path; the model takes one.
        let accel = numbers(&case["a"])[0];
        let mm = number(&case["corner_delta"]) * number(&case["corner_a"]) / accel;
        let mut sets = vec![format!("motion.corner.mm={mm}")];
        sets.push(format!("motion.accel.travel={accel}"));
        if let Some(limits) = case["axis_a"].as_array() {
            sets.push(format!("motion.accel_max.x={}", limits[0]));
            sets.push(format!("motion.accel_max.y={}", limits[1]));
            // The vector's own path limit is looser than the axes'.
            sets[1] = "motion.accel.travel=5000".to_string();
        }
        if let Some(limits) = case["axis_v"].as_array() {
            sets.push(format!("motion.speed_max.x={}", limits[0]));
            sets.push(format!("motion.speed_max.y={}", limits[1]));
        }
        let sets: Vec<&str> = sets.iter().map(String::as_str).collect();
        let points: Vec<Vec<f64>> = case["points"]
            .as_array()
            .unwrap()
            .iter()
            .map(numbers)
            .collect();
        let mut job = format!("G92 X{} Y{}\n", points[0][0], points[0][1]);
        for (point, speed) in points[1..].iter().zip(numbers(&case["v_cmd"])) {
            job += &format!("G1 X{} Y{} F{}\n", point[0], point[1], speed * 60.0);
        }
        let run = run(&job, &board(&sets));
        let expect = &case["expect"];
        let joints = numbers(&expect["junction_speed"]);
        assert_eq!(run.blocks.len() + 1, joints.len(), "{id}");
        for (done, (joint, time)) in run
            .blocks
            .iter()
            .zip(joints.iter().zip(numbers(&expect["segment_time"])))
        {
            for profile in [done.ideal, done.ran.profile] {
                assert!(
                    (profile.entry_mm_s - joint).abs() < 1e-6,
                    "{id}: {profile:?} {joint}"
                );
                assert!(
                    (profile.duration_s() - time).abs() < 1e-9,
                    "{id} {profile:?} {time}"
                );
            }
        }
        let total = number(&expect["total_time"]);
        assert!(
            (run.ideal_s / total - 1.0).abs() < 1e-9,
            "{id}: {} {total}",
            run.ideal_s
        );
        close(run.totals.replay_s, total, 1e-9);
        count += 1;
    }
    assert_eq!(count, 8);
}

/// The limits of two axes on one straight move: toppra in the plane agrees to 1e-7 (computed).
#[test]
fn axis_limits() {
    let file = vectors(include_str!("../vectors/lookahead.json"));
    let case = &file["axis_limited_single_move"];
    let [ax, ay] = numbers(&case["axis_a"])[..] else {
        panic!("{case}")
    };
    let [vx, vy] = numbers(&case["axis_v"])[..] else {
        panic!("{case}")
    };
    let sets = [
        format!("motion.accel_max.x={ax}"),
        format!("motion.accel_max.y={ay}"),
        format!("motion.speed_max.x={vx}"),
        format!("motion.speed_max.y={vy}"),
        "motion.accel.travel=1e6".to_string(),
    ];
    let sets: Vec<&str> = sets.iter().map(String::as_str).collect();
    let run = run("G1 X40 Y30 F100000\n", &board(&sets));
    close(run.totals.replay_s, number(&case["total_time"]), 1e-12);
}

/// The block of a move from the origin at 100 mm/s, if it gives one.
fn block(board: &Board, to_mm: [f64; 4]) -> Option<Block> {
    let to = Move {
        from_mm: [0.0; 4],
        to_mm,
        e_mm: to_mm[3],
        feed_mm_s: 100.0,
        circle: None,
    };
    let mut path = Path::new(board);
    path.blocks(&to).next().map(|(block, _)| block)
}

/// Two axes at once over their limits; filament alone over its, moving more than the head.
#[test]
fn shares_of_axes() {
    let all = board(&[
        "motion.speed_max={ x = 60, y = 60, z = 60, e = 60 }",
        "motion.accel_max={ x = 600, y = 600, z = 600, e = 600 }",
    ]);
    let e_alone = board(&["motion.speed_max.e=150", "motion.accel_max.e=1500"]);
    for (board, to_mm, speed_mm_s) in [
        (&all, [3.0, 3.0, 0.0, 0.0], 60.0 * 2f64.sqrt()),
        (&all, [0.0, 3.0, -3.0, 0.0], 60.0 * 2f64.sqrt()),
        (&all, [0.0, 0.0, -3.0, 3.0], 60.0),
        (&e_alone, [2.0, 2.0, 1.0, 6.0], 75.0),
    ] {
        let block = block(board, to_mm).unwrap();
        close(block.speed_mm_s, speed_mm_s, 1e-12);
        close(block.accel_mm_s2, 10.0 * speed_mm_s, 1e-12);
    }
}

/// What is not above 1e-9 mm moves nothing, extrudes nothing.
#[test]
fn nothing_moves() {
    let board = board(&["motion.accel.print=500", "motion.accel.retract=200"]);
    let accel = |to_mm| block(&board, to_mm).map(|b| b.accel_mm_s2);
    assert_eq!(accel([1e-9, -1e-9, 1e-9, 1e-9]), None);
    assert_eq!(accel([1e-9, 0.0, 0.0, -2e-9]), Some(200.0));
    assert_eq!(accel([0.0, -2e-9, 0.0, 1e-9]), Some(1000.0));
    assert_eq!(accel([0.0, -2e-9, 0.0, 2e-9]), Some(500.0));
}

/// Step events are those of the busiest motor (model section 4).
#[test]
fn steps_of_the_busiest_motor() {
    let steps = "motion.steps_per_mm={ x = 80, y = 100, z = 400, e = 93 }";
    for (to_mm, cartesian, corexy) in [
        ([3.0, 2.0, 0.0, 0.0], 240.0, 400.0),
        ([3.0, -2.0, 0.0, 0.0], 240.0, 500.0),
        ([-3.0, 2.0, 0.0, 0.0], 240.0, 500.0),
        ([0.5, 2.5, 0.0, 0.0], 250.0, 240.0),
        ([1.0, 0.0, 0.0, -2.0], 186.0, 186.0),
        ([0.0, 1.0, -2.0, 1.0], 800.0, 800.0),
    ] {
        for (layout, expected) in [("cartesian", cartesian), ("corexy", corexy)] {
            let board = board(&[steps, &format!("motion.layout={layout}")]);
            assert_eq!(block(&board, to_mm).unwrap().steps, expected, "{layout}");
        }
    }
}
