//! What the reader found odd, counted by kind, with the first place of each.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::text::clean;

/// A kind of oddity.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum NoticeKind {
    /// A number that cannot be read.
    Number,
    /// Text that is no word.
    Word,
    /// A second command on a line.
    SecondCommand,
    /// A letter twice on a line.
    LetterTwice,
    /// A checksum that does not match.
    Checksum,
    /// A comment without its end.
    UnclosedComment,
    /// A line longer than is kept.
    LongLine,
    /// An arc that no circle fits.
    Arc,
    /// Start and end of an arc lie at different distances from its centre.
    ArcRadii,
    /// F, a factor or a limit of zero or less.
    NotPositive,
    /// A motion before the job set F.
    NoFeed,
    /// A block-delete line.
    Deleted,
    /// A line inside a block that the controller may skip.
    Conditional,
    /// A letter on a motion that this model does not move.
    StrangeAxis,
    /// The last line may be cut off.
    CutOff,
    /// NUL bytes.
    Nul,
    /// Nothing is extruded.
    NothingExtruded,
    /// A speed that no machine has: too slow.
    TooSlow,
    /// A cubic spline.
    Spline,
    /// A command of another kind that may change limits.
    HiddenLimits,
    /// A dwell that nobody waits for.
    LongDwell,
    /// An arc of more chords than are made.
    ArcChords,
    /// More blocks wait for their ideal than are held.
    IdealCut,
}

impl NoticeKind {
    /// Whether it says that a limit of this program has cut something.
    pub fn is_limit(self) -> bool {
        matches!(
            self,
            NoticeKind::LongLine
                | NoticeKind::Arc
                | NoticeKind::NotPositive
                | NoticeKind::TooSlow
                | NoticeKind::LongDwell
                | NoticeKind::ArcChords
                | NoticeKind::IdealCut
        )
    }

    /// What is odd and what was done about it.
    pub fn message(self) -> &'static str {
        match self {
            NoticeKind::Number => "a number that cannot be read; the word is left out",
            NoticeKind::Word => "text that is no word; the rest of the line is left out",
            NoticeKind::SecondCommand => "a second command on a line; only the first counts",
            NoticeKind::LetterTwice => "a letter twice on a line; the last one counts",
            NoticeKind::Checksum => {
                "a checksum that does not match; the line is taken as it stands"
            }
            NoticeKind::UnclosedComment => {
                "a comment without its closing bracket; it runs to the line's end"
            }
            NoticeKind::LongLine => "a line of more than 64 KiB; only its start is read",
            NoticeKind::Arc => "an arc that no circle fits; taken as a straight move",
            NoticeKind::ArcRadii => {
                "an arc whose end and start are not at the same distance from its centre; its last chord makes up for it"
            }
            NoticeKind::NotPositive => {
                "a speed, factor or limit that is not positive, or beyond any machine; it is ignored"
            }
            NoticeKind::NoFeed => "a move before the job sets F; 25 mm/s is taken",
            NoticeKind::Deleted => "a line marked with / (block delete); it is not carried out",
            NoticeKind::Conditional => {
                "a line inside a conditional block; a controller may skip it, here it is carried out"
            }
            NoticeKind::StrangeAxis => {
                "a letter on a move that this model has no axis for; it is ignored"
            }
            NoticeKind::CutOff => {
                "the file ends inside a line; if the job was cut off, it was here"
            }
            NoticeKind::Nul => "NUL bytes; taken as blanks",
            NoticeKind::NothingExtruded => "nothing is extruded, so no bump can be predicted",
            NoticeKind::TooSlow => {
                "a speed (F times the factor of M220) below 0.001 mm/s, slower than any machine; 0.001 mm/s is taken"
            }
            NoticeKind::Spline => "a cubic spline (G5); taken as a straight move to its end",
            NoticeKind::HiddenLimits => {
                "a command that this program does not know, with words such as ACCEL: if it changes the limits of \
                 speed or acceleration, what follows is replayed with the wrong ones"
            }
            NoticeKind::LongDwell => "a dwell (G4) of more than 1000000 s; 1000000 s are taken",
            NoticeKind::ArcChords => {
                "an arc of more chords than are simulated (100000 for one arc; less where very many arcs have \
                 thousands); it is cut into fewer, longer chords, so its times are not exact"
            }
            NoticeKind::IdealCut => {
                "the head brakes so slowly that more than 1048576 blocks depend on each other; the ideal looks \
                 no farther ahead, so its time may be too long"
            }
        }
    }
}

/// One kind of oddity in one job.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Notice {
    /// What kind.
    pub kind: NoticeKind,
    /// How often.
    pub count: u64,
    /// The first place: line, from 1.
    pub line: u64,
    /// The first place: byte offset in the file.
    pub byte: u64,
    /// The first line concerned, at most 60 characters of it.
    pub text: String,
}

/// All oddities of a job, and the commands that only cost decoding.
#[derive(Clone, Debug, Default)]
pub struct Notices {
    found: BTreeMap<NoticeKind, Notice>,
    others: BTreeMap<String, u64>,
    more_others: u64,
}

/// Distinct names of other commands that are kept.
const NAMES_MAX: usize = 500;

impl Notices {
    /// Counts one oddity.
    pub fn note(&mut self, kind: NoticeKind, line: u64, byte: u64, text: &[u8]) {
        self.found
            .entry(kind)
            .and_modify(|n| n.count += 1)
            .or_insert_with(|| Notice {
                kind,
                count: 1,
                line,
                byte,
                text: excerpt(text),
            });
    }

    /// Counts one command that only costs decoding.
    pub fn other(&mut self, name: &[u8]) {
        if let Some(count) = std::str::from_utf8(name)
            .ok()
            .and_then(|n| self.others.get_mut(n))
        {
            *count += 1;
            return;
        }
        let name = excerpt(name).to_ascii_uppercase();
        if self.others.len() < NAMES_MAX || self.others.contains_key(&name) {
            *self.others.entry(name).or_insert(0) += 1;
        } else {
            self.more_others += 1;
        }
    }

    /// The oddities, one each kind.
    pub fn list(&self) -> impl Iterator<Item = &Notice> {
        self.found.values()
    }

    /// The oddities that say that a limit of this program has cut something, so that numbers are not those of
    /// the job as it stands.
    pub fn limits(&self) -> impl Iterator<Item = &Notice> {
        self.list().filter(|n| n.kind.is_limit())
    }

    /// The same as lines (0: none) and what was done there.
    pub fn cuts(&self) -> Vec<(u64, String)> {
        let cut = |n: &Notice| (n.line, n.kind.message().to_string());
        self.limits().map(cut).collect()
    }

    /// Whether this kind was found.
    pub fn has(&self, kind: NoticeKind) -> bool {
        self.found.contains_key(&kind)
    }

    /// Commands that only cost decoding, with their counts.
    pub fn others(&self) -> &BTreeMap<String, u64> {
        &self.others
    }

    /// Commands whose names were too many to list.
    pub fn more_others(&self) -> u64 {
        self.more_others
    }
}

/// The start of a text, safe to print.
pub fn excerpt(text: &[u8]) -> String {
    let text = String::from_utf8_lossy(&text[..text.len().min(240)]);
    let shown: String = clean(&text).chars().take(60).collect();
    shown.trim().to_string()
}
