//! The arguments.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand, ValueEnum};
use headstall::board::builtin;
use headstall::board::profile::Override;

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
    /// Write a dry-run job whose durations tell your board's numbers; it heats nothing
    Coupon(Coupon),
    /// Find your board's numbers from the coupon's times, by stop-watch or from a recording
    Fit(Fit),
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

/// Arguments of `coupon`.
#[derive(Debug, ClapArgs)]
pub struct Coupon {
    /// The board.
    #[command(flatten)]
    pub on: OnBoard,
    /// Corner of the box of 60 by 60 mm that the head stays in: its least x and y, mm
    #[arg(long, value_name = "X,Y", default_value = "80,80", value_parser = parse_at, allow_hyphen_values = true)]
    pub at: [f64; 2],
    /// Height of the head all the while, mm; 5 or more
    #[arg(long, value_name = "MM", default_value_t = 20.0)]
    pub z: f64,
    /// Highest speed of the head, mm/s; 10 to 100
    #[arg(long, value_name = "MM_S", default_value_t = 100.0)]
    pub speed: f64,
    /// Leave arcs and circles out, for a controller that doesn't know them
    #[arg(long)]
    pub no_arcs: bool,
    /// The file to write
    #[arg(short, long, value_name = "FILE")]
    pub out: PathBuf,
    /// Write over a file that is there
    #[arg(long)]
    pub force: bool,
}

/// Arguments of `fit`.
#[derive(Debug, ClapArgs)]
pub struct Fit {
    /// The coupon that was run
    pub coupon: PathBuf,
    /// Its times (CSV: section,seconds) or a recording of it (WAV). Given two, of a printer before and after a
    /// change, it says which sections differ and fits no board
    #[arg(required = true, num_args = 1..=2, value_name = "TIMES.csv|REC.wav")]
    pub lists: Vec<PathBuf>,
    /// The board to start from.
    #[command(flatten)]
    pub on: OnBoard,
    /// Standard deviation of a reading that gives none, s
    #[arg(long, value_name = "S", default_value_t = 0.15, value_parser = parse_sigma)]
    pub sigma: f64,
    /// A job whose lost time on the fitted board is to be told; may be repeated
    #[arg(long, value_name = "JOB")]
    pub job: Vec<PathBuf>,
    /// Write the times that were heard in the recording to this file
    #[arg(long, value_name = "FILE")]
    pub times: Option<PathBuf>,
    /// Write a picture of the recording's loudness, the sections marked, to this file
    #[arg(long, value_name = "FILE.svg")]
    pub picture: Option<PathBuf>,
    /// Write the fitted board to this file
    #[arg(short, long, value_name = "BOARD.toml")]
    pub out: Option<PathBuf>,
    /// Write over files that are there
    #[arg(long)]
    pub force: bool,
    /// Print the result as JSON on standard output and nothing else there
    #[arg(long)]
    pub json: bool,
}

fn parse_at(text: &str) -> Result<[f64; 2], String> {
    let must = || "must be two numbers of mm, as in 80,80".to_string();
    let (x, y) = text.split_once(',').ok_or_else(must)?;
    let number = |text: &str| text.trim().parse().ok().filter(|v: &f64| v.is_finite());
    Ok([number(x).ok_or_else(must)?, number(y).ok_or_else(must)?])
}

fn parse_sigma(text: &str) -> Result<f64, String> {
    let s: Option<f64> = text.parse().ok();
    s.filter(|s| (0.001..=60.0).contains(s))
        .ok_or_else(|| "must be a number of seconds from 0.001 to 60".to_string())
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
