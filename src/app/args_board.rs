//! The arguments that name a board.

use std::ops::RangeInclusive;

use clap::Args as ClapArgs;
use headstall::board::builtin;
use headstall::board::profile::Override;

use super::values;

/// Which board, with what changed.
#[derive(Clone, Debug, ClapArgs)]
pub struct OnBoard {
    /// A board that comes with the program (`headstall boards`), or a board file
    #[arg(long, value_name = "NAME|FILE", default_value = builtin::DEFAULT, allow_hyphen_values = true, value_parser = values::board)]
    pub board: String,
    /// Change one key of the board, for example save.when=off; may be repeated
    #[arg(long, value_name = "KEY=VALUE", value_parser = parse_set, allow_hyphen_values = true)]
    pub set: Vec<Override>,
    /// Seed of everything random: the same seed gives the same luck
    #[arg(long, value_name = "N", default_value_t = 0, allow_negative_numbers = true, value_parser = whole(0..=u64::MAX))]
    pub seed: u64,
}

/// Takes a whole number in a range, and says which one where the text is none.
pub fn whole<T>(range: RangeInclusive<T>) -> impl Fn(&str) -> Result<T, String> + Clone
where
    T: std::str::FromStr + PartialOrd + std::fmt::Display + Clone + Send + Sync,
{
    move |text| {
        let number: Option<T> = text.parse().ok();
        number.filter(|n| range.contains(n)).ok_or_else(|| {
            format!(
                "must be a whole number from {} to {}",
                range.start(),
                range.end()
            )
        })
    }
}

/// Takes `KEY=VALUE` apart.
pub fn parse_set(text: &str) -> Result<Override, String> {
    Override::parse(text).map_err(|e| e.to_string())
}
