//! The mended job: what changes, and what never does.

use std::io::Read;

use headstall::board::types::Board;
use headstall::job::reader::JobReader;
use headstall::job::state::{Act, Move};
use headstall::motion::path::Path;
use headstall::study::mend::merge::{self, Chord, Joining};
use headstall::study::mend::pass::Pass;
use headstall::study::mend::plan::{Plan, Treat};
use headstall::study::mend::proof::sameness;
use headstall::study::mend::reach::Reach;
use headstall::study::mend::space::{distance_mm, xyz};
use proptest::prelude::*;

use super::making::board;

const WITHIN_MM: f64 = 0.02;

fn plan(treat: Treat) -> Plan {
    Plan {
        others: treat,
        ..Plan::none(WITHIN_MM)
    }
}

const JOIN: Treat = Treat {
    merge: true,
    block_s: 1.0,
    ..Treat::NONE
};

fn mended(job: &[u8], board: &Board, plan: &Plan) -> Vec<u8> {
    let mut new = Vec::new();
    Pass::new(job, job, board, plan)
        .read_to_end(&mut new)
        .unwrap();
    new
}

/// A wall of a circle in tiny chords; `relative`: of E.
fn ring(end: &str, relative: bool) -> String {
    let mode = if relative { "M83" } else { "M82" };
    let mut lines = vec![
        "G21".to_string(),
        "G90".to_string(),
        mode.to_string(),
        "G92 E0".to_string(),
        "G0 X60 Y50 Z0.2 F9000".to_string(),
        "G1 F3000".to_string(),
    ];
    for k in 1..=200 {
        let a = f64::from(k) / 200.0 * std::f64::consts::TAU;
        let e = if relative { 0.01 } else { 0.01 * f64::from(k) };
        lines.push(format!(
            "G1 X{:.3} Y{:.3} E{e:.5}",
            50.0 + 10.0 * a.cos(),
            50.0 + 10.0 * a.sin()
        ));
    }
    lines.push("M107".to_string());
    lines.push("G0 X0 Y0".to_string());
    lines.join(end)
}

#[test]
fn a_plan_that_does_nothing_gives_the_same_bytes() {
    let odd: &[u8] = b"\xEF\xBB\xBF; caf\xE9\r\nG28\rG1 X1 Y1 E.5 F1200\n\n(a)G1 X2{F}\nWORD A=1\nN5 G1 X3*0\nG1 X9";
    assert_eq!(mended(odd, &board(&[]), &Plan::none(0.0)), odd);
    let nothing = plan(Treat {
        strip: false,
        ..Treat::NONE
    });
    assert_eq!(mended(odd, &board(&[]), &nothing), odd);
}

#[test]
fn line_ends_and_a_missing_one_at_the_end_stay() {
    for end in ["\n", "\r\n", "\r"] {
        for relative in [false, true] {
            let job = ring(end, relative);
            let new = mended(job.as_bytes(), &board(&[]), &plan(JOIN));
            let new = String::from_utf8(new).unwrap();
            let (old_lines, lines): (Vec<&str>, Vec<&str>) =
                (job.split(end).collect(), new.split(end).collect());
            assert!(lines.len() < old_lines.len() / 2, "{} lines", lines.len());
            assert_eq!(lines[..6], old_lines[..6]);
            assert_eq!(lines[lines.len() - 2..], ["M107", "G0 X0 Y0"]);
            assert!(lines.iter().all(|l| !l.contains(['\r', '\n'])));
            let same = sameness(job.as_bytes(), new.as_bytes(), &board(&[])).unwrap();
            assert!(same.deviation_mm <= WITHIN_MM && same.deviation_mm > 0.0);
            assert!(same.filament_mm < 1e-4, "{}", same.filament_mm);
        }
    }
}

/// Numbers follow one another and checksums are the exclusive or of all bytes before the star (common practice, no source).
#[test]
fn numbered_lines_are_numbered_anew() {
    let job: String = ring("\n", true)
        .lines()
        .enumerate()
        .map(|(k, line)| {
            let line = format!("N{k} {line}");
            let sum = line.bytes().fold(0, |sum, b| sum ^ b);
            format!("{line}*{sum}\n")
        })
        .collect();
    let slow = Treat { pace: 0.5, ..JOIN };
    let new = String::from_utf8(mended(job.as_bytes(), &board(&[]), &plan(slow))).unwrap();
    assert!(new.lines().count() < job.lines().count() / 2);
    for (k, line) in new.lines().enumerate() {
        let (text, sum) = line.rsplit_once('*').unwrap();
        assert!(text.starts_with(&format!("N{k} ")), "{line}");
        assert_eq!(
            sum.parse::<u8>().unwrap(),
            text.bytes().fold(0, |s, b| s ^ b),
            "{line}"
        );
    }
}

/// The feed is lowered where the run is, and nowhere else; factors of the job stay in force.
#[test]
fn the_feed_comes_back_behind_a_slower_wall() {
    let slow = Treat {
        pace: 0.5,
        ..Treat::NONE
    };
    let job = format!("M220 S80\nM221 S95\n{}\nG1 X5 E1\n", ring("\n", true));
    let new = mended(job.as_bytes(), &board(&[]), &plan(slow));
    let feeds = |text: &[u8]| {
        let mut reader = JobReader::new(text);
        let mut all = Vec::new();
        while let Some(step) = reader.next_step().unwrap() {
            if let Act::Move(m) = step.act {
                all.push((m.to_mm, m.e_mm, m.feed_mm_s));
            }
        }
        all
    };
    for (old, new) in feeds(job.as_bytes()).iter().zip(feeds(&new)) {
        let share = if old.1 > 0.0 { 0.5 } else { 1.0 };
        assert_eq!((old.0, old.1), (new.0, new.1));
        assert!((new.2 - share * old.2).abs() < 1e-6 * old.2, "{new:?}");
    }
}

/// A job that changes from millimetres to inches and back within a wall of relative E, with more decimals than are
/// written: what rounding leaves out is a length, not a number.
#[test]
fn rounding_errors_do_not_add_up_where_the_unit_changes() {
    let mut job = String::from("G21\nG90\nM83\nG0 X60 Y50 Z0.2 F9000\nG1 F3000\n");
    for k in 1..=400 {
        if k % 20 == 0 {
            let code = if k % 40 == 0 { 21 } else { 20 };
            job += &format!("G{code}\nG1 F{}\n", if code == 20 { 118 } else { 3000 });
        }
        let unit_mm = if k / 20 % 2 == 1 { 25.4 } else { 1.0 };
        let (sin, cos) = (f64::from(k) / 400.0 * std::f64::consts::TAU).sin_cos();
        let (x, y) = ((50.0 + 10.0 * cos) / unit_mm, (50.0 + 10.0 * sin) / unit_mm);
        job += &format!("G1 X{x:.5} Y{y:.5} E{:.9}\n", 0.012_345_37 / unit_mm);
    }
    let new = mended(job.as_bytes(), &board(&[]), &plan(JOIN));
    let same = sameness(job.as_bytes(), &new[..], &board(&[])).unwrap();
    assert!(same.commands[1] < 200, "{same:?}");
    assert!(same.filament_mm < 2e-5, "{same:?}");
}

#[test]
fn what_is_not_understood_is_left_alone() {
    let wall = ring("\n", true);
    let job = format!("M622 J1\n{wall}\nM623\nG5 X1 Y1 P1 Q1\nMACRO A=1\n");
    let pass = Pass::new(job.as_bytes(), job.as_bytes(), &board(&[]), &plan(JOIN));
    let counts = pass.through().unwrap();
    assert_eq!(counts.merged_lines, 0);
    assert!(counts.alone_lines > 200, "{}", counts.alone_lines);
    assert_eq!(
        mended(job.as_bytes(), &board(&[]), &plan(JOIN)),
        job.as_bytes()
    );
}

/// Least number of moves within the tolerance: Imai and Iri (1988), the shortest way through the graph of all admissible
/// shortcuts. Where many moves may be joined only some ways are looked at: within 10 % of the minimum, on the mean 3 %.
#[test]
fn merging_is_close_to_the_exact_minimum() {
    let path = Path::new(&board(&[]));
    let how = Joining {
        within_mm: WITHIN_MM,
        straights: true,
        stretch_s: 0.0,
        arc_chord_mm: None,
    };
    let (mut count_sum, mut least_sum) = (0, 0);
    for case in 0..40u32 {
        let f = f64::from(case);
        let point = |k: u32| {
            let t = f64::from(k) * 0.25;
            [t, (t * (0.3 + 0.02 * f)).sin() * (0.3 + 0.05 * f), 0.2, 0.0]
        };
        let chords: Vec<Chord> = (0..60)
            .map(|k| {
                let (from_mm, to_mm) = (point(k), point(k + 1));
                let mv = Move {
                    from_mm,
                    to_mm,
                    e_mm: 0.05 * distance_mm(xyz(&from_mm), xyz(&to_mm), xyz(&to_mm)),
                    feed_mm_s: 50.0,
                    circle: None,
                };
                Chord {
                    mv,
                    joins: true,
                    needed_mm_s: 0.0,
                    block_s: 1.0,
                }
            })
            .collect();
        let moves: Vec<Move> = chords.iter().map(|c| c.mv).collect();
        let reach = Reach::of(&moves, WITHIN_MM, true, None);
        let joined_count = merge::groups(&chords, &path, &how, &reach).len();
        let mut least = vec![usize::MAX; 61];
        least[0] = 0;
        for to in 1..=60usize {
            for from in 0..to {
                let inside = (from + 1..to).all(|k| {
                    let p = |k: usize| xyz(&point(k as u32));
                    distance_mm(p(k), p(from), p(to)) <= WITHIN_MM
                });
                if inside {
                    least[to] = least[to].min(least[from] + 1);
                }
            }
        }
        assert!(
            joined_count >= least[60] && 10 * joined_count <= 11 * least[60] + 10,
            "{joined_count} {}",
            least[60]
        );
        count_sum += joined_count;
        least_sum += least[60];
    }
    assert!(
        count_sum * 100 <= least_sum * 103,
        "{count_sum} for {least_sum}"
    );
}

fn any_small_job() -> impl Strategy<Value = String> {
    let step = (0u8..12, -300i32..300, -300i32..300);
    (any::<bool>(), prop::collection::vec(step, 1..120)).prop_map(|(relative, steps)| {
        let mut job = String::from(if relative { "M83\n" } else { "M82\n" });
        let (mut x, mut y, mut e) = (50.0, 50.0, 0.0);
        for (kind, dx, dy) in steps {
            (x, y) = (x + f64::from(dx) / 1000.0, y + f64::from(dy) / 1000.0);
            let length = f64::from(dx).hypot(f64::from(dy)) / 1000.0;
            e = if relative {
                0.05 * length
            } else {
                e + 0.05 * length
            };
            job += &match kind {
                0 => format!("M106 S{}\n", dx.abs() % 255),
                1 => format!("G0 X{x:.3} Y{y:.3}\n"),
                2 => "; between\n".to_string(),
                3 => format!(
                    "G1 X{x:.3} Y{y:.3} E{e:.5} F{}\n",
                    1200 + 600 * (dx.abs() % 3)
                ),
                4 => "G4 P1\n".to_string(),
                _ => format!("G1 X{x:.3} Y{y:.3} E{e:.5}\n"),
            };
        }
        job + "M84\n"
    })
}

/// Lines that are no motions, each with how much filament lies before it.
fn others(job: &[u8]) -> Vec<(String, f64)> {
    let text = std::str::from_utf8(job).unwrap();
    let mut reader = JobReader::new(job);
    let mut all = Vec::new();
    let lines: Vec<&str> = text.lines().collect();
    let mut e_mm = 0.0;
    while let Some(step) = reader.next_step().unwrap() {
        let line = lines[step.line as usize - 1];
        match step.act {
            Act::Move(m) => e_mm += m.e_mm,
            _ if line.starts_with("G1 F") => {}
            _ => all.push((line.to_string(), e_mm)),
        }
    }
    all
}

proptest! {
    #[test]
    fn any_job_stays_the_same_print(job in any_small_job(), pace in 0.3f64..1.0, strip: bool, arcs: bool) {
        let treat = Treat { merge: true, block_s: 0.01, arcs, strip, pace, ..Treat::NONE };
        let new = mended(job.as_bytes(), &board(&[]), &plan(treat));
        let same = sameness(job.as_bytes(), &new[..], &board(&[])).unwrap();
        prop_assert!(same.deviation_mm <= WITHIN_MM + 1e-3, "{}", same.deviation_mm);
        prop_assert!(same.filament_mm < 1e-4);
        let (before, after) = (others(job.as_bytes()), others(&new));
        prop_assert_eq!(before.len(), after.len());
        for (old, new) in before.iter().zip(&after) {
            prop_assert!(old.0 == new.0 && (old.1 - new.1).abs() < 1e-4, "{old:?} {new:?}");
        }
    }
}

/// The deviation that is proven is no less than the Hausdorff and the discrete Fréchet distance that a reference
/// library gives, and no more than those by more than its sampling (`tests/vectors/deviation.py`).
#[test]
fn the_deviation_is_the_hausdorff_and_the_frechet_distance() {
    let all: Vec<serde_json::Value> =
        serde_json::from_str(include_str!("../vectors/deviation.json")).unwrap();
    assert_eq!(all.len(), 21);
    for case in &all {
        let points: Vec<[f64; 2]> = serde_json::from_value(case["points_mm"].clone()).unwrap();
        let job = |points: &[[f64; 2]]| {
            let [x, y] = points[0];
            let mut job = format!("M82\nG0 X{x} Y{y} Z0.2 F9000\n");
            for [x, y] in &points[1..points.len() - 1] {
                job += &format!("G1 X{x} Y{y}\n");
            }
            let [x, y] = points[points.len() - 1];
            job + &format!("G1 X{x} Y{y} E1 F3000\n")
        };
        let old = job(&points);
        let new = job(&[points[0], points[points.len() - 1]]);
        let same = sameness(old.as_bytes(), new.as_bytes(), &board(&[])).unwrap();
        for (name, sampling_mm) in [
            ("hausdorff_mm", 2e-5),
            ("corners_mm", 2e-4),
            ("frechet_mm", 5e-3),
        ] {
            let theirs_mm = case[name].as_f64().unwrap();
            assert!(
                (same.deviation_mm - theirs_mm).abs() < sampling_mm,
                "{name}: {} and {theirs_mm}",
                same.deviation_mm
            );
        }
    }
}
