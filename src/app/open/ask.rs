//! What the page asks, read and checked: a board, a question.

use headstall::answer::effort::Effort;
use headstall::board::builtin;
use headstall::board::profile::{self, Override};
use headstall::board::types::Board;
use headstall::report::wall::Across;
use headstall::study::reshape::Reshape;
use headstall::text::clean;
use serde::{Deserialize, Serialize};

use super::super::inputs;
use super::super::values;

/// Most changed keys.
const SETS_MAX: usize = 1000;

/// A board: the name of one that comes with the program, or the text of a file; and what is changed in it.
#[derive(Clone, Debug, Default, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct BoardAsked {
    /// The name of a built-in board.
    pub name: Option<String>,
    /// The text of a board file.
    pub text: Option<String>,
    /// What that file is called: a label.
    pub file: Option<String>,
    /// Changed keys, as `KEY=VALUE`.
    #[serde(default)]
    pub sets: Vec<String>,
}

/// A board, read.
pub struct BoardRead {
    /// The board.
    pub board: Board,
    /// Its file, without the changes.
    pub text: String,
    /// What it is called: the built-in board's name, or the file's.
    pub shown: String,
    /// The changes.
    pub sets: Vec<Override>,
}

impl BoardRead {
    /// The changes as they are typed.
    pub fn set(&self) -> Vec<String> {
        self.sets.iter().map(ToString::to_string).collect()
    }
}

impl BoardAsked {
    /// Reads it.
    ///
    /// # Errors
    /// In words: those of the command line.
    pub fn read(&self) -> Result<BoardRead, String> {
        if self.sets.len() > SETS_MAX {
            return Err(format!("more than {SETS_MAX} changed keys"));
        }
        let (text, shown) = match (&self.name, &self.text) {
            (Some(name), None) => {
                let text = builtin::text(name).ok_or_else(|| inputs::no_board(name).to_string())?;
                (text.to_string(), name.clone())
            }
            (None, Some(text)) => {
                if text.len() as u64 > inputs::BOARD_BYTES_MAX {
                    return Err(inputs::large_board());
                }
                let shown = self.file.as_deref().unwrap_or("board.toml");
                (text.clone(), label(shown))
            }
            _ => return Err("a board has either a name or a text".to_string()),
        };
        let sets: Vec<Override> = self
            .sets
            .iter()
            .map(|set| Override::parse(set).map_err(|e| e.to_string()))
            .collect::<Result<_, _>>()?;
        let board = profile::parse(&text, &shown, &sets).map_err(|e| e.to_string())?;
        Ok(BoardRead {
            board,
            text,
            shown,
            sets,
        })
    }
}

/// A name from the page, made fit to be shown: never a path.
pub fn label(name: &str) -> String {
    const CHARS_MAX: usize = 120;
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    let short: String = clean(last).trim().chars().take(CHARS_MAX).collect();
    if short.is_empty() {
        "unnamed".to_string()
    } else {
        short
    }
}

/// How much work an answer is worth.
#[derive(Clone, Copy, Debug, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum HowMuch {
    /// Bumps, but no causes.
    Bumps,
    /// Causes where they take some seconds.
    #[default]
    Usual,
    /// Causes in full.
    Full,
}

impl From<HowMuch> for Effort {
    fn from(how: HowMuch) -> Self {
        match how {
            HowMuch::Bumps => Effort::Bumps,
            HowMuch::Usual => Effort::Usual,
            HowMuch::Full => Effort::Full,
        }
    }
}

/// What runs across the unrolled wall.
#[derive(Clone, Copy, Debug, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum By {
    /// The angle around the part.
    #[default]
    Angle,
    /// The length along its outer wall.
    Length,
}

impl From<By> for Across {
    fn from(by: By) -> Self {
        match by {
            By::Angle => Across::Angle,
            By::Length => Across::Length,
        }
    }
}

/// A question about a job on a board.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Question {
    /// The job's ID.
    pub job: String,
    /// The board.
    pub board: BoardAsked,
    /// Seed of all draws.
    #[serde(default)]
    pub seed: u64,
    /// Height from which a bump counts as visible, mm.
    #[serde(default = "visible_mm")]
    pub visible_mm: f64,
    /// Whether all that is printed counts as part.
    #[serde(default)]
    pub whole: bool,
    /// Runs with other seeds.
    #[serde(default = "runs")]
    pub runs: u64,
    /// How much work it is worth.
    #[serde(default)]
    pub effort: HowMuch,
    /// What runs across the unrolled wall.
    #[serde(default)]
    pub by: By,
    /// The layer to draw.
    #[serde(default)]
    pub layer: Option<u32>,
    /// Chords are merged where the path stays within this, mm.
    #[serde(default)]
    pub merge_mm: Option<f64>,
    /// `strip`: the stall's number.
    #[serde(default)]
    pub stall: Option<u64>,
    /// `take`: which file.
    #[serde(default)]
    pub what: Option<String>,
    /// `mend`: means that may be used.
    #[serde(default)]
    pub allow: Option<String>,
    /// `mend`: how far the path may move, mm.
    #[serde(default = "within_mm")]
    pub within_mm: f64,
    /// `mend`: all over the job.
    #[serde(default)]
    pub everywhere: bool,
    /// `explain`: the list of bumps, CSV.
    #[serde(default)]
    pub seen: Option<String>,
    /// `explain`: what the list is called.
    #[serde(default)]
    pub seen_name: Option<String>,
    /// `explain`: where somebody looked, `A0,A1,Z0,Z1`.
    #[serde(default)]
    pub window: Option<String>,
    /// `explain`: standard deviation of angles, degrees.
    #[serde(default = "angle_err_deg")]
    pub angle_err_deg: f64,
    /// `explain`: standard deviation of heights, mm.
    #[serde(default)]
    pub z_err_mm: Option<f64>,
    /// `explain`: draws for each p-value, and their seed.
    #[serde(default = "draws")]
    pub draws: u32,
    #[serde(default = "draws_seed")]
    pub draws_seed: u64,
}

fn visible_mm() -> f64 {
    0.1
}

fn runs() -> u64 {
    20
}

fn within_mm() -> f64 {
    0.02
}

fn angle_err_deg() -> f64 {
    3.0
}

fn draws() -> u32 {
    999
}

fn draws_seed() -> u64 {
    1
}

impl Question {
    /// Checks what the command line checks as it reads its arguments.
    ///
    /// # Errors
    /// In words.
    pub fn check(&self) -> Result<(), String> {
        let of = |what: &str, why: String| format!("{what}: {why}");
        let visible = values::visible(&self.visible_mm.to_string());
        visible.map_err(|why| of("visible_mm", why))?;
        let within = values::within(&self.within_mm.to_string());
        within.map_err(|why| of("within_mm", why))?;
        if !(1..=10_000).contains(&self.runs) {
            return Err("runs: must be a whole number from 1 to 10000".to_string());
        }
        if self.merge_mm.is_some_and(|mm| !(0.0..=1.0).contains(&mm)) {
            return Err("merge_mm: must be a number of mm from 0 to 1".to_string());
        }
        if !(99..=99_999).contains(&self.draws) {
            return Err("draws: must be a whole number from 99 to 99999".to_string());
        }
        Ok(())
    }

    /// Refuses what changes the job: not every answer is about a changed one.
    ///
    /// # Errors
    /// In words.
    pub fn as_it_is(&self) -> Result<(), String> {
        match self.merge_mm {
            None => Ok(()),
            Some(_) => {
                Err("this is worked out for the job as it is: leave merged chords out".to_string())
            }
        }
    }

    /// What is done to the job before it is replayed.
    pub fn reshape(&self) -> Option<Reshape> {
        self.merge_mm.map(Reshape::Merge)
    }
}
