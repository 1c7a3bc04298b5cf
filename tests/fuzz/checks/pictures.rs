//! Boards and jobs into the pictures: valid XML without NaN, small.

use headstall::answer::job::Job;
use headstall::answer::replay::{ReplayQuestion, replay};
use headstall::report::pictures;
use headstall::report::summary::Summary;
use headstall::report::wall::Across;

use super::shared;

/// The check.
pub fn check(bytes: &[u8]) {
    let Some((board, text)) = shared::board(bytes) else {
        return;
    };
    let name = String::from_utf8_lossy(&text[..text.len().min(200)]).into_owned();
    let question = ReplayQuestion {
        seed: 3,
        pictures: true,
        ..ReplayQuestion::of(&board)
    };
    let mut job = Job::in_memory(name, text);
    let Ok(answer) = replay(&mut job, &question, &(), &mut ()) else {
        return;
    };
    let summary = Summary::of(&answer, &[]);
    let Some(drawing) = &answer.drawing else {
        return;
    };
    for across in [Across::Angle, Across::Length] {
        let drawn = pictures::pictures(&answer, &summary, across);
        for (_, svg) in &drawn {
            assert!(svg.len() < 2_000_000);
            well_formed(svg);
        }
        let html = pictures::page(
            &answer,
            &summary,
            drawing,
            &drawn,
            "name = \"fuzz\"",
            &Default::default(),
        );
        // Whatever the job says, the page has its own two scripts and no other.
        assert_eq!(html.matches("<script").count(), 2);
        assert!(html.len() < 5_000_000);
    }
}

/// An SVG is XML, and no attribute holds what is no number.
fn well_formed(svg: &str) {
    let xml = roxmltree::Document::parse(svg).unwrap();
    let is_text = |n: &roxmltree::Node| n.has_tag_name("title") || n.has_tag_name("desc");
    for node in xml.descendants().filter(|n| !is_text(n)) {
        for attribute in node.attributes() {
            let value = attribute.value();
            assert!(!value.contains("NaN") && !value.contains("inf"), "{value}");
        }
    }
}
