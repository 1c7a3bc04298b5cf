//! The arguments of `coupon` and `fit`.

use std::path::PathBuf;

use clap::Args as ClapArgs;

use super::args_board::OnBoard;
use super::values;

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
    #[arg(long, value_name = "MM", default_value_t = 20.0, allow_negative_numbers = true, value_parser = parse_mm)]
    pub z: f64,
    /// Highest speed of the head, mm/s; 10 to 100
    #[arg(long, value_name = "MM_S", default_value_t = 100.0, allow_negative_numbers = true, value_parser = parse_speed)]
    pub speed: f64,
    /// Leave arcs and circles out, for a controller that doesn't know them
    #[arg(long)]
    pub no_arcs: bool,
    /// The file to write
    #[arg(short, long, value_name = "FILE", allow_hyphen_values = true, value_parser = values::path())]
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
    #[arg(long, value_name = "S", default_value_t = 0.15, allow_negative_numbers = true, value_parser = values::sigma)]
    pub sigma: f64,
    /// A job whose lost time on the fitted board is to be told; may be repeated
    #[arg(long, value_name = "JOB", allow_hyphen_values = true, value_parser = values::path())]
    pub job: Vec<PathBuf>,
    /// Write the times that were heard in the recording to this file
    #[arg(long, value_name = "FILE", allow_hyphen_values = true, value_parser = values::path())]
    pub times: Option<PathBuf>,
    /// Write a picture of the recording's loudness, the sections marked, to this file
    #[arg(long, value_name = "FILE.svg", allow_hyphen_values = true, value_parser = values::path())]
    pub picture: Option<PathBuf>,
    /// Write the fitted board to this file
    #[arg(short, long, value_name = "BOARD.toml", allow_hyphen_values = true, value_parser = values::path())]
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

fn parse_mm(text: &str) -> Result<f64, String> {
    text.parse()
        .map_err(|_| "must be a number of mm".to_string())
}

fn parse_speed(text: &str) -> Result<f64, String> {
    text.parse()
        .map_err(|_| "must be a number of mm/s".to_string())
}
