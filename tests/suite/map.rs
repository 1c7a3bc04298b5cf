//! The map, as a reader of SVG sees it.

use headstall::report::look::palette;
use headstall::report::map::{self, MapText};
use headstall::study::trace::{LayerTrace, Segment};
use headstall::study::watch::Watch;
use roxmltree::Document;

use super::making::{board_from, run};

fn text() -> MapText {
    MapText {
        verdict: "Stutters: 3 stalls.".into(),
        job: "<script>alert(1)</script>.gcode".into(),
        board: "a & b \"c\"".into(),
        layers: 3,
    }
}

fn trace(segments: Vec<Segment>) -> LayerTrace {
    let mut trace = LayerTrace::new(1);
    trace.segments = segments;
    trace
}

fn segment(x_mm: f32, y_mm: f32, speed_ratio: f32, starts: bool) -> Segment {
    Segment {
        x_mm,
        y_mm,
        speed_ratio,
        extrudes: !starts,
        starts,
    }
}

#[test]
fn it_is_xml_with_title_and_description() {
    let svg = map::svg(
        &trace(vec![
            segment(0.0, 0.0, 1.0, true),
            segment(9.0, 4.0, 0.2, false),
        ]),
        &text(),
    );
    let xml = Document::parse(&svg).unwrap();
    let named = |name: &str| {
        xml.descendants()
            .filter(|n| n.has_tag_name(("http://www.w3.org/2000/svg", name)))
            .count()
    };
    assert_eq!((named("title"), named("desc"), named("script")), (1, 1, 0));
    assert!(svg.contains("&lt;script&gt;"));
    let words: String = xml.descendants().filter_map(|n| n.text()).collect();
    for word in ["full speed", "half", "stopped", "mm"] {
        assert!(words.contains(word), "{word}");
    }
}

#[test]
fn empty_and_flat_layers_are_drawn() {
    for segments in [
        vec![],
        vec![segment(3.0, 3.0, 1.0, true)],
        vec![segment(3.0, 3.0, 1.0, true), segment(3.0, 3.0, 1.0, false)],
        vec![segment(-1e6, 3.0, 1.0, true), segment(1e6, 3.0, 0.0, false)],
    ] {
        let svg = map::svg(&trace(segments), &text());
        Document::parse(&svg).unwrap();
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    }
}

#[test]
fn it_stays_below_2_mb() {
    // A layer as bad as it gets: each piece elsewhere, at another speed.
    let mut state = 7u32;
    let mut random = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as f32 / (1 << 24) as f32
    };
    let segments = (0..150_000)
        .map(|k| segment(random() * 200.0, random() * 200.0, random(), k == 0))
        .collect();
    let svg = map::svg(&trace(segments), &text());
    assert!(svg.len() < 2_000_000, "{}", svg.len());
    Document::parse(&svg).unwrap();
}

#[test]
fn marks_stand_for_stalls() {
    let board = board_from(include_str!("../../scenarios/lantern/stutters.toml"), &[]);
    let mut job = String::from("M83\nG1 F4800 Z0.2\n");
    for k in 0..4000 {
        let a = f64::from(k) * 0.02;
        job += &format!(
            "G1 X{:.3} Y{:.3} E0.01\n",
            50.0 + 12.0 * a.cos(),
            50.0 + 12.0 * a.sin()
        );
    }
    let mut watch = Watch::new(&board.nozzle, None, |_| {});
    let done = headstall::replay::stream::replay(job.as_bytes(), &board, 0, &mut watch).unwrap();
    let (seen, trace) = watch.finish();
    assert!(seen.kinds[0] > 3, "{:?}", seen.kinds);
    assert_eq!(run(&job, &board).totals, done.totals);
    let svg = map::svg(&trace, &text());
    let xml = Document::parse(&svg).unwrap();
    let marks = |class: &str| {
        xml.descendants()
            .filter(|n| n.attribute("class") == Some(class))
            .count() as u64
    };
    // One more of each kind stands in the legend.
    for (kind, class) in ["dwell", "dip", "drag"].into_iter().enumerate() {
        let expected = seen.kinds[kind] + u64::from(seen.kinds[kind] > 0);
        assert_eq!(marks(class), expected, "{class}");
    }
    assert_eq!(marks("scale"), 1);
}

fn lightness([r, g, b]: [f64; 3]) -> f64 {
    // Relative luminance (WCAG 2, from memory), then CIE L*.
    let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    if y > 0.008856 {
        116.0 * y.cbrt() - 16.0
    } else {
        903.3 * y
    }
}

fn linear(c: u8) -> f64 {
    let c = f64::from(c) / 255.0;
    if c <= 0.04045 {
        c / 12.92
    } else {
        ((c + 0.055) / 1.055).powf(2.4)
    }
}

/// Machado, Oliveira & Fernandes, "A Physiologically-based Model for Simulation of Color Vision
/// Deficiency", IEEE TVCG 15(6), 2009: matrices of severity 1 on linear RGB (from memory).
const VISIONS: [[[f64; 3]; 3]; 4] = [
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
    [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
];

#[test]
fn the_scale_grows_lighter_for_every_eye() {
    for vision in VISIONS {
        let seen = |t: f64| {
            let rgb = palette::speed(t).map(linear);
            lightness(vision.map(|row| {
                row.iter()
                    .zip(rgb)
                    .map(|(m, c)| m * c)
                    .sum::<f64>()
                    .clamp(0.0, 1.0)
            }))
        };
        let steps: Vec<f64> = (0..=15).map(|k| seen(f64::from(k) / 15.0)).collect();
        for pair in steps.windows(2) {
            assert!(pair[1] > pair[0] + 1.5, "{steps:?}");
        }
        assert!(steps[15] - steps[0] > 60.0);
        // Full speed is still seen on the white card.
        assert!(steps[15] < 92.0, "{}", steps[15]);
    }
}
