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
const ORDER: [&str; 8] = [
    "job", "board", "motion", "replay", "surface", "study", "answer", "report",
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

/// The lines that each function takes, from the line that begins it to the brace that ends it: by indentation,
/// which the formatter sees to.
fn functions(text: &str) -> Vec<(String, usize)> {
    let lines: Vec<&str> = text.lines().collect();
    let mut found = Vec::new();
    for (at, line) in lines.iter().enumerate() {
        let bare = line.trim_start();
        let indent = &line[..line.len() - bare.len()];
        let words = ["pub(crate) ", "pub(super) ", "pub ", "const ", "async "];
        let name = words
            .iter()
            .fold(bare, |rest, word| rest.strip_prefix(word).unwrap_or(rest));
        let Some(name) = name.strip_prefix("fn ") else {
            continue;
        };
        // A declaration, or a body of one line.
        let head = lines[at..].iter().find(|l| l.ends_with(['{', ';', '}']));
        if head.is_none_or(|l| !l.ends_with('{')) {
            continue;
        }
        let end = format!("{indent}}}");
        let length = lines[at..].iter().position(|l| *l == end).unwrap_or(0);
        found.push((name.chars().take(40).collect(), length + 1));
    }
    found
}

#[test]
fn functions_are_short() {
    let (mut seen, mut long) = (0, Vec::new());
    for (file, text) in sources() {
        for (name, lines) in functions(&text) {
            seen += 1;
            if lines > 80 {
                long.push(format!("{file}: {name} has {lines} lines"));
            }
        }
    }
    assert!(seen > 500);
    assert!(long.is_empty(), "{long:#?}");
}

/// The files of `src` that a file names, by their modules' paths.
fn named(file: &str, text: &str, modules: &[String]) -> Vec<String> {
    let own = file.trim_start_matches("src/").trim_end_matches(".rs");
    let folder = own.rsplit_once('/').map_or("", |(folder, _)| folder);
    let mut found = Vec::new();
    let code = text.split("#[cfg(test)]").next().unwrap_or_default();
    for line in code.lines().filter(|l| !l.trim_start().starts_with("//")) {
        for (lead, root) in [("crate::", ""), ("super::", folder)] {
            for (at, _) in line.match_indices(lead) {
                let path = line[at + lead.len()..].replace("::", "/");
                let root = if root.is_empty() {
                    String::new()
                } else {
                    format!("{root}/")
                };
                let is_named = |m: &&String| {
                    let rest = m.strip_prefix(&root).map(|m| path.strip_prefix(m));
                    rest.flatten().is_some_and(|rest| {
                        !rest.starts_with(|c: char| c.is_alphanumeric() || c == '_')
                    })
                };
                found.extend(modules.iter().filter(is_named).cloned());
            }
        }
    }
    found
}

#[test]
fn no_two_files_import_each_other() {
    let sources = sources();
    let modules: Vec<String> = sources
        .iter()
        .map(|(file, _)| file["src/".len()..file.len() - ".rs".len()].to_string())
        .collect();
    let named: Vec<Vec<String>> = sources
        .iter()
        .map(|(file, text)| named(file, text, &modules))
        .collect();
    assert!(named.iter().map(Vec::len).sum::<usize>() > 200);
    let mut mutual = Vec::new();
    for (a, of_a) in modules.iter().zip(&named) {
        for (b, of_b) in modules.iter().zip(&named) {
            if a < b && of_a.contains(b) && of_b.contains(a) {
                mutual.push(format!("{a} and {b}"));
            }
        }
    }
    assert!(mutual.is_empty(), "{mutual:#?}");
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
    assert!(text.lines().count() < 320);
}
