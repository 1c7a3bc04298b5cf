//! The page, driven in headless Chromium.

use serde_json::{Value, json};

use super::cli::{folder, ran, text};
use super::webdriver::Browser;

/// A ring on five layers, by chords too short for the board, with bad words in it.
fn job() -> String {
    let mut job = String::from(
        "M83\nG1 F6000\n; </script><script>alert(2)</script>\nG1 X</script><img src=x onerror=alert(3)>\n",
    );
    for layer in 1..=5 {
        job += &format!("G0 X30 Y20 Z{:.1}\n", 0.2 * f64::from(layer));
        for k in 1..=300 {
            let a = f64::from(k) * std::f64::consts::TAU / 300.0;
            job += &format!(
                "G1 X{:.3} Y{:.3} E0.008\n",
                20.0 + 10.0 * a.cos(),
                20.0 + 10.0 * a.sin()
            );
        }
    }
    job
}

#[test]
fn the_page_works() {
    let Some(browser) = Browser::open() else {
        return;
    };
    let dir = folder();
    // A slash ends a folder's name; all else of it is the job's.
    let name = dir
        .path()
        .join("<script>alert(1)<")
        .join("script><img src=x onerror=alert(1)>.gcode");
    std::fs::create_dir_all(name.parent().unwrap()).unwrap();
    std::fs::write(&name, job()).unwrap();
    let out = dir.path().join("out");
    let done = ran(&[
        "replay",
        &name.display().to_string(),
        "--out",
        &out.display().to_string(),
    ]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    browser.size(1600, 1200);
    browser.go(&out.join("report.html"));

    // Nothing of the job's text has become a part of the page.
    assert_eq!(
        browser.eval("return document.querySelectorAll('[onerror], script').length"),
        2
    );
    assert!(
        browser
            .text("return document.querySelector('header p').textContent")
            .contains("<img src=x onerror")
    );
    assert!(
        browser
            .text("return document.body.textContent")
            .contains("G1 X</script><img")
    );

    // The slider, by keyboard and by its buttons.
    let which = || browser.text("return document.querySelector('#map .which').textContent");
    browser.keys("#map .slider", "\u{E011}");
    assert!(which().starts_with("layer 0, z 0.20 mm"), "{}", which());
    browser.keys("#map .slider", "\u{E014}");
    assert!(which().starts_with("layer 1, z 0.40 mm"), "{}", which());
    browser.click("#map .up");
    assert!(which().starts_with("layer 2, "), "{}", which());
    browser.click("#map .down");
    assert!(which().starts_with("layer 1, "), "{}", which());
    let ink = "const c = document.querySelector('#map canvas'); const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data; let n = 0; for (let k = 0; k < d.length; k += 4) if (d[k] < 250) n++; return n";
    assert!(
        browser.eval(ink).as_f64().unwrap() > 2000.0,
        "the layer is drawn"
    );

    // Sorting.
    let lines = || -> Vec<u64> {
        let all = browser.eval("return [...document.querySelectorAll('#stalls tbody tr')].map((r) => Number(r.cells[1].textContent))");
        all.as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_u64().unwrap())
            .collect()
    };
    let rows = lines().len();
    assert!(rows >= 5, "{rows} stalls");
    browser.click("#stalls th:nth-child(2) button");
    assert!(lines().windows(2).all(|w| w[0] >= w[1]), "{:?}", lines());
    browser.click("#stalls th:nth-child(2) button");
    assert!(lines().windows(2).all(|w| w[0] <= w[1]), "{:?}", lines());
    assert_eq!(
        browser.eval("return document.querySelector('#stalls th:nth-child(2)').ariaSort"),
        "ascending"
    );

    // A stall, by click and by key; its time strip; its layer.
    for (row, key) in [(2, false), (4, true)] {
        let css = format!("#stalls tbody tr:nth-child({row})");
        if key {
            browser.keys(&css, "\u{E007}");
        } else {
            browser.click(&css);
        }
        let line = browser.text(&format!(
            "return document.querySelector('{css}').cells[1].textContent"
        ));
        let layer = browser.text(&format!(
            "return document.querySelector('{css}').cells[0].textContent"
        ));
        assert!(
            browser
                .text("return document.querySelector('#moment .where').textContent")
                .contains(&format!("line {line},"))
        );
        assert!(
            which().starts_with(&format!("layer {layer}, ")),
            "{}",
            which()
        );
        assert_eq!(
            browser.eval("return document.querySelectorAll('#moment .strip svg').length"),
            1
        );
        assert_eq!(
            browser
                .eval("return document.querySelectorAll('#stalls tr[aria-selected=true]').length"),
            1
        );
    }

    // A bump, which the page has chosen when it opens, and by a click; no stall is chosen then.
    browser.go(&out.join("report.html"));
    let moment = || browser.text("return document.querySelector('#moment .where').textContent");
    assert!(moment().starts_with("Bump of "), "{}", moment());
    let heights = browser.eval("return [...document.querySelectorAll('#bumps tbody tr')].map((r) => Number(r.cells[0].textContent))");
    let heights: Vec<f64> = heights
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect();
    assert!(
        heights.len() >= 2 && heights.windows(2).all(|w| w[0] >= w[1]),
        "{heights:?}"
    );
    browser.click("#bumps tbody tr:nth-child(2)");
    let cell = |k: usize| {
        browser.text(&format!(
            "return document.querySelector('#bumps tbody tr:nth-child(2)').cells[{k}].textContent"
        ))
    };
    let said = format!(
        "Bump of {} mm on layer {} (z {} mm), ",
        cell(0),
        cell(1),
        cell(2)
    );
    assert!(moment().starts_with(&said), "{} {said}", moment());
    assert!(
        which().starts_with(&format!("layer {}, ", cell(1))),
        "{}",
        which()
    );
    assert_eq!(
        browser.eval("return [...document.querySelectorAll('tr[aria-selected=true]')].map((r) => r.closest('section').id)"),
        json!(["bumps"])
    );

    // Pointing at the path tells its line.
    let at = browser.eval(
        "document.querySelector('#map canvas').scrollIntoView(); const r = document.querySelector('#map canvas').getBoundingClientRect(); \
         const c = document.querySelector('#map canvas'), d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data; \
         const y = Math.floor(c.height / 2); for (let x = 0; x < c.width; x++) if (d[4 * (y * c.width + x)] < 240) return [r.left + x + 2, r.top + y];",
    );
    browser.point(at[0].as_f64().unwrap(), at[1].as_f64().unwrap());
    let tip = browser.text("return getComputedStyle(document.querySelector('#map .tip')).visibility + ': ' + document.querySelector('#map .tip').textContent");
    assert!(
        tip.starts_with("visible: ") && tip.contains("line "),
        "{tip}"
    );

    // Both widths, both schemes, print: nothing is wider than the window, text is seen on its ground.
    for wide in [360, 1600] {
        for scheme in ["light", "dark"] {
            browser.size(wide, 800);
            browser.scheme(scheme);
            browser.go(&out.join("report.html"));
            let over = browser.eval("return document.documentElement.scrollWidth - document.documentElement.clientWidth");
            assert_eq!(over, 0, "{wide} px, {scheme}");
            let colours = browser.eval(
                "const s = getComputedStyle(document.querySelector('section')), b = getComputedStyle(document.body); \
                 const n = (c) => c.match(/[0-9.]+/g).slice(0, 3).reduce((a, v) => a + Number(v), 0); return [n(s.backgroundColor), n(b.color)]",
            );
            let (ground, ink) = (colours[0].as_f64().unwrap(), colours[1].as_f64().unwrap());
            assert_eq!(ground < 300.0, scheme == "dark", "{colours}");
            assert!((ground - ink).abs() > 400.0, "{colours}");
        }
    }

    // All from the one file, and nothing to complain of.
    let asked = browser.eval("return performance.getEntriesByType('resource').map((e) => e.name).filter((n) => !n.startsWith('data:'))");
    assert_eq!(asked, json!([]));
    assert_eq!(browser.complaints(), Vec::<Value>::new());
    let alert = ureq::get(&format!("{}/alert/text", browser.session)).call();
    assert!(alert.is_err(), "an alert is open");
}

/// A job without a stall, and one without any path.
#[test]
fn empty_pages_work() {
    let Some(browser) = Browser::open() else {
        return;
    };
    let dir = folder();
    for (name, job) in [
        ("calm.gcode", "M83\nG1 F600 X10 E1\nG1 X20 E1\n"),
        ("still.gcode", "M104 S0\nG4 P10\n"),
    ] {
        let path = dir.path().join(name);
        std::fs::write(&path, job).unwrap();
        let out = dir.path().join(format!("{name}-out"));
        let done = ran(&[
            "replay",
            &path.display().to_string(),
            "--out",
            &out.display().to_string(),
        ]);
        assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
        browser.go(&out.join("report.html"));
        assert!(
            !browser
                .text("return document.querySelector('h1').textContent")
                .is_empty()
        );
        assert_eq!(browser.complaints(), Vec::<Value>::new(), "{name}");
    }
}

/// Bumps that somebody sees: marked, taken back, saved, loaded, and explained.
#[test]
fn seen_bumps_are_marked_on_the_page() {
    let Some(browser) = Browser::open() else {
        return;
    };
    let dir = folder();
    let (path, out) = (dir.path().join("ring.gcode"), dir.path().join("out"));
    std::fs::write(&path, job()).unwrap();
    let (path, shown) = (path.display().to_string(), out.display().to_string());
    let done = ran(&["replay", &path, "--out", &shown]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    browser.size(1600, 1200);
    browser.go(&out.join("report.html"));
    let csv = || browser.text("return document.querySelector('#seen .seen-csv').value");
    let told = || browser.text("return document.querySelector('#seen .seen-told').textContent");

    // Three clicks at shares of the wall; the last is taken back. The ring is 1 mm high.
    let click = |across: f64, up: f64| {
        browser
            .eval("document.querySelector('#seen .unrolled').scrollIntoView({ block: 'center' })");
        let at = browser.eval(
            "const r = document.querySelector('#seen .unrolled .ground').getBoundingClientRect(); return [r.left, r.top, r.width, r.height]",
        );
        let n = |k: usize| at[k].as_f64().unwrap();
        browser.point(n(0) + across * n(2), n(1) + (1.0 - up) * n(3));
        let press =
            json!([{ "type": "pointerDown", "button": 0 }, { "type": "pointerUp", "button": 0 }]);
        let pointer = json!({ "type": "pointer", "id": "mouse", "actions": press });
        browser.post("actions", json!({ "actions": [pointer] }));
    };
    assert_eq!(csv(), "z_mm,angle_deg\n");
    for (across, up) in [(0.25, 0.5), (0.5, 0.9), (0.75, 0.3)] {
        click(across, up);
    }
    assert!(told().starts_with("bump 3 at 0.3"), "{}", told());
    browser.click("#seen .seen-undo");
    let rows = |text: &str| -> Vec<[f64; 2]> {
        let numbers = |row: &str| {
            let (z, angle) = row.split_once(',').unwrap();
            [z.parse().unwrap(), angle.parse().unwrap()]
        };
        text.lines().skip(1).map(numbers).collect()
    };
    let two = rows(&csv());
    assert_eq!(two.len(), 2);
    // The pointer stands on whole pixels: here of 0.4° and 0.003 mm.
    for (is, want) in two.iter().zip([[0.5, 90.0], [0.9, 180.0]]) {
        assert!((is[0] - want[0]).abs() <= 0.01, "{two:?}");
        assert!((is[1] - want[1]).abs() <= 0.5, "{two:?}");
    }

    // By keyboard: up a layer and on by a degree, twice; then back.
    browser.keys("#seen .unrolled", "\u{E013}\u{E014}\u{E014}\u{E007}");
    assert_eq!(told(), "bump 3 at 0.7 mm, 182°");
    browser.keys("#seen .unrolled", "\u{E003}");
    assert_eq!(rows(&csv()), two);

    // Predicted bumps lie where the wall has them only when asked for.
    let predicted = "return document.querySelectorAll('#seen .unrolled .predicted').length";
    assert_eq!(browser.eval(predicted), 0);
    browser.click("#seen .seen-predicted");
    assert!(browser.eval(predicted).as_u64().unwrap() > 0);

    // A list with a mistake changes nothing, and is no markup.
    let list = dir.path().join("list.csv");
    std::fs::write(&list, "z_mm,angle_deg\n0.5,20\n<img src=x>,30\n").unwrap();
    browser.keys("#seen .seen-load", &list.display().to_string());
    browser
        .wait("return document.querySelector('#seen .seen-told').textContent.includes('list.csv')");
    assert_eq!(
        told(),
        "list.csv was not loaded: line 3: z_mm <img src=x>: must be a number from -2 to 3"
    );
    assert_eq!(rows(&csv()), two);

    // A good one, by x and y about the ring's middle (20, 20), and counted layers.
    let mut good = String::from("layer,x_mm,y_mm\n");
    for (layer, x, y) in [
        (0, 30, 20),
        (1, 20, 30),
        (2, 10, 20),
        (3, 20, 10),
        (4, 30, 30),
        (2, 10, 10),
        (1, 30, 10),
    ] {
        good += &format!("{layer},{x},{y}\n");
    }
    std::fs::write(&list, good).unwrap();
    browser.keys("#seen .seen-load", &list.display().to_string());
    browser
        .wait("return document.querySelector('#seen .seen-told').textContent.includes('7 bumps')");
    let want = "layer,angle_deg\n0,0\n1,90\n2,180\n3,270\n4,45\n2,225\n1,315\n";
    assert_eq!(csv(), want);

    // Saved as a file, which the command reads.
    browser.cdp(
        "Browser.setDownloadBehavior",
        json!({ "behavior": "allow", "downloadPath": dir.path() }),
    );
    browser.click("#seen .seen-save");
    let saved = dir.path().join("seen.csv");
    for _ in 0..100 {
        if saved.exists() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    assert_eq!(std::fs::read_to_string(&saved).unwrap(), want);
    let seen = saved.display().to_string();
    let done = ran(&["explain", &path, &seen, "--draws", "99", "--out", &shown]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    assert_eq!(browser.complaints(), Vec::<Value>::new());

    // The page of the next replay into the folder shows its picture.
    let done = ran(&["replay", &path, "--out", &shown]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let page = std::fs::read_to_string(out.join("report.html")).unwrap();
    assert!(page.contains("<h2>Explained</h2>"));
}

/// Two rings on a plate: bumps are marked on each, saved with their part, and explained part by part.
#[test]
fn seen_bumps_know_their_part() {
    let Some(browser) = Browser::open() else {
        return;
    };
    let dir = folder();
    let (path, out) = (dir.path().join("two.gcode"), dir.path().join("out"));
    let mut job = String::from("M83\nG28\n");
    for layer in 1..=20 {
        for (x, r) in [(80.0, 15.0), (30.0, 10.0)] {
            job += &format!(
                "G0 X{} Y40 Z{:.1} F6000\nG1 F2400\n",
                x + r,
                0.2 * f64::from(layer)
            );
            for k in 1..=90 {
                let a = (4.0 * f64::from(k)).to_radians();
                let (x, y) = (x + r * a.cos(), 40.0 + r * a.sin());
                job += &format!("G1 X{x:.3} Y{y:.3} E0.03\n");
            }
        }
    }
    std::fs::write(&path, job).unwrap();
    let (path, shown) = (path.display().to_string(), out.display().to_string());
    let done = ran(&["replay", &path, "--board", "32bit-card", "--out", &shown]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    browser.size(360, 800);
    browser.go(&out.join("report.html"));
    let eval = |script: &str| browser.eval(script);
    let marks = "return document.querySelectorAll('#seen .marking .mark').length";

    // Nothing is predicted: there is nothing to show.
    let hidden = "return document.querySelector('#seen .seen-predicted').parentNode.hidden";
    assert_eq!(eval(hidden), true);
    // The page fits a phone.
    let fits = "return document.documentElement.scrollWidth <= innerWidth";
    assert_eq!(eval(fits), true);

    // Six bumps at the seam of the right-hand part, seven strewn over the left-hand one.
    let choose = |part: u32| {
        eval(&format!(
            "const s = document.querySelector('#seen .part-choice'); s.selectedIndex = {}; s.dispatchEvent(new Event('change'))",
            part - 1
        ));
    };
    let click = |across: f64, up: f64| {
        eval(&format!(
            "const w = document.querySelector('#seen .marking'), r = w.querySelector('.ground').getBoundingClientRect(); \
             w.dispatchEvent(new MouseEvent('click', {{ bubbles: true, clientX: r.left + {across} * r.width, clientY: r.top + (1 - {up}) * r.height }}))"
        ));
    };
    choose(2);
    for k in 1..=6 {
        click(0.005, 0.15 * f64::from(k));
    }
    assert_eq!(eval(marks), 6);
    choose(1);
    assert_eq!(eval(marks), 0);
    for k in 1..=7 {
        click(f64::from(k * k * 29 % 97) / 100.0, 0.13 * f64::from(k));
    }
    assert_eq!(eval(marks), 7);
    choose(2);
    assert_eq!(eval(marks), 6);
    let csv = browser.text("return document.querySelector('#seen .seen-csv').value");
    assert!(csv.starts_with("part,z_mm,angle_deg\n2,"), "{csv}");
    let of = |part: &str| csv.lines().filter(|l| l.starts_with(part)).count();
    assert_eq!((of("1,"), of("2,")), (7, 6));
    assert_eq!(browser.complaints(), Vec::<Value>::new());

    // The list is what `explain` reads; its picture has both parts.
    let seen = dir.path().join("seen.csv");
    std::fs::write(&seen, csv).unwrap();
    let seen = seen.display().to_string();
    let done = ran(&[
        "explain",
        &path,
        &seen,
        "--window",
        "0,360,0,4",
        "--draws",
        "199",
        "--out",
        &shown,
    ]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let said = text(&done.stdout);
    let (first, second) = said.split_once("part 2\n").unwrap();
    assert!(first.starts_with("part 1\n"), "{said}");
    assert!(
        second.starts_with("The bumps agree with the seam"),
        "{said}"
    );
    let svg = std::fs::read_to_string(out.join("explain.svg")).unwrap();
    // A path for each part, with a subpath for each ring.
    let rings = svg.lines().filter(|l| l.contains("class=\"seen\""));
    let rings: Vec<usize> = rings.map(|l| l.matches('M').count()).collect();
    assert_eq!(rings, [7, 6]);
    for words in ["Part 1: ", "Part 2: The bumps agree", "Shaded: the seam"] {
        assert!(svg.contains(words), "{words}");
    }
}
