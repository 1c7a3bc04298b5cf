//! The arguments.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand, ValueEnum};
use headstall::board::builtin;
use headstall::board::profile::Override;
use headstall::study::mend::plan::Allow;

/// Will this print job stutter on this board? Where, why, and for how long.
#[derive(Debug, Parser)]
#[command(version, max_term_width = 80, propagate_version = true)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Replay a job through a board and say whether, where and why it stutters
    Replay(Replay),
    /// Replay jobs under several settings, with the same luck, and set the results side by side
    Compare(Compare),
    /// Try single changes to board and job, and rank them by what they cure and cost
    Remedies(Remedies),
    /// Write the job anew so that the board keeps up with it, and prove it
    Mend(Mend),
    /// List the boards that come with the program, or print one to start your own from
    Boards {
        /// The board to print
        name: Option<String>,
    },
}

/// Which board, with what changed.
#[derive(Clone, Debug, ClapArgs)]
pub struct OnBoard {
    /// A board that comes with the program (`headstall boards`), or a board file
    #[arg(long, value_name = "NAME|FILE", default_value = builtin::DEFAULT)]
    pub board: String,
    /// Change one key of the board, for example save.when=off; may be repeated
    #[arg(long, value_name = "KEY=VALUE", value_parser = parse_set)]
    pub set: Vec<Override>,
    /// Seed of all draws: the same seed gives the same luck
    #[arg(long, default_value_t = 0)]
    pub seed: u64,
}

/// Arguments of `replay`.
#[derive(Debug, ClapArgs)]
pub struct Replay {
    /// The job file, or - for standard input
    pub job: PathBuf,
    /// The board.
    #[command(flatten)]
    pub on: OnBoard,
    /// Write summary.json, stalls.csv, the pictures and report.html to this folder
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// With --out: also write blocks.csv, one row for each block
    #[arg(long, requires = "out")]
    pub blocks: bool,
    /// Print summary.json on standard output and nothing else there
    #[arg(long)]
    pub json: bool,
    /// Work the causes out in full, however long that takes
    #[arg(long, conflicts_with = "quick")]
    pub causes: bool,
    /// No causes worked out, no pictures, in constant memory
    #[arg(long)]
    pub quick: bool,
    /// Height from which a bump on an outer wall counts as visible, mm: an assumption, no source
    #[arg(long, value_name = "MM", default_value_t = 0.1, value_parser = parse_visible)]
    pub visible: f64,
    /// What runs across wall.svg: the angle around the part, or the length along its outer wall
    #[arg(long, value_enum, default_value_t = By::Angle)]
    pub by: By,
    /// With --out: each picture also as PNG, 1600 px wide
    #[arg(long, requires = "out")]
    pub png: bool,
    /// Print a short summary in plain text, to be pasted into a forum
    #[arg(long, conflicts_with = "json")]
    pub post: bool,
    /// Exit with 3 where there are more stalls than this
    #[arg(long, value_name = "N")]
    pub max_stalls: Option<u64>,
    /// Exit with 3 where more visible bumps than this are to be expected: the median over the runs
    #[arg(long, value_name = "N")]
    pub max_bumps: Option<u64>,
    /// Runs with other seeds, from which the verdict comes where the board has draws
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u64).range(1..=10_000))]
    pub runs: u64,
    /// Count everything printed as part of it: skirts, purge lines and supports too
    #[arg(long)]
    pub whole: bool,
    /// Draw this layer (from 0) in place of the one that loses most
    #[arg(long, value_name = "N")]
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
        conflicts_with = "board"
    )]
    pub boards: Vec<String>,
    /// Values for one key, for example queue.blocks=8,16,32; may be repeated, then all pairs are
    /// tried. `save` stands for when and how often: save=off,layer,1,2,5 (seconds)
    #[arg(long, value_name = "KEY=V1,V2", value_parser = parse_vary)]
    pub vary: Vec<Vary>,
    /// Most runs with other luck, for boards with draws; fewer if the answer is firm before
    #[arg(long, value_name = "N", default_value_t = 40, value_parser = clap::value_parser!(u64).range(1..=10_000))]
    pub runs: u64,
    /// Height from which a bump on an outer wall counts as visible, mm: an assumption, no source
    #[arg(long, value_name = "MM", default_value_t = 0.1, value_parser = parse_visible)]
    pub visible: f64,
    /// Write compare.csv, compare.json and compare.svg to this folder
    #[arg(long, value_name = "DIR")]
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
    /// Height from which a bump on an outer wall counts as visible, mm: an assumption, no source
    #[arg(long, value_name = "MM", default_value_t = 0.1, value_parser = parse_visible)]
    pub visible: f64,
    /// Write remedies.csv and remedies.json to this folder
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print remedies.json on standard output and nothing else there
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
    #[arg(long, value_name = "A,B", default_value = "merge,pace,strip", value_parser = Allow::parse)]
    pub allow: Allow,
    /// How far the path may move, mm
    #[arg(long, value_name = "MM", default_value_t = 0.02, value_parser = parse_within)]
    pub within: f64,
    /// Merge all over the job, not only where the board cannot keep up
    #[arg(long)]
    pub everywhere: bool,
    /// Replays before and after, with other luck each
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u64).range(1..=10_000))]
    pub runs: u64,
    /// Height from which a bump on an outer wall counts as visible, mm: an assumption, no source
    #[arg(long, value_name = "MM", default_value_t = 0.1, value_parser = parse_visible)]
    pub visible: f64,
    /// Write the mended job to this file; without it, only say what would be done
    #[arg(short = 'o', long = "out", value_name = "NEW")]
    pub out: Option<PathBuf>,
    /// Replace the file if it exists
    #[arg(long, requires = "out")]
    pub force: bool,
    /// Print the result as JSON on standard output and nothing else there
    #[arg(long)]
    pub json: bool,
}

fn parse_within(text: &str) -> Result<f64, String> {
    let mm: Option<f64> = text.parse().ok();
    mm.filter(|mm| *mm >= 0.0 && *mm <= 1.0)
        .ok_or_else(|| "must be a number of mm from 0 to 1".to_string())
}

fn parse_visible(text: &str) -> Result<f64, String> {
    let mm: Option<f64> = text.parse().ok();
    mm.filter(|mm| *mm >= 0.0 && *mm <= 100.0)
        .ok_or_else(|| "must be a number of mm from 0 to 100".to_string())
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
    let set = |text: String| parse_set(&text);
    let mut settings = Vec::new();
    for value in split(values) {
        if value.is_empty() {
            return Err(format!("{text}: a value is empty"));
        }
        let sets = match (key, value) {
            ("save", "off" | "layer") => vec![set(format!("save.when={value}"))?],
            ("save", seconds) => {
                let seconds = seconds.strip_suffix('s').unwrap_or(seconds);
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

fn parse_set(text: &str) -> Result<Override, String> {
    Override::parse(text).map_err(|e| e.to_string())
}
