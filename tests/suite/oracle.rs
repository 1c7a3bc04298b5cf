//! Random jobs on random boards against a second, slow implementation of the model
//! (`tests/oracle/oracle.py`, which made the committed `blocks.csv`).

use std::fs;
use std::path::Path;

use headstall::board::profile;

use super::making::run;

#[test]
fn blocks_agree_with_the_slow_implementation() {
    let cases = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracle/cases");
    let mut count = 0;
    for case in fs::read_dir(cases).unwrap() {
        let case = case.unwrap().path();
        let text = |name: &str| fs::read_to_string(case.join(name)).unwrap();
        let board = profile::parse(&text("board.toml"), "board.toml", &[]).unwrap();
        let run = run(&text("job.gcode"), &board);
        let mut rows = csv::Reader::from_path(case.join("blocks.csv")).unwrap();
        let expected: Vec<Vec<f64>> = rows
            .records()
            .map(|r| r.unwrap().iter().map(|v| v.parse().unwrap()).collect())
            .collect();
        assert_eq!(expected.len(), run.blocks.len(), "{case:?}");
        for (row, done) in expected.iter().zip(&run.blocks) {
            let (ran, place) = (&done.ran, &done.place);
            let whole = [ran.block as f64, done.line as f64, f64::from(done.layer)];
            assert_eq!(row[..3], whole, "{case:?}");
            assert_eq!(
                row[20],
                f64::from(ran.queued),
                "{case:?} block {}",
                ran.block
            );
            let found = [
                place.from_mm[0],
                place.from_mm[1],
                place.from_mm[2],
                place.to_mm[0],
                place.to_mm[1],
                place.to_mm[2],
                place.e_mm,
                done.length_mm,
                ran.nominal_mm_s,
                ran.profile.entry_mm_s,
                ran.profile.peak_mm_s,
                ran.profile.exit_mm_s,
                ran.start_s,
                ran.end_s,
                ran.gap_s,
                done.ideal_s(),
                done.lost_s(),
            ];
            for (k, (found, expected)) in found.iter().zip(&row[3..20]).enumerate() {
                let allowed = 1e-9
                    + 1e-9
                        * if k < 12 {
                            expected.abs()
                        } else {
                            1e-3 * row[16]
                        };
                assert!(
                    (found - expected).abs() <= allowed,
                    "{case:?} block {}, column {}: {found} against {expected}",
                    ran.block,
                    k + 3
                );
            }
        }
        count += 1;
    }
    assert!(count >= 10, "only {count} cases");
}
