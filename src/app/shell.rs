//! What a shell and a manual need: completion scripts and man pages, made from the arguments.

use std::process::ExitCode;

use clap::{Command, CommandFactory};
use clap_complete::Shell;

use super::args::Args;
use super::failure::Failure;
use super::terminal::print;

/// Prints the completion script of a shell.
pub fn completions(shell: Shell) -> Result<ExitCode, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Args::command(), "headstall", &mut script);
    print(&String::from_utf8_lossy(&script))?;
    Ok(ExitCode::SUCCESS)
}

/// Prints the man page of the program, or of one of its commands.
pub fn man(name: Option<&str>) -> Result<ExitCode, Failure> {
    let mut program = Args::command();
    program.build();
    let page = match name {
        None => program,
        Some(name) => command(&program, name)?,
    };
    let mut text = Vec::new();
    clap_mangen::Man::new(page)
        .render(&mut text)
        .map_err(|e| Failure::Other(format!("the man page cannot be made: {e}")))?;
    print(&String::from_utf8_lossy(&text))?;
    Ok(ExitCode::SUCCESS)
}

fn command(program: &Command, name: &str) -> Result<Command, Failure> {
    let commands = || program.get_subcommands().filter(|c| c.get_name() != "help");
    commands()
        .find(|c| c.get_name() == name)
        .cloned()
        .ok_or_else(|| {
            let names: Vec<&str> = commands().map(Command::get_name).collect();
            Failure::Unusable(format!(
                "man {name}: there is no such command; there are {}",
                names.join(", ")
            ))
        })
}
