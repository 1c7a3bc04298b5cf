//! Random jobs on random boards against a second, slow implementation of the model
//! (`tests/oracle/oracle.py`, which made the committed `blocks.csv`, `stalls.csv` and `bumps.csv`).

use std::fs;
use std::path::Path;

use headstall::board::profile;

use super::making::{close, found, run};

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

/// The numbers of a table; what is empty is none.
fn table(path: &Path) -> Vec<Vec<Option<f64>>> {
    let mut rows = csv::Reader::from_path(path).unwrap();
    let numbers = |row: csv::StringRecord| row.iter().map(|v| v.parse().ok()).collect();
    rows.records().map(|row| numbers(row.unwrap())).collect()
}

#[test]
fn stalls_and_bumps_agree_with_the_slow_implementation() {
    let cases = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracle/cases");
    let mut count = 0;
    for case in fs::read_dir(cases).unwrap() {
        let case = case.unwrap().path();
        let text = |name: &str| fs::read_to_string(case.join(name)).unwrap();
        let board = profile::parse(&text("board.toml"), "board.toml", &[]).unwrap();
        let (stalls, bumps) = found(&text("job.gcode"), &board, 0);
        let expected = table(&case.join("stalls.csv"));
        assert_eq!(stalls.len(), expected.len(), "{case:?}");
        for (stall, row) in stalls.iter().zip(&expected) {
            close(stall.excess_mm3, row[1].unwrap(), 1e-9);
            close(stall.bump_mm.unwrap_or(-1.0), row[2].unwrap_or(-1.0), 1e-9);
            assert_eq!(stall.bumps as f64, row[3].unwrap(), "{case:?}");
        }
        let expected = table(&case.join("bumps.csv"));
        assert_eq!(bumps.len(), expected.len(), "{case:?}");
        for (bump, row) in bumps.iter().zip(&expected) {
            let [x, y, z] = bump.place_mm;
            let found = [
                bump.bump as f64,
                bump.stall as f64,
                bump.line as f64,
                f64::from(bump.layer),
                x,
                y,
                z,
                bump.t_s,
                bump.height_mm,
                bump.surplus_mm3,
                bump.stretch_mm,
            ];
            for (found, expected) in found.iter().zip(row) {
                close(*found, expected.unwrap(), 1e-9);
            }
            count += 1;
        }
    }
    assert!(count > 100, "only {count} bumps");
}
