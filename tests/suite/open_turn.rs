//! The live page in headless Chromium: knobs, cures, what is taken away, and whether everybody can use it.

use std::fs;
use std::path::Path;
use std::time::Duration;

use serde_json::{Value, json};
use tempfile::TempDir;

use super::cli::{folder, write};
use super::open_page::{ANSWERED, BOARD, JOB, command, cup, keeps_to_itself, opened, said, says};
use super::webdriver::Browser;

/// Turns a knob to the stop that says this.
#[track_caller]
fn turn(browser: &Browser, knob: &str, say: &str) {
    let turned = browser.eval(&format!(
        "const knob = document.getElementById('knob-{knob}'); \
         for (let k = 0; k <= Number(knob.max); k++) {{ \
           knob.value = k; knob.dispatchEvent(new Event('input', {{ bubbles: true }})); \
           if (knob.nextElementSibling.textContent.startsWith({})) return true; \
         }} return false",
        json!(say)
    ));
    assert_eq!(turned, true, "{knob} has no stop {say}");
}

fn cells(browser: &Browser, row: &str) -> Vec<String> {
    let all = browser.eval(&format!(
        "const row = [...document.querySelectorAll('#knobs-table tbody tr')].find((r) => r.cells[0].textContent === {}); \
         return row ? [...row.cells].slice(1).map((c) => c.textContent) : []",
        json!(row)
    ));
    let all = all.as_array().unwrap().iter();
    all.map(|c| c.as_str().unwrap().to_string()).collect()
}

fn summary(dir: &TempDir, args: &[&str]) -> Value {
    let all = [&["replay", JOB, "--board", BOARD, "--json"], args].concat();
    serde_json::from_str(&command(dir, &all).0).unwrap()
}

/// What stands in a file that the browser is saving.
#[track_caller]
fn saved(path: &Path) -> Vec<u8> {
    for _ in 0..400 {
        if path.exists() {
            return fs::read(path).unwrap();
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    panic!("{} was not saved", path.display());
}

fn save_into(browser: &Browser, folder: &Path) {
    browser.cdp(
        "Browser.setDownloadBehavior",
        json!({ "behavior": "allow", "downloadPath": folder.display().to_string() }),
    );
}

#[test]
fn knobs_are_turned() {
    let dir = folder();
    let path = write(&dir, JOB, &cup());
    let Some((browser, live)) = opened(&[&path, "--board", BOARD]) else {
        return;
    };
    says(&browser, &dir, &["replay", JOB, "--board", BOARD]);

    // All stops on the way are passed quickly: the last one counts.
    turn(&browser, "save", "at each layer");
    turn(&browser, "save", "off");
    let set = ["replay", JOB, "--board", BOARD, "--set", "save.when=off"];
    says(&browser, &dir, &set);
    assert!(said(&browser, "knobs").contains("a power cut costs the whole print"));
    let (before, after) = (
        summary(&dir, &[]),
        summary(&dir, &["--set", "save.when=off"]),
    );
    browser.wait_s(
        "return document.querySelectorAll('#knobs-table tbody tr').length > 3",
        60,
    );
    let row = cells(&browser, "Visible bumps, this run");
    let bumps = |s: &Value| s["visible_bumps"].as_u64().unwrap();
    assert_eq!(
        row[..2],
        [bumps(&before).to_string(), bumps(&after).to_string()]
    );
    assert!(bumps(&before) > bumps(&after), "{before} {after}");
    let lost = |s: &Value| s["lost_s"].as_f64().unwrap();
    assert!(lost(&before) > lost(&after));
    // Both layers on one slider.
    browser.eval("document.querySelector('#knobs .after .up').click()");
    let which = |half: &str| {
        let css = format!(
            "return document.querySelector('#knobs .{half} .which').textContent.split(',')[0]"
        );
        browser.text(&css)
    };
    assert_eq!(which("before"), which("after"));

    // Another seed; all of it stands in the address, and a reload brings it back, also while work is under way.
    browser.click("#knob-luck");
    let seeded = [&set[..], &["--seed", "1"]].concat();
    says(&browser, &dir, &seeded);
    turn(&browser, "queue", "32");
    browser.eval("window.old = true; location.reload()");
    let deeper = [&seeded[..], &["--set", "queue.blocks=32"]].concat();
    browser.wait_s(
        "return !window.old && Boolean(document.querySelector('#take-board'))",
        20,
    );
    // Settings of the same board are listed in another order than they were typed.
    browser.wait_s(ANSWERED, 60);
    let printed = command(&dir, &deeper).0;
    let verdict = printed.split("\n\n").next().unwrap().replace('\n', " ");
    assert_eq!(said(&browser, "verdict"), verdict);

    // A second tab knows nothing of what is turned in the first.
    let (first, here) = (
        said(&browser, "verdict"),
        browser.text("return location.href"),
    );
    let tab = browser.post("window/new", json!({ "type": "tab" }));
    let own = browser.post("window", json!({ "handle": tab["handle"] }));
    assert!(own.is_null());
    browser.visit(&here);
    browser.wait_s(ANSWERED, 60);
    assert_eq!(said(&browser, "verdict"), first);
    browser.click("#knobs-back");
    says(&browser, &dir, &["replay", JOB, "--board", BOARD]);
    let handles = ureq::get(&format!("{}/window/handles", browser.session)).call();
    let handles: Value = handles.unwrap().body_mut().read_json().unwrap();
    browser.post("window", json!({ "handle": handles["value"][0] }));
    assert_eq!(said(&browser, "verdict"), first);
    keeps_to_itself(&browser, &live);
}

#[test]
fn a_replay_is_stopped() {
    let dir = folder();
    // Long enough to be stopped: the cup, many times as high.
    let layers: String = (0..40).fold(String::new(), |all, k| {
        all + &cup().replace('Z', &format!("Z{k}"))
    });
    let path = write(&dir, JOB, &layers);
    let Some((browser, live)) = opened(&[&path, "--board", BOARD]) else {
        return;
    };
    browser.eval("document.getElementById('answer-stop').click()");
    browser.wait_s("return !document.getElementById('answer-again').hidden && document.getElementById('answer-stop').hidden", 5);
    browser.click("#answer-again");
    browser.wait_s(ANSWERED, 120);
    keeps_to_itself(&browser, &live);
}

#[test]
fn cures_are_tried_and_the_job_is_mended() {
    let dir = folder();
    let path = write(&dir, JOB, &cup());
    let Some((browser, live)) = opened(&[&path, "--board", BOARD]) else {
        return;
    };
    says(&browser, &dir, &["replay", JOB, "--board", BOARD]);
    browser.click("#cures-start");
    browser.wait_s(
        "return document.getElementById('cures-told').textContent.startsWith('All were tried')",
        120,
    );
    let printed = command(&dir, &["remedies", JOB, "--board", BOARD]).0;
    assert_eq!(said(&browser, "cures-text"), printed);

    // The best one that is a setting turns the knobs.
    let name = browser.text("return document.querySelector('#cures-table tbody button').ariaLabel");
    browser.eval("document.querySelector('#cures-table tbody button').click()");
    browser.wait("return document.getElementById('knobs-back').disabled === false");
    browser.wait_s(ANSWERED, 60);
    assert!(name.starts_with("Try it: "), "{name}");
    browser.eval("document.getElementById('knobs-back').click()");
    says(&browser, &dir, &["replay", JOB, "--board", BOARD]);

    // Mended: what the page says, and the file, are the command's.
    let folder = dir.path().join("saved");
    fs::create_dir(&folder).unwrap();
    save_into(&browser, &folder);
    browser.click("#mend-start");
    browser.wait_s(
        "return !document.getElementById('mend-save').parentElement.parentElement.hidden",
        180,
    );
    let mend = [
        "mend",
        JOB,
        "--board",
        BOARD,
        "-o",
        "mended.gcode",
        "--json",
    ];
    let mended: Value = serde_json::from_str(&command(&dir, &mend).0).unwrap();
    let told = said(&browser, "mend-told");
    assert!(
        told.starts_with(mended["verdict"].as_str().unwrap()),
        "{told}"
    );
    browser.click("#mend-save");
    let name = browser.text("return document.getElementById('mend-save').download");
    assert_eq!(
        saved(&folder.join(name)),
        fs::read(dir.path().join("mended.gcode")).unwrap()
    );
    keeps_to_itself(&browser, &live);
}

#[test]
fn answers_are_taken_away() {
    let dir = folder();
    let path = write(&dir, JOB, &cup());
    let Some((browser, live)) = opened(&[&path, "--board", BOARD]) else {
        return;
    };
    says(&browser, &dir, &["replay", JOB, "--board", BOARD]);
    command(
        &dir,
        &["replay", JOB, "--board", BOARD, "--out", "out", "--png"],
    );
    let folder = dir.path().join("saved");
    fs::create_dir(&folder).unwrap();
    save_into(&browser, &folder);
    for what in [
        "wall.svg",
        "part.png",
        "speed.svg",
        "stalls.csv",
        "bumps.csv",
        "report.html",
        "post.txt",
    ] {
        browser.eval(&format!(
            "document.getElementById('take-what').value = '{what}'"
        ));
        browser.click("#take-start");
        let own = saved(&folder.join(format!("cup-{what}")));
        let want = match what {
            "post.txt" => command(&dir, &["replay", JOB, "--board", BOARD, "--post"])
                .0
                .into_bytes(),
            _ => fs::read(dir.path().join("out").join(what)).unwrap(),
        };
        assert!(own == want, "{what} is not what the command writes");
    }
    assert_eq!(
        browser.text("return document.getElementById('take-post').value"),
        command(&dir, &["replay", JOB, "--board", BOARD, "--post"]).0
    );
    keeps_to_itself(&browser, &live);
}

/// By the tab key alone one comes to everything, and sees where one is.
#[test]
fn keys_are_enough() {
    let dir = folder();
    let path = write(&dir, JOB, &cup());
    let Some((browser, live)) = opened(&[&path, "--board", BOARD]) else {
        return;
    };
    says(&browser, &dir, &["replay", JOB, "--board", BOARD]);
    let tab = json!({ "type": "key", "id": "keys", "actions": [{ "type": "keyDown", "value": "\u{E004}" }, { "type": "keyUp", "value": "\u{E004}" }] });
    let mut seen = Vec::new();
    for _ in 0..400 {
        browser.post("actions", json!({ "actions": [tab] }));
        let at = browser.eval(
            "const e = document.activeElement, s = getComputedStyle(e); \
             return [e.id || e.getAttribute('class') || e.tagName, s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2]",
        );
        let name = at[0].as_str().unwrap().to_string();
        if name == "BODY" || name == "HTML" {
            break;
        }
        assert_eq!(at[1], true, "{name}: its focus cannot be seen");
        seen.push(name);
    }
    for id in [
        "jobs-add",
        "board-name",
        "slider",
        "knob-save",
        "knob-luck",
        "cures-start",
        "mend-start",
        "take-start",
        "turned",
        "unrolled marking",
    ] {
        assert!(
            seen.iter().any(|name| name == id),
            "{id} is not reached: {seen:?}"
        );
    }
    // An arrow key turns a knob.
    browser.keys("#knob-queue", "\u{E014}");
    browser.wait("return document.getElementById('knobs-back').disabled === false");
    keeps_to_itself(&browser, &live);
}

/// axe-core, a library of rules of accessibility, which `.ci/run` fetches.
fn axe() -> Option<String> {
    let path = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/target/npm/node_modules/axe-core/axe.min.js"
    );
    let script = fs::read_to_string(path).ok();
    if script.is_none() {
        println!("SKIPPED: no axe-core in target/npm; accessibility is not tested");
    }
    script
}

#[test]
fn everybody_can_use_it() {
    let Some(axe) = axe() else { return };
    let dir = folder();
    let path = write(&dir, JOB, &cup());
    let Some((browser, live)) = opened(&[&path, "--board", BOARD]) else {
        return;
    };
    says(&browser, &dir, &["replay", JOB, "--board", BOARD]);
    turn(&browser, "save", "off");
    browser.wait_s(
        "return document.querySelectorAll('#knobs-table tbody tr').length > 3",
        60,
    );
    browser.eval(&axe);
    command(&dir, &["replay", JOB, "--board", BOARD, "--out", "out"]);
    let check = |where_: &str| {
        browser.eval("window.found = null; axe.run(document, { resultTypes: ['violations'] }).then((r) => { window.found = r.violations.map((v) => v.id + ': ' + v.nodes.map((n) => n.html.slice(0, 120)).join(' | ')); })");
        browser.wait_s("return window.found !== null", 60);
        assert_eq!(browser.eval("return window.found"), json!([]), "{where_}");
    };
    for scheme in ["light", "dark"] {
        for wide in [360, 800, 1600] {
            browser.scheme(scheme);
            browser.size(wide, 900);
            std::thread::sleep(Duration::from_millis(200));
            let over = browser.eval("return document.documentElement.scrollWidth - document.documentElement.clientWidth");
            assert_eq!(over, 0, "{wide} px, {scheme}");
            if wide != 800 {
                check(&format!("the live page, {wide} px, {scheme}"));
            }
        }
    }
    keeps_to_itself(&browser, &live);
    browser.go(&dir.path().join("out/report.html"));
    browser.eval(&axe);
    check("report.html");
}
