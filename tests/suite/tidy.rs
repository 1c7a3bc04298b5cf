//! The house rules.

use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn files(folder: &Path, ending: &str, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files(&path, ending, found);
        } else if path.to_string_lossy().ends_with(ending) {
            found.push(path);
        }
    }
}

fn sources() -> Vec<(String, String)> {
    let mut found = Vec::new();
    files(&root().join("src"), ".rs", &mut found);
    assert!(found.len() > 20);
    found
        .into_iter()
        .map(|p| {
            (
                p.strip_prefix(root()).unwrap().display().to_string(),
                fs::read_to_string(&p).unwrap(),
            )
        })
        .collect()
}

/// Folders in the data's order; job and board know nothing of each other.
const ORDER: [&str; 7] = [
    "job", "board", "motion", "replay", "surface", "study", "report",
];

#[test]
fn imports_run_one_way() {
    for (file, text) in sources() {
        let Some(own) = ORDER
            .iter()
            .position(|f| file.starts_with(&format!("src/{f}/")))
        else {
            continue;
        };
        for (other, name) in ORDER.iter().enumerate() {
            let may = other < own && !(ORDER[own] == "board" && *name == "job") || other == own;
            assert!(
                may || !text.contains(&format!("crate::{name}::")),
                "{file} imports {name}"
            );
        }
    }
}

#[test]
fn files_are_short() {
    for (file, text) in sources() {
        assert!(
            text.lines().count() <= 500,
            "{file} has {} lines",
            text.lines().count()
        );
    }
}

#[test]
fn the_library_is_pure() {
    for (file, text) in sources() {
        if !file.starts_with("src/app/") && file != "src/main.rs" {
            for word in [
                "Instant",
                "SystemTime",
                "println!",
                "eprintln!",
                "std::fs",
                "HashMap",
                "HashSet",
            ] {
                assert!(!text.contains(word), "{file} has {word}");
            }
        }
        assert!(!text.contains("unsafe "), "{file} has unsafe code");
    }
}

#[test]
fn the_top_level_is_that_of_the_card() {
    let card = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "src",
        "tests",
        "scenarios",
        "out",
    ];
    for entry in fs::read_dir(root()).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        assert!(
            name.starts_with('.')
                || ["target", "headstall-demo"].contains(&name.as_str())
                || card.contains(&name.as_str()),
            "{name}"
        );
    }
}

#[test]
fn developers_md_is_short() {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    assert!(text.lines().count() < 250);
}
