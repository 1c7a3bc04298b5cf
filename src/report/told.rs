//! What `replay` and `remedies` say of their answers on a terminal, and the page beside it.

use crate::answer::replay::ReplayAnswer;
use crate::study::remedy::Remedy;

use super::cures::{self, CureTable};
use super::summary::Summary;
use super::text::{headed, shell_word, wrap};
use super::{advice, words};

/// What was asked, as one would type it.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// The job's file.
    pub job: &'a str,
    /// The board's name or file.
    pub board: &'a str,
    /// Keys that were set, as `KEY=VALUE`.
    pub sets: &'a [String],
    /// The seed.
    pub seed: u64,
}

/// The verdict, the report and what to try next. `strong` makes a text bold.
pub fn replay(
    answer: &ReplayAnswer,
    summary: &Summary,
    ideas: &[Remedy],
    asked: &Asked,
    strong: &dyn Fn(&str) -> String,
) -> String {
    let mut told = headed(&summary.verdict, strong);
    told += &words::report(answer, summary);
    if !ideas.is_empty() {
        told += "\ntry next (not tried yet: `headstall remedies` tries these and more)\n";
    }
    for idea in ideas {
        for line in wrap(&advice::line(idea), 76) {
            told += &format!("  {line}\n");
        }
        if !idea.sets.is_empty() {
            told += &format!("    {}\n", command(asked, &idea.sets));
        }
    }
    told
}

/// The verdict on all remedies, their table, and the command that mends the job, where that would help.
pub fn remedies(table: &CureTable, asked: &Asked, strong: &dyn Fn(&str) -> String) -> String {
    let mut told = headed(&table.verdict, strong) + &cures::report(table);
    // Standard input cannot be given again.
    if asked.job != "-" {
        let on = on_board(asked.board, asked.sets);
        let line = cures::mend_line(table, &shell_word(asked.job), &on);
        told += &line.unwrap_or_default();
    }
    told
}

/// The command that tells the remedies for this job on this board.
pub fn remedies_command(job: &str, board: &str, sets: &[String]) -> String {
    format!(
        "headstall remedies {} {}",
        shell_word(job),
        on_board(board, sets)
    )
}

/// The options that name a board and what is set in it, as they are typed.
fn on_board<'a>(board: &str, sets: impl IntoIterator<Item = &'a String>) -> String {
    let board = format!("--board {}", shell_word(board));
    let set = |all: String, set: &String| all + " --set " + &shell_word(set);
    sets.into_iter().fold(board, set)
}

/// The command with more keys set; a key that was set before gets its new value only.
fn command(asked: &Asked, sets: &[String]) -> String {
    let key = |set: &str| set.split('=').next().map(str::to_string);
    let again = |own: &&String| sets.iter().any(|set| key(set) == key(own));
    let own = asked.sets.iter().filter(|own| !again(own));
    let on = on_board(asked.board, own.chain(sets));
    let mut text = format!("headstall replay {} {on}", shell_word(asked.job));
    if asked.seed != 0 {
        text += &format!(" --seed {}", asked.seed);
    }
    text
}
