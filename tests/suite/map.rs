//! The map, as a reader of SVG sees it.

use headstall::answer::job::Job;
use headstall::answer::replay::{ReplayAnswer, ReplayQuestion, replay};
use headstall::report::map::{self, MapText};
use headstall::report::pictures::pictures;
use headstall::report::summary::Summary;
use headstall::report::wall::Across;
use headstall::study::trace::{LayerTrace, Segment};
use headstall::study::watch::Watch;
use roxmltree::Document;

use headstall::demo::lantern::{Lantern, STUTTERS};

use super::making::{board_from, run};

fn text() -> MapText {
    MapText {
        verdict: "Stutters: 3 stalls.".into(),
        job: "<script>alert(1)</script>.gcode".into(),
        board: "a & b \"c\"".into(),
        layers: 3,
        bumps: Vec::new(),
        visible: 0,
        notes: Vec::new(),
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
    let board = board_from(STUTTERS, &[]);
    let mut job = String::from("M83\nG1 F4800 Z0.2\n");
    for k in 0..4000 {
        let a = f64::from(k) * 0.02;
        job += &format!(
            "G1 X{:.3} Y{:.3} E0.01\n",
            50.0 + 12.0 * a.cos(),
            50.0 + 12.0 * a.sin()
        );
    }
    let mut watch = Watch::new(&board.nozzle, |_| {}).with_trace(None);
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

/// The answer with all that pictures need, of a job that can be read again or not, and its map.
fn drawn(job: &str, board: &str, sets: &[&str], again: bool) -> (ReplayAnswer, String) {
    let board = board_from(board, sets);
    let question = ReplayQuestion {
        pictures: true,
        runs: 1,
        ..ReplayQuestion::of(&board)
    };
    let text = job.as_bytes().to_vec();
    let mut job = if again {
        Job::in_memory("j", text)
    } else {
        Job::new("j", None, move || {
            Ok(Box::new(std::io::Cursor::new(text.clone())))
        })
    };
    let answer = replay(&mut job, &question, &(), &mut ()).unwrap();
    let summary = Summary::of(&answer, &[]);
    let all = pictures(&answer, &summary, Across::Angle);
    let map = all.into_iter().find(|p| p.0 == "map").unwrap().1;
    (answer, map)
}

/// The map shows the layer that the verdict names, with each of its visible bumps; of a stream it says which layer
/// is worse.
#[test]
fn the_layer_drawn_is_the_one_that_the_verdict_names() {
    let job = Lantern::default().job();
    let (answer, map) = drawn(&job, STUTTERS, &[], true);
    let worst = answer.bumps.worst_layer().unwrap();
    let (first, _) = drawn(&job, STUTTERS, &[], false);
    let streamed = first.drawing.as_ref().unwrap().trace.layer;
    assert_ne!(streamed, worst, "else this test tells nothing");
    let drawing = answer.drawing.as_ref().unwrap();
    assert_eq!(drawing.trace.layer, worst);
    let z_mm = answer.layers[worst as usize].z_mm;
    assert!(map.contains(&format!("layer {worst} (z {z_mm:.2} mm) of layers 0–")));
    assert!(!map.contains("Most visible bumps are on"));
    // One more diamond stands in the key.
    let bumps = answer.bumps.by_layer()[&worst].count;
    assert_eq!(map.matches("class=\"bump\"").count() as u64, bumps + 1);
    let (_, streamed) = drawn(&job, STUTTERS, &[], false);
    let said = format!("Most visible bumps are on layer {worst} (z {z_mm:.2} mm).");
    assert!(streamed.contains(&said), "{streamed}");
}
