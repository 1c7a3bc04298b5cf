//! The proof of a mended job in words.

use super::mend::{Done, Mended, Replays, counted, decimal};
use super::numbers::{share, time};
use super::text::wrap;

/// The result in words.
pub fn text(m: &Mended) -> String {
    let mut text = String::new();
    for line in wrap(&m.verdict, 80) {
        text += &line;
        text.push('\n');
    }
    text.push('\n');
    let mut row = |name: &str, value: String| {
        for (k, line) in wrap(&value, 66).iter().enumerate() {
            text += &format!("{:<13}{line}\n", if k == 0 { name } else { "" });
        }
    };
    row("job", m.job.clone());
    row("board", format!("{}, seeds from {}", m.board, m.seed));
    for (name, r) in [("before", &m.before), ("after", &m.after)] {
        row(
            name,
            format!(
                "{}; stalls a run: {}; {} lost, print time {}",
                bumps(r),
                decimal(r.stalls),
                time(r.lost_s),
                time(r.print_s)
            ),
        );
    }
    if m.state == "mended" {
        changes(m, &mut row);
    }
    if m.left_alone_lines > 0 {
        row(
            "left alone",
            format!(
                "{} ({} of the job's bytes): conditional blocks, splines, macros, coordinates without a command, or text that is not understood",
                counted(m.left_alone_lines, "command line"),
                share(m.left_alone_share)
            ),
        );
    }
    for warning in &m.warnings {
        row("warning", warning.clone());
    }
    match (&m.out, m.state) {
        (Some(out), state) => {
            let out = if out == "-" { "standard output" } else { out };
            let as_it_was = if state == "mended" {
                ""
            } else {
                ", the job byte for byte"
            };
            row("written to", format!("{out}{as_it_was}"));
        }
        (None, "mended") => row(
            "written to",
            "no file; add -o NEW to write the mended job".to_string(),
        ),
        (None, _) => {}
    }
    if m.state == "mended" {
        text.push('\n');
        for line in wrap(CAUTION, 80) {
            text += &line;
            text.push('\n');
        }
    }
    text
}

/// The visible bumps of several replays, in words.
fn bumps(r: &Replays) -> String {
    if r.runs_with_bumps == 0 {
        return format!("no visible bump in {}", counted(r.runs as u64, "replay"));
    }
    format!(
        "{} visible bumps a run ({} of {} runs have any, the highest {:.2} mm)",
        decimal(r.visible_bumps),
        r.runs_with_bumps,
        r.runs,
        r.largest_bump_mm
    )
}

/// What was changed, row by row.
fn changes(m: &Mended, row: &mut impl FnMut(&str, String)) {
    let path = if m.deviation_line == 0 {
        "where it was".to_string()
    } else {
        format!(
            "moved by at most {:.4} mm (allowed: {} mm), at line {} of the mended job",
            m.deviation_mm, m.within_mm, m.deviation_line
        )
    };
    row("path", path);
    row(
        "filament",
        format!("differs by at most {:.6} mm in any layer", m.filament_mm),
    );
    let added = (m.command_lines[1] + m.merged_lines).saturating_sub(m.command_lines[0]);
    let counts = [
        (
            m.merged_lines,
            format!("{} merged into others", m.merged_lines),
        ),
        (added, format!("{added} added")),
        (m.arcs, counted(m.arcs, "arc")),
        (
            m.shortened_lines,
            format!("{} shortened", m.shortened_lines),
        ),
        (
            m.paced_moves,
            format!("{} slowed", counted(m.paced_moves, "move")),
        ),
    ];
    let told: Vec<String> = counts
        .into_iter()
        .filter(|c| c.0 > 0)
        .map(|c| c.1)
        .collect();
    row(
        "lines",
        format!(
            "{} in place of {}: {}",
            counted(m.command_lines[1], "command line"),
            m.command_lines[0],
            told.join(", ")
        ),
    );
    for wall in m.walls.iter().filter(|w| w.treated) {
        row(
            "walls",
            format!(
                "of up to {:.0} mm/s: changed in {} of their {}, where the board may not keep up",
                wall.feed_mm_s,
                time(wall.at_risk_s),
                time(wall.ideal_s)
            ),
        );
    }
    if m.state == "mended" {
        row("means", done_words(&m.done));
        if m.searched_bytes < m.bytes {
            let searched = m.searched_bytes as f64 / 1e6;
            row(
                "search",
                format!(
                    "on the first {searched:.0} MB of the job; the replays above are of all of it"
                ),
            );
        }
    }
}

/// Shown once with a mended job.
const CAUTION: &str = "Caution: look through the new file in whatever you use to look at jobs, and stay with the \
printer for the first layers. The maker's manual and local rules go first.";

/// What is done.
fn done_words(band: &Done) -> String {
    let mut done = Vec::new();
    if band.merge {
        done.push("moves merged".to_string());
    }
    if band.arcs {
        done.push("arcs for chords".to_string());
    }
    if band.strip {
        done.push("comments and needless decimals out".to_string());
    }
    if band.pace {
        done.push("feed lowered".to_string());
    }
    if done.is_empty() {
        done.push("nothing done".to_string());
    }
    let far = if band.bridge > 0.0 {
        format!(
            ", until the queue lasts through {} of the main loop's longest usual hold",
            share(band.bridge)
        )
    } else {
        String::new()
    };
    format!("{}{far}", done.join(", "))
}
