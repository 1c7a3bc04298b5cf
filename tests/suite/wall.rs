//! The pictures of the whole part: the unrolled wall and the part itself, from bumps whose number, place and height
//! are known.

use headstall::report::part;
use headstall::report::wall::{self, Across, Bump, Bumps, Caption};
use headstall::surface::skin::{Part, WallPoint};
use roxmltree::Document;

/// Radius of the round parts, mm.
const R: f64 = 10.0;
const LAYERS: u32 = 20;
const H: f64 = 0.2;

/// Round parts in a row, with their walls.
fn plate(parts: usize) -> (Vec<Part>, Vec<WallPoint>) {
    let middle = |k: usize| 40.0 * k as f64;
    let part = |k: usize| Part {
        letter: char::from(b'A' + k as u8).to_string(),
        low_mm: [middle(k) - R, -R, H],
        high_mm: [middle(k) + R, R, H * f64::from(LAYERS)],
        first_layer: 0,
        last_layer: LAYERS - 1,
        outer_mm2: 100.0 - k as f64,
    };
    let mut walls = Vec::new();
    for layer in 1..=LAYERS {
        for k in 0..parts {
            for step in 0..=90 {
                let a = f64::from(step) * std::f64::consts::TAU / 90.0;
                walls.push(WallPoint {
                    x_mm: (middle(k) + R * a.cos()) as f32,
                    y_mm: (R * a.sin()) as f32,
                    z_mm: (H * f64::from(layer)) as f32,
                    starts: step == 0,
                    part: k as u32,
                });
            }
        }
    }
    ((0..parts).map(part).collect(), walls)
}

/// A bump at this angle around a part.
fn bump(part: usize, degrees: f64, layer: u32, bump_mm: f64) -> Bump {
    let a = degrees.to_radians();
    Bump {
        place_mm: [
            40.0 * part as f64 + R * a.cos(),
            R * a.sin(),
            H * f64::from(layer + 1),
        ],
        bump_mm,
        stretch_mm: 1.6,
        layer,
        outer: true,
        part: Some(part),
    }
}

fn bumps(mut list: Vec<Bump>) -> Bumps {
    list.sort_by(|a, b| b.bump_mm.total_cmp(&a.bump_mm));
    Bumps {
        visible: list.iter().filter(|b| b.bump_mm >= 0.1).count() as u64,
        list,
        visible_mm: 0.1,
        complete: true,
    }
}

fn caption(across: Across) -> Caption {
    Caption {
        verdict: "Stutters & more.".into(),
        job: "<b>.gcode".into(),
        board: "b".into(),
        across,
    }
}

fn dots(svg: &str) -> usize {
    svg.matches("class=\"bump\"").count()
}

fn words(svg: &str) -> Vec<String> {
    let xml = Document::parse(svg).unwrap();
    let texts = xml.descendants().filter(|n| n.tag_name().name() == "text");
    texts.filter_map(|n| n.text()).map(str::to_string).collect()
}

/// Left and right end of each tinted bin, px, by its tint.
fn tints(svg: &str) -> Vec<(String, f64, f64)> {
    let xml = Document::parse(svg).unwrap();
    let mut found = Vec::new();
    for node in xml
        .descendants()
        .filter(|n| n.attribute("class") == Some("thick"))
    {
        for bin in node.attribute("d").unwrap().split('M').skip(1) {
            let numbers: Vec<f64> = bin
                .split(|c: char| c.is_ascii_alphabetic() || c == ' ')
                .filter_map(|n| n.parse().ok())
                .collect();
            let fill = node.attribute("fill").unwrap().to_string();
            found.push((fill, numbers[0], numbers[0] + numbers[2]));
        }
    }
    found
}

#[test]
fn each_visible_bump_has_its_dot_and_parts_their_letters() {
    for across in [Across::Angle, Across::Length] {
        let (parts, walls) = plate(2);
        let shown = bumps(
            (0..12)
                .map(|k| bump(k % 2, 25.0 * k as f64, k as u32, 0.1 + 0.01 * k as f64))
                .chain([bump(0, 200.0, 3, 0.05)])
                .collect(),
        );
        let caption = caption(across);
        let wall = wall::svg(&walls, &parts, &shown, &caption);
        let part = part::svg(&walls, &parts, &shown, &caption);
        for svg in [&wall, &part] {
            Document::parse(svg).unwrap();
            assert_eq!(dots(svg), 12);
            assert!(svg.len() < 2_000_000 && !svg.contains("NaN"));
        }
        assert_eq!(wall.matches("class=\"wall\"").count(), 2);
        let said = words(&wall);
        assert!(said.contains(&"part A".to_string()) && said.contains(&"part B".to_string()));
        assert!(said.contains(&"12 visible bumps of 0.1 mm or more on this wall".to_string()));
        let said = words(&part);
        assert!(said.contains(&"A".to_string()) && said.contains(&"B".to_string()));
    }
    // One part has no letter.
    let (parts, walls) = plate(1);
    let svg = wall::svg(&walls, &parts, &bumps(vec![]), &caption(Across::Angle));
    assert!(!svg.contains("part A"));
    assert!(svg.contains("No bump of 0.1 mm or more on this wall"));
    for svg in [
        wall::svg(&[], &[], &bumps(vec![]), &caption(Across::Angle)),
        part::svg(&[], &[], &bumps(vec![]), &caption(Across::Angle)),
    ] {
        Document::parse(&svg).unwrap();
    }
}

/// The tint is where the bump is, as wide as its stretch, and its key tells the same height.
#[test]
fn tints_come_from_the_bumps() {
    let (parts, walls) = plate(1);
    let around_mm = std::f64::consts::TAU * R;
    for across in [Across::Angle, Across::Length] {
        let shown = bumps(vec![bump(0, 90.0, 4, 0.25), bump(0, 270.0, 9, 0.05)]);
        let svg = wall::svg(&walls, &parts, &shown, &caption(across));
        // The panel is 810 px wide, a bin 3 px.
        let (left, wide) = (150.0, 810.0);
        let tints = tints(&svg);
        for (degrees, fill) in [(90.0, "#c4702c"), (270.0, "#f6e3b8")] {
            let own = tints.iter().filter(|t| t.0 == fill);
            let low = own.clone().map(|t| t.1).fold(f64::MAX, f64::min);
            let high = own.map(|t| t.2).fold(f64::MIN, f64::max);
            let at = left + wide * degrees / 360.0;
            assert!((low..high).contains(&at), "{low} {at} {high}");
            assert!(
                (high - low - wide * 1.6 / around_mm).abs() < 7.0,
                "{low} {high}"
            );
        }
        assert!(svg.contains("the wall stands out, by up to 0.25 mm"));
        assert_eq!(dots(&svg), 1);
    }
    // A bump at 0° reaches around.
    let svg = wall::svg(
        &walls,
        &parts,
        &bumps(vec![bump(0, 0.0, 4, 0.25)]),
        &caption(Across::Angle),
    );
    let tints = tints(&svg);
    assert!(
        tints.iter().any(|t| t.1 < 154.0) && tints.iter().any(|t| t.2 > 956.0),
        "{tints:?}"
    );
}

/// What is not drawn is told.
#[test]
fn what_has_no_dot_is_told() {
    let (parts, walls) = plate(1);
    let hole = |degrees| Bump {
        outer: false,
        ..bump(0, degrees, 2, 0.3)
    };
    let shown = bumps(vec![bump(0, 10.0, 2, 0.2), hole(100.0), hole(200.0)]);
    let svg = wall::svg(&walls, &parts, &shown, &caption(Across::Angle));
    assert_eq!(dots(&svg), 1);
    assert!(
        svg.contains("1 visible bump of")
            && svg.contains("2 more visible bumps are inside open holes")
    );
    assert_eq!(
        dots(&part::svg(&walls, &parts, &shown, &caption(Across::Angle))),
        3
    );

    // A list that is not complete, and more than the part has room for.
    let many = |n: u32| {
        (0..n)
            .map(|k| bump(0, f64::from(k) * 0.7, k % LAYERS, 0.2))
            .collect()
    };
    let shown = Bumps {
        visible: 49_000,
        complete: false,
        ..bumps(many(50))
    };
    let svg = part::svg(&walls, &parts, &shown, &caption(Across::Angle));
    assert!(
        svg.contains("49000 visible bumps")
            && svg.contains("The 50 highest of 49000 visible bumps are drawn.")
    );
    assert_eq!(dots(&svg), 50);
    let svg = wall::svg(&walls, &parts, &shown, &caption(Across::Angle));
    assert!(svg.contains("The 50 highest of 49000 visible bumps are drawn."));
    let svg = part::svg(&walls, &parts, &bumps(many(5000)), &caption(Across::Angle));
    assert!(svg.contains("The 4000 highest of 5000 visible bumps are drawn."));

    // A bump on a wall that is not kept is inside the picture all the same.
    let far = Bump {
        place_mm: [150.0, 0.0, 1.0],
        ..bump(0, 0.0, 2, 0.3)
    };
    let svg = part::svg(&walls, &parts, &bumps(vec![far]), &caption(Across::Angle));
    let xml = Document::parse(&svg).unwrap();
    let dot = xml
        .descendants()
        .find(|n| n.attribute("class") == Some("bump"))
        .unwrap();
    let x: f64 = dot.attribute("cx").unwrap().parse().unwrap();
    assert!((0.0..1000.0).contains(&x), "{x}");
}
