//! `boards`: what comes with the program.

use std::process::ExitCode;

use headstall::board::builtin;

use super::failure::Failure;
use super::terminal::print;

/// Lists the boards, or prints one.
pub fn run(name: Option<&str>) -> Result<ExitCode, Failure> {
    let text = match name {
        Some(name) => builtin::text(name)
            .ok_or_else(|| super::inputs::no_board(name))?
            .to_string(),
        None => list(),
    };
    print(&text)?;
    Ok(ExitCode::SUCCESS)
}

fn list() -> String {
    let mut text = String::new();
    for name in builtin::names() {
        let line = builtin::one_line(name).unwrap_or_default();
        text += &format!("{name:<23} {line}\n");
    }
    text += "\nThe default is ";
    text += builtin::DEFAULT;
    text += ". `headstall boards NAME` prints one to start your own from.\n";
    text
}
