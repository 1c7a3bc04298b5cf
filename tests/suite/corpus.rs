//! The inputs that coverage-guided fuzzing found, minimised: one line of base64 each, in `tests/fuzz/packed`.
//! `HEADSTALL_CORPUS=unpack cargo test --release corpus` makes of them the folders that the fuzzer reads, and
//! `=pack` makes the lines anew from such folders.

use std::fs;
use std::path::{Path, PathBuf};

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::checks;

type Check = fn(&[u8]);

const CHECKS: [(&str, Check); 8] = [
    ("board", |bytes| {
        if let Ok(text) = std::str::from_utf8(bytes) {
            checks::board::check(text);
        }
    }),
    ("cures", checks::cures::check),
    ("explain", checks::explain::check),
    ("limits", checks::limits::check),
    ("mend", checks::mend::check),
    ("pictures", checks::pictures::check),
    ("reader", checks::reader::check),
    ("replay", checks::replay::check),
];

fn fuzz() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz")
}

/// The fuzzer's own folder of a target's inputs.
fn folder(target: &str) -> PathBuf {
    fuzz().join("corpus").join(target)
}

fn packed(target: &str) -> PathBuf {
    fuzz().join("packed").join(format!("{target}.txt"))
}

fn inputs(target: &str) -> Vec<Vec<u8>> {
    let text = fs::read_to_string(packed(target)).unwrap();
    text.lines()
        .map(|line| STANDARD.decode(line).unwrap())
        .collect()
}

#[test]
fn corpus() {
    let wanted = std::env::var("HEADSTALL_CORPUS").unwrap_or_default();
    for (target, check) in CHECKS {
        if wanted == "pack" {
            let files = fs::read_dir(folder(target)).unwrap();
            let mut lines: Vec<String> = files
                .map(|f| STANDARD.encode(fs::read(f.unwrap().path()).unwrap()) + "\n")
                .collect();
            lines.sort();
            fs::write(packed(target), lines.concat()).unwrap();
        }
        let inputs = inputs(target);
        assert!(inputs.len() >= 50, "{target}: only {} inputs", inputs.len());
        for (k, input) in inputs.iter().enumerate() {
            if wanted == "unpack" {
                fs::create_dir_all(folder(target)).unwrap();
                fs::write(folder(target).join(k.to_string()), input).unwrap();
            }
            check(input);
        }
    }
}
