//! Limits of work, of what is held, and of what is drawn (DEVELOPERS.md, "Limits"): each driven to its edge and beyond.

use headstall::answer::compare::{CompareQuestion, Setting, compare};
use headstall::answer::job::Job;
use headstall::answer::replay::{Attribution, ReplayAnswer, ReplayQuestion};
use headstall::board::types::Board;
use headstall::job::reader::JobReader;
use headstall::replay::cause::Setup;
use headstall::replay::duties::CHORE_RUNS_MAX;
use headstall::replay::source::Planned;
use headstall::replay::stream::{Done, Watcher, replay};
use headstall::replay::world::Cause;
use headstall::report::comparison::Comparison;
use headstall::study::bumps::BUMPS_CUT;
use headstall::study::causes::replay_count;
use headstall::study::mend::harm::harm;
use headstall::study::paths::Paths;
use headstall::study::sample::{Cost, sample_of};
use headstall::study::strips::Strips;
use headstall::study::trace::LayerTrace;
use headstall::study::watch::Watch;
use serde_json::Value;

use super::cli::{folder, ran, text, write};
use super::making::{board, found, run};

fn answer(job: &str, question: &ReplayQuestion) -> ReplayAnswer {
    let mut job = Job::in_memory("job", job.as_bytes());
    headstall::answer::replay::replay(&mut job, question, &(), &mut ()).unwrap()
}

/// Some short moves that are late; then so many seconds of moves for which the main loop waits, and does its chores.
fn late_moves(seconds: f64) -> String {
    let late = "G1 X.1 E.01\nG1 X0 E.01\n".repeat(5);
    let moves = (0..seconds as u32).map(|k| format!("G1 X{} E1\n", k % 2 * 10));
    format!(
        "M83\nG1 F6000\n{late}G1 F600\n{}",
        moves.collect::<String>()
    )
}

const LATE: &str = "loop.block_us=1e5";
const DEEP: &str = "queue.blocks=4";
/// From one start of such a chore to the next, with what it and the loop take, s.
const CHORE_S: f64 = 1.132e-4;
const CHORES: &str = "chore=[{every_s=1e-4, us={min=0.1, max=0.2}}]";

/// All replays for the causes have 16 million lines and chores; beyond that the main loop tells them.
#[test]
fn causes_are_estimated_where_exact_ones_take_too_long() {
    let board = board(&[LATE, DEEP, CHORES]);
    let most = 16_000_000.0 / replay_count(&board) as f64;
    let by = |share: f64| {
        let job = late_moves(share * most * CHORE_S);
        let question = ReplayQuestion {
            runs: 1,
            ..ReplayQuestion::of(&board)
        };
        let answer = answer(&job, &question);
        let work = answer.totals.chores as f64;
        assert!(
            (work - share * most).abs() < 0.05 * most,
            "{work} of {most}"
        );
        assert!(answer.stall_count() > 0);
        answer.attribution
    };
    assert_eq!(by(0.9), Attribution::Shapley);
    assert_eq!(by(1.1), Attribution::MainLoop);
}

/// Two settings of 26 million chores: 150 million are enough for two runs of each, not for forty; nor for causes.
#[test]
fn a_comparison_that_takes_too_long_has_fewer_runs() {
    let board = board(&[LATE, DEEP, CHORES]);
    let setting = |name: &str, board: &Board| Setting {
        name: name.into(),
        board: board.clone(),
    };
    let told = |seconds: f64| {
        let question = CompareQuestion {
            settings: &[setting("a", &board), setting("b", &board)],
            runs_max: 4,
            seed: 0,
            visible_mm: 0.1,
            causes: false,
            threads: 2,
        };
        let job = Job::in_memory("job", late_moves(seconds).into_bytes());
        let answer = compare(vec![job], &question, &()).unwrap();
        let causes = answer.cases.iter().all(|c| c.by_cause_s.is_some());
        let json = serde_json::to_value(Comparison::of(&answer)).unwrap();
        (
            answer.runs,
            causes,
            json["warnings"][0].as_str().map(str::to_string),
        )
    };
    let (runs, causes, why) = told(3000.0);
    assert_eq!((runs, causes), (2, false));
    assert!(
        why.as_deref().unwrap().starts_with("only 2 of 4 runs"),
        "{why:?}"
    );
    assert_eq!(told(100.0), (4, true, None));
}

/// At a tenth of the speed ten times as many chores run; what makes more than twelve times as many is no cure.
#[test]
fn a_change_under_which_the_board_gets_nowhere_is_given_up() {
    let most = |work: usize| {
        let cost = Cost {
            work,
            held_blocks: 1,
        };
        cost.chore_runs_max()
    };
    assert_eq!(
        [10, 100_000, 1_000_000, 10_000_000].map(most),
        [1_000_000, 1_200_000, 12_000_000, CHORE_RUNS_MAX]
    );
    let board = board(&[LATE, DEEP, CHORES]);
    let job = late_moves(20.0);
    let kept = Planned::new(JobReader::new(job.as_bytes()), &board)
        .store()
        .unwrap();
    let within = |chore_runs_max: u64| {
        let setup = Setup {
            chore_runs_max,
            ..Setup::whole(&board)
        };
        sample_of(&kept, &setup, 0, None)
            .map(|s| s.cost.work)
            .map_err(|e| e.runs)
    };
    let work = within(1_000_000).unwrap();
    assert_eq!(within(100_000), Err(100_000));
    assert_eq!(within(work as u64), Ok(work));
}

#[test]
fn replays_that_hold_many_blocks_run_one_at_a_time() {
    let threads = |held_blocks: usize| {
        let cost = Cost {
            work: 1,
            held_blocks,
        };
        cost.threads(8)
    };
    let mib = |of: usize| of * (1 << 20) / 600;
    assert_eq!(
        [mib(1), mib(50), mib(101), mib(399), mib(401), mib(4000)].map(threads),
        [8, 8, 3, 1, 1, 1]
    );
}

/// One stall with eight pairs a move that may be bumps: 2^18 of them are held until it ends.
#[test]
fn bumps_of_one_stall_are_held_up_to_a_limit_that_is_told() {
    let board = board(&["loop.block_us=1e5", "chore=[]"]);
    let cut = |moves: usize| {
        let job = format!("G91\nM83\nG1 Z.2 F6000\n{}", "G1 X3 E.1\n".repeat(moves));
        let mut watch = Watch::new(&board.nozzle, |_| {});
        replay(job.as_bytes(), &board, 0, &mut watch).unwrap();
        let (seen, _) = watch.finish();
        assert_eq!(seen.stalls(), 1);
        seen.cut_line
    };
    assert_eq!(cut(32_000), None);
    let line = cut(33_500).unwrap();
    assert!((32_000..33_500).contains(&line), "{line}");
}

/// Stalls in the middle of a solid square, where nobody sees them.
#[test]
fn mending_holds_200_000_bumps_until_it_knows_what_can_be_seen() {
    let board = board(&["loop.block_us=1e5", "chore=[]"]);
    let told = |pairs: usize| {
        let solid = "G1 X8 E.4\nG1 Y.4 E.02\nG1 X-8 E.4\nG1 Y.4 E.02\n".repeat(10);
        let pair = "G1 X.6 E.06\nG1 X-.6 E.06\nM400\n".repeat(pairs);
        let job = format!("G91\nM83\nG1 Z.2 F6000\n{solid}G1 X4 Y-4\nM400\n{pair}");
        let harm = harm(job.as_bytes(), &board, 0, 0.01).unwrap();
        let cut = harm.cuts.iter().find(|(_, what)| what != BUMPS_CUT);
        (harm.lines.len(), cut.map(|(_, what)| what.clone()))
    };
    let (few, none) = told(1000);
    assert_eq!(none, None);
    let (all, cut) = told(205_000);
    assert_eq!(all, 200_000);
    assert!(
        few < 100,
        "{few} of 1000 bumps in the middle of a square count as seen"
    );
    assert!(cut.unwrap().starts_with("there are more than 200000 bumps"));
}

/// Whether the surface of a job is unknown because it is too large.
fn is_too_large(moves: &str) -> bool {
    let dir = folder();
    let job = write(&dir, "job.gcode", &format!("M83\nG1 F60000\n{moves}"));
    let done = ran(&["replay", &job, "--json", "--runs", "1"]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let summary: Value = serde_json::from_slice(&done.stdout).unwrap();
    let warnings = summary["warnings"].as_array().unwrap();
    let mut told = warnings.iter().filter(|w| w["kind"] == "surface_unknown");
    told.any(|w| {
        w["message"]
            .as_str()
            .unwrap()
            .contains("is too large to be worked out")
    })
}

/// Of nozzles of 0.4 mm.
#[test]
fn a_layer_of_more_than_2_m_has_no_surface() {
    let squares = |layers: u32, side_mm: f64, apart_mm: f64| {
        let square = |k: u32| {
            let near = f64::from(k) * apart_mm;
            let (far, z) = (near + side_mm, 0.2 * f64::from(k + 1));
            format!(
                "G0 X{near} Y{near} Z{z}\nG1 X{far} E90\nG1 Y{far} E90\nG1 X{near} E90\nG1 Y{near} E90\n"
            )
        };
        (0..layers).map(square).collect::<String>()
    };
    assert!(!is_too_large(&squares(2, 1900.0, 0.0)));
    assert!(is_too_large(&squares(2, 2200.0, 0.0)));
    // Of all layers together four times as much.
    assert!(!is_too_large(&squares(7, 400.0, 400.0)));
    assert!(is_too_large(&squares(12, 400.0, 400.0)));
}

/// Level lines, 1.2 mm apart: each tile has plastic.
#[test]
fn a_layer_has_300_000_tiles_with_plastic() {
    let lines = |side_mm: f64| {
        let line = |k: u32| {
            let (x, y) = (side_mm * f64::from((k + 1) % 2), 1.2 * f64::from(k));
            format!("G1 X{x} Y{y:.1} E20\nG1 Y{:.1} E.1\n", y + 1.2)
        };
        let lines: String = (0..(side_mm / 1.2) as u32).map(line).collect();
        format!("G0 X0 Y0 Z0.2\n{lines}")
    };
    assert!(!is_too_large(&lines(1000.0)));
    assert!(is_too_large(&lines(1070.0)));
}

/// Of 300 stalls, the 200 that lose most.
#[test]
fn two_hundred_strips_are_kept() {
    let board = board(&["loop.block_us=2e5"]);
    let strips = |stalls: usize| {
        let pair = |k: usize| format!("G1 X{:.1} E.1\nG1 X0 E.1\nG4 P500\n", 1.0 + 0.01 * k as f64);
        let job: String = (0..stalls).map(pair).collect();
        let question = ReplayQuestion {
            pictures: true,
            runs: 1,
            ..ReplayQuestion::of(&board)
        };
        let answer = answer(&format!("M83\nG1 Z.2 F3000\n{job}"), &question);
        assert!(answer.stall_count() >= stalls as u64);
        let drawing = answer.drawing.unwrap();
        let least_s = drawing
            .strips
            .iter()
            .map(|s| s.lost_s)
            .fold(f64::INFINITY, f64::min);
        let without = answer
            .stalls
            .list()
            .iter()
            .filter(|s| !drawing.strips.iter().any(|k| k.stall == s.stall));
        let most_s = without.map(|s| s.lost_s).fold(0.0, f64::max);
        (drawing.strips.len(), most_s <= 1.05 * least_s)
    };
    assert_eq!(strips(150).0, 150);
    assert_eq!(strips(300), (200, true));
}

/// Spells of work and insertions that crowd around one stall.
#[test]
fn a_stall_among_too_many_spells_of_work_has_no_strip() {
    let board = board(&["loop.block_us=1e6"]);
    let job = "G1 X9 E1 F6000\nG1 X0 E2\n";
    let (stalls, _) = found(job, &board, 0);
    let blocks = run(job, &board).blocks;
    let late = blocks.iter().find(|b| b.lost_s() > 0.01).unwrap();
    let at_s = late.ran.start_s - late.ran.gap_s;
    let kept = |spells: u32, insertions: u32| {
        let mut strips = Strips::new(9);
        let moment = |k: u32| at_s + 1e-7 * f64::from(k);
        for k in 1..=spells {
            let by = [Cause::Chore, Cause::Compute][k as usize % 2];
            strips.spent(by, moment(k), moment(k + 1));
        }
        (1..=insertions).for_each(|k| strips.inserted(moment(k)));
        blocks.iter().for_each(|block| strips.block(block));
        strips.stall(&stalls[0]);
        strips.finish().len()
    };
    assert_eq!(stalls.len(), 1);
    assert_eq!(
        [kept(10, 10), kept(200_000, 10), kept(10, 20_000)],
        [1, 1, 1]
    );
    assert_eq!([kept(210_000, 10), kept(10, 20_001)], [0, 0]);
}

struct Traced(LayerTrace);

impl Watcher for Traced {
    fn block(&mut self, done: &Done) {
        self.0.block(done);
    }
    fn stop(&mut self, _: f64, _: f64) {}
}

#[test]
fn a_layer_is_drawn_in_150_000_segments_and_3000_marks() {
    let board = board(&[]);
    let traced = |moves: usize| {
        let mut traced = Traced(LayerTrace::new(0));
        let job = format!("G91\nM83\nG1 F6000\n{}", "G1 X.02 E.01\n".repeat(moves));
        replay(job.as_bytes(), &board, 0, &mut traced).unwrap();
        traced.0
    };
    // One more: where it begins.
    assert_eq!(traced(100_000).segments.len(), 100_001);
    let cut = traced(200_000);
    assert!(cut.segments.len() < 150_000);
    let end = cut.segments.last().unwrap();
    assert!((end.x_mm - 4000.0).abs() < 0.2, "{end:?}");
    let (stalls, _) = found(
        "G1 X9 E1 F6000\nG1 X0 E2\n",
        &self::board(&["loop.block_us=1e6"]),
        0,
    );
    let marks = |count: u64| {
        let mut trace = LayerTrace::new(0);
        for k in 0..count {
            let mut stall = stalls[0];
            (stall.stall, stall.lost_s) = (k, 1.0 + (k * 7 % 1000) as f64);
            trace.stall(&stall);
        }
        trace.keep_longest();
        let least = trace
            .marks
            .iter()
            .map(|m| m.lost_s)
            .fold(f64::INFINITY, f64::min);
        (trace.marks.len(), trace.unmarked, least)
    };
    assert_eq!(marks(3000), (3000, 0, 1.0));
    assert_eq!(marks(12_000), (3000, 9000, 751.0));
}

/// Where print and travel alternate, or each move starts elsewhere, no neighbours can be joined: once the list grew
/// without end, and was thinned anew at each move.
#[test]
fn a_layer_of_too_many_strokes_keeps_the_longer_ones() {
    let board = board(&[]);
    let traced = |moves: &str, count: usize| {
        let mut traced = Traced(LayerTrace::new(0));
        let job = format!("M83\nG1 Z.2 F6000\n{}", moves.repeat(count));
        replay(job.as_bytes(), &board, 0, &mut traced).unwrap();
        traced.0
    };
    // Strokes of 2 mm and of 1 mm, each with travel before it.
    let few = "G1 X2 E1\nG0 Y1\nG1 X1 E1\nG0 X0 Y0\n";
    let whole = traced(few, 37_400);
    assert_eq!((whole.segments.len(), whole.left_out), (149_601, 0));
    let ends = |trace: &LayerTrace| {
        let printed = trace.segments.iter().filter(|s| s.extrudes);
        printed.map(|s| s.x_mm).collect::<Vec<_>>()
    };
    // Thinned once, when there are 75 000 strokes.
    let cut = traced(few, 40_000);
    assert_eq!(cut.left_out, 37_500);
    let long = ends(&cut).iter().filter(|x| **x == 2.0).count();
    assert_eq!((long, ends(&cut).len()), (40_000, 42_500));
    // Nothing that is left prints where nothing was printed.
    for pair in cut.segments.windows(2).filter(|pair| pair[1].extrudes) {
        assert_eq!(pair[0].y_mm, pair[1].y_mm, "{pair:?}");
    }
    for moves in [few, "G1 X1 E1\nG0 X0\n", "G0 X9\nG28\n", "G1 X9 E1\nG28\n"] {
        let many = traced(moves, 300_000);
        assert!(many.segments.len() < 150_000, "{moves}");
        assert!(
            many.segments.len() > 50_000,
            "{moves}: {}",
            many.segments.len()
        );
        assert!(many.left_out > 100_000, "{moves}: {}", many.left_out);
    }
}

struct Followed(Paths);

impl Watcher for Followed {
    fn block(&mut self, done: &Done) {
        self.0.block(done);
    }
    fn stop(&mut self, _: f64, _: f64) {}
}

/// A layer of long moves, every second of which prints, is as long however coarse it is: it is left out, once there was
/// an endless loop; the others stay.
#[test]
fn a_layer_with_too_many_knots_is_left_out() {
    let board = board(&[]);
    let layers = |moves: [usize; 3]| {
        let layer = |k: usize| {
            let pair = "G1 X20 E.1\nG0 X0\n".repeat(moves[k] / 2);
            format!("G1 Z{}\n{pair}", 0.2 * (k + 1) as f64)
        };
        let job: String = (0..3).map(layer).collect();
        let mut followed = Followed(Paths::with_room(1000));
        replay(
            format!("M83\nG1 F6000\n{job}").as_bytes(),
            &board,
            0,
            &mut followed,
        )
        .unwrap();
        let (layers, _) = followed.0.finish(|_| true);
        layers
            .iter()
            .map(|l| (l.layer, l.knots.len()))
            .collect::<Vec<_>>()
    };
    assert_eq!(layers([200, 300, 400]), [(0, 201), (1, 301), (2, 401)]);
    assert_eq!(layers([200, 9000, 400]), [(0, 201), (2, 401)]);
    // Too many for the room, though not for a layer that goes on.
    assert_eq!(layers([0, 1500, 0]), []);
}
