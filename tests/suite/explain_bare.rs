//! `explain` where a layer has hardly any wall, and what is printed of heights about 0.

use std::ops::Range;

use headstall::study::explain::moves::Move;
use headstall::study::explain::question::explain;
use headstall::study::explain::seen::{Around, Height, Mark};
use headstall::study::explain::view::Errors;
use headstall::study::explain::wall::{AROUND, Wall, WallBuilder};

use super::cli::{folder, ran, text, write};
use super::explain::asked;

/// Rings, and among them layers of a single short move, which crosses one degree: a cell without neighbours.
fn wall(layers: u32, bare: Range<u32>) -> Wall {
    let mut builder = WallBuilder::new([0.0, 0.0]);
    let mut line = 0_u32;
    for layer in 0..layers {
        let point = |k: u32| {
            let angle = (f64::from(k) * 3.0 + 0.5).to_radians();
            [
                20.0 * angle.cos(),
                20.0 * angle.sin(),
                0.25 * f64::from(layer + 1),
            ]
        };
        let ends = |k: u32| match bare.contains(&layer) {
            true => [[20.0, 0.05, point(0)[2]], [20.0, 0.3, point(0)[2]]],
            false => [point(k), point(k + 1)],
        };
        for k in 0..if bare.contains(&layer) { 1 } else { 120 } {
            let [from_mm, to_mm] = ends(k);
            line += 1;
            builder.push(&Move {
                start_s: f64::from(line),
                end_s: f64::from(line + 1),
                from_mm,
                to_mm,
                e_mm: 0.05,
                line: u64::from(line),
                layer,
                ideal_s: 1.0,
            });
        }
    }
    builder.finish().unwrap()
}

/// A bump on a layer whose wall has no length: its likelihood under a clock was 0 / 0.
#[test]
fn a_layer_without_length_gives_numbers() {
    let wall = wall(30, 5..17);
    let cells = 11 * AROUND..12 * AROUND;
    let there: Vec<usize> = cells.filter(|cell| wall.cells[*cell].is_some()).collect();
    assert_eq!(there.len(), 1);
    assert_eq!(wall.length_mm[there[0]], 0.0);
    let marks: Vec<Mark> = (0..30)
        .map(|layer| Mark {
            line: 0,
            height: Height::Layer(layer),
            around: Around::Angle(
                f64::from(layer * 37 % 360) * f64::from(u8::from(!(5..17).contains(&layer))),
            ),
            part: None,
        })
        .collect();
    let mut question = asked(&wall, &marks, &[]);
    question.errors = Errors {
        angle_deg: 3.0,
        z_mm: 0.0,
    };
    let answer = explain(&question).unwrap();
    assert!(answer.bumps.iter().any(|b| b.layer == 11));
    let shown = format!("{answer:?}");
    assert!(!shown.contains("NaN"), "{shown}");
}

/// A window of counted layers begins a little below the bed.
#[test]
fn no_height_is_a_negative_zero() {
    let dir = folder();
    let ring = |z: f64| {
        let sides = (0..36).map(|k| {
            let angle = f64::from(k) * 10_f64.to_radians();
            format!(
                "G1 X{:.3} Y{:.3} E.2\n",
                20.0 + 9.0 * angle.cos(),
                20.0 + 9.0 * angle.sin()
            )
        });
        format!("G1 Z{z:.2}\n{}", sides.collect::<String>())
    };
    let rings: String = (1..=9).map(|k| ring(f64::from(k) * 0.1)).collect();
    let job = write(&dir, "job.gcode", &format!("M83\nG1 F3000\n{rings}"));
    let bumps: String = (0..9).map(|k| format!("0,{}\n", k * 40)).collect();
    let seen = write(&dir, "seen.csv", &format!("layer,angle_deg\n{bumps}"));
    let done = ran(&["explain", &job, &seen, "--window", "0,360,-0.04,0.1"]);
    let shown = text(&done.stdout);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    assert!(shown.contains("all around, 0.0 to 0.1 mm"), "{shown}");
}
