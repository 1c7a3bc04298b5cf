//! `explain`: lists written by hand, with every mistake that is easily made: one message each, that names the line, the
//! value, and what is allowed.

use super::cli::{folder, ran, refused, text, write};
use super::explain::ring;

/// Twelve bumps of the ring as lines, with this between the columns.
fn rows(between: &str) -> String {
    let row = |k: u32| format!("{:.1}{between}{}\n", 0.3 * f64::from(k), k * 53 % 360);
    (1..=12).map(row).collect()
}

/// Lists that are wrong, and what is said of them.
fn wrong() -> Vec<(Vec<u8>, &'static str)> {
    let good = rows(",");
    let with = |list: String, why: &'static str| (list.into_bytes(), why);
    vec![
        with(
            good.clone(),
            "line 1: 0.3,53: is no header; the first line must name the columns",
        ),
        with(
            "height,angle\n1,2\n".into(),
            "line 1: height,angle: a column z_mm",
        ),
        with(
            format!("z_mm;angle_deg\n{}", rows(";")),
            "line 1: z_mm;angle_deg: columns must be separated by commas",
        ),
        with(
            format!("z_mm\tangle_deg\n{}", rows("\t")),
            "columns must be separated by commas, and numbers written with a point",
        ),
        with(
            format!("z_mm,angle_deg\n{}", rows(";")),
            "line 2: z_mm 0.3;53: must be a number from -100000 to 100000, written with a point and without a unit",
        ),
        with(
            format!("z_mm,angle_deg\n{}", good.replace('.', ",")),
            "line 2: has 3 values, the header has 2; numbers must be written with a point, not a comma",
        ),
        with(
            "z_mm,angle_deg\n\"0,3\",53\n".into(),
            "line 2: z_mm 0,3: must be a number from -100000 to 100000, written with a point",
        ),
        with(
            format!("z_mm,angle_deg\n{}", rows(" mm,")),
            "line 2: z_mm 0.3 mm: must be a number from -100000 to 100000, written with a point and without a unit",
        ),
        with(
            "z_mm,angle_deg\n0.3,53°\n".into(),
            "line 2: angle_deg 53°: must be a number from -360 to 720, written with a point and without a unit",
        ),
        with(
            format!("z_mm,angle_deg\n{good}1,900\n"),
            "line 14: angle_deg 900: must be a number from -360 to 720",
        ),
        with(
            format!("z_mm,angle_deg\r\n{}55,10\r\n", good.replace('\n', "\r\n")),
            "line 14: z_mm 55: there is no such height; the part reaches from 0 to 4.00 mm",
        ),
        with(
            format!("z_mm,x_mm,y_mm\n1,300,40\n{}", rows(",65,")),
            "line 2: x_mm 300, y_mm 40: lies off the part; its wall reaches 15.0 mm from its middle at x 50.0, y 50.0",
        ),
        with(
            "z_mm,angle_deg\n1,2\n2,3\n".into(),
            "bumps on the wall: 2; at least 6 are needed, and fewer than a dozen say little",
        ),
        with(
            "z_mm,angle_deg\n1\n".into(),
            "line 2: angle_deg is missing: each line needs one",
        ),
        with(
            "z_mm,angle_deg\n,7\n".into(),
            "line 2: z_mm is missing: each line needs one",
        ),
        with(
            "layer,angle_deg\n1.5,7\n".into(),
            "line 2: layer 1.5: must be a whole number, 0 or more",
        ),
        with(
            "z_mm,angle_deg\n".into(),
            "lists no bump: one bump a line must follow the header",
        ),
        with(
            String::new(),
            "line 1: is empty; a header such as z_mm,angle_deg is needed",
        ),
        (
            b"z_mm,angle_deg,note\n1,2,gro\xdf\n".to_vec(),
            "line 2, byte 27: is not UTF-8 text; save the list as plain text or CSV in UTF-8",
        ),
        (
            b"\xff\xfez\0_\0m\0m\0".to_vec(),
            "line 1, byte 0: is not UTF-8 text",
        ),
    ]
}

#[test]
fn each_mistake_in_a_list_is_one_message() {
    let dir = folder();
    let job = write(&dir, "ring.gcode", &ring());
    let seen = dir.path().join("seen.csv");
    for (list, why) in wrong() {
        std::fs::write(&seen, &list).unwrap();
        refused(&["explain", &job, &seen.display().to_string()], 2, why);
    }
}

#[test]
fn quotes_line_ends_and_marks_of_order_change_nothing() {
    let dir = folder();
    let job = write(&dir, "ring.gcode", &ring());
    let plain = format!("z_mm,angle_deg\n{}", rows(","));
    let quoted = |line: &str| format!("\"{}\"\n", line.replace(',', "\",\""));
    let lists = [
        plain.clone(),
        format!("\u{feff}{plain}"),
        plain.replace('\n', "\r\n"),
        plain.replace('\n', "\r"),
        plain.lines().map(quoted).collect(),
        plain.replace(',', " , ").replace("z_mm", "Z_MM"),
    ];
    let said = lists.map(|list| {
        let seen = write(&dir, "seen.csv", &list);
        let done = ran(&["explain", &job, &seen, "--json", "--draws", "99"]);
        assert_eq!(
            done.status.code(),
            Some(0),
            "{list:?}: {}",
            text(&done.stderr)
        );
        done.stdout
    });
    assert!(said.iter().all(|s| *s == said[0]));
}
