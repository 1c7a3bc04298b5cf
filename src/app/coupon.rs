//! `coupon`: a dry-run job that measures a board.

use std::process::ExitCode;

use headstall::answer::fit;
use headstall::report::dry_run;
use headstall::study::fit::coupon::{LinkKind, Plan};

use super::args;
use super::failure::Failure;
use super::inputs;
use super::one_file::OneFile;
use super::terminal::print;

/// Carries the command out.
pub fn run(args: &args::Coupon) -> Result<ExitCode, Failure> {
    let board = inputs::board(&args.on)?;
    let plan = Plan {
        link: LinkKind::of(&board),
        at_mm: args.at,
        z_mm: args.z,
        speed_mm_s: args.speed,
        arcs: !args.no_arcs,
    };
    plan.check().map_err(Failure::Unusable)?;
    let board_file = std::path::Path::new(&args.on.board);
    let out = OneFile::open(&args.out, args.force, &[board_file])?;
    let about_s =
        fit::duration_s(&plan, &board, &args.on.board, args.on.seed).map_err(Failure::Unusable)?;
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
