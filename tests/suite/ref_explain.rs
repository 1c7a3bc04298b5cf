//! `explain` against vectors that a separate implementation in another language made after the same text
//! (tests/vectors/explain.json), and its building blocks against published values and reference libraries
//! (tests/vectors/explain_checks.json: computed with scipy 1.17.1 and astropy 8.0.2; Fisher's pigeons and
//! Holm's example are published; sources stand beside each check).

use headstall::study::explain::coherence::{self, Beat, Sums};
use headstall::study::explain::decide::{Name, State};
use headstall::study::explain::draws::{Draws, Purpose, mix};
use headstall::study::explain::huddle;
use headstall::study::explain::mixture;
use headstall::study::explain::moves::Move;
use headstall::study::explain::numbers::{phasor, wrapped_normal};
use headstall::study::explain::places::Predicted;
use headstall::study::explain::question::{Explanation, Question, explain};
use headstall::study::explain::regular::rayleigh;
use headstall::study::explain::seen;
use headstall::study::explain::view::{Errors, Window};
use headstall::study::explain::wall::{Wall, WallBuilder};
use headstall::study::stats::holm;
use serde_json::Value;

fn vectors(file: &str) -> Value {
    let path = format!("{}/tests/vectors/{file}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn vector(name: &str) -> Value {
    let all = vectors("explain.json");
    let found = all.as_array().unwrap().iter().find(|v| v["name"] == name);
    found.unwrap_or_else(|| panic!("no vector {name}")).clone()
}

pub fn numbers(value: &Value) -> Vec<f64> {
    let all = value.as_array().unwrap().iter();
    all.map(|v| v.as_f64().unwrap()).collect()
}

#[track_caller]
fn close(own: f64, expected: &Value, tolerance: f64, what: &str) {
    let expected = expected.as_f64().unwrap();
    let scale = expected.abs().max(1.0);
    assert!(
        (own - expected).abs() <= tolerance * scale,
        "{what}: {own} and not {expected}"
    );
}

/// Rows of a table as numbers, by the names of the columns.
fn rows(file: &str) -> Vec<std::collections::BTreeMap<String, String>> {
    let path = format!("{}/tests/vectors/{file}", env!("CARGO_MANIFEST_DIR"));
    let mut reader = csv::Reader::from_path(path).unwrap();
    reader.deserialize().map(Result::unwrap).collect()
}

pub fn wall_of(blocks: &str) -> Wall {
    let moves: Vec<Move> = rows(blocks)
        .iter()
        .map(|row| {
            let n = |name: &str| -> f64 { row[name].parse().unwrap() };
            Move {
                start_s: n("start_s"),
                end_s: n("end_s"),
                from_mm: [n("x0_mm"), n("y0_mm"), n("z0_mm")],
                to_mm: [n("x1_mm"), n("y1_mm"), n("z1_mm")],
                e_mm: n("e_mm"),
                line: n("line") as u64,
                layer: n("layer") as u32,
                ideal_s: n("ideal_s"),
            }
        })
        .collect();
    let ends = moves.iter().filter(|m| m.extrudes());
    let ends: Vec<[f64; 3]> = ends.flat_map(|m| [m.from_mm, m.to_mm]).collect();
    let middle = |k: usize| {
        let low = ends.iter().map(|e| e[k]).fold(f64::INFINITY, f64::min);
        let high = ends.iter().map(|e| e[k]).fold(f64::NEG_INFINITY, f64::max);
        (low + high) / 2.0
    };
    let mut builder = WallBuilder::new([middle(0), middle(1)]);
    moves.iter().for_each(|m| builder.push(m));
    builder.finish().unwrap()
}

pub fn predicted_of(stalls: &str, visible_mm: f64) -> Vec<Predicted> {
    rows(stalls)
        .iter()
        .filter(|row| row["surface"] == "outer")
        .filter(|row| row["bump_mm"].parse::<f64>().unwrap() >= visible_mm)
        .map(|row| Predicted {
            layer: row["layer"].parse().unwrap(),
            place_mm: [row["x_mm"].parse().unwrap(), row["y_mm"].parse().unwrap()],
        })
        .collect()
}

fn answer(v: &Value) -> (Explanation, Wall) {
    let wall = wall_of(v["blocks"].as_str().unwrap());
    let predicted = predicted_of(
        v["stalls"].as_str().unwrap(),
        v["visible"].as_f64().unwrap(),
    );
    let path = format!(
        "{}/tests/vectors/{}",
        env!("CARGO_MANIFEST_DIR"),
        v["observed"].as_str().unwrap()
    );
    let marks = seen::read(&std::fs::read_to_string(path).unwrap()).unwrap();
    let [from_deg, to_deg, low_mm, high_mm] = numbers(&v["window"])[..] else {
        panic!("no window");
    };
    let answer = explain(&Question {
        wall: &wall,
        marks: &marks,
        predicted: &predicted,
        window: Some(Window {
            from_deg,
            to_deg,
            low_mm,
            high_mm,
        }),
        errors: Errors {
            angle_deg: v["angle_err"].as_f64().unwrap(),
            z_mm: v["z_err"].as_f64().unwrap(),
        },
        seed: v["seed"].as_u64().unwrap(),
        draws: v["draws"].as_u64().unwrap() as usize,
        power: None,
        threads: 2,
    });
    (answer.unwrap(), wall)
}

const KEYS: [(&str, Name); 7] = [
    ("E1", Name::Stalls),
    ("ET", Name::Clock),
    ("E5", Name::Xy),
    ("E6", Name::Height),
    ("E7", Name::Seam),
    ("E8", Name::Corners),
    ("E9", Name::ShortMoves),
];

fn name_of(key: &str) -> Name {
    KEYS.iter().find(|k| k.0 == key).unwrap().1
}

/// Everything that a vector of a whole question pins.
fn check_whole(name: &str) {
    let v = vector(name);
    let expected = &v["expected"];
    let (own, wall) = answer(&v);
    assert_eq!(own.bumps.len() as u64, expected["bumps"].as_u64().unwrap());
    assert_eq!(
        own.off_wall.len() as u64,
        expected["off_wall"].as_u64().unwrap()
    );
    for (bump, cell) in own.bumps.iter().zip(expected["cells"].as_array().unwrap()) {
        assert_eq!([bump.layer as f64, bump.degree as f64], numbers(cell)[..]);
    }
    let first = wall.cells[own.bumps[0].cell()].unwrap();
    let at = &expected["coordinates_first_bump"];
    for (k, along) in ["time", "lines", "filament"].iter().enumerate() {
        close(first.along[k], &at[along], 1e-9, along);
    }
    let huddle = &expected["huddle"];
    assert_eq!(
        own.huddle.near_pairs as u64,
        huddle["near_pairs"].as_u64().unwrap()
    );
    close(own.huddle.p, &huddle["p"], 1e-12, "huddle");
    assert_eq!(
        own.huddle.groups.leaders.len() as u64,
        huddle["groups"].as_u64().unwrap()
    );
    let heard = own.heard.as_ref().unwrap();
    for (spectrum, along) in heard.spectra.iter().zip(["time", "lines", "filament"]) {
        let count = expected["frequencies"][along].as_u64().unwrap();
        assert_eq!(spectrum.tones.len() as u64, count, "{along}");
        let best = spectrum.best().unwrap();
        let expected = &expected["statistics"]["ET"]["best"][along];
        close(best.q, &expected["q"], 1e-9, along);
        close(1.0 / best.frequency, &expected["period"], 1e-12, along);
    }
    close(heard.seen_share, &expected["seen"], 1e-12, "seen");
    for (key, name) in KEYS {
        let finding = own.finding(name);
        let statistic = &expected["statistics"][key];
        if statistic.is_null() {
            assert_eq!(finding.state, State::NotTested, "{key}");
            assert!(
                expected["not_tested"]
                    .as_array()
                    .unwrap()
                    .contains(&key.into())
            );
            continue;
        }
        close(finding.statistic.unwrap(), &statistic["value"], 1e-9, key);
        if !statistic["share"].is_null() {
            close(finding.share.unwrap(), &statistic["share"], 1e-9, key);
        }
        close(finding.p.unwrap(), &expected["p"][key], 1e-12, key);
        close(
            finding.p_adjusted.unwrap(),
            &expected["holm"][key],
            1e-12,
            key,
        );
        if let Some(ratios) = expected["ratios"].get(key) {
            for (own, expected) in finding.ratios.iter().zip(ratios.as_array().unwrap()) {
                close(*own, expected, 1e-9, key);
            }
        }
        match expected["loglik"].get(key) {
            Some(loglik) => close(finding.loglik.unwrap(), loglik, 1e-9, key),
            None => assert_eq!(finding.loglik, None, "{key}"),
        }
        if let Some(p) = expected["regular"].get(key) {
            close(finding.p_regular.unwrap(), p, 1e-12, key);
        }
    }
    check_decision(expected, &own);
}

fn check_decision(expected: &Value, own: &Explanation) {
    let mut states = std::collections::BTreeMap::new();
    for (key, tied) in expected["named"].as_object().unwrap() {
        states.insert(name_of(key), State::Named);
        for other in tied.as_array().unwrap() {
            let other = name_of(other.as_str().unwrap());
            states.insert(other, State::NotApart(name_of(key)));
        }
    }
    for (key, by) in expected["explained_by"].as_object().unwrap() {
        let by = name_of(by.as_str().unwrap());
        states.insert(name_of(key), State::Explained(by));
    }
    for finding in own.findings.iter().filter(|f| f.state != State::NotTested) {
        let state = states.get(&finding.name).copied();
        assert_eq!(
            finding.state,
            state.unwrap_or(State::NotFound),
            "{:?}",
            finding.name
        );
    }
    let along = expected["along"].as_object();
    assert_eq!(own.kept.len(), along.map_or(0, |a| a.len()));
    for kept in &own.kept {
        let key = ["time", "lines", "filament"][kept.along as usize];
        let expected = &expected["along"][key];
        close(kept.below_best, &expected["below_best"], 1e-9, key);
        close(kept.period, &expected["period"], 1e-12, key);
        let periods = expected["periods"].as_array().unwrap();
        assert_eq!(kept.periods.len(), periods.len(), "{:?}", kept.periods);
        for (own, expected) in kept.periods.iter().zip(periods) {
            close(own[0], &expected[0], 1e-9, key);
            close(own[1], &expected[1], 1e-9, key);
        }
    }
    let same = expected["same_each_layer"].as_object();
    assert_eq!(own.same_each_layer.len(), same.map_or(0, |s| s.len()));
    for (name, steps) in &own.same_each_layer {
        let key = KEYS.iter().find(|k| k.1 == *name).unwrap().0;
        let expected = expected["same_each_layer"][key].as_object().unwrap();
        assert_eq!(steps.len(), expected.len());
        for step in steps {
            let at = &expected[["time", "lines", "filament"][step.along as usize]];
            close(step.step, &at["step"], 1e-9, key);
            close(step.coherence, &at["coherence"], 1e-9, key);
        }
    }
}

#[test]
fn rows_that_slant_keep_time() {
    check_whole("ring_rows");
}

#[test]
fn bumps_at_the_seam_are_the_seam() {
    check_whole("ring_seam");
}

#[test]
fn corners_and_stalls_at_corners_cannot_be_told_apart() {
    check_whole("square_corners");
}

#[test]
fn huddles_are_moved_as_groups() {
    check_whole("ring_huddles");
}

#[test]
fn upright_lines_at_equal_steps_are_regular() {
    check_whole("ring_lines");
}

/// SplitMix64's published values for the seed 1234567, and the numbers and permutations of seed 1.
#[test]
fn the_generator_is_splitmix64() {
    let v = vector("generator");
    let gamma = 0x9E37_79B9_7F4A_7C15u64;
    for (k, value) in (1..).zip(v["values"].as_array().unwrap()) {
        let own = mix(1_234_567u64.wrapping_add(gamma.wrapping_mul(k)));
        assert_eq!(own.to_string(), value.as_str().unwrap());
    }
    let draws = Draws::new(1, Purpose::Cells);
    for (draw, row) in v["uniforms"].as_array().unwrap().iter().enumerate() {
        for (k, value) in numbers(row).into_iter().enumerate() {
            assert!((draws.uniform(draw, k) - value).abs() < 1e-15);
        }
    }
    let permutations = vector("permutation");
    let draws = Draws::new(1, Purpose::Permutations);
    for (draw, row) in permutations["values"]
        .as_array()
        .unwrap()
        .iter()
        .enumerate()
    {
        let own: Vec<f64> = draws
            .permutation(draw, 5)
            .iter()
            .map(|i| *i as f64)
            .collect();
        assert_eq!(own, numbers(row));
    }
}

/// The mixture's likelihood against scipy's bounded minimiser, two together against its SLSQP (which comes
/// within 3e-4).
#[test]
fn mixtures_are_those_of_a_library() {
    let v = vector("mixture");
    let one = mixture::fit(&numbers(&v["r1"]));
    close(one.loglik, &v["L1"], 1e-9, "L1");
    close(one.share, &v["share1"], 1e-9, "share1");
    let two = mixture::fit(&numbers(&v["r2"]));
    close(two.loglik, &v["L2"], 1e-9, "L2");
    close(two.share, &v["share2"], 1e-9, "share2");
    assert_eq!(mixture::fit(&numbers(&v["below"])).loglik, 0.0);
    let checks = vectors("explain_checks.json");
    close(one.loglik, &checks["mixture"]["scipy"][0], 1e-9, "scipy");
    let joint = vector("joint");
    let both = [numbers(&joint["r1"]), numbers(&joint["r2"])];
    let own = mixture::joint(&[&both[0], &both[1]]);
    close(own, &joint["L"], 1e-6, "joint");
    close(own, &checks["joint"]["scipy"], 3e-4, "joint, scipy");
}

/// Wilson & Hilferty's cube root against the exact quantile of a gamma distribution (scipy): it comes
/// within 0.05.
#[test]
fn the_normal_scale_is_wilson_and_hilferty() {
    for row in vector("normal_scale")["rows"].as_array().unwrap() {
        let n = |key: &str| row[key].as_f64().unwrap();
        let sums = Sums {
            pairs: n("S"),
            variance: n("V"),
            third: n("X"),
        };
        close(sums.normal_scale(), &row["q"], 1e-12, "q");
    }
    let checks = vectors("explain_checks.json");
    for row in checks["wilson_hilferty"].as_array().unwrap() {
        let g = row["g"].as_f64().unwrap();
        let sums = Sums {
            pairs: row["Q"].as_f64().unwrap(),
            variance: 1.0,
            third: 2.0 * g,
        };
        close(sums.normal_scale(), &row["q"], 1e-12, "q");
        close(sums.normal_scale(), &row["exact"], 0.05, "exact");
    }
}

/// q of a small wall without blur, from its definition.
#[test]
fn q_of_a_small_wall() {
    let v = vector("q");
    let (layer_u, angle) = (numbers(&v["layer_u"]), numbers(&v["angle"]));
    for (layers, expected) in v["layers"]
        .as_array()
        .unwrap()
        .iter()
        .zip(v["q"].as_array().unwrap())
    {
        let layers = numbers(layers);
        for (f, expected) in numbers(&v["f"])
            .into_iter()
            .zip(expected.as_array().unwrap())
        {
            let z = |i: usize, l: usize| phasor(f * (layer_u[l] + angle[i] / 90.0));
            let n = angle.len();
            let mean = |l: usize| {
                let all = (0..n).map(|i| z(i, l));
                let sum = all.fold([0.0, 0.0], |s, e| [s[0] + e[0], s[1] + e[1]]);
                [sum[0] / n as f64, sum[1] / n as f64]
            };
            let centred = |i: usize, l: usize| {
                let (e, m) = (z(i, l), mean(l));
                [e[0] - m[0], e[1] - m[1]]
            };
            let power = |l: usize| {
                let squares = (0..n)
                    .map(|j| centred(j, l))
                    .map(|c| c[0] * c[0] + c[1] * c[1]);
                squares.sum::<f64>() / n as f64
            };
            let middle = |l: usize| layer_u[l] + (40.0 + 70.0) / 2.0 / 90.0;
            let mut order: Vec<usize> = (0..n).collect();
            order.sort_by(|a, b| layers[*a].total_cmp(&layers[*b]));
            let beats = (0..n).map(|s| {
                let l = layers[order[s]] as usize;
                let fade = match s.checked_sub(1) {
                    Some(b) => {
                        let before = middle(layers[order[b]] as usize);
                        (-(middle(l) - before).abs() * f / 50.0).exp()
                    }
                    None => 0.0,
                };
                Beat {
                    centred: centred(order[s], l),
                    power: power(l),
                    fade,
                }
            });
            close(coherence::sums(beats).normal_scale(), expected, 1e-9, "q");
        }
    }
}

/// Rayleigh's test of Fisher's ten pigeons (published: n R² = 0.4967179; astropy agrees).
#[test]
fn rayleigh_of_the_pigeons() {
    let v = vector("lines");
    let turns: Vec<f64> = numbers(&v["x_deg"]).iter().map(|d| d / 360.0).collect();
    let phasors = || turns.iter().map(|t| phasor(*t));
    close(
        rayleigh(phasors(), [0.0, 0.0]).0,
        &v["stat_mu0"],
        1e-9,
        "mu 0",
    );
    close(rayleigh(phasors(), [0.3, 0.1]).0, &v["stat_mu"], 1e-9, "mu");
    let checks = vectors("explain_checks.json");
    let published = &checks["rayleigh_pigeons"]["published"];
    close(
        rayleigh(phasors(), [0.0, 0.0]).0,
        published,
        1e-6,
        "published",
    );
}

#[test]
fn huddles_of_a_list() {
    let v = vector("groups");
    let (angle, z) = (numbers(&v["angle"]), numbers(&v["z"]));
    let own = huddle::huddle(&angle, &z, 1);
    assert_eq!(own.near_pairs as u64, v["near_pairs"].as_u64().unwrap());
    close(own.p, &v["p"], 1e-12, "p");
    let groups = huddle::gather(&angle, &z);
    let as_numbers = |all: &[usize]| all.iter().map(|i| *i as f64).collect::<Vec<_>>();
    assert_eq!(as_numbers(&groups.of), numbers(&v["group"]));
    assert_eq!(as_numbers(&groups.leaders), numbers(&v["leaders"]));
}

/// Holm's example (published), and the wrapped normal density against the sum over turns.
#[test]
fn holm_and_the_wrapped_normal() {
    let v = vector("holm_wrapped");
    let own = holm(&numbers(&v["p"]));
    for (own, expected) in own.iter().zip(numbers(&v["holm"])) {
        assert!((own - expected).abs() < 1e-12);
    }
    for row in v["wrapped"].as_array().unwrap() {
        let n = |key: &str| row[key].as_f64().unwrap();
        let own = wrapped_normal(n("turns"), n("sd"));
        close(own, &row["density"], 1e-9, "density");
    }
}
