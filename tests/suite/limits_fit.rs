//! Limits of what `fit` replays (DEVELOPERS.md, "Limits"): a coupon is replayed more than a thousand times.

use headstall::answer::fit::coupon as read;
use headstall::board::builtin;
use headstall::replay::duties::CHORE_RUNS_MAX;
use headstall::study::fit::coupon::{LinkKind, Plan};
use headstall::study::fit::forward::Coupon;
use headstall::study::fit::times;

use super::making::{board, board_from};

/// A coupon of so many sections of so many moves, at this feed.
fn made(sections: usize, moves: usize, feed: &str) -> String {
    let section = |k: usize| {
        let back = if k.is_multiple_of(2) { "" } else { "-" };
        format!("{}G4 S3\n", format!("G1 X{back}1\n").repeat(moves))
    };
    let all: String = (0..sections).map(section).collect();
    format!("G28\nG91\nG1 F{feed}\nG4 S3\n{all}")
}

/// Once the fit to 60 000 sections, or to a few moves that take days, went on for minutes.
#[test]
fn a_fit_takes_coupons_and_lists_that_it_can_replay() {
    let board = board_from(builtin::text("8bit-card").unwrap(), &[]);
    let refused = |job: &str| {
        let done = read(job.as_bytes(), "c.gcode", &board);
        done.map(|read| read.coupon.count()).unwrap_err()
    };
    let sections = |job: &str| {
        read(job.as_bytes(), "c.gcode", &board)
            .unwrap()
            .coupon
            .count()
    };
    assert_eq!(sections(&made(1000, 1, "600")), 1000);
    assert_eq!(
        refused(&made(1001, 1, "600")),
        "c.gcode: has 1001 sections between pauses of 2.5 s and more; a fit takes at most 1000, and a coupon of \
         `headstall coupon` has about 20"
    );
    assert_eq!(sections(&made(20, 100, "600")), 20);
    let slow = refused(&made(20, 20, "0.0001"));
    let long = refused(&made(20, 6_000, "6"));
    for why in [slow, long] {
        let why = why.strip_prefix("c.gcode: is too long to fit a board to: one replay takes ");
        let why = why.unwrap();
        let (work, rest) = why
            .split_once(" command lines, moves and runs of chores")
            .unwrap();
        assert!(work.parse::<u64>().unwrap() > 1_000_000, "{why}");
        assert!(rest.contains("at most 1000000 are taken"), "{why}");
    }
    let list = |count: usize| {
        let row = |k: usize| format!("{},2,{}\n", k % 40 + 1, k / 40 + 1);
        let rows: String = (0..count).map(row).collect();
        let text = format!("section,seconds,run\n{rows}");
        times::read(&text, "t.csv", 40, 0.15).map(|readings| readings.len())
    };
    assert_eq!(list(2000), Ok(2000));
    let why = "t.csv:2002: has more than 2000 times; leave out some sections or runs";
    assert_eq!(list(2001), Err(why.to_string()));
}

/// The program's own coupons stay far below the limit, on all its boards.
#[test]
fn coupons_of_the_program_are_short_enough() {
    for name in builtin::names() {
        let board = board_from(builtin::text(name).unwrap(), &[]);
        let plan = Plan {
            link: LinkKind::of(&board),
            at_mm: [80.0, 80.0],
            z_mm: 20.0,
            speed_mm_s: 100.0,
            arcs: true,
        };
        let text = plan.text(&[]);
        let read = read(text.as_bytes(), name, &board).unwrap();
        let work = read.coupon.replay(&board, 0).unwrap().work;
        assert!((10_000..200_000).contains(&work), "{name}: {work}");
    }
}

#[test]
fn a_board_that_gets_nowhere_with_a_coupon_is_given_up() {
    let board = board(&["chore=[{every_s=1e-3, us=1}]"]);
    let read = read(made(20, 10, "600").as_bytes(), "c.gcode", &board).unwrap();
    let coupon: &Coupon = &read.coupon;
    let whole = coupon.replay(&board, 0).unwrap();
    assert!(whole.work > 10_000, "{whole:?}");
    let within = |most: u64| coupon.replay_within(&board, 0, most);
    assert_eq!(within(whole.work), Ok(whole));
    assert_eq!(within(CHORE_RUNS_MAX), coupon.replay(&board, 0));
    assert_eq!(within(10_000).unwrap_err().runs, 10_000);
}
