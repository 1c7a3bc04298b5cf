//! `mend --allow arcs`: circles become G2 and G3, on boards that can print them.

use std::fs;
use std::path::Path;

use headstall::job::reader::JobReader;
use headstall::job::state::{Act, Move};

use super::mend_command::{SLOW, run};
use super::mend_jobs::apart_mm;

const WITHIN_MM: f64 = 0.02;
/// Half a step of 0.001 mm on two axes, at the ends and at the centre.
const ROUNDING_MM: f64 = 1.5e-3;

/// Circles of 20 mm and half circles of 5 mm in 600 chords, a square between them; `side`: 1 or -1.
fn circles(side: f64, relative: bool) -> String {
    let mut job = format!(
        "G21\nG90\n{}\nG92 E0\n",
        if relative { "M83" } else { "M82" }
    );
    let mut sum_mm = 0.0;
    for layer in 1..=2 {
        for (radius_mm, turn) in [(20.0, 1.0), (5.0, 0.5)] {
            let height_mm = 0.25 * f64::from(layer);
            job += &format!(
                "G0 X{:.3} Y50 Z{height_mm:.2} F9000\nG1 F4800\n",
                50.0 + radius_mm
            );
            for k in 1..=600 {
                let angle = side * turn * std::f64::consts::TAU * f64::from(k) / 600.0;
                let (x, y) = (
                    50.0 + radius_mm * angle.cos(),
                    50.0 + radius_mm * angle.sin(),
                );
                let e_mm = 0.0468 * radius_mm * turn * std::f64::consts::TAU / 600.0;
                sum_mm += e_mm;
                let e_mm = if relative { e_mm } else { sum_mm };
                job += &format!("G1 X{x:.3} Y{y:.3} E{e_mm:.5}\n");
            }
        }
        for (x, y) in [(10, 10), (40, 10), (40, 40), (10, 40)] {
            job += &format!("G0 X{x} Y{y}\n");
        }
    }
    job + "M84\n"
}

/// Moves of the printed walls, wall by wall.
fn walls(job: &[u8]) -> Vec<Vec<Move>> {
    let (mut reader, mut all) = (JobReader::new(job), vec![Vec::new()]);
    while let Some(step) = reader.next_step().unwrap() {
        match step.act {
            Act::Move(m) if m.e_mm > 0.0 => all.last_mut().unwrap().push(m),
            _ => all.push(Vec::new()),
        }
    }
    all.retain(|wall| !wall.is_empty());
    all
}

/// The corners of the path as a board prints it that cuts arcs into equal chords of at most `chord_mm`.
fn corners(wall: &[Move], chord_mm: f64) -> Vec<[f64; 3]> {
    let place = |at: &[f64; 4]| [at[0], at[1], at[2]];
    let mut all = vec![place(&wall[0].from_mm)];
    for m in wall {
        if let Some(circle) = m.circle {
            let [x, y] = circle.centre_mm;
            let angle = |at: &[f64; 4]| (at[1] - y).atan2(at[0] - x);
            let turn = angle(&m.to_mm) - angle(&m.from_mm);
            let turn = if circle.clockwise {
                -(-turn).rem_euclid(std::f64::consts::TAU)
            } else {
                turn.rem_euclid(std::f64::consts::TAU)
            };
            let radius_mm = (m.from_mm[0] - x).hypot(m.from_mm[1] - y);
            let count = (radius_mm * turn.abs() / chord_mm).ceil().max(1.0);
            for k in 1..count as u32 {
                let at = angle(&m.from_mm) + turn * f64::from(k) / count;
                all.push([
                    x + radius_mm * at.cos(),
                    y + radius_mm * at.sin(),
                    m.to_mm[2],
                ]);
            }
        }
        all.push(place(&m.to_mm));
    }
    all
}

/// By the definitions of RS-274/NGC (NISTIR 6556, 3.5.3.2; the tolerance from memory): I and J lead from the start to
/// the centre, G3 turns counter-clockwise seen from +z, both ends are as far from the centre, within 0.002 mm.
fn is_an_arc(m: &Move, side: f64) -> bool {
    let Some(circle) = m.circle else { return false };
    let [x, y] = circle.centre_mm;
    let (first_mm, last_mm) = (
        (m.from_mm[0] - x).hypot(m.from_mm[1] - y),
        (m.to_mm[0] - x).hypot(m.to_mm[1] - y),
    );
    assert!((first_mm - last_mm).abs() <= 2e-3, "{m:?}");
    assert!((0.5..=500.0).contains(&first_mm));
    // The centre of a few rounded chords is anybody's guess.
    let span_mm = (m.to_mm[0] - m.from_mm[0]).hypot(m.to_mm[1] - m.from_mm[1]);
    assert!(span_mm < 3.0 || (x - 50.0).hypot(y - 50.0) < 0.1, "{m:?}");
    assert!(!circle.full && circle.clockwise == (side < 0.0));
    true
}

fn mended(dir: &Path, allow: &str, more: &[&str]) -> (serde_json::Value, Vec<u8>) {
    let args = [
        "mend",
        "job.gcode",
        "--board",
        "slow.toml",
        "--runs",
        "2",
        "--json",
        "--allow",
        allow,
    ];
    let args = [
        &args[..],
        &["--visible", "0.02", "--force", "-o", "new.gcode"],
        more,
    ]
    .concat();
    let done = run(dir, &args);
    assert_eq!(done.status.code(), Some(0), "{done:?}");
    let said = serde_json::from_slice(&done.stdout).unwrap();
    (said, fs::read(dir.join("new.gcode")).unwrap())
}

#[test]
fn circles_become_arcs_where_the_board_can_print_them() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    fs::write(dir.join("slow.toml"), SLOW).unwrap();
    for (side, relative, chord) in [(1.0, true, "1"), (-1.0, false, "0.5"), (1.0, false, "0.8")] {
        let job = circles(side, relative);
        fs::write(dir.join("job.gcode"), &job).unwrap();
        let set = format!("motion.arc_chord_mm={chord}");
        let chord_mm: f64 = chord.parse().unwrap();
        // The small circle's chords of 1 mm lie 0.025 mm inside it: there are no arcs on it then.
        let large_only = chord_mm * chord_mm / 8.0 / 5.0 > WITHIN_MM;
        for allow in ["arcs", "arcs,pace"] {
            let more = ["--set", &set, "--everywhere"];
            let (said, new) = mended(dir, allow, &more);
            let (old_walls, new_walls) = (walls(job.as_bytes()), walls(&new));
            assert_eq!(old_walls.len(), new_walls.len());
            let mut arcs = 0;
            for (old, new) in old_walls.iter().zip(&new_walls) {
                let small = old[0].from_mm[0] < 60.0;
                let own = new.iter().filter(|m| is_an_arc(m, side)).count();
                assert!(own > 0 || small, "{allow} {chord} {said}");
                assert!(own == 0 || !small || !large_only, "{allow} {chord} {said}");
                // Two or three to the circle, and next to nothing besides.
                assert!(
                    own == 0 || new.len() <= 12,
                    "{allow} {chord}: {}",
                    new.len()
                );
                arcs += own;
                let (one, other) = (corners(old, chord_mm), corners(new, chord_mm));
                let off_mm = apart_mm(&one, &other).max(apart_mm(&other, &one));
                assert!(
                    off_mm <= WITHIN_MM + ROUNDING_MM,
                    "{allow} {chord}: {off_mm}"
                );
            }
            assert_eq!(said["arcs"], arcs);
            assert_eq!(said["state"], "mended");
        }
        // With other means too: whatever is chosen, it is within the tolerance, and no worse than before.
        let (said, new) = mended(dir, "merge,pace,strip,arcs", &["--set", &set]);
        assert_eq!(said["after"]["visible_bumps"], 0.0, "{said}");
        for (old, new) in walls(job.as_bytes()).iter().zip(&walls(&new)) {
            for m in new {
                is_an_arc(m, side);
            }
            let (one, other) = (corners(old, chord_mm), corners(new, chord_mm));
            assert!(apart_mm(&one, &other).max(apart_mm(&other, &one)) <= WITHIN_MM + ROUNDING_MM);
        }
    }
}

/// Chords of 4 mm lie 0.1 mm inside a circle of 20 mm.
#[test]
fn there_are_no_arcs_where_the_boards_own_chords_are_too_long() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    fs::write(dir.join("slow.toml"), SLOW).unwrap();
    let job = circles(1.0, true);
    fs::write(dir.join("job.gcode"), &job).unwrap();
    let (said, new) = mended(dir, "arcs", &["--set", "motion.arc_chord_mm=4"]);
    assert_eq!(
        (&said["arcs"], &said["state"]),
        (&0.into(), &"no_help".into())
    );
    assert_eq!(new, job.into_bytes());
}
