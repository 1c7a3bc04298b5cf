//! The live page in headless Chromium: a job, its board, and what is seen. What the page says is compared with what the
//! command line prints.

use std::fmt::Write;
use std::fs;
use std::process::Stdio;

use serde_json::{Value, json};
use tempfile::TempDir;

use super::cli::{folder, headstall, text, write};
use super::live::Live;
use super::webdriver::Browser;

pub const JOB: &str = "cup.gcode";
pub const BOARD: &str = "8bit-card-saves";
pub const ANSWERED: &str =
    "return document.querySelector('#answer-told')?.textContent.startsWith('From 20 runs')";

/// A fluted cup, too fast for an older controller.
pub fn cup() -> String {
    let mut job = String::from("M83\nG1 F3600\n");
    for layer in 1..=12 {
        for k in 0..=720 {
            let a = f64::from(k).to_radians() / 2.0;
            let r = 20.0 + 1.2 * (12.0 * a).cos();
            let (x, y) = (60.0 + r * a.cos(), 60.0 + r * a.sin());
            let _ = match k {
                0 => writeln!(job, "G0 X{x:.3} Y{y:.3} Z{:.2}", 0.25 * f64::from(layer)),
                _ => writeln!(job, "G1 X{x:.3} Y{y:.3} E0.006"),
            };
        }
    }
    job
}

/// What a command prints, run where its files are; and whether it could be done.
pub fn command(dir: &TempDir, args: &[&str]) -> (String, String) {
    let done = headstall()
        .args(args)
        .current_dir(dir.path())
        .stdin(Stdio::null())
        .output()
        .unwrap();
    (text(&done.stdout), text(&done.stderr))
}

pub fn said(browser: &Browser, id: &str) -> String {
    browser.text(&format!(
        "return document.getElementById('{id}').textContent"
    ))
}

/// Lets a file fall on the page.
fn drop_file(browser: &Browser, name: &str, content: &str) {
    browser.eval(&format!(
        "const files = new DataTransfer(); files.items.add(new File([{}], {})); \
         document.body.dispatchEvent(new DragEvent('drop', {{ dataTransfer: files, bubbles: true, cancelable: true }}))",
        json!(content),
        json!(name)
    ));
}

pub fn choose(browser: &Browser, css: &str, value: &str) {
    browser.eval(&format!(
        "const i = document.querySelector({}); i.value = {}; i.dispatchEvent(new Event('change', {{ bubbles: true }}))",
        json!(css),
        json!(value)
    ));
}

/// Waits until the page's words are those that the command prints.
#[track_caller]
pub fn says(browser: &Browser, dir: &TempDir, args: &[&str]) -> String {
    let (printed, _) = command(dir, args);
    assert!(
        printed.contains("try next") || printed.contains("job       "),
        "{printed}"
    );
    browser.wait_s(
        &format!(
            "return document.getElementById('answer-text').textContent === {}",
            json!(printed)
        ),
        60,
    );
    browser.wait_s(ANSWERED, 60);
    printed
}

/// No request has left the page's address, and the console is silent.
#[track_caller]
pub fn keeps_to_itself(browser: &Browser, live: &Live) {
    let asked = browser.eval("return performance.getEntriesByType('resource').map((e) => e.name)");
    let asked = asked.as_array().unwrap();
    assert!(asked.len() > 10, "{asked:?}");
    for address in asked {
        let address = address.as_str().unwrap();
        let own = ["blob:", "data:", &live.address]
            .iter()
            .any(|own| address.starts_with(own));
        assert!(own, "{address}");
    }
    assert_eq!(browser.complaints(), Vec::<Value>::new());
}

pub fn opened(args: &[&str]) -> Option<(Browser, Live)> {
    let browser = Browser::open()?;
    let live = Live::start(args);
    browser.size(1280, 1000);
    browser.visit(&live.address);
    browser.wait_s("return Boolean(document.querySelector('#take-board'))", 20);
    Some((browser, live))
}

#[test]
fn a_job_is_dropped() {
    let Some((browser, live)) = opened(&[]) else {
        return;
    };
    let dir = folder();
    let path = write(&dir, JOB, &cup());
    for id in ["answer", "knobs", "cures", "see", "take"] {
        let section = said(&browser, id);
        assert!(section.contains("a job first"), "{id}: {section}");
    }
    drop_file(&browser, JOB, &cup());
    says(&browser, &dir, &["replay", JOB, "--board", BOARD]);
    let summary: Value =
        serde_json::from_str(&command(&dir, &["replay", JOB, "--board", BOARD, "--json"]).0)
            .unwrap();
    assert_eq!(
        said(&browser, "verdict"),
        summary["verdict"].as_str().unwrap()
    );
    let expected = summary["expected_bumps"].as_f64().unwrap();
    assert!(expected > 0.0);
    assert_eq!(
        browser.text("return [...document.querySelectorAll('.figures dt')].find((e) => e.textContent === 'visible bumps expected').nextSibling.firstChild.textContent"),
        format!("{expected:.0}")
    );

    // A photograph that is dropped beside its place is not sent.
    let sent = "return performance.getEntriesByType('resource').filter((e) => e.name.includes('/jobs')).length";
    let before = browser.eval(sent);
    drop_file(&browser, "part.jpg", "no picture");
    browser.wait(
        "return document.getElementById('jobs-told').textContent.startsWith('part.jpg is no job')",
    );
    assert_eq!(browser.eval(sent), before);
    // A job that is none: the answer about another one goes.
    drop_file(&browser, "none.gcode", "\u{0}\u{1}\u{2} no job at all");
    browser.wait_s(
        "return document.getElementById('answer-told').classList.contains('wrong') && document.getElementById('verdict').textContent === 'Headstall'",
        20,
    );
    browser.click("#jobs li:last-child button");
    browser.wait_s(ANSWERED, 60);

    // A second one, chosen; the first is looked at again; one is taken off. Its name is never markup.
    let odd = "<img src=x onerror=alert(1)>.gcode";
    fs::rename(&path, dir.path().join(odd)).unwrap();
    browser.keys("#jobs-add", &dir.path().join(odd).display().to_string());
    says(&browser, &dir, &["replay", odd, "--board", BOARD]);
    assert!(said(&browser, "jobs").contains(odd));
    assert_eq!(
        browser.eval("return document.querySelectorAll('[onerror]').length"),
        0
    );
    browser.click("#jobs li:first-child input");
    browser.wait_s(
        &format!("return document.getElementById('subject').textContent.startsWith('{JOB}')"),
        60,
    );
    browser.click("#jobs li:last-child button");
    browser.wait("return document.querySelectorAll('#jobs li').length === 1");
    browser.wait_s(ANSWERED, 60);
    keeps_to_itself(&browser, &live);
}

#[test]
fn a_board_is_found_and_dropped() {
    let dir = folder();
    let path = write(&dir, JOB, &cup());
    let Some((browser, live)) = opened(&[&path]) else {
        return;
    };
    says(&browser, &dir, &["replay", JOB, "--board", BOARD]);

    // Questions.
    choose(&browser, "#board-questions select[name=controller]", "8bit");
    choose(&browser, "#board-questions select[name=saves]", "layer");
    let set = ["replay", JOB, "--board", BOARD, "--set", "save.when=layer"];
    says(&browser, &dir, &set);
    assert!(said(&browser, "board-why").contains("8bit-card-saves with save.when=layer"));
    // One that comes with the program.
    choose(&browser, "#board-name", "32bit-card");
    says(&browser, &dir, &["replay", JOB, "--board", "32bit-card"]);
    keeps_to_itself(&browser, &live);

    // A wrong file is refused in the command's words, and the board stays.
    let wrong = fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/src/board/builtin/8bit-card.toml"
    ))
    .unwrap()
    .replace("blocks = 16", "blocks = 1");
    write(&dir, "mine.toml", &wrong);
    let (_, refused) = command(&dir, &["replay", JOB, "--board", "mine.toml"]);
    let refused = refused.trim().trim_start_matches("headstall: ");
    assert!(refused.contains("queue.blocks"), "{refused}");
    drop_file(&browser, "mine.toml", &wrong);
    browser.wait("return document.getElementById('board-told').textContent.startsWith('mine.toml is not used')");
    assert!(
        said(&browser, "board-told").ends_with(refused),
        "{}",
        said(&browser, "board-told")
    );
    assert!(said(&browser, "board-now").starts_with("32bit-card"));
    // A right one.
    let right = wrong.replace("blocks = 1\n", "blocks = 24\n");
    write(&dir, "mine.toml", &right);
    drop_file(&browser, "mine.toml", &right);
    says(&browser, &dir, &["replay", JOB, "--board", "mine.toml"]);

    // A key, refused and taken; the file with it in it.
    browser.eval("document.getElementById('board-keys').open = true");
    choose(&browser, "#key-queue-blocks", "none");
    browser.wait("return [...document.querySelectorAll('.key-row .wrong:not([hidden])')].some((e) => e.textContent.includes('queue.blocks'))");
    choose(&browser, "#key-queue-blocks", "17");
    says(
        &browser,
        &dir,
        &[
            "replay",
            JOB,
            "--board",
            "mine.toml",
            "--set",
            "queue.blocks=17",
        ],
    );
    browser.cdp(
        "Browser.setDownloadBehavior",
        json!({ "behavior": "allow", "downloadPath": dir.path().display().to_string() }),
    );
    browser.click("#board-save");
    let saved = dir.path().join("8bit-card.toml");
    for _ in 0..100 {
        if saved.exists() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    let of = |board: &str| command(&dir, &["replay", JOB, "--board", board, "--json"]).0;
    let (own, mine): (Value, Value) = (
        serde_json::from_str(&of("8bit-card.toml")).unwrap(),
        serde_json::from_str(
            &command(
                &dir,
                &[
                    "replay",
                    JOB,
                    "--board",
                    "mine.toml",
                    "--set",
                    "queue.blocks=17",
                    "--json",
                ],
            )
            .0,
        )
        .unwrap(),
    );
    assert_eq!(own["replay_s"], mine["replay_s"]);
    assert_eq!(own["stalls"], mine["stalls"]);
}

#[test]
fn a_bump_is_chosen_everywhere() {
    let dir = folder();
    let path = write(&dir, JOB, &cup());
    let Some((browser, live)) = opened(&[&path, "--board", BOARD]) else {
        return;
    };
    says(&browser, &dir, &["replay", JOB, "--board", BOARD]);
    command(&dir, &["replay", JOB, "--board", BOARD, "--out", "out"]);
    let visible: u64 = browser
        .eval("return document.querySelectorAll('#bumps tbody tr').length")
        .as_u64()
        .unwrap();
    let summary = fs::read_to_string(dir.path().join("out/summary.json")).unwrap();
    let summary: Value = serde_json::from_str(&summary).unwrap();
    assert!(visible > 2);
    assert_eq!(summary["visible_bumps"].as_u64().unwrap().min(25), visible);

    // The third of the table, chosen by keyboard, is told, drawn, and shown on its layer.
    let third = "#bumps tbody tr:nth-child(3)";
    browser.keys(third, "\u{E007}");
    let cell = |k: u32| {
        browser.text(&format!(
            "return document.querySelector('{third} td:nth-child({k})').textContent"
        ))
    };
    let (height, layer) = (cell(1), cell(2));
    let line = browser.text("const heads = [...document.querySelectorAll('#bumps th')].map((e) => e.textContent); return document.querySelector('#bumps tbody tr:nth-child(3)').cells[heads.indexOf('line')].textContent");
    browser.wait("return Boolean(document.querySelector('#moment svg'))");
    let moment = browser.text("return document.querySelector('#moment .where').textContent");
    assert!(
        moment.starts_with(&format!("Bump of {height} mm on layer {layer}"))
            && moment.contains(&format!("line {line},")),
        "{moment}"
    );
    let shown = browser.text("return document.querySelector('#map .which').textContent");
    assert!(shown.starts_with(&format!("layer {layer},")), "{shown}");
    assert_eq!(
        browser.eval("return document.querySelectorAll('#wall .ring').length"),
        1
    );
    browser.wait(&format!(
        "return new URLSearchParams(location.hash.slice(1)).get('line') === '{line}'"
    ));

    // A click on the wall at the bump that is farthest from it chooses that one, which the table then shows.
    let at = browser.eval(
        "document.querySelector('#wall').scrollIntoView(); \
         const middle = (e) => { const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; }; \
         const own = middle(document.querySelector('#wall .ring')), away = ([x, y]) => Math.hypot(x - own[0], y - own[1]); \
         return [...document.querySelectorAll('#wall .bump')].map(middle).sort((a, b) => away(b) - away(a))[0]",
    );
    browser.drag(&[[at[0].as_f64().unwrap(), at[1].as_f64().unwrap()]]);
    browser.wait(&format!(
        "return document.querySelector('{third}').getAttribute('aria-selected') === 'false'"
    ));
    let chosen = browser.text(
        "return document.querySelector('#bumps tr[aria-selected=true]').cells[1].textContent",
    );
    let shown = browser.text("return document.querySelector('#map .which').textContent");
    assert!(shown.starts_with(&format!("layer {chosen},")), "{shown}");

    // The time around any stall: the last of all has none of the strips that come with the answer.
    browser.eval("document.querySelector('#stalls .more').click()");
    let last = "#stalls tbody tr:last-child";
    browser.eval(&format!("document.querySelector('{last}').click()"));
    browser.wait_s("return document.querySelector('#moment svg') && document.querySelector('#moment .where').textContent.includes('lost.')", 20);
    // The part, turned by keyboard, is drawn anew.
    let part = "return document.querySelector('#part canvas').toDataURL()";
    let before = browser.text(part);
    browser.keys("#part canvas", "\u{E012}");
    assert_ne!(before, browser.text(part));
    keeps_to_itself(&browser, &live);
}

/// A key, pressed wherever the focus is.
fn press(browser: &Browser, key: &str) {
    let strokes = json!([{ "type": "keyDown", "value": key }, { "type": "keyUp", "value": key }]);
    let keyboard = json!({ "type": "key", "id": "keyboard", "actions": strokes });
    browser.post("actions", json!({ "actions": [keyboard] }));
}

/// Moves the focus on to this element; everything on the way shows that it has the focus.
#[track_caller]
fn tab_to(browser: &Browser, id: &str) {
    for _ in 0..150 {
        press(browser, "\u{E004}");
        let at = browser.eval("const e = document.activeElement; return [e.id, e.outerHTML.slice(0, 120), getComputedStyle(e).outlineStyle]");
        assert_ne!(at[2], "none", "{at}");
        if at[0] == id {
            return;
        }
    }
    panic!("the tabulator key does not reach {id}");
}

#[test]
fn a_keyboard_is_enough() {
    let dir = folder();
    let path = write(&dir, JOB, &cup());
    let Some((browser, _live)) = opened(&[&path, "--board", BOARD]) else {
        return;
    };
    says(&browser, &dir, &["replay", JOB, "--board", BOARD]);
    // The first stop leads past the list of sections, the job and the board.
    press(&browser, "\u{E004}");
    press(&browser, "\u{E007}");
    browser.wait("return document.activeElement.id === 'answer'");
    tab_to(&browser, "knob-save");
    // From each second, the last stop, to every other one; and back.
    press(&browser, "\u{E012}");
    let set = ["--set", "save.when=seconds", "--set", "save.every=2"];
    says(
        &browser,
        &dir,
        &[&["replay", JOB, "--board", BOARD][..], &set].concat(),
    );
    tab_to(&browser, "knobs-back");
    press(&browser, "\u{E007}");
    says(&browser, &dir, &["replay", JOB, "--board", BOARD]);
}

/// A height of -0.001 mm, say, as a table and a caption write it.
#[test]
fn no_number_is_a_negative_zero() {
    let Some(browser) = Browser::open() else {
        return;
    };
    let live = Live::start(&[]);
    browser.visit(&live.address);
    browser.eval(
        "import('./page/dom.js').then(({ rounded }) => { \
         window.told = [[-0.001, 2], [-0, 0], [-0.04, 1], [-0.06, 1], [-20, 1], [0.001, 2], [-0.5, 0]].map((n) => rounded(...n)); })",
    );
    browser.wait("return Boolean(window.told)");
    let told = browser.eval("return window.told");
    assert_eq!(
        told,
        json!(["0.00", "0", "0.0", "-0.1", "-20.0", "0.00", "-1"])
    );
}
