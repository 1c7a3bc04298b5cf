//! The server of `open`, started for a test and ended with it.

use std::io::{BufRead, BufReader};
use std::process::{Child, Stdio};

use super::cli::headstall;

/// A running server.
pub struct Live {
    child: Child,
    /// Where its page is, the token included.
    pub address: String,
}

impl Live {
    /// Starts `headstall open --no-browser` with these arguments.
    pub fn start(args: &[&str]) -> Live {
        let mut child = headstall()
            .args(["open", "--no-browser"])
            .args(args)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let address = lines.next().expect("it says its address").unwrap();
        assert!(address.starts_with("http://127.0.0.1:"), "{address}");
        std::thread::spawn(move || lines.for_each(drop));
        Live { child, address }
    }
}

impl Drop for Live {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
