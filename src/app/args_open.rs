//! The arguments of `open`.

use std::path::PathBuf;

use clap::Args as ClapArgs;
use headstall::board::builtin;
use headstall::board::profile::Override;

use super::args_board::{parse_set, whole};
use super::values;

/// Arguments of `open`.
#[derive(Debug, ClapArgs)]
pub struct Open {
    /// A job to begin with
    pub job: Option<PathBuf>,
    /// A board to begin with: one that comes with the program (`headstall boards`), or a board file
    #[arg(long, value_name = "NAME|FILE", default_value = builtin::DEFAULT, allow_hyphen_values = true, value_parser = values::board)]
    pub board: String,
    /// Change one key of the board, for example save.when=off; may be repeated
    #[arg(long, value_name = "KEY=VALUE", value_parser = parse_set, allow_hyphen_values = true)]
    pub set: Vec<Override>,
    /// Print the address and don't open a browser
    #[arg(long)]
    pub no_browser: bool,
    /// The port to listen on, on this computer only; 0: one that is free
    #[arg(long, value_name = "N", default_value_t = 0, allow_negative_numbers = true, value_parser = whole(0..=u16::MAX))]
    pub port: u16,
    /// End this long after the last page was closed
    #[arg(long, value_name = "SECONDS", default_value_t = 60, allow_negative_numbers = true, value_parser = whole(1..=86_400u64))]
    pub idle: u64,
}
