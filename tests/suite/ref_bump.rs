//! Bumps against `tests/vectors/bump.json` (growth: shapely 2, a buffer's area; whole stalls: an independent
//! implementation of the model, section 10), and against a plain finder that keeps all samples of a stall and
//! tries all their pairs.

use headstall::board::profile;
use headstall::board::types::Board;
use headstall::replay::stream::{Done, Watcher, replay};
use headstall::study::stalls::LOST_MIN_S;
use headstall::surface::bump::{HEIGHT_MIN_MM, growth_mm};
use headstall::surface::flow::Flow;
use proptest::prelude::*;
use serde_json::Value;

use super::laws::{any_board, any_job};
use super::making::{board, close, found};

fn vectors() -> Value {
    serde_json::from_str(include_str!("../vectors/bump.json")).unwrap()
}

fn list<'v>(of: &'v Value, key: &str) -> &'v [Value] {
    of[key].as_array().unwrap()
}

#[test]
fn growth_is_half_a_stadium() {
    let file = vectors();
    for case in list(&file, "growth") {
        let of = |key: &str| case[key].as_f64().unwrap();
        let found = growth_mm(of("a_mm2"), of("l_mm"), of("w_mm"));
        close(found, of("growth_mm"), 1e-12);
        // What shapely's buffer of the stretch, less the bead, holds on one side.
        let half_mm2 = |r: f64| of("l_mm") * r + std::f64::consts::PI * r * r / 2.0;
        let w = of("w_mm");
        let held = half_mm2(found + w / 2.0) - half_mm2(w / 2.0);
        close(held, of("shapely_area_mm2"), 1e-5);
    }
    assert!(list(&file, "growth").len() >= 7);
    // A long stretch: a/l. A point on a thread: half a disc.
    close(growth_mm(0.1, 100.0, 0.4), 0.001, 1e-5);
    close(
        growth_mm(std::f64::consts::PI * 0.125, 0.0, 0.0),
        0.5,
        1e-12,
    );
}

#[test]
fn whole_stalls() {
    let file = vectors();
    let mut count = 0;
    for case in list(&file, "cases") {
        let text = |key: &str| case[key].as_str().unwrap();
        let board = profile::parse(text("board"), "board.toml", &[]).unwrap();
        let (stalls, bumps) = found(text("job"), &board, 0);
        let expected = list(case, "bumps");
        assert_eq!(bumps.len(), expected.len());
        for (bump, expected) in bumps.iter().zip(expected) {
            let stall = &stalls[bump.stall as usize];
            let whole = |key: &str| expected[key].as_u64().unwrap();
            assert_eq!(
                [bump.stall, stall.first_block, stall.last_block],
                [whole("stall"), whole("first"), whole("last")]
            );
            let of = |key: &str| expected[key].as_f64().unwrap();
            close(bump.surplus_mm3, of("surplus_mm3"), 1e-9);
            close(bump.stretch_mm, of("stretch_mm"), 1e-9);
            close(bump.middle_mm, of("middle_mm"), 1e-9);
            close(bump.height_mm, of("height_mm"), 1e-9);
            count += 1;
        }
        for stall in &stalls {
            let own = bumps.iter().filter(|b| b.stall == stall.stall);
            let highest = own.clone().map(|b| b.height_mm).reduce(f64::max);
            assert_eq!((stall.bumps, stall.bump_mm), (own.count() as u64, highest));
        }
    }
    assert!(count > 100, "{count}");
}

/// All samples of all stalls.
struct Plain {
    flow: Flow,
    nozzle_mm: f64,
    stalls: Vec<PlainStall>,
    open: bool,
    first_layer_mm: f64,
}

#[derive(Default)]
struct PlainStall {
    samples: Vec<(f64, f64)>,
    blocks: Vec<Done>,
}

impl Plain {
    fn new(board: &Board) -> Self {
        Plain {
            flow: Flow::new(&board.nozzle),
            nozzle_mm: board.nozzle.nozzle_mm,
            stalls: Vec::new(),
            open: false,
            first_layer_mm: 0.0,
        }
    }
}

impl Watcher for Plain {
    fn block(&mut self, done: &Done) {
        let excess = self.flow.block(done);
        if done.layer == 0 {
            self.first_layer_mm = done.layer_height_mm;
        }
        if done.lost_s() <= LOST_MIN_S {
            self.open = false;
            return;
        }
        if !std::mem::replace(&mut self.open, true) {
            self.stalls.push(PlainStall {
                samples: vec![(0.0, 0.0)],
                blocks: Vec::new(),
            });
        }
        let stall = self.stalls.last_mut().unwrap();
        stall.blocks.push(*done);
        let (s, mut x) = *stall.samples.last().unwrap();
        x += excess.rest_mm3;
        stall.samples.push((s, x));
        let length = if done.place.moves() {
            done.length_mm
        } else {
            0.0
        };
        let pieces = (length / (self.nozzle_mm / 4.0)).ceil().max(1.0) as u32;
        let passing = self.flow.passing(done);
        for piece in 1..pieces {
            let at = length * f64::from(piece) / f64::from(pieces);
            stall.samples.push((s + at, x + passing.surplus_mm3(at)));
        }
        stall.samples.push((s + length, x + excess.motion_mm3));
    }

    fn stop(&mut self, start_s: f64, end_s: f64) {
        self.flow.stop(start_s, end_s);
        self.open = false;
    }
}

/// The bumps of a stall from all its samples: height, surplus, middle.
fn plainly(stall: &PlainStall, plain: &Plain, filament_mm: f64) -> Vec<[f64; 3]> {
    let nozzle = plain.nozzle_mm;
    let first = &stall.blocks[0];
    let h = if first.layer == 0 {
        plain.first_layer_mm
    } else {
        first.layer_height_mm
    }
    .min(nozzle);
    if h <= 0.0 {
        return Vec::new();
    }
    let printing = || stall.blocks.iter().filter(|b| b.place.prints());
    let e: f64 = printing().map(|b| b.place.e_mm).sum();
    let length: f64 = printing().map(|b| b.length_mm).sum();
    let area = std::f64::consts::PI * filament_mm * filament_mm / 4.0;
    let w = if length > 0.0 {
        area * e / length / h
    } else {
        nozzle
    };
    // A rest that leaves nothing too much is no sample of its own: it would part a rise.
    let mut dots = stall.samples.clone();
    dots.dedup();
    let rises = |k: usize| dots[k + 1].1 > dots[k].1;
    let mut cuts = vec![0];
    cuts.extend((1..dots.len() - 1).filter(|&k| rises(k) && !rises(k - 1)));
    cuts.push(dots.len() - 1);
    let mut bumps: Vec<[f64; 3]> = Vec::new();
    for cut in cuts.windows(2) {
        let mut best = [0.0; 3];
        for j in cut[0] + 1..=cut[1] {
            for i in (cut[0]..j).rev() {
                let (l, x) = (dots[j].0 - dots[i].0, dots[j].1 - dots[i].1);
                if l > 4.0 * nozzle + 1e-12 {
                    break;
                }
                if x > 0.0 && growth_mm(x / h, l, w) > best[0] {
                    best = [growth_mm(x / h, l, w), x, (dots[i].0 + dots[j].0) / 2.0];
                }
            }
        }
        let joined = bumps
            .last()
            .is_some_and(|last| best[2] - last[2] <= 2.0 * nozzle);
        if best[0] < HEIGHT_MIN_MM {
            continue;
        } else if !joined {
            bumps.push(best);
        } else if best[0] > bumps.last().unwrap()[0] {
            *bumps.last_mut().unwrap() = best;
        }
    }
    bumps
}

fn check(job: &str, board: &Board) -> Result<usize, TestCaseError> {
    let mut plain = Plain::new(board);
    replay(job.as_bytes(), board, 0, &mut plain).unwrap();
    let (stalls, bumps) = found(job, board, 0);
    prop_assert_eq!(stalls.len(), plain.stalls.len());
    let mut left = bumps.iter();
    for (number, stall) in plain.stalls.iter().enumerate() {
        for [height, surplus, middle] in plainly(stall, &plain, board.nozzle.filament_mm) {
            let bump = left.next();
            prop_assert!(bump.is_some(), "stall {number}, {middle}: none");
            let bump = bump.unwrap();
            prop_assert_eq!(bump.stall, number as u64);
            prop_assert!((bump.height_mm - height).abs() < 1e-12, "{bump:?} {height}");
            prop_assert!(
                (bump.surplus_mm3 - surplus).abs() < 1e-12,
                "{bump:?} {surplus}"
            );
            prop_assert!((bump.middle_mm - middle).abs() < 1e-12, "{bump:?} {middle}");
        }
    }
    prop_assert_eq!(left.next(), None);
    Ok(bumps.len())
}

proptest! {
    /// What goes through a window, and keeps but a hull of pairs, is what all samples and all pairs give.
    #[test]
    fn bumps_found_plainly(job in any_job(), text in any_board(), lag in 0..4u8, nozzle in 1..10u8) {
        let set = |text: String| profile::Override::parse(&text).unwrap();
        let sets = [
            set(format!("nozzle.lag_s={}", 0.04 * f64::from(lag))),
            set(format!("nozzle.nozzle_mm={}", 0.1 * f64::from(nozzle))),
        ];
        check(&job, &profile::parse(&text, "any.toml", &sets).unwrap())?;
    }
}

/// One stall over a wall, a long block in it, tiny chords, and many bumps.
#[test]
fn starved_walls() {
    for (chord, sets) in [
        (0.7, ["loop.block_us=60000", "queue.blocks=4"]),
        (0.04, ["loop.block_us=30000", "queue.blocks=8"]),
        (0.3, ["loop.line_us=40000", "queue.restart_blocks=16"]),
    ] {
        let mut sets = sets.to_vec();
        if sets[1].contains("restart") {
            sets.push("queue.blocks=20");
        }
        let board = board(&sets);
        let mut job = String::from("M83\nG1 F3000\nG1 Z0.25\n");
        for k in 1..1500 {
            job += &format!(
                "G1 X{:.3} Y{:.3} E{:.4}\n",
                f64::from(k) * chord,
                f64::from(k % 3) * 0.01,
                chord * 0.04
            );
            if k == 700 {
                job += "G1 Y900 E36\nG1 Z0.5\nG1 Y0 E36\n";
            }
        }
        let count = check(&job, &board).unwrap();
        assert!(count > 20, "{count}");
    }
}

/// A job that is all one block, however long, costs no more samples than its ramps have.
#[test]
fn a_block_of_kilometres() {
    let board = board(&["loop.block_us=900000", "motion.accel.print=500"]);
    let job = "M83\nG1 Z0.2 F9000\nG1 X5 E0.2\nG1 X90000 E3600\nG1 X90005 E0.2\n";
    let began = std::time::Instant::now();
    let (stalls, bumps) = found(job, &board, 0);
    assert!(!stalls.is_empty() && !bumps.is_empty());
    assert!(began.elapsed().as_secs_f64() < 1.0);
}

/// A move that brings a retraction back is no printing: it leaves no bump, nor does the one behind it.
#[test]
fn an_undone_retraction_leaves_no_bump() {
    let sets = ["loop.line_us=300000", "nozzle.lag_s=0.1"];
    let job = "M83\nG1 Z0.2 F3000\nG1 E2\nG1 X10\nG1 E2\nG1 X20\n";
    let (stalls, bumps) = found(job, &board(&sets), 0);
    assert!(stalls.iter().any(|s| s.dwell_s > 0.1));
    assert!(stalls.iter().all(|s| s.excess_mm3 == 0.0) && bumps.is_empty());
}

/// Where nothing lags, or no layer has begun, there are none.
#[test]
fn none_without_lag_or_layer() {
    let line = "G1 X10 E1\nG1 X20 E1\nG1 X30 E1\n";
    let with = |z: &str, lag: &str| {
        let board = board(&["loop.block_us=300000", lag]);
        found(&format!("M83\nG1 {z} F3000\n{line}"), &board, 0)
    };
    let (stalls, bumps) = with("Z0.2", "nozzle.lag_s=0.05");
    assert!(!bumps.is_empty() && stalls.iter().any(|s| s.bump_mm.is_some()));
    for (z, lag) in [("Z0", "nozzle.lag_s=0.05"), ("Z0.2", "nozzle.lag_s=0")] {
        let (stalls, bumps) = with(z, lag);
        assert!(!stalls.is_empty() && bumps.is_empty());
        assert!(stalls.iter().all(|s| s.bump_mm.is_none() && s.bumps == 0));
    }
}

/// A stall on a primer line is squeezed to the height of the layer 0 that follows, known only later.
#[test]
fn a_primer_lines_stall_waits_for_its_layer() {
    let board = board(&["loop.block_us=300000", "nozzle.nozzle_mm=0.6"]);
    // Filament of 1.75 mm, 0.1 mm of it a mm of path.
    let bead_mm2 = 0.1 * std::f64::consts::PI * 1.75 * 1.75 / 4.0;
    let primers = [("G1 X20 E2\n", 0.4), ("G1 X10 E1\nG1 X20 E1\n", 0.3)];
    for (primer, h) in primers {
        let layer = "G1 Z0.4\nG1 X30 E1\nG1 X40 E1\nG1 X50 E1\n";
        let job = format!("M83\nG1 Z0.3 F3000\n{primer}M400\n{layer}");
        check(&job, &board).unwrap();
        let job = job.replace("M400\n", "");
        let (_, bumps) = found(&job, &board, 0);
        let first = &bumps[0];
        let height = growth_mm(first.surplus_mm3 / h, first.stretch_mm, bead_mm2 / h);
        close(first.height_mm, height, 1e-12);
    }
}
