//! `mend` where bytes are what starves the board: shorter lines are all that is needed.

use std::fs;
use std::process::Command;

use headstall::job::reader::JobReader;
use headstall::job::state::{Act, Move};

/// A cable of 7500 bytes a second: 53 bytes take 7 ms, 27 bytes take 3.6 ms. Comments do not go over it.
const CABLE: &str = r#"[link]
kind = "serial"
bytes_per_s = 7500
reply_ms = 1
reply_when = "received"
in_flight = 4
"#;

/// A card of 88 µs a byte: comments are read too.
const CARD: &str = r#"[link]
kind = "card"
sector_ms = 45
"#;

const REST: &str = r#"[loop]
line_us = 100
block_us = 100
[queue]
lines = 4
blocks = 16
low_water = 8
stretch_ms = 20
[motion]
speed_max = { x = 200, y = 200, z = 10, e = 50 }
accel_max = { x = 2000, y = 2000, z = 100, e = 5000 }
accel = { print = 1000, travel = 1500, retract = 2000 }
corner = { rule = "jump", x = 8, y = 8, z = 0.4, e = 5 }
steps_per_mm = { x = 80, y = 80, z = 400, e = 93 }
"#;

/// Rings of chords of 0.314 mm at 66.7 mm/s: 4.7 ms each.
fn rings(decimals: usize, comment: &str) -> String {
    let mut job = String::from("; head of the job\nG21\nG90\nM83\nG92 E0\n");
    for layer in 1..=3 {
        job += &format!(
            "; layer {layer} begins\nG0 Z{:.2} F600\n",
            0.25 * f64::from(layer)
        );
        job += "G0 X70 Y50 F9000\nG1 F4000\n";
        for k in 1..=400 {
            let (sin, cos) = (f64::from(k) / 400.0 * std::f64::consts::TAU).sin_cos();
            let (x, y) = (50.0 + 20.0 * cos, 50.0 + 20.0 * sin);
            job += &format!(
                "G1 X{x:.decimals$} Y{y:.decimals$} E{:.decimals$}{comment}\n",
                0.0147
            );
        }
    }
    job + "M84\n; tail of the job\n"
}

fn moves(job: &str) -> Vec<Move> {
    let (mut reader, mut all) = (JobReader::new(job.as_bytes()), Vec::new());
    while let Some(step) = reader.next_step().unwrap() {
        if let Act::Move(m) = step.act {
            all.push(m);
        }
    }
    all
}

/// With every means allowed, the one that costs no time and moves no path is chosen, and is enough.
#[test]
fn shorter_lines_are_chosen_where_bytes_starve_the_board() {
    let comment = " ; outer wall of the lantern, between two of its flutes, no hurry here";
    for (link, decimals, comment) in [(CABLE, 12, ""), (CARD, 4, comment)] {
        let dir = tempfile::tempdir().unwrap();
        let old = rings(decimals, comment);
        fs::write(dir.path().join("job.gcode"), &old).unwrap();
        fs::write(
            dir.path().join("b.toml"),
            format!("name = \"b\"\n{link}{REST}"),
        )
        .unwrap();
        let args = "mend job.gcode --board b.toml --runs 2 -o new.gcode --json";
        let done = Command::new(env!("CARGO_BIN_EXE_headstall"))
            .args(args.split(' '))
            .current_dir(dir.path())
            .output()
            .unwrap();
        assert_eq!(done.status.code(), Some(0), "{done:?}");
        let said: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
        assert_eq!(said["state"], "mended", "{said}");
        assert!(
            said["before"]["visible_bumps"].as_f64() > Some(0.0),
            "{said}"
        );
        assert_eq!(said["after"]["visible_bumps"], 0.0, "{said}");
        assert!(said["extra_s"].as_f64() <= Some(0.0), "{said}");
        assert_eq!(
            (&said["merged_lines"], &said["paced_moves"]),
            (&0.into(), &0.into())
        );
        let new = fs::read_to_string(dir.path().join("new.gcode")).unwrap();
        assert!(3 * new.len() < 2 * old.len());
        let comments: Vec<&str> = new.lines().filter(|l| l.contains(';')).collect();
        assert_eq!(comments[0], "; head of the job");
        for (layer, comment) in comments.iter().enumerate().take(4).skip(1) {
            assert_eq!(*comment, format!("; layer {layer} begins"));
        }
        assert_eq!(comments[4], "; tail of the job");
        let (before, after) = (moves(&old), moves(&new));
        assert_eq!(before.len(), after.len());
        for (one, other) in before.iter().zip(&after) {
            let near = |k: usize| (one.to_mm[k] - other.to_mm[k]).abs() < 0.000_51;
            assert!((0..3).all(near) && one.feed_mm_s == other.feed_mm_s);
            assert!((one.to_mm[3] - other.to_mm[3]).abs() < 1e-4);
        }
    }
}
