//! `coupon`: a dry-run job that measures a board.

use std::process::ExitCode;

use headstall::board::types::Link;
use headstall::report::dry_run;
use headstall::study::fit::coupon::{LinkKind, Plan};
use headstall::study::fit::forward::{self, Coupon};

use super::args;
use super::failure::Failure;
use super::inputs;
use super::one_file::OneFile;
use super::terminal::print;

/// Carries the command out.
pub fn run(args: &args::Coupon) -> Result<ExitCode, Failure> {
    let board = inputs::board(&args.on)?;
    let plan = Plan {
        link: match board.link {
            Link::Card(_) => LinkKind::Card,
            Link::Serial(_) => LinkKind::Serial,
        },
        at_mm: args.at,
        z_mm: args.z,
        speed_mm_s: args.speed,
        arcs: !args.no_arcs,
    };
    plan.check().map_err(Failure::Unusable)?;
    let board_file = std::path::Path::new(&args.on.board);
    let out = OneFile::open(&args.out, args.force, &[board_file])?;
    let about_s = duration_s(&plan, &board, args)?;
    let text = plan.text(&dry_run::head(&plan, about_s, &board.name));
    out.publish_whole(text.as_bytes())?;
    let file = args.out.display().to_string();
    match print(&dry_run::told(
        &plan,
        about_s,
        &board.name,
        &file,
        text.len(),
    )) {
        Ok(()) | Err(Failure::ClosedPipe) => Ok(ExitCode::SUCCESS),
        Err(failure) => Err(failure),
    }
}

/// How long it takes on the start board, s.
fn duration_s(
    plan: &Plan,
    board: &headstall::board::types::Board,
    args: &args::Coupon,
) -> Result<f64, Failure> {
    let steps = forward::steps(plan.text(&[]).as_bytes())
        .map_err(|e| Failure::Other(format!("the coupon {e}")))?;
    let took = Coupon::new(steps)
        .replay(board, args.on.seed)
        .map_err(|e| Failure::Unusable(format!("--board {}: {e}", args.on.board)))?;
    Ok(took.replay_s)
}
