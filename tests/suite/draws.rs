//! Draws of random quantities (model section 7).

use headstall::board::types::Span;
use headstall::replay::luck::Stream;

/// The k-th use takes the k-th draw, in whatever order they are asked for.
#[test]
fn draws_go_by_index() {
    let mut stream = Stream::new(5, "reply");
    let in_order: Vec<f64> = (0..50).map(|k| stream.uniform(k)).collect();
    let mut stream = Stream::new(5, "reply");
    for k in [7, 7, 8, 0, 49, 48, 1, 2, 30] {
        assert_eq!(stream.uniform(k as u64), in_order[k], "draw {k}");
    }
}

/// Each seed and each name has a stream of its own.
#[test]
fn streams_differ_by_seed_and_name() {
    let names = [
        "sector",
        "hiccup",
        "hiccup_chance",
        "reply",
        "poll_reply",
        "resend",
        "save",
        "chore 0 a",
        "chore 0 b",
        "chore 1 a",
    ];
    let mut first: Vec<f64> = (0..4)
        .flat_map(|seed| names.map(|name| Stream::new(seed, name).uniform(0)))
        .collect();
    first.sort_by(f64::total_cmp);
    assert!(first.windows(2).all(|w| w[0] < w[1]), "{first:?}");
}

/// Of many draws this share lies below x, within five standard deviations.
#[test]
fn draws_have_their_distribution() {
    const DRAWS: u64 = 40_000;
    let uniform = Span::Uniform { min: 2.0, max: 5.0 };
    let exponential = Span::Exponential { mean: 2.0 };
    let lognormal = Span::Lognormal {
        median: 3.0,
        p99: 8.0,
    };
    for (span, x, share) in [
        (uniform, 2.0, 0.0),
        (uniform, 3.0, 1.0 / 3.0),
        (uniform, 5.0, 1.0),
        (exponential, 0.0, 0.0),
        (exponential, 2.0, 1.0 - (-1f64).exp()),
        (exponential, 6.0, 1.0 - (-3f64).exp()),
        (lognormal, 9.0 / 8.0, 0.01),
        (lognormal, 3.0, 0.5),
        (lognormal, 8.0, 0.99),
    ] {
        let mut stream = Stream::new(0, "sector");
        let below = (0..DRAWS).filter(|k| stream.draw_s(&span, *k) < x).count();
        let sigma = (share * (1.0 - share) / DRAWS as f64).sqrt();
        let found = below as f64 / DRAWS as f64;
        assert!(
            (found - share).abs() <= 5.0 * sigma,
            "{span:?}: {found} below {x}"
        );
    }
}
