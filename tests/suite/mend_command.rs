//! What mended jobs hold: no bump for any phase of the saves, right arcs, the filament of each layer.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use headstall::board::types::Board;
use headstall::job::reader::JobReader;
use headstall::job::state::{Act, Move};
use headstall::study::mend::harm::harm;
use headstall::study::mend::pass::Pass;
use headstall::study::mend::plan::{Class, Plan, Treat};
use headstall::study::mend::proof::sameness;

use super::making::board_from;

/// A slow board whose times are all fixed: for it the bound of the service curve has no chance in it.
pub const SLOW: &str = r#"name = "slow"
[link]
kind = "card"
sector_ms = 1.2
[loop]
line_us = 450
byte_us = 8
block_us = 450
pass_us = 40
[queue]
lines = 4
blocks = 16
[motion]
speed_max = { x = 200, y = 200, z = 10, e = 50 }
accel_max = { x = 2000, y = 2000, z = 100, e = 5000 }
accel = { print = 1000, travel = 1500, retract = 2000 }
corner = { rule = "jump", x = 8, y = 8, z = 0.4, e = 5 }
steps_per_mm = { x = 80, y = 80, z = 400, e = 93 }
[save]
when = "seconds"
every = 1
ms = 120
"#;

/// Moves are joined and slowed until the queue bridges the longest usual hold.
const BRIDGED: Treat = Treat {
    merge: true,
    slows: true,
    bridge: 1.0,
    ..Treat::NONE
};

/// Rings of short chords, `layers` of them.
pub fn rings(layers: usize) -> String {
    let mut job = String::from("G21\nG90\nM83\nG92 E0\n");
    for layer in 1..=layers {
        job += &format!(
            "G0 Z{:.2} F600\nG0 X70 Y50 F9000\nG1 F4800\n",
            0.25 * layer as f64
        );
        for k in 1..=400 {
            let a = f64::from(k) / 400.0 * std::f64::consts::TAU;
            let (x, y) = (50.0 + 20.0 * a.cos(), 50.0 + 20.0 * a.sin());
            job += &format!("G1 X{x:.3} Y{y:.3} E0.0147\n");
        }
    }
    job + "M84\n"
}

fn mended(job: &str, board: &Board, treat: Treat) -> Vec<u8> {
    let plan = Plan {
        others: treat,
        ..Plan::none(0.02)
    };
    by_plan(job, board, &plan)
}

fn by_plan(job: &str, board: &Board, plan: &Plan) -> Vec<u8> {
    let mut new = Vec::new();
    let bytes = job.as_bytes();
    std::io::Read::read_to_end(&mut Pass::new(bytes, bytes, board, plan), &mut new).unwrap();
    new
}

/// Least service whatever the phase (Le Boudec and Thiran, Network Calculus, 2001): a dwell before the print shifts it
/// against the saves, by a fiftieth of their time from one replay to the next. As it is, the job bumps; mended so that the
/// queue bridges the hold, it does not, at any phase.
#[test]
fn no_bump_appears_for_any_phase_of_the_saves() {
    let board = board_from(SLOW, &[]);
    let new = mended(&rings(2), &board, BRIDGED);
    no_bump_is_left(&rings(2), &new, &board);
}

/// Replays both against fifty phases of the saves.
fn no_bump_is_left(old: &str, new: &[u8], board: &Board) {
    let at = |job: &[u8], phase: usize| {
        let mut shifted = format!("G4 P{}\n", 20 * phase).into_bytes();
        shifted.extend_from_slice(job);
        harm(&shifted[..], board, 0, 0.02).unwrap()
    };
    let mut bumps = 0;
    for phase in 0..50 {
        bumps += at(old.as_bytes(), phase).lines.len();
        let after = at(new, phase);
        assert!(after.lines.is_empty(), "phase {phase}: {:?}", after.lines);
    }
    assert!(bumps > 50, "{bumps}");
}

/// A comb and a frame with one round corner of short chords, in one wall: only that corner is treated, and what is left keeps its bytes.
#[test]
fn only_what_is_at_risk_is_treated() {
    let board = board_from(SLOW, &[]);
    let mut job = String::from("G21\nG90\nM83\nG92 E0\n");
    let mut kept = Vec::new();
    for layer in 1..=4 {
        job += &format!(
            "G0 Z{:.2} F600\nG0 X0 Y0 F9000\nG1 F4800\n",
            0.25 * f64::from(layer)
        );
        let teeth = (1..30).map(|k| format!("G1 X{} Y{} E1.92", 3 * k, -40 * (k % 2)));
        let sides = ["G1 X0 Y100 E4.3", "G1 X0 Y0 E4.8"].map(String::from);
        for line in teeth {
            job += &format!("{line}\n");
            kept.push(line);
        }
        kept.extend(sides);
        job += "G1 X90 Y0 E1.92\n";
        for k in 1..=120 {
            let (sin, cos) = (f64::from(k) / 120.0 * std::f64::consts::FRAC_PI_2).sin_cos();
            job += &format!(
                "G1 X{:.3} Y{:.3} E0.0063\n",
                90.0 + 10.0 * sin,
                10.0 - 10.0 * cos
            );
        }
        job += "G1 X100 Y100 E4.3\nG1 X0 Y100 E4.3\nG1 X0 Y0 E4.8\n";
    }
    let plan = Plan {
        walls: vec![Class::of(80.0)],
        treat: BRIDGED,
        ..Plan::none(0.02)
    };
    let new = by_plan(&job, &board, &plan);
    let text = String::from_utf8(new.clone()).unwrap();
    assert!(text.lines().count() < job.lines().count() / 2);
    let found: Vec<&str> = text
        .lines()
        .filter(|l| kept.iter().any(|k| k == l))
        .collect();
    assert_eq!(found, kept, "{text}");
    no_bump_is_left(&job, &new, &board);
}

/// What lies before a ring is what was written of the ring below: a ring does not pay for short moves that are gone.
#[test]
fn rings_of_one_shape_keep_one_feed() {
    let board = board_from(SLOW, &["motion.arc_chord_mm=1"]);
    for (merge, arcs) in [(true, false), (false, true)] {
        let treat = Treat {
            merge,
            arcs,
            ..BRIDGED
        };
        let new = mended(&rings(4), &board, treat);
        let mut reader = JobReader::new(&new[..]);
        let mut slowest_mm_s: Vec<f64> = Vec::new();
        while let Some(step) = reader.next_step().unwrap() {
            if let Act::Move(m) = step.act
                && m.e_mm > 0.0
            {
                slowest_mm_s.resize(step.layer as usize + 1, f64::INFINITY);
                let slowest = &mut slowest_mm_s[step.layer as usize];
                *slowest = slowest.min(m.feed_mm_s);
            }
        }
        assert_eq!(slowest_mm_s.len(), 4);
        for mm_s in &slowest_mm_s[1..] {
            let share = mm_s / slowest_mm_s[1];
            assert!((0.9..1.1).contains(&share), "{slowest_mm_s:?}");
            assert!(*mm_s > 0.6 * slowest_mm_s[0], "{slowest_mm_s:?}");
        }
    }
}

/// Walls whose bends turn both ways, in steps that need rounding and in places that do not: the path moves as far as
/// it may, and no farther. Comments between moves do not matter where they may go.
#[test]
fn the_path_moves_as_far_as_it_may_and_no_farther() {
    let board = board_from(SLOW, &[]);
    for (relative, strip, within_mm) in [
        (false, false, 0.05),
        (true, false, 0.05),
        (true, true, 0.05),
        (true, true, 0.02),
        (false, true, 0.01),
    ] {
        let mut job = String::from("M83\nG0 X70 Y50 Z.2 F9000\nG1 F4800\n");
        job += if relative { "G91\n" } else { "" };
        let mut at = (70.0, 50.0);
        for k in 1..=3000 {
            let turn = f64::from(k) / 700.0 * std::f64::consts::TAU;
            let radius_mm =
                20.0 + (9.0 * turn).sin() + 0.3 * (23.0 * turn).sin() - 0.3 * (2.0 * turn).sin();
            let to = (50.0 + radius_mm * turn.cos(), 50.0 + radius_mm * turn.sin());
            let to = ((to.0 * 1e4).round() / 1e4, (to.1 * 1e4).round() / 1e4);
            job += &if relative {
                format!("G1 X{:.4} Y{:.4} E.009 ; c\n", to.0 - at.0, to.1 - at.1)
            } else {
                format!("G1 X{:.4} Y{:.4} E.009\n", to.0, to.1)
            };
            at = to;
        }
        job += "G90\nM84\n";
        let plan = Plan {
            others: Treat { strip, ..BRIDGED },
            ..Plan::none(within_mm)
        };
        let new = by_plan(&job, &board, &plan);
        let same = sameness(job.as_bytes(), &new[..], &board).unwrap();
        let case = format!("{relative} {strip} {within_mm}: {same:?}");
        assert!(same.deviation_mm <= within_mm + 1e-9, "{case}");
        assert!(same.filament_mm < 1e-4, "{case}");
        let joined = strip || !relative;
        assert_eq!(same.deviation_mm > 0.7 * within_mm, joined, "{case}");
    }
}

/// A block that may be skipped leaves it open which feed is in force behind it: none is written there.
#[test]
fn a_feed_within_a_conditional_block_is_not_relied_on() {
    let board = board_from(SLOW, &[]);
    let ring = rings(1);
    let (head, rest) = ring.split_at(ring.find("G1 X").unwrap());
    let (front, back) = rest.split_at(rest.match_indices("\nG1").nth(200).unwrap().0 + 1);
    let job = format!("{head}{front}M622 J1\nG1 F6000\nM623\n{back}");
    let text = String::from_utf8(mended(&job, &board, BRIDGED)).unwrap();
    let (before, behind) = text.split_once("M623").unwrap();
    assert!(
        before.contains('F') && behind.lines().count() < 190,
        "{text}"
    );
    assert!(!behind.contains('F'), "{behind}");
    let block = before.split_once("M622 J1\n").unwrap();
    assert_eq!(block.1, "G1 F6000\n");
    // The job's own feed is in force where the block begins.
    let feeds: Vec<&str> = block.0.split('F').skip(1).collect();
    assert!(feeds.last().unwrap().starts_with("4800"), "{before}");
}

/// Comments that announce a layer of a spiral stay, right before it or some moves earlier.
#[test]
fn comments_that_announce_layers_stay() {
    let board = board_from(SLOW, &[]);
    let mut job = String::from("M83\nG0 X70 Y50 Z0.2 F9000\nG1 F4800\n");
    for k in 1..=2000 {
        let a = f64::from(k) / 400.0 * std::f64::consts::TAU;
        let (x, y, z) = (
            50.0 + 20.0 * a.cos(),
            50.0 + 20.0 * a.sin(),
            0.2 + f64::from(k) / 2000.0,
        );
        job += &format!("G1 X{x:.3} Y{y:.3} Z{z:.4} E0.0147 ; m\n");
    }
    let mut reader = JobReader::new(job.as_bytes());
    let (mut layer, mut begins) = (0, Vec::new());
    while let Some(step) = reader.next_step().unwrap() {
        if step.layer != layer {
            layer = step.layer;
            begins.push(step.line as usize);
        }
    }
    assert!(begins.len() > 3);
    for earlier in [0, 1, 3, 60] {
        let mut lines: Vec<String> = job.lines().map(String::from).collect();
        for line in begins.iter().rev() {
            lines.insert(line - 1 - earlier, format!("; layer before line {line}"));
        }
        let treat = Treat {
            strip: true,
            ..BRIDGED
        };
        let new = mended(&(lines.join("\n") + "\n"), &board, treat);
        let text = String::from_utf8(new).unwrap();
        let kept = text.matches("; layer before").count();
        assert_eq!(kept, begins.len(), "{earlier}");
        assert!(text.lines().count() < 1200 && !text.contains("; m"));
    }
}

/// The proof sees where a move ends, in space and in filament.
#[test]
fn another_print_is_no_proof() {
    let board = board_from(SLOW, &[]);
    let old = "M82\nG1 X10 E1 F3000\nG1 X20 E2\nM84\n";
    let with = |new: &str| sameness(old.as_bytes(), new.as_bytes(), &board);
    let same = with("M82\nG1 X20 E2 F3000\nM84\n").unwrap();
    assert!(
        same.deviation_mm < 1e-9 && same.filament_mm < 1e-9,
        "{same:?}"
    );
    for other in [
        old.replace("E1 ", "E1.5 "),
        old.replace("X10", "X11"),
        old.replace("E2", "E2.1"),
        old.replace("M84\n", "G4 S1\nM84\n"),
        old.replace("X20", "X20 Y1"),
    ] {
        assert!(with(&other).is_err(), "{other}");
    }
}

/// Arcs by the definitions of RS-274/NGC (NISTIR 6556, 3.5.3): I and J lead from the start to the centre, G3 turns
/// counter-clockwise seen from +z, both ends lie on the circle. None is a full circle, and the board's chords keep the tolerance.
#[test]
fn written_arcs_are_those_of_the_chords() {
    let board = board_from(SLOW, &["motion.arc_chord_mm=1"]);
    let job = rings(1);
    let arcs = Treat {
        arcs: true,
        bridge: 1.0,
        ..Treat::NONE
    };
    for backwards in [false, true] {
        let job = if backwards {
            job.replace("Y", "Y-")
        } else {
            job.clone()
        };
        let centre_y = if backwards { -50.0 } else { 50.0 };
        let new = mended(&job, &board, arcs);
        let mut reader = JobReader::new(&new[..]);
        let mut found = 0;
        while let Some(step) = reader.next_step().unwrap() {
            let Act::Move(Move {
                circle: Some(circle),
                from_mm,
                to_mm,
                ..
            }) = step.act
            else {
                continue;
            };
            found += 1;
            assert_eq!(circle.clockwise, backwards);
            assert!(!circle.full);
            let [x, y] = circle.centre_mm;
            let (first, last) = (
                (from_mm[0] - x).hypot(from_mm[1] - y),
                (to_mm[0] - x).hypot(to_mm[1] - y),
            );
            assert!((x - 50.0).hypot(y - centre_y) < 0.1, "{circle:?}");
            assert!((first - 20.0).abs() < 0.1 && (first - last).abs() < 0.02);
            // r - sqrt(r² - (c/2)²) for the board's chords of 1 mm.
            assert!(first - (first * first - 0.25).sqrt() < 0.02);
        }
        assert!(found >= 2, "{found}");
        assert!(new.len() < job.len() / 2, "{}", new.len());
    }
}

/// A vase in one spiral rises with each move; by itself the mended one may count as other layers.
#[test]
fn a_spiral_keeps_its_filament_layer_by_layer() {
    let board = board_from(SLOW, &[]);
    let mut job = String::from("M83\nG0 X70 Y50 Z0.2 F9000\nG1 F4800\n");
    for k in 1..=1200 {
        let a = f64::from(k) / 400.0 * std::f64::consts::TAU;
        let (x, y) = (50.0 + 20.0 * a.cos(), 50.0 + 20.0 * a.sin());
        job += &format!(
            "G1 X{x:.3} Y{y:.3} Z{:.3} E0.0147\n",
            0.2 + 0.2 * f64::from(k) / 400.0
        );
    }
    let join = Treat {
        merge: true,
        block_s: 1.0,
        ..Treat::NONE
    };
    let new = mended(&job, &board, join);
    let same = sameness(job.as_bytes(), &new[..], &board).unwrap();
    assert!(
        same.moves[1] < 600 && same.deviation_mm <= 0.0205,
        "{same:?}"
    );
    assert!(same.filament_mm < 1e-4, "{same:?}");
}

pub fn run(dir: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_headstall"))
        .args(args)
        .current_dir(dir)
        .output()
        .unwrap()
}

pub fn names(dir: &Path) -> Vec<String> {
    let entries = fs::read_dir(dir).unwrap();
    let mut all: Vec<String> = entries
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    all.sort();
    all
}

pub fn workshop() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("job.gcode"), rings(4)).unwrap();
    fs::write(dir.path().join("slow.toml"), SLOW).unwrap();
    dir
}

pub const MEND: [&str; 6] = ["mend", "job.gcode", "--board", "slow.toml", "--runs", "2"];

pub fn with(more: &[&'static str]) -> Vec<&'static str> {
    MEND.iter().chain(more).copied().collect()
}

/// `remedies` names the command where it helps.
#[test]
fn remedies_name_mend() {
    let dir = workshop();
    let told = run(
        dir.path(),
        &["remedies", "job.gcode", "--board", "slow.toml"],
    );
    let told = String::from_utf8_lossy(&told.stdout).into_owned();
    let line = "headstall mend job.gcode --board slow.toml -o mended.gcode";
    assert!(told.contains(line), "{told}");
}
