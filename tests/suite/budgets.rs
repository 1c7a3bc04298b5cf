//! What an answer may take: all that takes time is counted, and what is cut for it is said, in JSON too.

use std::io::{Cursor, Read};

use headstall::answer::compare::{CompareQuestion, Setting, compare};
use headstall::answer::job::Job;
use headstall::board::types::Board;
use headstall::board::{builtin, profile};
use headstall::job::reader::JobReader;
use headstall::replay::source::Planned;
use headstall::replay::stream::replay;
use headstall::report::comparison::Comparison;
use headstall::study::bumps::{Found, HELD_MAX};
use headstall::study::cures::{Cures, Trial, cures};
use headstall::study::sample::{Sample, Sight, sample};
use headstall::study::watch::{Seen, Watch};
use headstall::surface::skin::Surface;

use crate::cli::{folder, ran, refused, starving, text, write};
use crate::limits::under;

fn board(sets: &[&str]) -> Board {
    let sets: Vec<_> = sets
        .iter()
        .map(|set| profile::Override::parse(set).unwrap())
        .collect();
    let text = builtin::text(builtin::DEFAULT).unwrap();
    profile::parse(text, builtin::DEFAULT, &sets).unwrap()
}

/// One run of the stored job, all of it taken for an outer wall.
fn looked(job: &str, board: &Board, looks: bool) -> Sample {
    let kept = Planned::new(JobReader::new(job.as_bytes()), board).store();
    let sight = Sight {
        facing: &|_| Some(Surface::Outer),
        visible_mm: 0.0,
    };
    sample(&kept.unwrap(), board, 0, looks.then_some(sight)).unwrap()
}

/// The job replayed as it is read: what was seen, its bumps on moves that print, and the highest of them, mm.
fn streamed(job: &str, board: &Board) -> (Seen, u64, f64) {
    let (mut count, mut highest_mm) = (0, 0.0_f64);
    let mut watch = Watch::new(&board.nozzle, |found: &Found| {
        if let Found::Bump(bump) = found
            && !bump.travels
        {
            count += 1;
            highest_mm = highest_mm.max(bump.height_mm);
        }
    });
    replay(job.as_bytes(), board, 0, &mut watch).unwrap();
    let (seen, _) = watch.finish();
    (seen, count, highest_mm)
}

/// Moves of 350 mm that all stall: their surplus is sampled 3500 times each, which takes far longer than the move.
#[test]
fn looking_for_bumps_counts_as_work() {
    let board = board(&["loop.block_us=1e7", "chore=[]"]);
    let moves: String = (0..50)
        .map(|k| format!("G1 X{} E9\n", k % 2 * 350))
        .collect();
    let job = format!("M83\nG1 Z0.2 F3000\n{moves}");
    let (blind, looking) = (looked(&job, &board, false), looked(&job, &board, true));
    let more = looking.cost.work - blind.cost.work;
    assert!((10_000..100_000).contains(&more), "{more}");
}

/// Layer 0 has its last height, a primer's stalls included; of a stored job that is known beforehand.
#[test]
fn a_stored_job_knows_the_height_of_layer_0() {
    let board = board(&["loop.block_us=1e5"]);
    let chords = |z: f64| {
        let chords = (1..=300).map(|k| format!("G1 X{:.2} E.02\n", f64::from(k) * 0.3));
        format!("G1 Z{z} F6000\nG1 X0\n{}", chords.collect::<String>())
    };
    let job = format!("M83\n{}{}{}", chords(0.4), chords(0.2), chords(0.5));
    let stored = looked(&job, &board, true);
    let (seen, count, highest_mm) = streamed(&job, &board);
    assert!(count > 5 && seen.cut_line.is_none());
    assert_eq!((stored.visible, stored.highest_mm), (count, highest_mm));
}

/// So many stalls on layer 0 that they are not held until its height is known: said if the height changes then.
#[test]
fn stalls_on_layer_0_are_held_up_to_a_limit_that_is_told() {
    let board = board(&["loop.block_us=1e5", "chore=[]"]);
    let job = |stalls: usize, z: &str| {
        let pair = "G1 X.1 E.01\nG1 X.1 E.01\nM400\n";
        format!(
            "G91\nM83\nG1 Z.4 F6000\n{}G1 Z{z}\nG1 X9 E.5\nG1 X9 E.5\n",
            pair.repeat(stalls)
        )
    };
    let cut = |stalls: usize, z: &str| {
        let (seen, _, _) = streamed(&job(stalls, z), &board);
        assert!(seen.stalls() >= stalls as u64, "{}", seen.stalls());
        seen.cut_line
    };
    let lines = 3 * (HELD_MAX as u64 + 10) + 4;
    assert_eq!(cut(HELD_MAX + 10, "-.1"), Some(lines + 1));
    // The next layer, or no change: the height was right.
    assert_eq!(cut(HELD_MAX + 10, ".4"), None);
    assert_eq!(cut(1000, "-.1"), None);
}

fn tried(patience: f64) -> Cures {
    let board = board(&[]);
    let job = starving().into_bytes();
    let open =
        || -> std::io::Result<Box<dyn Read + Send>> { Ok(Box::new(Cursor::new(job.clone()))) };
    let trial = Trial {
        open: &open,
        board: &board,
        seed: 0,
        visible_mm: 0.1,
        threads: 1,
        patience,
    };
    cures(&trial, &|_| {}).unwrap()
}

#[test]
fn remedies_that_take_too_long_are_left_out_and_counted() {
    let (all, few) = (tried(1.0), tried(1e-4));
    assert_eq!(all.skipped, Default::default());
    assert!(few.skipped.slower && few.skipped.sets && few.skipped.late > 0);
    assert!(few.runs < all.runs);
    assert!(few.single.len() + few.skipped.late <= all.single.len());
}

/// Runs with other luck are left out where one takes tens of millions of chores.
#[test]
fn runs_that_take_too_long_are_told() {
    let dir = folder();
    let job = write(
        &dir,
        "job.gcode",
        &("M83\n".to_string() + &"G1 X16 E1 F60\nG1 X0 E1\n".repeat(120)),
    );
    let chores = "chore=[{name=\"c\", every_s=1e-4, us={min=0.1, max=0.2}}]";
    let done = ran(&["replay", &job, "--set", chores, "--json"]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let summary: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    let warnings = summary["warnings"].as_array().unwrap();
    let few = warnings.iter().find(|w| w["kind"] == "few_runs").unwrap();
    let message = few["message"].as_str().unwrap();
    assert!(message.starts_with("only 1 of 20 runs"), "{message}");
}

#[test]
fn mending_makes_fewer_replays_where_they_take_too_long() {
    let dir = folder();
    let chores = "chore=[{name=\"c\", every_s=1e-4, us={min=0.1, max=0.2}}]";
    for (repeats, made) in [(2, 20), (40, 1)] {
        let moves = "G1 X16 E1 F60\nG1 X0 E1\n".repeat(repeats);
        let job = write(&dir, "job.gcode", &format!("M83\n{moves}"));
        let done = ran(&["mend", &job, "--set", chores, "--json"]);
        assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
        let said: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
        assert_eq!(said["before"]["runs"], made);
        assert_eq!(said["after"]["runs"], made);
        let told = said["warnings"].to_string();
        assert_eq!(told.contains("only 1 of 20 replays"), made == 1, "{told}");
    }
}

#[test]
fn what_a_comparison_cuts_is_in_its_json() {
    let board = board(&[]);
    let setting = |name: &str| Setting {
        name: name.into(),
        board: board.clone(),
    };
    let question = CompareQuestion {
        settings: &[setting("a"), setting("b")],
        runs_max: 40,
        seed: 0,
        visible_mm: 0.1,
        causes: false,
        threads: 1,
    };
    let job = Job::in_memory("job", starving().into_bytes());
    let mut answer = compare(vec![job], &question, &()).unwrap();
    let json = |answer: &_| serde_json::to_value(Comparison::of(answer)).unwrap();
    assert_eq!(json(&answer).get("warnings"), None);
    answer.runs_cut = true;
    answer.limits.push(("job".into(), 7, "a limit".into()));
    let told = json(&answer)["warnings"].clone();
    assert_eq!(told[0], "job: line 7: a limit");
    let few = told[1].as_str().unwrap();
    assert!(
        few.starts_with(&format!("only {} of 40 runs", answer.runs)),
        "{few}"
    );
}

/// A wall of more layers than are kept is refused before the replay.
#[test]
fn a_wall_of_too_many_layers_is_refused() {
    let dir = folder();
    let layers: String = (1..=12_100)
        .map(|k| {
            format!(
                "G1 Z{:.2}\nG1 X{1} E1\nG1 Y{1} E1\n",
                f64::from(k) * 0.01,
                k % 2 * 20
            )
        })
        .collect();
    let job = write(&dir, "job.gcode", &format!("M83\nG1 F3000\n{layers}"));
    let seen = write(&dir, "seen.csv", "layer,angle_deg\n1,10\n2,20\n");
    refused(&["explain", &job, &seen], 2, "at most 12000 layers");
}

/// A device without end is no table of times.
#[test]
fn a_list_without_end_is_refused() {
    let dir = folder();
    let coupon = dir.path().join("coupon.gcode").display().to_string();
    assert!(ran(&["coupon", "-o", &coupon]).status.success());
    refused(&["fit", &coupon, "/dev/zero"], 2, "is larger than 1 MiB");
}

/// Too few file handles are no fault of the job, the board or the arguments.
#[test]
fn few_handles_exit_with_1() {
    let dir = folder();
    let job = write(&dir, "job.gcode", &starving());
    let seen = write(&dir, "seen.csv", "layer,angle_deg\n0,10\n");
    let own = write(&dir, "own.toml", builtin::text("8bit-card").unwrap());
    let mut short = Vec::new();
    for handles in 4..=7 {
        for args in [
            &["replay", &job, "--board", &own, "--out", "out"][..],
            &["compare", &job, "--board", &own],
            &["remedies", &job, "--board", &own],
            &["mend", &job, "--board", &own, "--runs", "1"],
            &["fit", &job, &seen, "--board", &own],
            &["explain", &job, &seen, "--board", &own],
        ] {
            let done = under(&format!("ulimit -n {handles}"), dir.path(), args, &[]);
            let error = text(&done.stderr);
            let handles_are_short = error.contains("os error 24");
            assert!(
                !handles_are_short || done.status.code() == Some(1),
                "{handles} {args:?}: {:?} {error}",
                done.status
            );
            if handles_are_short {
                short.push(format!("{handles} {}", args[0]));
            }
        }
    }
    assert!(short.contains(&"4 replay".to_string()), "{short:?}");
}

/// Arguments that are wrong are repeated without what acts on a terminal.
#[test]
fn wrong_arguments_do_nothing_on_their_way_out() {
    for args in [
        &["completions", "x\u{1b}]0;y\u{7}\r\u{202e}z"][..],
        &["replay", "job", "--by", "x\r\u{202e}z"],
        &["x\r\u{202e}z"],
    ] {
        let done = ran(args);
        assert_eq!(done.status.code(), Some(2));
        let error = text(&done.stderr);
        let acts = |c: char| c == '\u{202e}' || c.is_control() && c != '\n';
        assert!(error.contains('z') && !error.contains(acts), "{error:?}");
    }
}
