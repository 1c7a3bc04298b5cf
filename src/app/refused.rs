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

/// Options with free values, each with one that begins with a dash: it is taken, or its refusal says what is allowed.
const DASHED: &str = "\
replay j --board -b.toml|
replay j --out -d|
replay j --by -x|possible values: angle, length
replay j --set -q=1|
replay j --set -q|must be KEY=VALUE
compare j --boards -b.toml,-c.toml|
compare j --vary -q=1|
compare j --vary -q|must be KEY=V1,V2
compare j --out -d|
remedies j --out -d|
explain j s --board -b.toml|
explain j s --set -q=1|
explain j s --out -d|
mend j --allow -merge|allowed are merge
mend j -o -x|
mend j -o -|
mend j --out -x|
demo --out -d|
open --board -b.toml|
open --set -q=1|
coupon -o -x|
coupon --out -x|
fit c t --times -x|
fit c t --picture -x.svg|
fit c t --job -dash.gcode|
fit c t -o -x|
replay j --out --png|two dashes is an option
replay j --board --json|two dashes is an option
compare j --boards --json|two dashes is an option
fit c t --job --json|two dashes is an option";

#[test]
fn a_value_may_begin_with_a_dash() {
    for row in DASHED.lines() {
        let (words, allowed) = row.split_once('|').unwrap();
        let words = ["headstall"].into_iter().chain(words.split(' '));
        match Args::try_parse_from(words) {
            Ok(_) => assert_eq!(allowed, "", "{row}"),
            Err(error) => {
                let text = error.to_string();
                assert!(
                    !allowed.is_empty() && text.contains(allowed),
                    "{row}: {text}"
                );
                assert!(!text.contains("use '--"), "{row}: {text}");
            }
        }
    }
    for words in ["replay --help", "replay j --out -d --help"] {
        let words = ["headstall"].into_iter().chain(words.split(' '));
        let help = Args::try_parse_from(words).unwrap_err();
        assert_eq!(help.kind(), clap::error::ErrorKind::DisplayHelp);
    }
}

/// No option with a value is left out above.
#[test]
fn each_option_with_a_free_value_takes_a_dash() {
    use clap::CommandFactory;
    for command in Args::command().get_subcommands() {
        for option in command.get_opts().filter(|o| o.get_action().takes_values()) {
            let free =
                option.is_allow_hyphen_values_set() || option.is_allow_negative_numbers_set();
            assert!(free, "{} {option}", command.get_name());
        }
    }
}
