//! What is said of numbers that are not allowed, command by command.

use clap::Parser;

use super::args::Args;

/// Arguments, and what their refusal says.
const REFUSED: &str = "\
explain j s --z-err -1|must be a number of mm from 0 to 20
explain j s --angle-err -3|must be a number of degrees from 0 to 45
explain j s --angle-err x|must be a number of degrees from 0 to 45
explain j s --visible -1|must be a number of mm from 0 to 100
explain j s --seed -1|must be a whole number from 0 to 18446744073709551615
explain j s --draws -1|must be a whole number from 99 to 99999
explain j s --window -1|must be four numbers A0,A1,Z0,Z1
mend j --within -1|must be a number of mm from
mend j --runs -1|must be a whole number from 1 to 10000
mend j --visible -1|must be a number of mm from 0 to 100
replay j --runs -1|must be a whole number from 1 to 10000
remedies j --visible -1|must be a number of mm from 0 to 100
fit c t --sigma -1|must be a number of seconds from 0.001 to 60
coupon -o c --z x|must be a number of mm
coupon -o c --speed x|must be a number of mm/s";

#[test]
fn no_number_is_taken_for_an_option() {
    for row in REFUSED.lines() {
        let (words, allowed) = row.split_once('|').unwrap();
        let words = ["headstall"].into_iter().chain(words.split(' '));
        let text = Args::try_parse_from(words).unwrap_err().to_string();
        assert!(text.contains(allowed) && !text.contains("tip:"), "{text}");
    }
    // What is allowed is said when the coupon's box is checked.
    for option in ["--z", "--speed"] {
        Args::try_parse_from(["headstall", "coupon", "-o", "c", option, "-1"]).unwrap();
    }
}
