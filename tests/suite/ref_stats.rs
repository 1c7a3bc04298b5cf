//! Statistics that the tables use, against `tests/vectors/stats.json`.

use headstall::study::stats::{holm, median, quantile_ranks, sign_test, wilson};
use serde_json::Value;

fn vectors() -> Value {
    serde_json::from_str(include_str!("../vectors/stats.json")).unwrap()
}

fn close(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-9, "{found} {expected}");
}

/// Published: H1 and H4 rejected at 0.05, H2 and H3 not: .01, .04, .03, .005 -> .03, .06, .06, .02.
#[test]
fn holm_adjusts() {
    for case in vectors()["holm"].as_array().unwrap() {
        let p: Vec<f64> = case["p"]
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64().unwrap())
            .collect();
        for (found, expected) in holm(&p)
            .into_iter()
            .zip(case["adjusted"].as_array().unwrap())
        {
            close(found, expected.as_f64().unwrap());
        }
    }
    assert_eq!(holm(&[0.01, 0.04, 0.03, 0.005]).len(), 4);
}

/// Cases of Newcombe 1998: 81/263 -> .2553-.3662, 0/20 -> 0-.1611; scipy agrees (computed).
#[test]
fn wilson_bounds() {
    let file = vectors();
    let cases = file["wilson"].as_array().unwrap();
    for case in cases {
        let [low, high] = wilson(case["k"].as_u64().unwrap(), case["n"].as_u64().unwrap());
        close(low, case["low"].as_f64().unwrap());
        close(high, case["high"].as_f64().unwrap());
    }
    assert_eq!(cases.len(), 8);
}

/// Order statistics: n = 20, the 6th and the 15th hold the median with 95.9 % (published table).
#[test]
fn ranks_around_a_quantile() {
    let file = vectors();
    let cases = file["quantile_ci"].as_array().unwrap();
    for case in cases {
        let ranks =
            quantile_ranks(case["n"].as_u64().unwrap(), case["p"].as_f64().unwrap()).unwrap();
        let best: Vec<f64> = case["best"]
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64().unwrap())
            .collect();
        // Another pair may be as narrow and as sure.
        assert_eq!(
            (ranks[1] - ranks[0]) as f64,
            best[1] - best[0],
            "{case} {ranks:?}"
        );
    }
    assert_eq!(cases.len(), 8);
    assert_eq!(quantile_ranks(20, 0.5), Some([6, 15]));
    assert_eq!(quantile_ranks(5, 0.5), None);
}

#[test]
fn medians_and_signs() {
    let values: Vec<f64> = (1..=20).rev().map(f64::from).collect();
    let m = median(&values);
    assert_eq!((m.middle, m.interval), (10.5, Some([6.0, 15.0])));
    // Ten of ten on one side: 2/1024. Ties say nothing.
    close(sign_test(&[1.0; 10]), 2.0 / 1024.0);
    close(sign_test(&[0.0; 10]), 1.0);
    close(sign_test(&[1.0, -1.0, 0.0]), 1.0);
}
