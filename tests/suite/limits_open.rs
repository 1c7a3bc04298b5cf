//! Limits of the live page (DEVELOPERS.md, "Limits") that take a browser, or very many questions.

use std::io::Write;
use std::time::{Duration, Instant};

use headstall::demo::lantern::Lantern;
use serde_json::json;

use super::cli::{folder, write};
use super::live::Live;
use super::serving::served;
use super::webdriver::Browser;

#[test]
fn work_waits_in_a_queue_that_has_an_end() {
    let server = served(&[]);
    let job = server.job("long.gcode", Lantern::default().job().repeat(5).as_bytes());
    let long =
        json!({"job": job, "board": {"name": "8bit-card-saves"}, "runs": 10_000, "effort": "full"});
    let short = json!({"job": job, "board": {"name": "none"}});
    let body = long.to_string();
    let ask = || {
        let mut stream = server.connected();
        let head = format!(
            "POST {} HTTP/1.1\r\nHost: {}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
            server.path("replay"),
            server.host(),
            body.len()
        );
        stream.write_all(head.as_bytes()).unwrap();
        stream
    };
    let mut waiting: Vec<_> = (0..31).map(|_| ask()).collect();
    std::thread::sleep(Duration::from_millis(300));
    // There is room for one more: it is taken, and nobody waits for it.
    waiting.push(ask());
    std::thread::sleep(Duration::from_millis(300));
    let refused = server.post("replay", &long);
    assert_eq!(refused.status, 503, "{refused:?}");
    let why = refused.json()["error"].to_string();
    assert!(
        why.contains("32 questions wait already; ask again"),
        "{why}"
    );
    // What is no work is answered meanwhile.
    assert!(server.is_well());
    drop(waiting);
    let began = Instant::now();
    while server.post("replay", &short).status == 503 {
        assert!(
            began.elapsed() < Duration::from_secs(20),
            "those that nobody waits for go on"
        );
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// Thirteen photographs of 3000 px, and a coupon of more than 3 MiB.
#[test]
fn photographs_have_a_number_and_a_size() {
    let Some(browser) = Browser::open() else {
        return;
    };
    let dir = folder();
    let sides: String = (0..40)
        .map(|k| format!("G1 X{} Y{} E1\n", k % 4 / 2 * 20, (k + 1) % 4 / 2 * 20))
        .collect();
    let job = write(
        &dir,
        "box.gcode",
        &format!("M83\nG1 Z.2 F3000\n{sides}G1 Z.4\n{sides}"),
    );
    let live = Live::start(&[&job, "--board", "8bit-card"]);
    browser.visit(&live.address);
    browser.wait_s(
        "return document.querySelector('#see-photos')?.hidden === false",
        60,
    );
    browser.eval(
        "window.give = (id, files) => { const all = new DataTransfer(), input = document.getElementById(id); \
         files.forEach((f) => all.items.add(f)); input.files = all.files; input.dispatchEvent(new Event('change')); }; \
         const c = document.createElement('canvas'); c.width = 3000; c.height = 60; c.getContext('2d').fillRect(0, 0, 9, 9); \
         c.toBlob((b) => give('photo-add', Array.from({ length: 13 }, (_, k) => new File([b], k + '.png', { type: 'image/png' }))))",
    );
    browser.wait_s(
        "return document.getElementById('photo-told').textContent.includes('There are 12 photographs at most')",
        30,
    );
    let held = browser.eval(
        "const c = document.querySelector('.photo-work canvas'); \
         return [document.getElementById('photo-which').options.length, c.width, c.height]",
    );
    assert_eq!(held, json!([12, 2400, 48]));
    browser.eval("give('coupon-load', [new File([new Uint8Array(3 * 1048576 + 1)], 'big.gcode')])");
    browser.wait("return document.getElementById('coupon-told').textContent.includes('big.gcode is larger than 3 MiB')");
    browser.eval("give('coupon-load', [new File([new Uint8Array(3 * 1048576)], 'less.gcode')])");
    browser.wait(
        "return !document.getElementById('coupon-told').textContent.includes('is larger than')",
    );
}
