//! Reasons to doubt an answer: oddities of the job, and odd combinations of board keys.

use std::io::Read;

use serde::Serialize;

use crate::board::types::{Board, Link, ReplyWhen};
use crate::job::notices::NoticeKind;
use crate::job::reader::JobReader;
use crate::study::bumps::BUMPS_CUT;
use crate::surface::skin::Exposure;

use super::bumps::BumpBook;

/// A reason to doubt the answer, found in the job or in the board.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Warning {
    /// Of what kind.
    pub kind: String,
    /// How often.
    pub count: u64,
    /// The first line concerned, from 1; 0: none.
    pub line: u64,
    /// Byte offset of the first place.
    pub byte: u64,
    /// The first line concerned, shortened.
    pub text: String,
    /// What is odd, and what was done about it.
    pub message: String,
    #[serde(skip)]
    is_limit: bool,
}

impl Warning {
    /// Whether it says that a limit of this program has cut something, so that numbers are not those of the job as
    /// it stands.
    pub(super) fn is_limit(&self) -> bool {
        self.is_limit
    }
}

/// All warnings of a job that was read and of the board that it ran on.
pub(super) fn warnings<R: Read>(
    board: &Board,
    reader: &JobReader<R>,
    exposure: Option<&Exposure>,
    bumps: &BumpBook,
) -> Vec<Warning> {
    let mut all: Vec<Warning> = reader
        .notices()
        .list()
        .filter(|n| n.kind != NoticeKind::NothingExtruded)
        .map(|n| Warning {
            kind: serde_json::to_value(n.kind)
                .ok()
                .and_then(|v| v.as_str().map(String::from))
                .unwrap_or_default(),
            count: n.count,
            line: n.line,
            byte: n.byte,
            text: n.text.clone(),
            message: n.kind.message().to_string(),
            is_limit: n.kind.is_limit(),
        })
        .collect();
    if reader.notices().has(NoticeKind::NothingExtruded) {
        all.push(plain(
            "nothing_extruded",
            NoticeKind::NothingExtruded.message(),
        ));
    }
    all.extend(of_board(board));
    all.extend(exposure.and_then(of_surface));
    all.extend(of_bumps(bumps));
    all
}

fn of_board(board: &Board) -> Vec<Warning> {
    let queue = &board.queue;
    let mut all = Vec::new();
    if queue.restart_blocks > 1 && queue.restart_wait_s == 0.0 {
        all.push(plain(
            "restart",
            "the board waits for restart_blocks however long that takes (restart_wait_ms = 0): \
             on a slow link each rest lasts until they are there",
        ));
    }
    if let Link::Serial(serial) = &board.link
        && serial.in_flight > queue.lines + 1
        && matches!(serial.reply_when, ReplyWhen::Finished)
    {
        all.push(plain(
            "in_flight",
            "the host has more lines in flight than the command queue holds; the others wait in \
             the line's buffer, which this model takes to be large enough",
        ));
    }
    all
}

/// What a limit left out of the surface.
fn of_surface(exposure: &Exposure) -> Option<Warning> {
    Some(cut("surface_unknown", &exposure.cut()?))
}

/// Bumps too many to be counted.
fn of_bumps(bumps: &BumpBook) -> Option<Warning> {
    let message = format!(
        "there are too many bumps to count them all: {} are left out of the counts",
        bumps.uncounted()
    );
    (bumps.uncounted() > 0).then(|| cut("bumps_uncounted", &message))
}

/// Bumps that a limit has changed.
pub(super) fn bumps_cut(line: u64) -> Warning {
    Warning {
        line,
        ..cut("bumps_cut", BUMPS_CUT)
    }
}

/// Runs with other luck that were left out.
pub(super) fn few_runs(made: usize, asked: usize) -> Warning {
    let message = format!(
        "only {made} of {asked} runs with other luck were made: more of them would take too long"
    );
    plain("few_runs", &message)
}

fn plain(kind: &str, message: &str) -> Warning {
    Warning {
        kind: kind.to_string(),
        count: 1,
        line: 0,
        byte: 0,
        text: String::new(),
        message: message.to_string(),
        is_limit: false,
    }
}

/// The same where a limit of this program has cut something.
fn cut(kind: &str, message: &str) -> Warning {
    Warning {
        is_limit: true,
        ..plain(kind, message)
    }
}
