//! The arguments.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;
use headstall::board::builtin;
use headstall::board::profile::Override;
use headstall::study::explain::view::Window;
use headstall::study::mend::plan::Allow;

pub use super::args_board::OnBoard;
use super::args_board::{parse_set, whole};
pub use super::args_fit::{Coupon, Fit};
pub use super::args_open::Open;
use super::values;

/// Say whether a print job stutters on a board: where, why, and which bumps it leaves.
#[derive(Debug, Parser)]
#[command(
    version,
    max_term_width = 80,
    propagate_version = true,
    after_help = "\
Examples:
  headstall open                                  all of it on a page in your browser
  headstall demo                                  see what it does, with a job of its own
  headstall replay myjob.gcode                    will it stutter, where, why?
  headstall replay myjob.gcode --out results      the same with pictures
  headstall remedies myjob.gcode                  what would cure it?

`headstall replay --help` and the like show each command's options and examples."
)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write a demo job and two boards, replay the job on both, and say what to try
    #[command(after_help = "\
Examples:
  headstall demo
  headstall demo --out lantern")]
    Demo {
        /// Write the demo and its results to this folder
        #[arg(long, value_name = "DIR", default_value = "headstall-demo", allow_hyphen_values = true, value_parser = values::path())]
        out: PathBuf,
    },
    /// Do all of this on a page in your browser, which only this computer can reach
    #[command(after_help = "\
Examples:
  headstall open
  headstall open myjob.gcode --board 8bit-card
  headstall open myjob.gcode --board myboard.toml --no-browser --port 8080")]
    Open(Open),
    /// Replay a job through a board and say whether, where and why it stutters
    #[command(after_help = "\
Examples:
  headstall replay myjob.gcode --board 8bit-card
  headstall replay myjob.gcode --board myboard.toml --out results
  headstall replay myjob.gcode --set save.when=off --set queue.blocks=32
  headstall replay myjob.gcode --post
  headstall replay - --json --max-stalls 0")]
    Replay(Replay),
    /// Replay jobs under several settings, with the same luck, and set the results side by side
    #[command(after_help = "\
Examples:
  headstall compare myjob.gcode --vary save=off,layer,1,5,30
  headstall compare myjob.gcode --boards 8bit-card,32bit-card --out results
  headstall compare chords.gcode arcs.gcode --board myboard.toml
  headstall compare myjob.gcode --vary queue.blocks=8,16,32 --vary save=off,1")]
    Compare(Compare),
    /// Try single changes to board and job, and rank them by what they cure and cost
    #[command(after_help = "\
Examples:
  headstall remedies myjob.gcode --board 8bit-card-saves
  headstall remedies myjob.gcode --board myboard.toml --out results")]
    Remedies(Remedies),
    /// Write a dry-run job whose durations tell your board's numbers; it heats nothing
    #[command(after_help = "\
Examples:
  headstall coupon --board 8bit-card -o coupon.gcode
  headstall coupon --board 8bit-serial-115200 --at 20,40 --z 30 --speed 80 -o coupon.gcode")]
    Coupon(Coupon),
    /// Find your board's numbers from the coupon's times, by stop-watch or from a recording
    #[command(after_help = "\
Examples:
  headstall fit coupon.gcode times.csv --board 8bit-card -o myboard.toml
  headstall fit coupon.gcode recording.wav --board 8bit-card --times times.csv --picture fit.svg
  headstall fit coupon.gcode times.csv --board 8bit-card --job myjob.gcode
  headstall fit coupon.gcode old-card.csv new-card.csv --board myboard.toml")]
    Fit(Fit),
    /// Say which explanation the bumps agree with that you see on a print: the controller's stalls,
    /// something regular, the seam, corners, or chance
    #[command(after_help = "\
Examples:
  headstall explain myjob.gcode seen.csv --board myboard.toml
  headstall explain myjob.gcode seen.csv --window 200,340,0,10 --out results")]
    Explain(Explain),
    /// Write the job anew so that the board keeps up with it, and prove it
    #[command(after_help = "\
Examples:
  headstall mend myjob.gcode --board myboard.toml
  headstall mend myjob.gcode --board myboard.toml -o mended.gcode
  headstall mend myjob.gcode --allow merge,arcs --within 0.01 -o mended.gcode")]
    Mend(Mend),
    /// List the boards that come with the program, or print one to start your own from
    #[command(after_help = "\
Examples:
  headstall boards
  headstall boards 8bit-card > myboard.toml")]
    Boards {
        /// The board to print
        name: Option<String>,
    },
    /// Print a completion script for a shell
    #[command(after_help = "\
Examples:
  headstall completions bash > ~/.local/share/bash-completion/completions/headstall
  headstall completions fish > ~/.config/fish/completions/headstall.fish
  headstall completions zsh > ~/.zfunc/_headstall")]
    Completions {
        /// The shell
        shell: Shell,
    },
    /// Print the man page of the program, or of one of its commands
    #[command(after_help = "\
Examples:
  headstall man > ~/.local/share/man/man1/headstall.1
  headstall man replay > ~/.local/share/man/man1/headstall-replay.1")]
    Man {
        /// The command
        command: Option<String>,
    },
}

/// Arguments of `replay`.
#[derive(Debug, ClapArgs)]
pub struct Replay {
    /// The job file, or - for standard input
    pub job: PathBuf,
    /// The board.
    #[command(flatten)]
    pub on: OnBoard,
    /// Write summary.json, stalls.csv, bumps.csv, the pictures and report.html to this folder
    #[arg(long, value_name = "DIR", allow_hyphen_values = true, value_parser = values::path())]
    pub out: Option<PathBuf>,
    /// With --out: also write blocks.csv, one row for each block
    #[arg(long, requires = "out")]
    pub blocks: bool,
    /// Print summary.json on standard output and nothing else there
    #[arg(long)]
    pub json: bool,
    /// Attribute lost time to its causes exactly, however long that takes
    #[arg(long, conflicts_with = "quick")]
    pub causes: bool,
    /// One run only, without causes, visible bumps or pictures, in constant memory
    #[arg(long)]
    pub quick: bool,
    /// Height from which a bump on the outside counts as visible, mm: an assumption without a source
    #[arg(long, value_name = "MM", default_value_t = 0.1, allow_negative_numbers = true, value_parser = values::visible)]
    pub visible: f64,
    /// What runs across wall.svg: the angle around the part, or the length along its outer wall
    #[arg(long, value_enum, default_value_t = By::Angle, allow_hyphen_values = true)]
    pub by: By,
    /// With --out: each picture also as PNG, 1600 px wide
    #[arg(long, requires = "out")]
    pub png: bool,
    /// Print a short summary in plain text, to be pasted into a forum
    #[arg(long, conflicts_with = "json")]
    pub post: bool,
    /// Exit with 3 where there are more stalls than this
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = whole(0..=u64::MAX))]
    pub max_stalls: Option<u64>,
    /// Exit with 3 where more visible bumps than this are to be expected: the median over the runs
    #[arg(long, value_name = "N", conflicts_with = "quick", allow_negative_numbers = true, value_parser = whole(0..=u64::MAX))]
    pub max_bumps: Option<u64>,
    /// Runs with different seeds, from which the verdict comes where durations of the board vary; 1 for one run
    #[arg(long, value_name = "N", default_value_t = 20, allow_negative_numbers = true, value_parser = whole(1..=10_000u64))]
    pub runs: u64,
    /// Count everything printed as part of it: skirts, purge lines and supports too
    #[arg(long)]
    pub whole: bool,
    /// Draw this layer (from 0) in map.svg instead of the one with most visible bumps
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = whole(0..=u32::MAX))]
    pub layer: Option<u32>,
}

/// What runs across `wall.svg`.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum By {
    /// The angle around the part
    Angle,
    /// The length along the outer wall
    Length,
}

/// Arguments of `compare`.
#[derive(Debug, ClapArgs)]
pub struct Compare {
    /// The job files, or - for standard input
    #[arg(required = true)]
    pub jobs: Vec<PathBuf>,
    /// The board.
    #[command(flatten)]
    pub on: OnBoard,
    /// Several boards in place of one, by name or file, separated by commas
    #[arg(
        long,
        value_name = "A,B,C",
        value_delimiter = ',',
        conflicts_with = "board",
        allow_hyphen_values = true,
        value_parser = values::board
    )]
    pub boards: Vec<String>,
    /// Values for one key, for example queue.blocks=8,16,32; may be repeated, then all pairs are
    /// tried. `save` stands for when and how often: save=off,layer,1,2,5 (seconds)
    #[arg(long, value_name = "KEY=V1,V2", value_parser = parse_vary, allow_hyphen_values = true)]
    pub vary: Vec<Vary>,
    /// Most runs with other luck, for boards with draws; fewer if the answer is firm before
    #[arg(long, value_name = "N", default_value_t = 40, allow_negative_numbers = true, value_parser = whole(1..=10_000u64))]
    pub runs: u64,
    /// Height from which a bump on the outside counts as visible, mm: an assumption without a source
    #[arg(long, value_name = "MM", default_value_t = 0.1, allow_negative_numbers = true, value_parser = values::visible)]
    pub visible: f64,
    /// Write compare.csv, compare.json and compare.svg to this folder
    #[arg(long, value_name = "DIR", allow_hyphen_values = true, value_parser = values::path())]
    pub out: Option<PathBuf>,
    /// With --out: the chart also as PNG, 1600 px wide
    #[arg(long, requires = "out")]
    pub png: bool,
    /// Print compare.json on standard output and nothing else there
    #[arg(long)]
    pub json: bool,
    /// Work the causes of each setting out in full, however long that takes
    #[arg(long)]
    pub causes: bool,
}

/// Arguments of `remedies`.
#[derive(Debug, ClapArgs)]
pub struct Remedies {
    /// The job file, or - for standard input
    pub job: PathBuf,
    /// The board.
    #[command(flatten)]
    pub on: OnBoard,
    /// Height from which a bump on the outside counts as visible, mm: an assumption without a source
    #[arg(long, value_name = "MM", default_value_t = 0.1, allow_negative_numbers = true, value_parser = values::visible)]
    pub visible: f64,
    /// Write remedies.csv and remedies.json to this folder
    #[arg(long, value_name = "DIR", allow_hyphen_values = true, value_parser = values::path())]
    pub out: Option<PathBuf>,
    /// Print remedies.json on standard output and nothing else there
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `explain`.
#[derive(Debug, ClapArgs)]
pub struct Explain {
    /// The job file, or - for standard input
    pub job: PathBuf,
    /// The bumps you see: a CSV file with a header, one bump a line. Columns: z_mm (height over the bed)
    /// or layer (from 0); angle_deg (counter-clockwise from +x, seen from above, about the part's middle)
    /// or x_mm and y_mm; and, with several parts on the plate, part (1, 2, ... from left to right)
    pub seen: PathBuf,
    /// A board that comes with the program (`headstall boards`), or a board file
    #[arg(long, value_name = "NAME|FILE", default_value = builtin::DEFAULT, allow_hyphen_values = true, value_parser = values::board)]
    pub board: String,
    /// Change one key of the board, for example save.when=off; may be repeated
    #[arg(long, value_name = "KEY=VALUE", value_parser = parse_set, allow_hyphen_values = true)]
    pub set: Vec<Override>,
    /// Where you looked: two angles in degrees, the second counter-clockwise from the first, and two
    /// heights in mm. Without it, the smallest window with all bumps
    #[arg(long, value_name = "A0,A1,Z0,Z1", value_parser = values::window, allow_hyphen_values = true)]
    pub window: Option<Window>,
    /// Standard deviation of your angles, degrees
    #[arg(long, value_name = "DEGREES", default_value_t = 3.0, allow_negative_numbers = true, value_parser = values::angle_err)]
    pub angle_err: f64,
    /// Standard deviation of your heights, mm; 0.3 unless given, and nothing for counted layers
    #[arg(long, value_name = "MM", allow_negative_numbers = true, value_parser = values::z_err)]
    pub z_err: Option<f64>,
    /// Height from which a predicted bump counts as visible, mm: an assumption, no source
    #[arg(long, value_name = "MM", default_value_t = 0.1, allow_negative_numbers = true, value_parser = values::visible)]
    pub visible: f64,
    /// Seed of the draws that p-values come from
    #[arg(long, value_name = "N", default_value_t = 1, allow_negative_numbers = true, value_parser = whole(0..=u64::MAX))]
    pub seed: u64,
    /// Draws for each p-value
    #[arg(long, value_name = "N", default_value_t = 999, allow_negative_numbers = true, value_parser = whole(99..=99_999u32))]
    pub draws: u32,
    /// Write explain.json and explain.svg to this folder
    #[arg(long, value_name = "DIR", allow_hyphen_values = true, value_parser = values::path())]
    pub out: Option<PathBuf>,
    /// With --out: the picture also as PNG, 1600 px wide
    #[arg(long, requires = "out")]
    pub png: bool,
    /// Print explain.json on standard output and nothing else there
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `mend`.
#[derive(Debug, ClapArgs)]
pub struct Mend {
    /// The job file, or - for standard input
    pub job: PathBuf,
    /// The board.
    #[command(flatten)]
    pub on: OnBoard,
    /// Means that may be used: merge (fewer, longer moves), pace (a lower feed where needed), strip (comments and
    /// needless decimals out), arcs (G2 and G3, for boards that print arcs)
    #[arg(long, value_name = "A,B", default_value = "merge,pace,strip", value_parser = Allow::parse, allow_hyphen_values = true)]
    pub allow: Allow,
    /// How far the path may move, mm
    #[arg(long, value_name = "MM", default_value_t = 0.02, allow_negative_numbers = true, value_parser = values::within)]
    pub within: f64,
    /// Merge all over the job, not only where the board cannot keep up
    #[arg(long)]
    pub everywhere: bool,
    /// Replays before and after, with other luck each
    #[arg(long, value_name = "N", default_value_t = 20, allow_negative_numbers = true, value_parser = whole(1..=10_000u64))]
    pub runs: u64,
    /// Height from which a bump on the outside counts as visible, mm: an assumption without a source
    #[arg(long, value_name = "MM", default_value_t = 0.1, allow_negative_numbers = true, value_parser = values::visible)]
    pub visible: f64,
    /// Write the mended job to this file, or - for standard output; without it, only say what would be done
    #[arg(short = 'o', long = "out", value_name = "NEW", allow_hyphen_values = true, value_parser = values::path())]
    pub out: Option<PathBuf>,
    /// Replace the file if it exists
    #[arg(long, requires = "out")]
    pub force: bool,
    /// Print the result as JSON on standard output and nothing else there
    #[arg(long)]
    pub json: bool,
}

/// One key and the values that it is to take.
#[derive(Clone, Debug)]
pub struct Vary {
    /// The settings: what each is called, and what it sets.
    pub settings: Vec<(String, Vec<Override>)>,
}

fn parse_vary(text: &str) -> Result<Vary, String> {
    let (key, values) = text
        .split_once('=')
        .ok_or_else(|| format!("{text}: must be KEY=V1,V2, as in queue.blocks=8,16,32"))?;
    let mut settings = Vec::new();
    for value in split(values) {
        if value.is_empty() {
            return Err(format!("{text}: a value is empty"));
        }
        let set = |text: String| {
            let set = parse_set(&text).map_err(|_| {
                format!("{key}: must be a key of a board, as in queue.blocks=8,16,32")
            })?;
            let from = Some(format!("--vary {key}={value}"));
            Ok::<_, String>(Override { from, ..set })
        };
        let sets = match (key, value) {
            ("save", "off" | "layer") => vec![set(format!("save.when={value}"))?],
            ("save", seconds) => {
                let seconds = seconds.strip_suffix('s').unwrap_or(seconds);
                if seconds.trim().parse::<f64>().is_err() {
                    return Err(format!(
                        "save={value}: must be off, layer, or the seconds between two saves, as in save=off,layer,5"
                    ));
                }
                vec![
                    set("save.when=seconds".to_string())?,
                    set(format!("save.every={seconds}"))?,
                ]
            }
            _ => vec![set(format!("{key}={value}"))?],
        };
        settings.push((format!("{key}={value}"), sets));
    }
    Ok(Vary { settings })
}

/// Splits at commas outside braces.
fn split(values: &str) -> Vec<&str> {
    let (mut parts, mut depth, mut from) = (Vec::new(), 0, 0);
    for (at, c) in values.char_indices() {
        match c {
            '{' | '[' => depth += 1,
            '}' | ']' => depth -= 1,
            ',' if depth == 0 => {
                parts.push(values[from..at].trim());
                from = at + 1;
            }
            _ => {}
        }
    }
    parts.push(values[from..].trim());
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    /// The message for these arguments after a job's name.
    fn refused(command: &str, args: &[&str]) -> String {
        let words = ["headstall", command, "job.gcode"];
        let all = words.iter().chain(args);
        match Args::try_parse_from(all) {
            Ok(_) => panic!("{args:?} are taken"),
            Err(error) => error.to_string(),
        }
    }

    #[test]
    fn numbers_out_of_range_are_told_what_is_allowed() {
        let whole = "must be a whole number from 0 to 18446744073709551615";
        let layer = "must be a whole number from 0 to 4294967295";
        for (args, allowed) in [
            (["--seed", "-1"], whole),
            (["--seed", "1.5"], whole),
            (["--seed", "-1.5"], whole),
            (["--seed", "18446744073709551616"], whole),
            (["--max-stalls", "-1"], whole),
            (["--layer", "-1"], layer),
            (["--layer", "4294967296"], layer),
            (["--visible", "-1"], "must be a number of mm from 0 to 100"),
            (["--visible", "nan"], "must be a number of mm from 0 to 100"),
        ] {
            let text = refused("replay", &args);
            let first = format!("error: invalid value '{}' for '{}", args[1], args[0]);
            assert!(text.starts_with(&first) && text.contains(allowed), "{text}");
            assert!(!text.contains("tip:"), "{text}");
        }
        for runs in ["-3", "0", "10001", "many"] {
            let text = refused("compare", &["--runs", runs]);
            let allowed = "must be a whole number from 1 to 10000";
            assert!(text.contains(allowed) && !text.contains("tip:"), "{text}");
        }
    }

    /// An option where a number is missing is not taken for one.
    #[test]
    fn an_option_is_no_number() {
        let text = refused("replay", &["--seed", "--json"]);
        assert!(
            text.contains("a value is required for '--seed <N>'"),
            "{text}"
        );
    }

    #[test]
    fn the_arguments_are_sound() {
        Args::command().debug_assert();
    }

    /// Each command's help ends with examples, and each of these can be given.
    #[test]
    fn examples_in_the_help_can_be_given() {
        let program = Args::command();
        let commands = program.get_subcommands().chain([&program]);
        for command in commands {
            let help = command.get_after_help().map(ToString::to_string);
            let help = help.unwrap_or_else(|| panic!("{} has no examples", command.get_name()));
            let (_, examples) = help.split_once("Examples:\n").unwrap();
            let lines = examples.lines().take_while(|l| !l.is_empty());
            assert!(lines.clone().count() >= 2, "{help}");
            for line in lines {
                let words = line.split("  ").find(|part| !part.is_empty()).unwrap();
                let words = words.split(" > ").next().unwrap().split(' ');
                if let Err(error) = Args::try_parse_from(words) {
                    panic!("{line}: {error}");
                }
            }
        }
    }
}
