//! Text on its way to people: broken into lines, cut to fit, given to a shell.

/// A text cut to fit.
pub fn shortened(text: &str, columns: usize) -> String {
    if text.chars().count() <= columns {
        return text.to_string();
    }
    text.chars()
        .take(columns - 3)
        .chain("...".chars())
        .collect()
}

/// A verdict in at most 80 columns, made bold by `strong`, and a blank line.
pub fn headed(verdict: &str, strong: &dyn Fn(&str) -> String) -> String {
    let lines = wrap(verdict, 80);
    let text = lines
        .iter()
        .fold(String::new(), |all, l| all + &strong(l) + "\n");
    text + "\n"
}

/// Breaks a text at blanks so that lines fit; a longer word stands alone, cut where it must be.
pub fn wrap(text: &str, columns: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for mut word in words(text) {
        while word.chars().count() > columns {
            let head: String = word.chars().take(columns).collect();
            word = word.chars().skip(columns).collect();
            lines.push(head);
        }
        let last = lines.last_mut().expect("there is always a line");
        if last.is_empty() {
            *last = word;
        } else if last.chars().count() + 1 + word.chars().count() <= columns {
            last.push(' ');
            last.push_str(&word);
        } else {
            lines.push(word);
        }
    }
    lines.retain(|l| !l.is_empty());
    lines
}

/// The words of a text; a number and its unit are one.
fn words(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match words.last_mut() {
            Some(last) if is_unit(word) && last.ends_with(|c: char| c.is_ascii_digit()) => {
                last.push(' ');
                last.push_str(word);
            }
            Some(last) if last == "(z" => {
                last.push(' ');
                last.push_str(word);
            }
            _ => words.push(word.to_string()),
        }
    }
    words
}

/// The text with numbers bound to their units by blanks that don't break.
pub fn glued(text: &str) -> String {
    let words = words(text).into_iter().map(|w| w.replace(' ', "\u{a0}"));
    words.collect::<Vec<_>>().join(" ")
}

fn is_unit(word: &str) -> bool {
    let word = word.trim_end_matches([',', ';', '.', ':', ')']);
    [
        "ms", "s", "min", "h", "mm", "mm/s", "mm³", "%", "kB/s", "B/s",
    ]
    .contains(&word)
}

/// Like [`wrap`], with lines of like length: no word is left alone on the last.
pub fn wrap_evenly(text: &str, columns: usize) -> Vec<String> {
    let lines = wrap(text, columns);
    let longest = lines
        .iter()
        .flat_map(|l| l.split_whitespace())
        .map(|w| w.chars().count())
        .max();
    let even = text.chars().count().div_ceil(lines.len().max(1));
    (even.max(longest.unwrap_or(1)).min(columns)..columns)
        .map(|narrow| wrap(text, narrow))
        .find(|other| other.len() == lines.len())
        .unwrap_or(lines)
}

/// A word as a shell must be given it: quoted where it has to be.
pub fn quoted(text: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./=,+:@%".contains(c);
    if !text.is_empty() && text.chars().all(plain) {
        text.to_string()
    } else {
        format!("'{}'", text.replace('\'', "'\\''"))
    }
}

/// A file's name as a shell must be given it: quoted where it has to be, and with `./` before a leading dash so
/// that no program takes it for an option.
pub fn shell_word(text: &str) -> String {
    let here = if text.len() > 1 && text.starts_with('-') {
        "./"
    } else {
        ""
    };
    quoted(&format!("{here}{text}"))
}

/// What limits of this program have cut in a job: by line (0: none), what was done about it.
pub fn cuts_in_words(cuts: &[(u64, String)], job: &str) -> Vec<String> {
    let words = |(line, what): &(u64, String)| match line {
        0 => format!("{job}: {what}"),
        _ => format!("{job}: line {line}: {what}"),
    };
    cuts.iter().map(words).collect()
}
