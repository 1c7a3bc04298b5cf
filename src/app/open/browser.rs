//! The browser, opened by whatever this system opens addresses with.

use std::io;
use std::process::{Command, Stdio};

/// Has the system open an address, which holds nothing but letters, digits and `:/.-_[]`.
///
/// # Errors
/// Where there is nothing to open it with: no harm, whoever started the program can do it.
pub fn open(address: &str) -> io::Result<()> {
    let mut command = opener(address);
    command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    #[cfg(unix)]
    {
        use std::os::unix::process::CommandExt;
        // In a group of its own, so that Ctrl-C here does not end a browser that this starts.
        command.process_group(0);
    }
    let mut child = command.spawn()?;
    // Waited for, so that nothing is left of it when it ends; without a thread for that, it is left.
    let _ = std::thread::Builder::new().spawn(move || child.wait());
    Ok(())
}

#[cfg(target_os = "macos")]
fn opener(address: &str) -> Command {
    let mut command = Command::new("open");
    command.arg(address);
    command
}

#[cfg(windows)]
fn opener(address: &str) -> Command {
    let mut command = Command::new("cmd");
    // The empty argument is the window's title.
    command.args(["/C", "start", "", address]);
    command
}

#[cfg(not(any(target_os = "macos", windows)))]
fn opener(address: &str) -> Command {
    let mut command = Command::new("xdg-open");
    command.arg(address);
    command
}
