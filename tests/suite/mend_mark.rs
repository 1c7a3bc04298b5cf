//! The mark of a mended job: believed as long as nothing was edited, and then nothing is changed or no more than was left.

use std::fs;
use std::path::Path;

use super::making::board_from;
use super::mend_command::{MEND, SLOW, rings, run, with, workshop};
use headstall::study::mend::proof::sameness;

/// The last line of a mended job.
fn mark(job: &[u8]) -> String {
    let text = String::from_utf8(job.to_vec()).unwrap();
    let mut lines = text.split(['\r', '\n']).filter(|l| !l.is_empty());
    let line = lines.next_back().unwrap().to_string();
    assert!(line.starts_with("; mended by headstall: "), "{line}");
    line
}

/// Mends `job.gcode`; the state and what was written.
fn mended(dir: &Path, job: &[u8], more: &[&'static str]) -> (String, Vec<u8>) {
    fs::write(dir.join("job.gcode"), job).unwrap();
    let more = [&["--json", "--force", "-o", "new.gcode"], more].concat();
    let done = run(dir, &with(&more));
    assert_eq!(done.status.code(), Some(0), "{done:?}");
    let said: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    let state = said["state"].as_str().unwrap().to_string();
    (state, fs::read(dir.join("new.gcode")).unwrap())
}

#[test]
fn mending_a_mended_job_changes_nothing() {
    let dir = workshop();
    let dir = dir.path();
    let first = run(dir, &with(&["-o", "new.gcode"]));
    assert_eq!(first.status.code(), Some(0), "{first:?}");
    let said = String::from_utf8_lossy(&first.stdout);
    assert!(said.contains("Mended"), "{said}");
    assert_eq!(said.matches("Caution").count(), 1);
    let new = fs::read(dir.join("new.gcode")).unwrap();
    assert_ne!(new, rings(4).into_bytes());
    let mut again = MEND.to_vec();
    again[1] = "new.gcode";
    again.extend(["-o", "again.gcode"]);
    let second = run(dir, &again);
    assert_eq!(second.status.code(), Some(0), "{second:?}");
    assert_eq!(fs::read(dir.join("again.gcode")).unwrap(), new);
}

/// Numbered lines, other line ends, no end of the last line, a last line that is a move.
#[test]
fn it_changes_nothing_whatever_the_last_line_is() {
    let dir = workshop();
    let dir = dir.path();
    let job = rings(3);
    let bare = job.trim_end_matches("M84\n");
    let numbered: String = (0..)
        .zip(job.lines())
        .map(|(k, line)| format!("N{k} {line}\n"))
        .collect();
    for job in [
        job.replace('\n', "\r\n"),
        job.trim_end().to_string(),
        bare.to_string(),
        bare.trim_end().to_string(),
        bare.replace('\n', "\r"),
        format!("{job}; the end\n\n\n"),
        numbered,
    ] {
        let (state, new) = mended(dir, job.as_bytes(), &[]);
        assert_eq!(state, "mended");
        let ends = |text: &[u8]| text.ends_with(b"\n") || text.ends_with(b"\r");
        assert_eq!(ends(&new), ends(job.as_bytes()));
        mark(&new);
        let (state, again) = mended(dir, &new, &[]);
        assert_eq!(state, "mended_before");
        assert!(again == new);
    }
}

/// A mark that was put there by hand, or whose job was edited, says nothing, and goes.
#[test]
fn a_mark_without_its_job_is_not_believed() {
    let dir = workshop();
    let dir = dir.path();
    let job = rings(3);
    let (_, new) = mended(dir, job.as_bytes(), &[]);
    let line = mark(&new);
    let forged = format!("{job}{line}\n");
    assert_eq!(
        mended(dir, forged.as_bytes(), &[]),
        ("mended".to_string(), new.clone())
    );
    // Another ring was added to a mended one, and the mark is where it was: at the end.
    let ring = rings(1).replace("Z0.25", "Z1.00").replace("M84\n", "");
    let text = String::from_utf8(new).unwrap();
    let edited = text.replace("M84\n", &format!("{ring}M84\n"));
    let (state, anew) = mended(dir, edited.as_bytes(), &[]);
    assert_eq!(state, "mended");
    assert_eq!(
        String::from_utf8_lossy(&anew)
            .matches("; mended by")
            .count(),
        1
    );
    assert_ne!(mark(&anew), line);
}

/// For another board, or with another tolerance, a mended job is mended again, but its path stays within the larger
/// tolerance of the one that was sliced.
#[test]
fn deviations_do_not_add_up() {
    let dir = workshop();
    let dir = dir.path();
    let board = board_from(SLOW, &[]);
    let job = rings(3);
    let (_, first) = mended(dir, job.as_bytes(), &["--within", "0.005"]);
    let moved_mm = |new: &[u8]| sameness(job.as_bytes(), new, &board).unwrap().deviation_mm;
    assert!(moved_mm(&first) > 0.003 && moved_mm(&first) < 0.0058);
    for (within, most_mm, moves) in [
        ("0.005", 0.005, false),
        ("0.02", 0.02, true),
        ("0.004", 0.005, false),
    ] {
        let other = [
            "--within",
            within,
            "--everywhere",
            "--set",
            "queue.blocks=8",
        ];
        let (state, new) = mended(dir, &first, &other);
        let line = mark(&new);
        let said = format!("path moved by up to {most_mm} mm");
        assert_eq!(
            state == "mended",
            line.contains(&said) && new != first,
            "{line}"
        );
        assert!(state == "mended" || !moves, "{state}");
        assert!(moved_mm(&new) <= most_mm + 1.5e-3, "{}", moved_mm(&new));
        assert_eq!(moved_mm(&new) > moved_mm(&first) + 1e-3, moves);
        let (state, again) = mended(dir, &new, &other);
        assert!(again == new, "{state}");
    }
    // Where nothing may move and no bump is seen, it is told why nothing is joined.
    fs::write(dir.join("job.gcode"), &first).unwrap();
    let asked = ["--within", "0.005", "--everywhere", "--visible", "5"];
    let done = run(dir, &with(&asked));
    let said = String::from_utf8_lossy(&done.stdout).replace('\n', " ");
    assert!(
        said.starts_with("There is nothing to be joined")
            && said.contains("leaves nothing of the 0.005 mm allowed now"),
        "{said}"
    );
}
