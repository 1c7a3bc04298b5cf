//! The coupon, read back by the program's own reader: it heats nothing, moves no filament, stays in its box.

use headstall::job::reader::Step;
use headstall::job::state::{Act, Move, Stop};
use headstall::report::dry_run;
use headstall::study::fit::coupon::{LinkKind, Plan};
use headstall::study::fit::forward::{self, Coupon};

use crate::making::board_from;

fn plans() -> Vec<Plan> {
    let mut all = Vec::new();
    for link in [LinkKind::Card, LinkKind::Serial] {
        for arcs in [true, false] {
            for (at_mm, z_mm) in [
                ([80.0, 80.0], 20.0),
                ([-30.0, -30.0], 5.0),
                ([0.126, 214.999], 300.0),
            ] {
                for speed_mm_s in [100.0, 37.5, 10.0] {
                    all.push(Plan {
                        link,
                        at_mm,
                        z_mm,
                        speed_mm_s,
                        arcs,
                    });
                }
            }
        }
    }
    all
}

fn text(plan: &Plan) -> String {
    plan.text(&dry_run::head(plan, 300.0, "any board"))
}

/// Line by line, without any reader: the words G0 to G4, G21, G28, G90, and X Y Z I J F P. No M, no E, no T.
#[test]
fn only_harmless_words() {
    for plan in plans() {
        for line in text(&plan).lines() {
            assert!(
                line.len() < 64,
                "a controller may not take a line this long: {line}"
            );
            let command = line.split(';').next().unwrap().trim();
            for (k, word) in command.split_whitespace().enumerate() {
                let (letter, value) = word.split_at(1);
                let value: f64 = value.parse().unwrap();
                let is_head = k == 0
                    && letter == "G"
                    && [0.0, 1.0, 2.0, 3.0, 4.0, 21.0, 28.0, 90.0].contains(&value);
                assert!(is_head || k > 0 && "XYZIJFP".contains(letter), "{line}");
                assert!(
                    letter != "F" || value <= plan.speed_mm_s * 60.0 + 0.5,
                    "{line}"
                );
            }
        }
    }
}

fn moves(steps: &[Step]) -> impl Iterator<Item = &Move> {
    steps.iter().filter_map(|s| match &s.act {
        Act::Move(m) => Some(m),
        _ => None,
    })
}

/// By the reader: no filament moves, no heat is waited for, nothing leaves the box after the head has come there.
#[test]
fn the_reader_sees_a_safe_job() {
    for plan in plans() {
        let steps = forward::steps(text(&plan).as_bytes()).unwrap();
        let [x0, y0, x1, y1] = plan.box_mm();
        for step in &steps {
            let is_safe = matches!(
                step.act,
                Act::Nothing | Act::Move(_) | Act::Stop(Stop::Dwell(_) | Stop::Home)
            );
            assert!(is_safe, "line {}: {:?}", step.line, step.act);
        }
        for (k, m) in moves(&steps).enumerate() {
            assert!(m.e_mm == 0.0 && m.from_mm[3] == m.to_mm[3]);
            assert!(m.feed_mm_s <= plan.speed_mm_s + 1e-9);
            // The rise, then the way to the box; all else within it and at one height.
            if k >= 1 {
                assert!(
                    (m.to_mm[2] - plan.z_mm).abs() < 1e-9 && (k == 1 || m.from_mm[2] == m.to_mm[2])
                );
                let inside = |p: &[f64]| {
                    (x0 - 1e-6..=x1 + 1e-6).contains(&p[0])
                        && (y0 - 1e-6..=y1 + 1e-6).contains(&p[1])
                };
                assert!(inside(&m.to_mm) && (k == 1 || inside(&m.from_mm)), "{m:?}");
            }
            if let Some(circle) = m.circle {
                let [cx, cy] = circle.centre_mm;
                let radius = (m.from_mm[0] - cx).hypot(m.from_mm[1] - cy);
                assert!(
                    cx - radius >= x0
                        && cx + radius <= x1
                        && cy - radius >= y0
                        && cy + radius <= y1
                );
            }
        }
    }
}

/// Sections are found by their pauses, as many as are named; within them no rest is longer than 0.6 s.
#[test]
fn its_sections_are_found() {
    for plan in plans() {
        let text = text(&plan);
        let steps = forward::steps(text.as_bytes()).unwrap();
        let dwells = steps.iter().filter_map(|s| match s.act {
            Act::Stop(Stop::Dwell(s)) => Some(s),
            _ => None,
        });
        assert!(dwells.clone().all(|s| s >= 3.0 - 1e-9 || s <= 0.6 + 1e-9));
        let count = plan.names().len();
        assert_eq!(dwells.filter(|s| *s > 2.5).count(), count + 1);
        let coupon = Coupon::new(steps);
        assert_eq!(coupon.count(), count);
        assert_eq!(forward::names(&text, count), plan.names());
        assert_eq!(coupon.arcs().contains(&true), plan.arcs);
    }
}

/// Of the contract: 20 sections, 55 692 lines, 926 kB for a card; 17 sections, 17 127 lines, 281 kB for a wire.
#[test]
fn it_is_as_long_as_it_should_be() {
    for (link, lines, bytes) in [
        (LinkKind::Card, 55_690, 926_000),
        (LinkKind::Serial, 17_125, 280_000),
    ] {
        let plan = Plan {
            link,
            at_mm: [80.0, 80.0],
            z_mm: 20.0,
            speed_mm_s: 100.0,
            arcs: true,
        };
        let text = plan.text(&[]);
        assert_eq!(text.lines().count(), lines);
        assert!(text.len().abs_diff(bytes) < 1000, "{}", text.len());
    }
}

#[test]
fn numbers_that_are_not_safe_are_refused() {
    let plan = plans()[0];
    let refused = |plan: Plan, why: &str| {
        let error = plan.check().unwrap_err();
        assert!(error.contains(why), "{error}");
    };
    assert!(plans().iter().all(|p| p.check().is_ok()));
    refused(
        Plan { z_mm: 4.9, ..plan },
        "--z 4.9: must be from 5 to 2000 mm",
    );
    refused(
        Plan {
            speed_mm_s: 101.0,
            ..plan
        },
        "--speed 101: must be from 10 to 100 mm/s",
    );
    refused(
        Plan {
            speed_mm_s: f64::NAN,
            ..plan
        },
        "--speed",
    );
    refused(
        Plan {
            at_mm: [0.0, 1e9],
            ..plan
        },
        "--at 1000000000",
    );
}

/// The stop-watch against the blocks of the plain replay: first start and last end between two pauses.
#[test]
fn sections_are_timed_from_first_movement_to_last_standstill() {
    let job = "G1 X5 F3000\nG4 P3000\nG1 X10\nG1 X20\nG4 P500\nG1 X30\nG4 P3000\nG4 P3000\nG1 X40\nG4 P2500\nG1 X50\n";
    let board = board_from(crate::making::FREE, &[]);
    let took = Coupon::new(forward::steps(job.as_bytes()).unwrap())
        .replay(&board, 0)
        .unwrap();
    let blocks = crate::making::run(job, &board).blocks;
    let edges =
        [[1, 3], [4, 4]].map(|[a, b]: [usize; 2]| blocks[b].ran.end_s - blocks[a].ran.start_s);
    assert_eq!(took.sections_s.len(), 2);
    for (found, expected) in took.sections_s.iter().zip(edges) {
        assert!((found - expected).abs() < 1e-12, "{found} {expected}");
    }
    assert!(took.sections_s[0] > 0.5 && took.starts_s[0] > 3.0);
}
