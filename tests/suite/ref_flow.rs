//! Plastic against `tests/vectors/flow.json`: closed forms that scipy's solver confirms to 6e-12
//! (computed; the times are examples, not measurements), through real replays.

use headstall::board::types::Board;
use headstall::replay::stream::{Done, Watcher, replay};
use headstall::surface::flow::{Excess, Flow};
use serde_json::Value;

use super::making::{board, close, run};

fn number(v: &Value) -> f64 {
    v.as_f64().unwrap_or_else(|| panic!("{v} is no number"))
}

struct Follow {
    flow: Flow,
    all: Vec<Excess>,
    commanded_mm3: f64,
    done: Vec<Done>,
}

impl Watcher for Follow {
    fn block(&mut self, done: &Done) {
        self.all.push(self.flow.block(done));
        self.commanded_mm3 += done.place.e_mm;
        self.done.push(*done);
    }

    fn stop(&mut self, start_s: f64, end_s: f64) {
        self.flow.stop(start_s, end_s);
    }
}

fn follow(job: &str, board: &Board) -> Follow {
    let flow = Flow::new(&board.nozzle);
    let mut follow = Follow {
        flow,
        all: Vec::new(),
        commanded_mm3: 0.0,
        done: Vec::new(),
    };
    replay(job.as_bytes(), board, 0, &mut follow).unwrap();
    follow
}

/// The flow is the same whether it is worked out behind each block or only where replay and ideal part:
/// after more blocks than are kept, after fewer than it remembers, and where blocks are too short for that.
#[test]
fn flow_is_worked_out_late() {
    for (chord_mm, lag_s) in [(0.4, 0.05), (0.005, 0.02)] {
        let board = board(&[
            "save.when=layer",
            "save.ms=900",
            "queue.blocks=4",
            "motion.accel.print=1e6",
            &format!("nozzle.lag_s={lag_s}"),
        ]);
        let mut job = String::from("M83\nG1 F3000\n");
        for (layer, blocks) in [16000, 20, 300, 20000, 40].into_iter().enumerate() {
            job += &format!("G1 Z{:.1}\n", 0.2 * (layer + 1) as f64);
            for k in 0..blocks {
                let e = 0.01 + 0.001 * f64::from(k % 7) + 1e-6 * f64::from(k);
                job += &format!("G1 X{:.3} E{e}\n", chord_mm * f64::from(k % 400));
            }
        }
        let late = follow(&job, &board);
        let mut flow = Flow::new(&board.nozzle);
        let mut apart = 0;
        for (done, late) in late.done.iter().zip(&late.all) {
            let at_once = flow.block(done);
            flow.now_mm3_s();
            assert!((at_once.rest_mm3 - late.rest_mm3).abs() < 1e-15);
            assert!((at_once.motion_mm3 - late.motion_mm3).abs() < 1e-15);
            apart += usize::from(at_once != Excess::default());
        }
        let alike = late.done.len() - apart;
        assert!(apart > 20 && alike > 4096, "{apart} {alike}");
    }
}

/// A straight bead in two moves; the second is planned so late that the head rests `dwell_s`.
fn rest(accel: f64, tau: f64, lead: f64, dwell_s: f64, file: &Value) -> Vec<Excess> {
    let input = &file["example_inputs"];
    let (speed, bead) = (number(&input["v_mm_s"]), number(&input["A_mm2"]));
    let per_mm = bead / (std::f64::consts::PI * 1.75 * 1.75 / 4.0);
    // Long enough for a steady flow, more than 40 lags, on both sides.
    let long = speed * (60.0 * tau + speed / accel);
    let ideal_s = long / speed + speed / accel;
    let board = board(&[
        &format!("motion.accel.print={accel}"),
        &format!("loop.block_us={}", (ideal_s + dwell_s) * 1e6),
        &format!("nozzle.lag_s={tau}"),
        &format!("nozzle.lead_s={lead}"),
    ]);
    let job = format!(
        "M83\nG1 X{long} E{} F{}\nG1 X{} E{}\n",
        long * per_mm,
        speed * 60.0,
        2.0 * long,
        long * per_mm
    );
    let followed = follow(&job, &board);
    assert!((followed.done[1].ran.gap_s - dwell_s).abs() < 1e-9);
    followed.all
}

#[test]
fn a_forced_rest() {
    let file: Value = serde_json::from_str(include_str!("../vectors/flow.json")).unwrap();
    let mut count = 0;
    for case in file["dip"].as_array().unwrap() {
        let of = |key: &str| number(&case[key]);
        if of("f") != 0.0 || of("dwell") == 0.0 {
            continue;
        }
        let [before, after] = rest(of("a_mm_s2"), of("tau"), 0.0, of("dwell"), &file)[..] else {
            panic!("{case}")
        };
        close(before.motion_mm3, of("excess_decel"), 1e-9);
        close(after.rest_mm3, of("excess_hold"), 1e-9);
        close(
            -after.motion_mm3,
            of("deficit_accel") + of("deficit_after"),
            1e-9,
        );
        assert!((before.motion_mm3 + after.rest_mm3 + after.motion_mm3).abs() < 1e-9);
        count += 1;
    }
    assert!(count >= 10, "{count}");
}

/// A stop from full flow, with and without lead: q0 (lag - lead)(1 - exp(-d/lag)).
#[test]
fn an_abrupt_stop() {
    let file: Value = serde_json::from_str(include_str!("../vectors/flow.json")).unwrap();
    for (key, lead) in [("stop", false), ("stop_compensated", true)] {
        for case in file[key].as_array().unwrap() {
            let of = |key: &str| number(&case[key]);
            let k = if lead { of("K") } else { 0.0 };
            let [_, after] = rest(1e8, of("tau"), k, of("d"), &file)[..] else {
                panic!("{case}")
            };
            // The ramp takes 0.6 µs: up to 3e-5 of the shortest lag.
            let expected = of("excess_mm3");
            assert!(
                (after.rest_mm3 / expected - 1.0).abs() < 1e-4 || expected == 0.0,
                "{case}"
            );
        }
    }
}

#[test]
fn no_lag_and_full_lead_leave_nothing() {
    let file: Value = serde_json::from_str(include_str!("../vectors/flow.json")).unwrap();
    for (tau, lead) in [(0.05, 0.05), (0.2, 0.2)] {
        for excess in rest(1000.0, tau, lead, 0.1, &file) {
            assert_eq!((excess.rest_mm3, excess.motion_mm3), (0.0, 0.0));
        }
    }
    let board = board(&["nozzle.lag_s=0", "loop.block_us=200000"]);
    for excess in follow("M83\nG1 X9 E1 F3000\nG1 X20 E1\n", &board).all {
        assert_eq!(excess, Excess::default());
    }
}

/// Plastic in is plastic out: over the whole job the excess is what the nozzle holds otherwise.
#[test]
fn plastic_is_conserved() {
    let board = board(&[
        "nozzle.lag_s=0.07",
        "loop.block_us=90000",
        "queue.blocks=4",
        "queue.restart_blocks=2",
    ]);
    let mut job = String::from("M83\nG1 F3000 Z0.2\n");
    for k in 1..200 {
        job += &format!(
            "G1 X{:.2} Y{:.2} E0.05\n",
            f64::from(k) * 0.7,
            f64::from(k % 9)
        );
        if k % 40 == 0 {
            job += "G1 E-0.8\nG4 P200\nG1 E0.8\n";
        }
    }
    // At rest for long, all flow has died away in both.
    job += "G4 P5000\nG1 X0 Y0 F9000\n";
    let mut followed = follow(&job, &board);
    let sum: f64 = followed.all.iter().map(|e| e.rest_mm3 + e.motion_mm3).sum();
    let size: f64 = followed
        .all
        .iter()
        .map(|e| e.rest_mm3.abs() + e.motion_mm3.abs())
        .sum();
    assert!(size > 0.1 && sum.abs() < 1e-9, "{sum} {size}");
    assert!(followed.flow.now_mm3_s().abs() < 1e-9);
    assert!(run(&job, &board).lost_s > 0.5);
}
