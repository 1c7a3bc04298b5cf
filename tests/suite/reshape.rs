//! Chord merging, arc fitting, and causes that add up.

use std::collections::VecDeque;

use headstall::board::profile;
use headstall::demo::lantern::STUTTERS;
use headstall::job::reader::{JobReader, Step};
use headstall::job::state::{Act, Move};
use headstall::motion::path::Block;
use headstall::replay::cause::{Causes, Setup};
use headstall::replay::controller;
use headstall::replay::source::Planned;
use headstall::replay::source::Steps;
use headstall::replay::store::Reading;
use headstall::replay::stream::replay;
use headstall::replay::world::{Cause, Line, Ran, World};
use headstall::study::bumps::Found as Event;
use headstall::study::causes::{self, Span};
use headstall::study::compare::{Case, is_firm, outcomes, runs_needed};
use headstall::study::cures;
use headstall::study::reshape::{Reshape, Reshaped};
use headstall::study::sample::{Sample, Sight, has_draws, sample};
use headstall::study::watch::Watch;
use headstall::surface::skin::Surface;
use proptest::prelude::*;

use super::laws::{any_board, any_job};
use super::making::{board, board_from, found, run};

fn steps(job: &str) -> Vec<Step> {
    let mut reader = JobReader::new(job.as_bytes());
    let mut steps = Vec::new();
    while let Some(step) = reader.next_step().unwrap() {
        steps.push(*step);
    }
    steps
}

fn moves(steps: &[Step]) -> Vec<Move> {
    let of = |s: &Step| {
        if let Act::Move(m) = s.act {
            Some(m)
        } else {
            None
        }
    };
    steps
        .iter()
        .filter_map(of)
        .filter(|m| m.e_mm > 0.0)
        .collect()
}

/// Points along a printed path, 0.02 mm apart or closer.
fn points(moves: &[Move]) -> Vec<[f64; 2]> {
    let mut points = Vec::new();
    for m in moves {
        let (a, b) = (m.from_mm, m.to_mm);
        let Some(circle) = m.circle else {
            let count = ((b[0] - a[0]).hypot(b[1] - a[1]) / 0.02).ceil().max(1.0);
            points.extend((0..=count as u32).map(|k| {
                let t = f64::from(k) / count;
                [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]
            }));
            continue;
        };
        let c = circle.centre_mm;
        let r = (a[0] - c[0]).hypot(a[1] - c[1]);
        let (from, to) = (
            (a[1] - c[1]).atan2(a[0] - c[0]),
            (b[1] - c[1]).atan2(b[0] - c[0]),
        );
        let tau = std::f64::consts::TAU;
        let turn = if circle.clockwise {
            -(from - to).rem_euclid(tau)
        } else {
            (to - from).rem_euclid(tau)
        };
        let count = (r * turn.abs() / 0.02).ceil().max(1.0);
        points.extend((0..=count as u32).map(|k| {
            let angle = from + turn * f64::from(k) / count;
            [c[0] + r * angle.cos(), c[1] + r * angle.sin()]
        }));
    }
    points
}

fn farthest(from: &[[f64; 2]], to: &[[f64; 2]]) -> f64 {
    from.iter()
        .map(|p| {
            to.iter()
                .map(|q| (p[0] - q[0]).hypot(p[1] - q[1]))
                .fold(f64::MAX, f64::min)
        })
        .fold(0.0, f64::max)
}

/// A wavy wall in short chords, on two layers.
fn wall() -> impl Strategy<Value = String> {
    (
        prop::collection::vec((-0.9..0.9f64, 0.05..0.6f64), 10..90),
        2.0..30.0f64,
    )
        .prop_map(|(turns, bend)| {
            let mut job = String::from("M83\nG1 F3000 Z0.2\n");
            for layer in 1..=2 {
                job += &format!("G0 X50 Y50 Z{}\n", 0.2 * f64::from(layer));
                let (mut x, mut y, mut angle) = (50.0, 50.0, 0.0f64);
                for (k, (turn, long)) in turns.iter().enumerate() {
                    // Mostly a gentle curve, now and then a corner.
                    angle += if k % 11 == 0 { *turn } else { long / bend };
                    x += long * angle.cos();
                    y += long * angle.sin();
                    job += &format!("G1 X{x:.4} Y{y:.4} E{:.6}\n", long * 0.04);
                }
            }
            job
        })
}

/// The steps reshaped, and how far the path moved at most, mm.
fn reshape(steps: &[Step], how: Reshape) -> (Vec<Step>, f64) {
    let mut reshaped = Reshaped::new(steps.iter(), how);
    let mut all = Vec::new();
    while let Some(step) = reshaped.next_step().unwrap() {
        all.push(*step);
    }
    (all, reshaped.shift_mm)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_path_stays_within_the_tolerance(job in wall(), tolerance in 0.005..0.1f64, arcs in any::<bool>()) {
        let before = steps(&job);
        let how = if arcs { Reshape::Arcs { within_mm: tolerance, chord_mm: 0.0 } } else { Reshape::Merge(tolerance) };
        let (after, shift_mm) = reshape(&before, how);
        prop_assert!(shift_mm <= tolerance);
        let (old, new) = (points(&moves(&before)), points(&moves(&after)));
        // The points themselves lie 0.02 mm apart: half of that may come on top.
        prop_assert!(farthest(&old, &new) <= tolerance + 0.0101, "{}", farthest(&old, &new));
        prop_assert!(farthest(&new, &old) <= tolerance + 0.0101, "{}", farthest(&new, &old));
        // Ends and filament are kept, layer by layer.
        for layer in 0..2 {
            let of = |all: &[Step]| moves(&all.iter().filter(|s| s.layer == layer).copied().collect::<Vec<_>>());
            let (old, new) = (of(&before), of(&after));
            let e = |m: &[Move]| m.iter().map(|m| m.e_mm).sum::<f64>();
            prop_assert!((e(&old) - e(&new)).abs() < 1e-6);
            prop_assert_eq!(old[0].from_mm, new[0].from_mm);
            prop_assert_eq!(old[old.len() - 1].to_mm, new[new.len() - 1].to_mm);
            for pair in new.windows(2) {
                prop_assert_eq!(pair[0].to_mm, pair[1].from_mm);
            }
        }
    }

    #[test]
    fn shares_add_up_by_place_and_by_cause(text in any_board(), job in any_job(), seed in 0..4u64) {
        let board = profile::parse(&text, "any.toml", &[]).unwrap();
        let mut watch = Watch::new(&board.nozzle, |_| {});
        let done = replay(job.as_bytes(), &board, seed, &mut watch).unwrap();
        watch.finish();
        let (stalls, _) = found(&job, &board, seed);
        let kept = Planned::new(JobReader::new(job.as_bytes()), &board).store().unwrap();
        let spans: Vec<Span> = stalls.iter().map(|s| Span { first: s.first_block, last: s.last_block }).collect();
        let shares = causes::shares(&kept, &board, seed, &spans, 2, &|_| {}).unwrap();
        let allowed = 1e-9 * done.lost_s.max(1.0);
        for (stall, shares_s) in stalls.iter().zip(&shares.spans_s) {
            let sum: f64 = shares_s.sum();
            prop_assert!((sum - stall.lost_s).abs() <= allowed, "{sum} {}", stall.lost_s);
        }
        let total: f64 = shares.total_s.sum();
        prop_assert!((total - done.lost_s).abs() <= allowed, "{total} {}", done.lost_s);
        // A cause that the board lacks gets exactly nothing.
        for cause in Cause::ALL {
            if !Causes::of(&board).has(cause) {
                prop_assert_eq!(shares.total_s[cause], 0.0);
            }
        }
        // One thread or two: the same bits.
        prop_assert_eq!(&shares, &causes::shares(&kept, &board, seed, &spans, 1, &|_| {}).unwrap());
    }

    #[test]
    fn the_stored_job_replays_as_the_file_does(text in any_board(), job in any_job(), seed in any::<u64>()) {
        let board = profile::parse(&text, "any.toml", &[]).unwrap();
        let mut heights_mm = Vec::new();
        let each = |event: &Event| if let Event::Bump(bump) = event { heights_mm.push(bump.height_mm) };
        let mut watch = Watch::new(&board.nozzle, each);
        let done = replay(job.as_bytes(), &board, seed, &mut watch).unwrap();
        let (seen, _) = watch.finish();
        let visible = heights_mm.iter().filter(|mm| **mm >= 0.05).count() as u64;
        let kept = Planned::new(JobReader::new(job.as_bytes()), &board).store().unwrap();
        let sight = Sight { facing: &|_| Some(Surface::Outer), visible_mm: 0.05 };
        let seen_so = sample(&kept, &board, seed, Some(sight)).unwrap();
        prop_assert_eq!(seen_so.visible, visible);
        let highest_mm = heights_mm.iter().copied().fold(0.0, f64::max);
        prop_assert!((seen_so.highest_mm - highest_mm).abs() <= 1e-9 * highest_mm);
        let again = sample(&kept, &board, seed, None).unwrap();
        prop_assert_eq!(again.lost_s.to_bits(), done.lost_s.to_bits());
        prop_assert_eq!(again.replay_s.to_bits(), done.totals.replay_s.to_bits());
        prop_assert_eq!(again.kinds, seen.kinds);
        // Two boards that differ in nothing have the same luck: the difference is exactly 0.
        prop_assert_eq!(sample(&kept, &board.clone(), seed, None).unwrap(), again);
        let (lines, blocks) = (kept.line_count(), kept.block_count());
        prop_assert!(kept.memory_bytes() <= 8 * lines + 40 * blocks + 64 * (2 + lines / 3) + 64 * 40);
    }
}

/// A stored job that nobody watches.
struct Silent<'a>(Reading<'a>);

impl World for Silent<'_> {
    fn next_line(&mut self, blocks: &mut VecDeque<Block>) -> Option<Line> {
        self.0.line(blocks)
    }

    fn ran(&mut self, _ran: &Ran) {}

    fn stopped(&mut self, _start_s: f64, _end_s: f64) {}
}

/// With everything removed the replay is the ideal; with nothing removed it is the replay.
#[test]
fn the_empty_and_the_full_set() {
    let text = STUTTERS;
    let board = board_from(
        text,
        &["save.ms=100", "link.sector_ms=1.2", "link.hiccup_chance=0"],
    );
    let mut job = String::from("M83\nG1 F4800 Z0.2\n");
    for k in 1..=3000 {
        job += &format!("G1 X{:.2} E0.01\n", f64::from(k) * 0.1);
    }
    let whole = run(&job, &board);
    let kept = Planned::new(JobReader::new(job.as_bytes()), &board)
        .store()
        .unwrap();
    let shares = causes::shares(&kept, &board, 0, &[], 2, &|_| {}).unwrap();
    // One replay with everything removed.
    let mut silent = Silent(kept.read());
    let nothing = Setup::only(&board, Causes::default());
    let totals = controller::run(&nothing, 0, &mut silent).unwrap();
    super::making::close(totals.replay_s, whole.ideal_s, 1e-9);
    let save = shares.total_s[Cause::Save];
    assert!(
        whole.lost_s > 1.0 && save > 0.15 * whole.lost_s,
        "{:?} {}",
        shares.total_s,
        whole.lost_s
    );
}

/// Two causes that only bite together share alike: a link and a processor, each just fast enough.
#[test]
fn causes_that_only_bite_together() {
    let board = board(&[
        "link.sector_ms=20",
        "queue.blocks=64",
        "queue.lines=1",
        "loop.block_us=900",
        "motion.accel.print=5000",
    ]);
    let mut job = String::from("M83\nG1 F6000\n");
    for k in 1..=4000 {
        job += &format!("G1 X{:08.2} E0.01000\n", f64::from(k) * 0.11);
    }
    let kept = Planned::new(JobReader::new(job.as_bytes()), &board)
        .store()
        .unwrap();
    let shares = causes::shares(&kept, &board, 0, &[], 2, &|_| {})
        .unwrap()
        .total_s;
    let (link, compute) = (shares[Cause::Link], shares[Cause::Compute]);
    assert!(link > 0.0 && compute > 0.0, "{shares:?}");
    let lone = |sets: &[&str]| {
        let mut all = vec![
            "queue.blocks=64",
            "queue.lines=1",
            "motion.accel.print=5000",
        ];
        all.extend(sets);
        run(&job, &super::making::board(&all)).lost_s
    };
    let together = run(&job, &board).lost_s;
    let apart = lone(&["link.sector_ms=20"]) + lone(&["loop.block_us=900"]);
    assert!(together > 2.0 * apart, "{together} {apart}");
    assert!(
        (link - compute).abs() < 0.5 * (link + compute),
        "{shares:?}"
    );
}

/// `G1 X10.500 Y20.000 E0.1234567`: two zeros, a point and three zeros, two decimals beyond the fifth.
#[test]
fn shorter_lines() {
    let all = steps("M83\nG1 X10.500 Y20.000 E0.1234567 ; wall\n\nG1 X10 Y-.5\n");
    assert_eq!(
        all.iter().map(|s| s.spare_bytes).collect::<Vec<_>>(),
        [0, 8, 0]
    );
    let (short, shift_mm) = reshape(&all, Reshape::Short);
    assert_eq!(shift_mm, 0.0);
    let bytes: Vec<u32> = short.iter().map(|s| s.raw_bytes).collect();
    assert_eq!(
        bytes,
        ["M83\n", "G1 X10.5 Y20 E0.12345\n", "G1 X10 Y-.5\n"].map(|t| t.len() as u32)
    );
    assert_eq!(moves(&short), moves(&all));
}

/// The stated shift of arcs holds the path that the board drives: r - sqrt(r² - (c/2)²) more.
#[test]
fn arcs_as_the_board_cuts_them() {
    let mut job = String::from("M83\nG1 F3000 Z.2\nG1 X13 Y10\n");
    for k in 1..=120 {
        let a = f64::from(k) * 0.05;
        job += &format!(
            "G1 X{:.5} Y{:.5} E.01\n",
            10.0 + 3.0 * a.cos(),
            10.0 + 3.0 * a.sin()
        );
    }
    let all = steps(&job);
    let arcs = |within_mm: f64, chord_mm: f64| {
        let how = Reshape::Arcs {
            within_mm,
            chord_mm,
        };
        let (after, shift_mm) = reshape(&all, how);
        (after.len(), shift_mm)
    };
    let (fine, fine_mm) = arcs(0.1, 1e-6);
    let (cut, cut_mm) = arcs(0.1, 1.0);
    assert!(fine < 10 && cut < 10, "{fine} {cut}");
    let sagitta_mm = 3.0 - (9.0f64 - 0.25).sqrt();
    super::making::close(cut_mm - fine_mm, sagitta_mm, 1e-4);
    // The board's chords leave the tolerance: no arc at all.
    assert_eq!(arcs(0.01, 1.0), (all.len(), 0.0));
    assert!(arcs(0.01, 0.1).0 < 10);
}

/// Six runs with six tests cannot be firm (2·6/2⁶ > 5 %); eight alike are.
#[test]
fn firm_answers() {
    let drawn = board_from(STUTTERS, &[]);
    let cases: Vec<Case> = (0..7)
        .map(|_| Case {
            board: &drawn,
            first: 0,
        })
        .collect();
    assert!(has_draws(&drawn));
    let outcome = |runs: u64| {
        let samples: Vec<Vec<Sample>> = (0..7u32)
            .map(|case| {
                (0..runs)
                    .map(|k| Sample {
                        lost_s: 1.0 + f64::from(case) * (3.0 + k as f64),
                        ..Sample::default()
                    })
                    .collect()
            })
            .collect();
        outcomes(&cases, &samples)
    };
    assert!(!is_firm(&cases, &outcome(6)));
    assert_eq!(runs_needed(&cases, &outcome(6)), Some(8));
    assert!(is_firm(&cases, &outcome(8)));
    assert_eq!(runs_needed(&cases, &outcome(8)), None);
}

/// The remedies of a job that a save starves: rarer saves are named with their price, the speed that
/// is named starves nothing, a set is found where no cheap change cures.
#[test]
fn remedies_cure() {
    let board = board_from(STUTTERS, &["link.hiccup_chance=0"]);
    let mut job = String::from("M83\nG1 F4800 Z.2\n");
    for k in 1..=9000 {
        let a = f64::from(k) * 0.01;
        job += &format!(
            "G1 X{:.3} Y{:.3} E.01\n",
            50.0 + 25.0 * a.cos(),
            50.0 + 25.0 * a.sin()
        );
    }
    let trial = cures::Trial {
        open: &|| Ok(Box::new(std::io::Cursor::new(job.clone().into_bytes()))),
        board: &board,
        seed: 0,
        visible_mm: 0.1,
        threads: 2,
        patience: 1.0,
    };
    let cures = cures::cures(&trial, &|_| {}).unwrap();
    let before = cures.before;
    assert!(before.stalls > 10.0 && before.visible > 0.0, "{before:?}");
    let named = |what: &str| {
        let found = cures
            .single
            .iter()
            .find(|t| t.remedies[0].name.starts_with(what));
        found.unwrap_or_else(|| panic!("no {what}"))
    };
    assert!(named("no saves").after.lost_s < 0.1 * before.lost_s);
    let slow = named("printing moves at most");
    assert!(slow.after.lost_s <= 0.02 * before.lost_s && slow.after.visible == 0.0);
    assert!(slow.after.replay_s > before.replay_s);
    // Those that hardly prolong the print come first, then those that leave fewest bumps.
    for pair in cures.single.windows(2) {
        let key = |t: &cures::Tried| (t.is_slow(&before), t.after.visible);
        assert!(key(&pair[0]) <= key(&pair[1]));
    }
    if let Some(set) = &cures.set {
        let quick = cures.single.iter().filter(|t| !t.is_slow(&before));
        let key = |t: &cures::Tried| (t.after.visible, t.after.stalls);
        assert!(quick.into_iter().all(|t| key(set) < key(t)) && set.remedies.len() > 1);
    }
}

/// Where little work may be done, the easiest changes are tried, once each, and what is left out is known; a job
/// whose replays are cheap has all tried.
#[test]
fn remedies_within_a_budget() {
    let board = board_from(STUTTERS, &[]);
    assert!(has_draws(&board));
    let mut job = String::from("M83\nG1 F4800 Z.2\n");
    for k in 1..=3000 {
        let a = f64::from(k) * 0.01;
        let (x, y) = (50.0 + 25.0 * a.cos(), 50.0 + 25.0 * a.sin());
        job += &format!("G1 X{x:.3} Y{y:.3} E.01\n");
    }
    let open: cures::Open = &|| Ok(Box::new(std::io::Cursor::new(job.clone().into_bytes())));
    let trial = |patience| cures::Trial {
        open,
        board: &board,
        seed: 0,
        visible_mm: 0.1,
        threads: 2,
        patience,
    };
    let all = cures::cures(&trial(1.0), &|_| {}).unwrap();
    assert_eq!(all.skipped, cures::Skipped::default());
    assert_eq!(all.runs, 5);
    let few = cures::cures(&trial(0.0), &|_| {}).unwrap();
    assert_eq!((few.runs, few.single.len()), (1, 4));
    // The search of a lower speed, itself left out, would have added one more.
    assert_eq!(few.skipped.late, all.single.len() - 1 - 4);
    assert!(few.skipped.slower && few.skipped.sets && few.set.is_none());
    let easy = few.single.iter().map(|t| t.remedies[0].effort as u32);
    let rest = all.single.iter().map(|t| t.remedies[0].effort as u32);
    let mut rest: Vec<u32> = rest.collect();
    rest.sort_unstable();
    assert!(easy.max() <= Some(rest[4]));
}
