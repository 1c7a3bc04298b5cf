//! The live page's photographs, bumps that are seen, and the measured board, in headless Chromium.
//!
//! Rays that are taken to be parallel are not enough: a photograph of a part 120 mm high and 60 mm wide from 500 mm would
//! put bumps 3.3 mm and 3.0° off; a distance wrong by a tenth, 0.3 mm and 0.3°. So the camera has a distance, which is
//! fitted with the rest. On `tests/vectors/photo.png` (11.6 px/mm, layers of 0.4 mm), from starts up to 15° beside it and at
//! 0.9 to 1.5 times the distance, bumps come out within 0.1 mm and 0.4°, also with noise, clutter, a shadow or little
//! contrast; out of focus by 3 px within 0.2 mm and 2.1°, from one start of four within 1.0 mm and 2.7°. No real photograph
//! has been tried.

use std::fmt::Write;
use std::fs;

use headstall::board::builtin;
use headstall::study::fit::forward::{self, Coupon};
use serde_json::{Value, json};

use super::cli::{folder, headstall, ran, text, write};
use super::fit_sound;
use super::live::Live;
use super::making::board_from;
use super::webdriver::Browser;

const BOARD: &str = "8bit-card-saves";
const LAYER_MM: f64 = 0.4;

/// The photograph, and what is known of it: `tests/vectors/photo.py` made both by ray casting.
fn photograph() -> (String, Value) {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/vectors");
    let known = fs::read_to_string(folder.join("photo.json")).unwrap();
    let known = serde_json::from_str(&known).unwrap();
    (folder.join("photo.png").display().to_string(), known)
}

/// The wall's distance from its axis, mm, as `photo.py` has it.
fn radius_mm(angle: f64, z_mm: f64) -> f64 {
    let around = 20.0 + 1.5 * (5.0 * angle).cos() + 2.5 * (angle - 0.6).cos();
    around * (1.0 + 0.10 * (std::f64::consts::TAU * z_mm / 40.0).sin())
}

/// The job that prints it: the head runs half a bead inside of the wall.
fn job() -> String {
    let mut job = String::from("M83\nG1 F3000\n");
    for layer in 0..100 {
        let z_mm = LAYER_MM * f64::from(layer + 1);
        for k in 0..=180 {
            let angle = f64::from(k) * std::f64::consts::TAU / 180.0;
            let r = radius_mm(angle, z_mm - LAYER_MM / 2.0) - 0.2;
            let (x, y) = (110.0 + r * angle.cos(), 90.0 + r * angle.sin());
            let _ = match k {
                0 => writeln!(job, "G0 X{x:.3} Y{y:.3} Z{z_mm:.1}"),
                _ => writeln!(job, "G1 X{x:.3} Y{y:.3} E0.03"),
            };
        }
    }
    job
}

fn pair(value: &Value) -> [f64; 2] {
    [value[0].as_f64().unwrap(), value[1].as_f64().unwrap()]
}

/// Places of a photograph on the page.
struct Stage<'a>(&'a Browser, &'a Value);

impl Stage<'_> {
    /// Where a pixel of the photograph lies in the window.
    fn at(&self, px: [f64; 2]) -> [f64; 2] {
        let script = "const s = document.querySelector('.photo-stage'); s.scrollIntoView({ block: 'center' }); \
                      const r = s.getBoundingClientRect(); return [r.left, r.top, r.width, r.height]";
        let r = self.0.eval(script);
        let n = |k: usize| r[k].as_f64().unwrap();
        let size = [&self.1["wide_px"], &self.1["high_px"]].map(|v| v.as_f64().unwrap());
        [n(0) + px[0] * n(2) / size[0], n(1) + px[1] * n(3) / size[1]]
    }

    fn click(&self, px: [f64; 2]) {
        self.0.drag(&[self.at(px)]);
    }

    /// Drags a handle to a pixel of the photograph.
    fn handle(&self, name: &str, px: [f64; 2]) {
        let to = self.at(px);
        let script = format!(
            "const r = document.querySelector('[data-handle={name}]').getBoundingClientRect(); \
             return [r.left + r.width / 2, r.top + r.height / 2]"
        );
        let from = pair(&self.0.eval(&script));
        self.0.drag(&[from, [from[0] + 2.0, from[1]], to]);
    }

    fn told(&self) -> String {
        self.0
            .text("return document.getElementById('photo-told').textContent")
    }
}

/// The list of bumps on the page: heights and angles.
fn seen(browser: &Browser) -> (String, Vec<[f64; 2]>) {
    let csv = browser.text("return document.querySelector('#see .seen-csv').value");
    let row = |row: &str| {
        let (z, angle) = row.split_once(',').unwrap();
        [z.parse().unwrap(), angle.parse().unwrap()]
    };
    let rows = csv.lines().skip(1).map(row).collect();
    (csv, rows)
}

/// Each bump within so many mm and degrees of where it is.
#[track_caller]
fn agree(found: &[[f64; 2]], known: &Value, mm: f64, degrees: f64) {
    let known = known["bumps"].as_array().unwrap();
    assert_eq!(found.len(), known.len());
    for (is, want) in found.iter().zip(known) {
        let off = [
            is[0] - want["z_mm"].as_f64().unwrap(),
            is[1] - want["angle_deg"].as_f64().unwrap(),
        ];
        assert!(
            off[0].abs() <= mm && off[1].abs() <= degrees,
            "{off:?} at {want}"
        );
    }
}

/// A page with the job of the photograph, replayed.
fn opened(dir: &tempfile::TempDir) -> Option<(Browser, Live)> {
    let browser = Browser::open()?;
    let live = Live::start(&[&write(dir, "vase.gcode", &job()), "--board", BOARD]);
    browser.size(1600, 1200);
    browser.visit(&live.address);
    browser.wait_s(
        "return document.querySelector('#see-photos')?.hidden === false",
        60,
    );
    Some((browser, live))
}

fn set(browser: &Browser, id: &str, value: f64) {
    browser.eval(&format!(
        "const i = document.getElementById('{id}'); i.value = {value}; i.dispatchEvent(new Event('change'))"
    ));
}

#[test]
fn a_photograph_tells_places() {
    let dir = folder();
    let Some((browser, _live)) = opened(&dir) else {
        return;
    };
    let (photo, known) = photograph();
    let stage = Stage(&browser, &known);
    let resources = "return performance.getEntriesByType('resource').length";
    browser.keys("#photo-add", &photo);
    browser.wait("return !document.querySelector('.photo-work').hidden");
    let before = browser.eval(resources);
    for (name, key) in [
        ("left", "left_px"),
        ("right", "right_px"),
        ("top", "top_px"),
    ] {
        stage.handle(name, pair(&known[key]));
    }
    let bumps: Vec<[f64; 2]> = known["bumps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|b| pair(&b["px"]))
        .collect();

    // By hand: the side, the angle from above and the distance are known. A bump at the edge is told less well.
    set(
        &browser,
        "photo-far",
        known["distance_mm"].as_f64().unwrap(),
    );
    set(
        &browser,
        "photo-above",
        known["above_deg"].as_f64().unwrap(),
    );
    set(
        &browser,
        "photo-side-deg",
        known["from_deg"].as_f64().unwrap(),
    );
    browser.click("#photo-mark");
    bumps.iter().for_each(|px| stage.click(*px));
    agree(&seen(&browser).1, &known, LAYER_MM, 4.0);
    for _ in &bumps {
        browser.click("#see .seen-undo");
    }
    assert_eq!(seen(&browser).1, Vec::<[f64; 2]>::new());

    // Fitted to the picture from afar: within a layer and two degrees, and better than that.
    browser.click("#photo-lay");
    set(&browser, "photo-side-deg", 265.0);
    set(&browser, "photo-above", 0.0);
    set(&browser, "photo-far", 250.0);
    browser.click("#photo-fit");
    let fitted = "return document.getElementById('photo-told').textContent.startsWith('Fitted')";
    browser.wait_s(fitted, 30);
    let deg = browser.text("return document.getElementById('photo-side-deg').value");
    assert!((deg.parse::<f64>().unwrap() - 250.0).abs() < 1.0, "{deg}");
    browser.click("#photo-mark");
    bumps.iter().for_each(|px| stage.click(*px));
    agree(&seen(&browser).1, &known, LAYER_MM / 2.0, 1.0);

    // The picture has left the page for nowhere: all that was asked since is what explain says.
    let asked = "return performance.getEntriesByType('resource').slice(arguments[0] ?? 0).map((e) => new URL(e.name).pathname.split('/').slice(2).join('/'))";
    let asked = browser.eval(&asked.replace("arguments[0] ?? 0", &before.to_string()));
    let asked: Vec<&str> = asked
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_str().unwrap())
        .collect();
    assert!(
        asked.iter().all(|path| ["explain", ""].contains(path)),
        "{asked:?}"
    );

    // Beside the part is no bump.
    stage.click([620.0, 200.0]);
    assert!(stage.told().contains("no outer wall"), "{}", stage.told());
    assert_eq!(seen(&browser).1.len(), bumps.len());
    assert_eq!(browser.complaints(), Vec::<Value>::new());
}

/// All of it without a mouse; and what explain says of it.
#[test]
fn bumps_are_marked_by_keyboard_and_explained() {
    let dir = folder();
    let Some((browser, _live)) = opened(&dir) else {
        return;
    };
    let (photo, known) = photograph();
    let stage = Stage(&browser, &known);
    browser.keys("#photo-add", &photo);
    browser.wait("return !document.querySelector('.photo-work').hidden");
    // A handle by keys: ten px right, one down.
    let place = "const s = document.querySelector('[data-handle=left]').style; return [parseFloat(s.left), parseFloat(s.top)]";
    let from = pair(&browser.eval(place));
    browser.keys("[data-handle=left]", "\u{E008}\u{E014}\u{E008}\u{E015}");
    let to = pair(&browser.eval(place));
    let px = [
        (to[0] - from[0]) / 100.0 * known["wide_px"].as_f64().unwrap(),
        (to[1] - from[1]) / 100.0 * known["high_px"].as_f64().unwrap(),
    ];
    assert!(
        (px[0] - 10.0).abs() < 0.01 && (px[1] - 1.0).abs() < 0.01,
        "{px:?}"
    );

    // A bump by keys, taken back by keys.
    browser.keys("#photo-mark", " ");
    browser.keys("#photo-picture", "\u{E014}\u{E013}\u{E007}");
    let one = seen(&browser).1;
    assert_eq!(one.len(), 1, "{}", stage.told());
    assert!(
        stage
            .told()
            .starts_with(&format!("bump 1 at {} mm", one[0][0])),
        "{}",
        stage.told()
    );
    browser.keys("#photo-picture", "\u{E003}");
    assert!(seen(&browser).1.is_empty());

    // A saved list, loaded; explain's answer stands beside it, word for word.
    let mut list = String::from("z_mm,angle_deg\n");
    for bump in known["bumps"].as_array().unwrap() {
        let _ = writeln!(list, "{},{}", bump["z_mm"], bump["angle_deg"]);
    }
    let place = write(&dir, "seen.csv", &list);
    browser.keys("#see .seen-load", &place);
    browser.wait_s("return !document.getElementById('see-text').hidden", 60);
    let (csv, _) = seen(&browser);
    let list = write(&dir, "seen.csv", &csv);
    let said = ran(&[
        "explain",
        &dir.path().join("vase.gcode").display().to_string(),
        &list,
        "--board",
        BOARD,
    ]);
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    assert_eq!(
        browser.text("return document.getElementById('see-text').textContent"),
        text(&said.stdout)
    );
    browser.wait(
        "const i = document.getElementById('see-picture'); return i.complete && i.naturalWidth > 0",
    );

    // A list that gets too short has no answer any more.
    browser.click("#see .seen-clear");
    browser.wait("return document.getElementById('see-text').hidden");
    assert_eq!(browser.complaints(), Vec::<Value>::new());
}

/// What a camera does, by the page's own modules.
#[test]
fn the_geometry_holds() {
    let Some(browser) = Browser::open() else {
        return;
    };
    let live = Live::start(&[]);
    browser.visit(&live.address);
    let found = browser.eval(
        r#"const base = location.href.replace(/#.*/, '');
        const load = (name) => import(base + 'page/' + name + '.js');
        return Promise.all(['solid', 'camera', 'sight'].map(load)).then(([S, C, G]) => {
          // A box of 30 by 20 by 50 mm with its middle at (100, 50).
          const x = [85, 115, 115, 85, 85], y = [40, 40, 60, 60, 40];
          const tops = Array.from({ length: 100 }, (_, k) => (k + 1) / 2);
          const layers = tops.map((_, layer) => ({ layer, runs: [{ level: 3, x, y }] }));
          const shape = S.solid(layers, tops, { middle: [100, 50], low: [85, 40], high: [115, 60], top: 50 });
          const out = { folds: S.folds(shape).length, high: shape.high, back: 0, through: 0, pinhole: 0, hidden: 0 };
          for (let k = 0; k < 60; k++) {
            // Numbers that jump about, the same each time.
            const r = (j) => { const v = Math.sin(12.9898 * (k + 1) + 78.233 * (j + 1)) * 43758.5453; return v - Math.floor(v); };
            const cam = {
              ...C.firstCamera(shape, 1000, 1200), yaw: 6.28 * r(0), pitch: 0.6 * r(1) - 0.2, roll: 0.2 * r(2) - 0.1,
              near: r(3) / 150, qx: 200 * r(4) - 100, qy: 200 * r(5) - 100,
            };
            // A place that is seen comes back.
            const v = G.view(shape, cam), z = 1 + 48 * r(6), angle = 360 * r(7), at = G.place(v, z, angle);
            const row = S.rowAt(shape, z), p = S.placeOn(shape, row, S.rayAt(shape, angle));
            const found = G.pick(v, at.x, at.y, 0);
            if (at.seen && found) out.back = Math.max(out.back, Math.hypot(found.x - p.x, found.y - p.y, found.z - p.z));
            if (!at.seen && found && Math.hypot(found.x - p.x, found.y - p.y, found.z - p.z) < 1) out.hidden++;
            // The outline goes through its handles, from a camera that is off.
            const handles = C.handlesOf(shape, cam);
            const laid = C.through(shape, { ...cam, qx: cam.qx + 30, scale: 1.1 * cam.scale, roll: cam.roll - 0.05 }, handles);
            const is = C.handlesOf(shape, laid);
            out.through = Math.max(out.through, Math.hypot(is.left[0] - handles.left[0], is.left[1] - handles.left[1]), Math.hypot(is.right[0] - handles.right[0], is.right[1] - handles.right[1]));
            // A pinhole: the eye at distance D from the middle along the line of sight; the eye, the place and its picture are in line.
            if (cam.near > 1e-4) {
              const D = 1 / cam.near, f = cam.scale * D, c = Math.cos, s = Math.sin;
              const ahead = [-c(cam.yaw) * c(cam.pitch), -s(cam.yaw) * c(cam.pitch), -s(cam.pitch)];
              const flat = [-s(cam.yaw), c(cam.yaw), 0];
              const over = [flat[1] * ahead[2] - flat[2] * ahead[1], flat[2] * ahead[0] - flat[0] * ahead[2], flat[0] * ahead[1] - flat[1] * ahead[0]];
              const right = flat.map((a, j) => c(cam.roll) * a - s(cam.roll) * over[j]), up = flat.map((a, j) => s(cam.roll) * a + c(cam.roll) * over[j]);
              const of = [100, 50, 25], eye = of.map((m, j) => m - D * ahead[j] - (cam.qx / f) * D * right[j] + (cam.qy / f) * D * up[j]);
              const d = [p.x - eye[0], p.y - eye[1], p.z - eye[2]], dot = (a) => a[0] * d[0] + a[1] * d[1] + a[2] * d[2];
              const X = cam.cx + (f * dot(right)) / dot(ahead), Y = cam.cy - (f * dot(up)) / dot(ahead);
              out.pinhole = Math.max(out.pinhole, Math.hypot(X - at.x, Y - at.y));
            }
          }
          return out;
        });"#,
    );
    let number = |key: &str| found[key].as_f64().unwrap();
    assert_eq!(number("high"), 50.0);
    // Four edges, and four middles of sides.
    assert_eq!(number("folds"), 8.0, "{found}");
    assert!(number("back") < 0.05, "{found}");
    assert_eq!(number("hidden"), 0.0, "{found}");
    assert!(number("through") < 0.05, "{found}");
    assert!(number("pinhole") < 1e-6, "{found}");
}

/// A short coupon: chords of eight lengths between pauses. Not the program's own, so that its fit is quick.
fn coupon() -> String {
    let mut job = String::from("G21\nG90\nG28\nG1 Z20 F600\nG1 X80 Y80 F3000\n");
    for (section, chord) in [0.02, 0.03, 0.05, 0.08, 0.12, 0.2, 0.4, 0.8]
        .iter()
        .enumerate()
    {
        let _ = writeln!(
            job,
            "G4 P3000\n; section {} of 8: chords of {chord} mm",
            section + 1
        );
        job += "G1 X85 F3000\n";
        for k in 1..=400 {
            let far = f64::from(if k % 2 == 0 { 0 } else { 1 });
            let _ = writeln!(
                job,
                "G1 X{:.2}{}",
                85.0 + chord * far,
                if k == 1 { " F6000" } else { "" }
            );
        }
        job += "G1 X115 F3000\nG1 X80\n";
    }
    job + "G4 P3000\n"
}

/// What its sections take on a board.
fn durations_s(coupon: &str, board: &str) -> Vec<f64> {
    let coupon = Coupon::new(forward::steps(coupon.as_bytes()).unwrap());
    let board = board_from(builtin::text(board).unwrap(), &[]);
    coupon.replay(&board, 5).unwrap().sections_s
}

#[test]
fn the_coupon_comes_with_its_cautions() {
    let dir = folder();
    let Some((browser, _live)) = opened(&dir) else {
        return;
    };
    browser.click("#coupon-make");
    browser.wait_s("return !document.getElementById('coupon-text').hidden", 30);
    let place = dir.path().join("coupon.gcode");
    let told = headstall()
        .args(["coupon", "--board", BOARD, "-o", "coupon.gcode"])
        .current_dir(dir.path())
        .output()
        .unwrap();
    assert_eq!(told.status.code(), Some(0), "{}", text(&told.stderr));
    let said = browser.text("return document.getElementById('coupon-text').textContent");
    assert_eq!(said, text(&told.stdout));
    // Cautions stand above the download.
    let order = browser.eval("return Boolean(document.getElementById('coupon-text').compareDocumentPosition(document.getElementById('coupon-save')) & Node.DOCUMENT_POSITION_FOLLOWING)");
    assert_eq!(order, true);
    assert!(saved(&browser, &dir, "#coupon-save", "coupon.gcode") == fs::read(&place).unwrap());

    // What the command refuses, the page refuses before it asks.
    set(&browser, "coupon-z", 1.0);
    browser.click("#coupon-make");
    browser.wait("return document.getElementById('coupon-told').textContent.includes('must be')");
    let told = browser.text("return document.getElementById('coupon-told').textContent");
    assert!(told.contains("must be a number from 5 to 2000"), "{told}");
}

#[test]
fn a_board_is_measured() {
    let dir = folder();
    let Some((browser, _live)) = opened(&dir) else {
        return;
    };
    let coupon = coupon();
    browser.keys("#coupon-load", &write(&dir, "coupon.gcode", &coupon));
    browser.wait(
        "return document.getElementById('watch-key').textContent === 'Start section 1 (space bar)'",
    );

    // The stopwatch, by the space bar: two sections, of which the second is taken back.
    for k in 0..2 {
        let start = std::time::Instant::now();
        browser.keys("#watch-key", " ");
        std::thread::sleep(std::time::Duration::from_millis(600));
        let least_s = start.elapsed().as_secs_f64() - 0.6;
        browser.keys("#watch-key", " ");
        let most_s = start.elapsed().as_secs_f64();
        let read = format!("return document.querySelectorAll('.watch-times input')[{k}].value");
        let s: f64 = browser.text(&read).parse().unwrap();
        assert!(s >= 0.5 && s <= most_s && least_s < most_s, "{s} {most_s}");
    }
    browser.click("#watch-back");
    let second = "return document.querySelectorAll('.watch-times input')[1].value";
    assert_eq!(browser.text(second), "");
    assert_eq!(
        browser.eval("return document.getElementById('fit-start').disabled"),
        true
    );

    // Typed in, as they are on another board; the fit says what the command says.
    let times = durations_s(&coupon, "8bit-card");
    let mut csv = String::from("section,seconds\n");
    for (k, s) in times.iter().enumerate() {
        let s = (s * 100.0).round() / 100.0;
        let _ = writeln!(csv, "{},{s}", k + 1);
        browser.eval(&format!("const i = document.querySelectorAll('.watch-times input')[{k}]; i.value = {s}; i.dispatchEvent(new Event('change'))"));
    }
    write(&dir, "times.csv", &csv);
    let said = fit(&browser, &dir, "times.csv");
    let shown = browser.text("return document.getElementById('fit-text').textContent");
    assert!(said.starts_with(&shown), "{shown}\n---\n{said}");
    let mine = fs::read_to_string(dir.path().join("mine.toml")).unwrap();
    let board = saved(&browser, &dir, "#fit-board", "my-board.toml");
    assert_eq!(text(&board), mine);

    // A recording.
    let sections: Vec<f64> = times.iter().map(|s| s.max(2.0)).collect();
    let place = dir.path().join("rec.wav");
    fit_sound::write_wav(&place, &sections);
    browser.click("#fit-undo");
    browser.keys("#fit-load", &place.display().to_string());
    browser.wait_s(
        "return document.getElementById('fit-given').textContent.startsWith('rec.wav is used')",
        20,
    );
    let said = fit(&browser, &dir, "rec.wav");
    let shown = browser.text("return document.getElementById('fit-text').textContent");
    assert!(said.starts_with(&shown), "{shown}\n---\n{said}");
    browser.wait(
        "const i = document.getElementById('fit-picture'); return i.complete && i.naturalWidth > 0",
    );

    // It is in use: a new coupon is made for it. Then the one before is again.
    for (undone, name) in [
        (false, "`8bit-card-saves-fitted`"),
        (true, "`8bit-card-saves`"),
    ] {
        if undone {
            browser.click("#fit-undo");
        }
        browser.eval("document.getElementById('coupon-text').textContent = ''");
        browser.click("#coupon-make");
        browser.wait("return document.getElementById('coupon-text').textContent !== ''");
        let said = browser.text("return document.getElementById('coupon-text').textContent");
        assert!(said.contains(name), "{said}");
    }
    assert_eq!(browser.complaints(), Vec::<Value>::new());
}

/// What a button saves as a file of this name.
fn saved(browser: &Browser, dir: &tempfile::TempDir, button: &str, name: &str) -> Vec<u8> {
    let to = tempfile::tempdir_in(dir.path()).unwrap();
    browser.cdp(
        "Browser.setDownloadBehavior",
        json!({ "behavior": "allow", "downloadPath": to.path() }),
    );
    browser.click(button);
    let file = to.path().join(name);
    for _ in 0..100 {
        if file.exists() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    fs::read(file).unwrap()
}

/// Fits on the page, and by the command: what that prints.
fn fit(browser: &Browser, dir: &tempfile::TempDir, times: &str) -> String {
    browser.click("#fit-start");
    let done = "return document.getElementById('fit-bar').hidden";
    browser.wait_s(done, 240);
    assert_eq!(
        browser.text("return document.getElementById('fit-told').textContent"),
        "The fitted board is in use now, in all that stands above."
    );
    let out = headstall()
        .args(["fit", "coupon.gcode", times, "--board", BOARD])
        .args(["--job", "vase.gcode", "--force", "-o", "mine.toml"])
        .current_dir(dir.path())
        .output()
        .unwrap();
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    text(&out.stdout)
}
