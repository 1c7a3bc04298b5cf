//! The arguments.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand};
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
    /// List the boards that come with the program, or print one to start your own from
    Boards {
        /// The board to print
        name: Option<String>,
    },
}

/// Which board, with what changed.
#[derive(Debug, ClapArgs)]
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
    /// Write summary.json, stalls.csv and the pictures to this folder
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
    /// Exit with 3 where there are more stalls than this
    #[arg(long, value_name = "N")]
    pub max_stalls: Option<u64>,
    /// Draw this layer (from 0) in place of the one that loses most
    #[arg(long, value_name = "N")]
    pub layer: Option<u32>,
}

fn parse_set(text: &str) -> Result<Override, String> {
    Override::parse(text).map_err(|e| e.to_string())
}
