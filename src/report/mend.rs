//! What `mend` tells: the proof of a mended job, as JSON; `mend_text` puts it in words.

use std::path::Path;

use serde::Serialize;

use crate::board::types::Board;
use crate::study::mend::choose::Choice;
use crate::study::mend::counts::Counts;
use crate::study::mend::make::Proof;
use crate::study::mend::runs::{Runs, Terms};
use crate::study::sample::has_draws;

use super::numbers::{share, time};
use super::text::cuts_in_words;

/// What was asked.
pub struct Question<'a> {
    /// The job's name.
    pub job: &'a str,
    /// The board.
    pub board: &'a Board,
    /// The board as it was named.
    pub board_name: &'a str,
    /// What was wanted.
    pub terms: &'a Terms,
    /// Where the mended job was written.
    pub out: Option<&'a Path>,
}

/// What the replays of a job came to: means over the runs.
#[derive(Clone, Debug, Serialize)]
pub struct Replays {
    /// Replays.
    pub runs: usize,
    /// Visible bumps a run.
    pub visible_bumps: f64,
    /// Runs with a visible bump.
    pub runs_with_bumps: u64,
    /// Height of the highest visible bump of all runs, mm.
    pub largest_bump_mm: f64,
    /// Stalls a run, seen or not.
    pub stalls: f64,
    /// Lost time, s.
    pub lost_s: f64,
    /// Print time, s.
    pub print_s: f64,
}

impl Replays {
    fn new(runs: &Runs) -> Self {
        Replays {
            runs: runs.0.len(),
            visible_bumps: runs.mean(|h| h.lines.len() as f64),
            runs_with_bumps: runs.bumped(),
            largest_bump_mm: runs.0.iter().map(|h| h.largest_mm).fold(0.0, f64::max),
            stalls: runs.mean(|h| h.stalls as f64),
            lost_s: runs.lost_s(),
            print_s: runs.replay_s(),
        }
    }
}

/// What is done to the walls of one kind.
#[derive(Clone, Debug, Serialize)]
pub struct Wall {
    /// Their highest feed, mm/s.
    pub feed_mm_s: f64,
    /// Time of such walls by the ideal, s.
    pub ideal_s: f64,
    /// Part of that in which the board may lose the pace, s.
    pub at_risk_s: f64,
    /// Visible bumps on them in all runs before.
    pub visible_bumps: u64,
    /// Whether they are treated where the board may lose the pace.
    pub treated: bool,
}

/// What is done to the walls that are treated, from a layer on.
#[derive(Clone, Debug, Serialize)]
pub struct Done {
    /// Moves are merged.
    pub merge: bool,
    /// Moves become arcs.
    pub arcs: bool,
    /// Comments and needless decimals go.
    pub strip: bool,
    /// Whether the feed is lowered where the board may lose the pace.
    pub pace: bool,
    /// The hold of the main loop that the queue is made to bridge, as a share of the board's longest usual one.
    pub bridge: f64,
}

/// The result of `mend`.
#[derive(Clone, Debug, Serialize)]
pub struct Mended {
    /// The job's name.
    pub job: String,
    /// The board's name.
    pub board: String,
    /// The first seed of the proof.
    pub seed: u64,
    /// What it comes to.
    pub verdict: String,
    /// `mended`, `needless`, `mended_before` or `no_help`.
    pub state: &'static str,
    /// The file that was written.
    pub out: Option<String>,
    /// Means that might be used.
    pub allowed: Vec<&'static str>,
    /// How far the path might move, mm.
    pub within_mm: f64,
    /// Height from which a bump is visible, mm.
    pub visible_mm: f64,
    /// The job as it is.
    pub before: Replays,
    /// The mended job, read again.
    pub after: Replays,
    /// Print time more than before, s; less where negative.
    pub extra_s: f64,
    /// The same as a share of the print time before.
    pub extra_share: f64,
    /// The largest distance between the two paths, both ways, mm.
    pub deviation_mm: f64,
    /// The line of the mended job where that is.
    pub deviation_line: u64,
    /// The largest difference of a layer's filament, mm.
    pub filament_mm: f64,
    /// Command lines before and after.
    pub command_lines: [u64; 2],
    /// Moves before and after.
    pub moves: [u64; 2],
    /// Bytes before.
    pub bytes: u64,
    /// Lines that went because others stand for them.
    pub merged_lines: u64,
    /// Arcs written.
    pub arcs: u64,
    /// Moves of the mended job that are slower than those that they stand for.
    pub paced_moves: u64,
    /// Lines that only became shorter.
    pub shortened_lines: u64,
    /// Command lines that were left alone because they are not understood.
    pub left_alone_lines: u64,
    /// The same as a share of all bytes.
    pub left_alone_share: f64,
    /// The kinds of wall, by feed.
    pub walls: Vec<Wall>,
    /// What is done to those that are treated.
    pub done: Done,
    /// Candidates that were replayed.
    pub tried: usize,
    /// On so many bytes from the job's beginning.
    pub searched_bytes: u64,
    /// What limits of this program have cut in the job or in the mended one, so that figures are not those of the
    /// job as it stands.
    pub warnings: Vec<String>,
}

impl Mended {
    /// Puts the result together.
    pub fn new(question: &Question, choice: &Choice, proof: &Proof, counts: &Counts) -> Self {
        let same = &proof.same;
        let cuts = proof.after.cuts();
        let (before, after) = (Replays::new(&choice.before), Replays::new(&proof.after));
        let extra_s = after.print_s - before.print_s;
        let walls = choice.survey.walls.iter().map(|(class, sum)| Wall {
            feed_mm_s: sum.feed_mm_s,
            ideal_s: sum.ideal_s,
            at_risk_s: sum.risk_s,
            visible_bumps: sum.bumps,
            treated: choice.plan.walls.contains(class),
        });
        let treat = &choice.plan.treat;
        let done = Done {
            merge: treat.merge && counts.merged_lines > 0,
            arcs: counts.arcs > 0,
            strip: treat.strip,
            pace: counts.paced_moves > 0,
            bridge: treat.bridge,
        };
        let state = match () {
            () if choice.same_settings => "mended_before",
            () if !choice.plan.is_none() => "mended",
            () if choice.before.bumps() == 0 => "needless",
            () => "no_help",
        };
        let mut mended = Mended {
            job: question.job.to_string(),
            board: question.board.name.clone(),
            seed: question.terms.seed,
            verdict: String::new(),
            state,
            out: question.out.map(|o| o.display().to_string()),
            allowed: question.terms.allow.names(),
            within_mm: question.terms.within_mm,
            visible_mm: question.terms.visible_mm,
            extra_s,
            extra_share: extra_s / before.print_s.max(1e-9),
            before,
            after,
            deviation_mm: same.deviation_mm,
            deviation_line: same.deviation_line,
            filament_mm: same.filament_mm,
            command_lines: same.commands,
            moves: same.moves,
            bytes: counts.bytes,
            merged_lines: counts.merged_lines,
            arcs: counts.arcs,
            paced_moves: counts.paced_moves,
            shortened_lines: counts.shortened_lines,
            left_alone_lines: counts.alone_lines,
            left_alone_share: counts.alone_bytes as f64 / counts.bytes.max(1) as f64,
            walls: walls.collect(),
            done,
            tried: choice.tried,
            searched_bytes: choice.searched_bytes,
            warnings: cuts_in_words(&choice.before.cuts(), question.job),
        };
        let (made, asked) = (choice.before.0.len(), question.terms.runs.max(1) as usize);
        if made < asked && has_draws(question.board) {
            mended.warnings.push(format!(
                "only {made} of {asked} replays were made: more of them would take too long"
            ));
        }
        if mended.state == "mended" {
            let new = cuts_in_words(&cuts, "the mended job");
            mended.warnings.extend(new);
        }
        mended.verdict = verdict(&mended, choice, question.terms);
        mended
    }
}

/// The share of the bumps up to which next to none are left.
const NEARLY_NONE: f64 = 0.01;

fn verdict(m: &Mended, choice: &Choice, terms: &Terms) -> String {
    let runs = m.before.runs;
    let done = if m.out.is_some() {
        "Mended"
    } else {
        "Can be mended"
    };
    match m.state {
        "mended_before" => {
            "This job was mended before with the same settings: nothing is changed.".to_string()
        }
        "needless" if terms.everywhere => format!(
            "There is nothing to be joined, and no visible bump in {} on this board. Nothing is changed.{}",
            counted(runs as u64, "replay"),
            used_up(m, choice)
        ),
        "needless" => format!(
            "This job needs no mending: no visible bump in {} on this board. Nothing is changed.",
            counted(runs as u64, "replay")
        ),
        "no_help" => format!(
            "No allowed change leaves fewer than {} visible bumps a run. Nothing is changed.{}",
            decimal(m.before.visible_bumps),
            used_up(m, choice)
        ),
        _ if m.before.runs_with_bumps == 0 && m.after.runs_with_bumps == 0 => format!(
            "{done} all over, as asked: no visible bump before or after; print time {}.",
            change(m)
        ),
        _ if m.before.runs_with_bumps == 0 => format!(
            "{done} all over, as asked, but that does harm: {} visible bumps a run, where there were none; print time {}.",
            decimal(m.after.visible_bumps),
            change(m)
        ),
        _ if m.after.runs_with_bumps == 0 => format!(
            "{done}: no visible bump in {}, where there were {} a run; print time {}.",
            counted(m.after.runs as u64, "replay"),
            decimal(m.before.visible_bumps),
            change(m)
        ),
        _ if m.after.visible_bumps <= NEARLY_NONE * m.before.visible_bumps => format!(
            "{done}: nearly no visible bump, {} a run, where there were {}; print time {}.",
            decimal(m.after.visible_bumps),
            decimal(m.before.visible_bumps),
            change(m)
        ),
        _ => format!(
            "{done} in part: {} visible bumps a run are left of {}; print time {}. None of the mixes of means that were tried leaves fewer.",
            decimal(m.after.visible_bumps),
            decimal(m.before.visible_bumps),
            change(m)
        ),
    }
}

/// Says so, where an earlier mending has left nothing of what the path may move.
fn used_up(m: &Mended, choice: &Choice) -> String {
    match choice.earlier.as_ref().map_or(0.0, |e| e.moved_mm) {
        moved_mm if moved_mm >= m.within_mm => format!(
            " The job was mended before, when its path was allowed to move by {moved_mm} mm: that leaves nothing of the {} mm allowed now. Start from the job as it was sliced.",
            m.within_mm
        ),
        _ => String::new(),
    }
}

/// A whole number of things: `1 replay`, `20 replays`.
pub(super) fn counted(count: u64, thing: &str) -> String {
    format!("{count} {thing}{}", if count == 1 { "" } else { "s" })
}

/// A mean: whole numbers as such, others with two decimals.
pub(super) fn decimal(value: f64) -> String {
    if value == value.round() {
        format!("{value:.0}")
    } else {
        format!("{value:.2}")
    }
}

fn change(m: &Mended) -> String {
    let word = if m.extra_s >= 0.0 { "more" } else { "less" };
    format!(
        "{} {word} ({})",
        time(m.extra_s.abs()),
        share(m.extra_share.abs())
    )
}
