//! Charts: what the layer over `plotters` draws.

use headstall::report::look::chart::{AXIS, Chart, Frame, plain, seconds};
use headstall::report::look::palette::{DONE, INK};
use headstall::report::look::picture::{Anchor, MARGIN, Picture, Voice, WIDTH};
use headstall::report::speed;
use headstall::report::wall::{Across, Caption};
use headstall::study::watch::LayerSum;
use proptest::prelude::*;
use roxmltree::{Document, Node};

const FRAME: Frame = Frame {
    left: 150.0,
    right: 960.0,
    top: 200.0,
    height: 240.0,
};

/// A picture with one chart.
fn drawn(x: std::ops::Range<f64>, y: std::ops::Range<f64>, draw: impl Fn(&mut Chart)) -> String {
    let mut picture = Picture::bare("chart");
    let mut chart = Chart::new(&mut picture, FRAME, x, y);
    draw(&mut chart);
    drop(chart);
    picture.finish(FRAME.foot() + AXIS)
}

fn of_class<'a>(xml: &'a Document, class: &str) -> Vec<Node<'a, 'a>> {
    xml.descendants()
        .filter(|n| n.attribute("class") == Some(class))
        .collect()
}

fn number(node: Node, name: &str) -> f64 {
    node.attribute(name).unwrap().parse().unwrap()
}

/// All numbers of a path, in order.
fn numbers(path: &str) -> Vec<f64> {
    path.split(|c: char| c.is_ascii_alphabetic() || c == ' ')
        .filter(|s| !s.is_empty())
        .map(|s| s.parse().unwrap())
        .collect()
}

/// A text's left and right end by the table of widths.
fn ends(text: Node) -> (f64, f64) {
    let bold = text.attribute("font-weight") == Some("700");
    let size = number(text, "font-size");
    let voice = if bold { Voice::Strong } else { Voice::Note };
    let wide = voice.width(text.text().unwrap()) * size / voice.size();
    let x = number(text, "x");
    match text.attribute("text-anchor") {
        Some("start") => (x, x + wide),
        Some("middle") => (x - wide / 2.0, x + wide / 2.0),
        _ => (x - wide, x),
    }
}

#[test]
fn values_stand_where_the_axes_say() {
    let svg = drawn(10.0..30.0, 0.0..4.0, |chart| {
        chart.line("line", INK, 3.0, [(10.0, 0.0), (20.0, 4.0), (30.0, 1.0)]);
        chart.bars(
            "bar",
            DONE,
            [(12.0..14.0, 0.0..2.0), (16.0..18.0, 0.0..1.0)],
        );
    });
    let xml = Document::parse(&svg).unwrap();
    let line = of_class(&xml, "line");
    assert_eq!(line.len(), 1);
    assert_eq!(line[0].attribute("stroke-width"), Some("3"));
    assert_eq!(line[0].attribute("d"), Some("M150 440L555 200L960 380"));
    // Shapes of one style are one element.
    let bars = of_class(&xml, "bar");
    assert_eq!(bars.len(), 1);
    let expected = "M231 320H312V440H231zM393 380H474V440H393z";
    assert_eq!(bars[0].attribute("d"), Some(expected));
    assert_eq!(bars[0].attribute("fill"), Some(DONE));
}

#[test]
fn another_class_or_colour_is_another_element() {
    let svg = drawn(0.0..10.0, 0.0..1.0, |chart| {
        for (class, colour) in [("a", INK), ("a", INK), ("b", INK), ("b", DONE)] {
            chart.line(class, colour, 2.0, [(0.0, 0.0), (10.0, 1.0)]);
        }
        chart.dashed("b", DONE, 2.0, [(0.0, 0.0), (10.0, 1.0)]);
    });
    let xml = Document::parse(&svg).unwrap();
    assert_eq!(of_class(&xml, "a").len(), 1);
    let b = of_class(&xml, "b");
    assert_eq!(b.len(), 3);
    let dashed = b.iter().map(|n| n.has_attribute("stroke-dasharray"));
    assert_eq!(dashed.collect::<Vec<_>>(), [false, false, true]);
}

#[test]
fn ticks_are_round_and_their_labels_stand_at_them() {
    let svg = drawn(-0.3..0.9, 0.0..70.0, |chart| {
        chart.x_axis(&seconds(1.2));
        chart.y_axis(&plain(70.0));
    });
    let xml = Document::parse(&svg).unwrap();
    let texts: Vec<Node> = xml
        .descendants()
        .filter(|n| n.has_tag_name("text"))
        .collect();
    let labels: Vec<&str> = texts.iter().map(|n| n.text().unwrap()).collect();
    let level = ["-200 ms", "0", "200 ms", "400 ms", "600 ms", "800 ms"];
    assert_eq!(labels[..6], level);
    assert_eq!(labels[6..], ["0", "20", "40", "60"]);
    for (k, text) in texts[..6].iter().enumerate() {
        let at = 150.0 + 810.0 * (0.1 + 0.2 * k as f64) / 1.2;
        assert!((number(*text, "x") - at).abs() < 0.06, "{text:?}");
    }
    for (k, text) in texts[6..].iter().enumerate() {
        // The middle of the digits is at the line.
        let at = 440.0 - 240.0 * 20.0 * k as f64 / 70.0;
        let middle = number(*text, "y") - 0.365 * number(*text, "font-size");
        assert!((middle - at).abs() < 1.0, "{text:?}");
    }
}

#[test]
fn an_interval_is_a_bracket_with_its_middle_marked() {
    let svg = drawn(0.0..10.0, 0.0..1.0, |chart| {
        chart.interval("interval", INK, 0.5, [2.0, 5.0, 9.0]);
    });
    let xml = Document::parse(&svg).unwrap();
    let parts = of_class(&xml, "interval");
    let bracket = numbers(parts[0].attribute("d").unwrap());
    assert!(
        bracket.contains(&312.0) && bracket.contains(&879.0),
        "{bracket:?}"
    );
    let dot = numbers(parts[1].attribute("d").unwrap());
    assert!((dot[0] + dot[2] - 555.0).abs() < 0.11, "{dot:?}");
}

#[test]
fn labels_keep_inside_the_card() {
    let svg = drawn(0.0..1.0, 0.0..1.0, |chart| {
        for x in [0.0, 0.5, 1.0] {
            for anchor in [Anchor::Start, Anchor::Middle, Anchor::End] {
                let long = "a label of some length";
                chart.label((x, 1.0), (0.0, -20.0), Voice::Strong, anchor, long);
            }
        }
    });
    let xml = Document::parse(&svg).unwrap();
    let texts = xml.descendants().filter(|n| n.has_tag_name("text"));
    let all: Vec<(f64, f64)> = texts.map(ends).collect();
    assert_eq!(all.len(), 9);
    for (left, right) in all {
        assert!(left > MARGIN - 0.1 && right < WIDTH - MARGIN + 0.1);
    }
}

#[test]
fn labels_of_an_axis_read_well() {
    let label = |span: f64, value: f64| seconds(span)(value);
    assert_eq!(label(1.5, -0.2), "-200 ms");
    assert_eq!(label(1.5, -1e-12), "0");
    assert_eq!(label(0.002, 0.0005), "0.5 ms");
    assert_eq!(label(19.5, 15.0), "15 s");
    assert_eq!(label(4.0, 0.5), "0.5 s");
    assert_eq!(label(3000.0, 600.0), "10 min");
    assert_eq!(label(40_000.0, 18_000.0), "5 h");
    assert_eq!(plain(3.0)(0.30000000000000004), "0.3");
    assert_eq!(plain(1e6)(500_000.0), "500000");
}

fn awkward() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>(),
        -1e3..1e3,
        Just(0.0),
        Just(f64::NAN),
        Just(f64::INFINITY),
        Just(1e-300),
        Just(1e300),
        Just(1.0 + f64::EPSILON),
        Just(1.0),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// Whatever the ranges and values: an end, valid XML, numbers within the frame, no `-0`.
    #[test]
    fn any_number_can_be_drawn(v in prop::collection::vec(awkward(), 12)) {
        let svg = drawn(v[0]..v[1], v[2]..v[3], |chart| {
            chart.x_axis(&plain(v[1] - v[0]));
            chart.y_axis(&seconds(v[3] - v[2]));
            let points: Vec<_> = v[4..].chunks(2).map(|c| (c[0], c[1])).collect();
            chart.area("data", DONE, points.iter().copied());
            chart.line("data", INK, 3.0, points);
            chart.band("data", DONE, v[4]..v[5]);
            chart.bars("data", DONE, [(v[6]..v[7], v[8]..v[9])]);
        });
        prop_assert!(svg.len() < 20_000);
        let xml = Document::parse(&svg).unwrap();
        for node in of_class(&xml, "data") {
            for value in numbers(node.attribute("d").unwrap()) {
                prop_assert!((150.0..=960.1).contains(&value), "{}", svg);
            }
        }
        let attributes = xml.descendants().flat_map(|n| n.attributes());
        for value in attributes.map(|a| a.value()) {
            prop_assert!(!value.contains("NaN") && !value.contains("inf"), "{}", value);
            prop_assert!(!value.split(['M', 'L', 'H', 'V', ' ']).any(|n| n == "-0"), "{}", value);
        }
    }
}

/// Each layer has its bar; with more layers than bars have room, they stand for several.
#[test]
fn lost_time_by_layer_has_a_bar_for_each() {
    let sum = |number: u32, lost_s: f64| LayerSum {
        lost_s,
        stalls: 0,
        z_mm: 0.2 * f64::from(number),
    };
    let caption = Caption {
        verdict: "Stutters.".into(),
        job: "lantern.gcode".into(),
        board: "b".into(),
        across: Across::Angle,
    };
    for (layers, bars, worst) in [
        (1, 1, "layer 0 (z 0.20 mm): 1.0 s"),
        (40, 40, "layer 39 (z 8.00 mm): 40 s"),
    ] {
        let sums: Vec<LayerSum> = (1..=layers).map(|k| sum(k, f64::from(k))).collect();
        let svg = speed::svg(&[1.0; 10], &sums, &caption);
        let xml = Document::parse(&svg).unwrap();
        let path = of_class(&xml, "layer")[0]
            .attribute("d")
            .unwrap()
            .to_string();
        assert_eq!(path.matches('z').count(), bars);
        assert!(svg.contains(worst), "{svg}");
        assert_eq!(of_class(&xml, "speed").len(), 10);
    }
    let sums: Vec<LayerSum> = (1..=1001).map(|k| sum(k, 0.5)).collect();
    let svg = speed::svg(&[1.0; 10], &sums, &caption);
    let xml = Document::parse(&svg).unwrap();
    let path = of_class(&xml, "layer")[0].attribute("d").unwrap();
    assert_eq!(path.matches('z').count(), 1001usize.div_ceil(5));
    assert!(
        svg.contains("layers 0 to 4 (z 0.20 to 1.00 mm): 2.5 s"),
        "{svg}"
    );
}
