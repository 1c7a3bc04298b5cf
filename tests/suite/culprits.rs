//! Messages name what was given, as it was given, and nothing that was not.

use std::f64::consts::TAU;
use std::fmt::Write as _;

use super::cli::{folder, ran, refused, text, write};

#[test]
fn a_varied_value_is_named_as_it_was_varied() {
    let dir = folder();
    let job = write(&dir, "job.gcode", "G1 X1 E1 F900\n");
    for (vary, why) in [
        ("save=1e-9,off", "--vary save=1e-9: must be"),
        ("save=off,-1", "--vary save=-1: must be"),
        ("queue.blocks=nan", "--vary queue.blocks=nan: must be"),
        ("save.every=1,0,inf", "--vary save.every=0: must be"),
        ("queue.none=1", "--vary queue.none=1: "),
    ] {
        let out = ran(&["compare", &job, "--vary", vary]);
        let said = text(&out.stderr);
        assert_eq!(out.status.code(), Some(2), "{said}");
        assert!(
            said.contains(why) && !said.contains("--set"),
            "{vary}: {said}"
        );
    }
    refused(
        &[
            "compare",
            &job,
            "--vary",
            "queue.blocks=8",
            "--set",
            "save.every=0",
        ],
        2,
        "--set save.every=0: must be",
    );
}

/// A tube of 20 layers, 20 mm wide, from this height on.
fn tube(low_mm: f64) -> String {
    let mut job = "G28\nM83\nG1 F3000\n".to_string();
    for layer in 0..20 {
        let _ = writeln!(
            job,
            "G1 Z{:.2}\nG1 X120 Y100",
            low_mm + 0.2 * f64::from(layer)
        );
        for step in 1..=72 {
            let (sin, cos) = (f64::from(step) / 72.0 * TAU).sin_cos();
            let (x, y) = (100.0 + 20.0 * cos, 100.0 + 20.0 * sin);
            let _ = writeln!(job, "G1 X{x:.3} Y{y:.3} E.06");
        }
    }
    job
}

#[test]
fn a_part_below_zero_reaches_from_its_lowest_layer() {
    let dir = folder();
    let job = write(&dir, "low.gcode", &tube(-8.0));
    let list = |heights: &[f64]| {
        let rows = heights.iter().enumerate();
        let rows: String = rows.map(|(k, z)| format!("{z},{}\n", 10 * k)).collect();
        write(&dir, "seen.csv", &format!("z_mm,angle_deg\n{rows}"))
    };
    refused(
        &["explain", &job, &list(&[-8.0, -6.0, 3.0])],
        2,
        "seen.csv: line 4: z_mm 3: there is no such height; the part reaches from -8 to -4.20 mm",
    );
    let job = write(&dir, "high.gcode", &tube(0.2));
    refused(
        &["explain", &job, &list(&[1.0, 2.0, 30.0])],
        2,
        "z_mm 30: there is no such height; the part reaches from 0 to 4.00 mm",
    );
}

#[test]
fn a_window_that_was_not_given_is_not_blamed() {
    let dir = folder();
    let job = write(&dir, "job.gcode", &tube(0.2));
    let seen = write(
        &dir,
        "seen.csv",
        "z_mm,angle_deg\n5.6,10\n5.7,20\n5.6,30\n5.6,12\n5.6,14\n5.6,16\n",
    );
    let done = ran(&["explain", &job, &seen]);
    let said = text(&done.stderr);
    assert_eq!(done.status.code(), Some(2), "{said}");
    let why =
        "the part has no wall where all these bumps lie, from 7 to 33 degrees and from 5.3 to 6 mm";
    assert!(said.contains(why) && !said.contains("--window"), "{said}");
    refused(
        &["explain", &job, &seen, "--window", "7,33,5.3,6"],
        2,
        "--window 7,33,5.3,6: the part has no wall there",
    );
}
