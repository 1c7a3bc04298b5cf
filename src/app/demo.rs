//! `demo`: a job and two boards to begin with, replayed.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Parser;
use headstall::demo::lantern::{Lantern, STEADY, STUTTERS};
use headstall::report::text::{quoted, shell_word};

use super::args::{Args, Command};
use super::failure::Failure;
use super::one_file::OneFile;
use super::terminal::{print, strong};

/// Carries the command out: the files of the demo in `place`, the results in folders within it.
pub fn run(place: &Path) -> Result<ExitCode, Failure> {
    let job = Lantern::default().job();
    let files = [
        ("lantern.gcode", job.as_str()),
        ("stutters.toml", STUTTERS),
        ("steady.toml", STEADY),
    ];
    write(place, &files)?;
    print(&format!(
        "A theatre's prop workshop prints the fluted shade of a harbour lantern.\n\
         Written to {}: the job, lantern.gcode, and two boards, stutters.toml for the\n\
         workshop's old printer and steady.toml for the rebuilt one.\n",
        place.display()
    ))?;
    let (stutters, steady) = (replay(place, "stutters"), replay(place, "steady"));
    for (words, printer) in [(&stutters, "old"), (&steady, "rebuilt")] {
        let title = strong(&format!("On the {printer} printer"));
        print(&format!("\n{title}\n  {}\n\n", command(words)))?;
        let args = Args::try_parse_from(words).map_err(|e| Failure::Other(e.to_string()))?;
        let Command::Replay(replay) = args.command else {
            continue;
        };
        super::replay::run(&replay)?;
    }
    print(&next(place))?;
    Ok(ExitCode::SUCCESS)
}

/// A file of the demo or a folder of its results, as an argument: never taken for an option.
fn within(place: &Path, name: &str) -> String {
    let path = place.join(name).to_string_lossy().into_owned();
    if path.starts_with('-') {
        format!("./{path}")
    } else {
        path
    }
}

/// The words of a replay on this board.
fn replay(place: &Path, board: &str) -> Vec<String> {
    [
        "headstall".to_string(),
        "replay".to_string(),
        within(place, "lantern.gcode"),
        "--board".to_string(),
        within(place, &format!("{board}.toml")),
        "--out".to_string(),
        within(place, board),
    ]
    .to_vec()
}

fn command(words: &[String]) -> String {
    let words: Vec<String> = words.iter().map(|w| quoted(w)).collect();
    words.join(" ")
}

/// What to open and what to try.
fn next(place: &Path) -> String {
    let page = |board: &str| within(&place.join(board), "report.html");
    let job = shell_word(&within(place, "lantern.gcode"));
    let board = shell_word(&within(place, "stutters.toml"));
    format!(
        "\n{}\n  Open {} in a browser, and hold it beside\n  {}.\n\n  \
         What would cure it:\n    headstall remedies {job} --board {board}\n\n  \
         How much rarer saves help:\n    headstall compare {job} --board {board} \
         --vary save=off,layer,1,5,30\n\n  \
         Your own job:\n    headstall replay myjob.gcode --out myjob-results\n",
        strong("What now"),
        page("stutters"),
        page("steady"),
    )
}

/// Writes the files, unless one of them is there with other contents: then none of them.
fn write(place: &Path, files: &[(&str, &str)]) -> Result<(), Failure> {
    let shown = place.display();
    if !place.is_dir() && place.symlink_metadata().is_ok() {
        return Err(Failure::Unusable(format!(
            "--out {shown}: is not a folder; name a folder"
        )));
    }
    let mut missing = Vec::new();
    for (name, text) in files {
        let path = place.join(name);
        if path.symlink_metadata().is_err() {
            missing.push((path, *text));
        } else if !fs::read(&path).is_ok_and(|there| there == text.as_bytes()) {
            return Err(Failure::Unusable(format!(
                "--out {shown}: holds a {name} that is not the demo's; name another folder"
            )));
        }
    }
    let new: Vec<&Path> = place.ancestors().take_while(|p| !p.exists()).collect();
    let made = fs::create_dir_all(place).map_err(|e| Failure::writing(&shown.to_string(), &e));
    let done = made.and_then(|()| put(&missing));
    if done.is_err() {
        // Those that are empty go.
        new.iter().for_each(|folder| drop(fs::remove_dir(folder)));
    }
    done
}

/// Puts the files in their places when all of them are written.
fn put(files: &[(PathBuf, &str)]) -> Result<(), Failure> {
    let written = files.iter().map(|(path, text)| {
        let mut file = OneFile::open(path, false, &[])?;
        let whole = file.write_all(text.as_bytes()).and_then(|()| file.flush());
        whole.map_err(|e| file.unwritten(&e))?;
        Ok(file)
    });
    let written: Vec<OneFile> = written.collect::<Result<_, Failure>>()?;
    written.into_iter().try_for_each(OneFile::publish)
}
