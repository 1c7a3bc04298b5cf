//! The rules of the live page's server, by raw requests: who is answered, what is refused, how it ends.

use std::io::{Read, Write};
use std::time::{Duration, Instant};

use headstall::demo::lantern::{Lantern, STUTTERS};
use serde_json::{Value, json};

use super::cli::{self, starving};
use super::serving::{Server, served};

/// What each response must carry: OWASP Secure Headers Project (owasp.org/www-project-secure-headers), W3C Content
/// Security Policy Level 3.
const HEADERS: [(&str, &str); 7] = [
    (
        "content-security-policy",
        "default-src 'none'; script-src 'self';",
    ),
    ("content-security-policy", "frame-ancestors 'none'"),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cache-control", "no-store"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
];

const JSON: &str = "Content-Type: application/json";
const BYTES: &str = "Content-Type: application/octet-stream";

/// A question about a job on a board that stutters.
fn question(job: &str) -> Value {
    json!({"job": job, "board": {"text": STUTTERS, "file": "stutters.toml"}, "runs": 1})
}

/// The demo's job, so many times one after the other.
fn lanterns(count: usize) -> Vec<u8> {
    Lantern::default().job().repeat(count).into_bytes()
}

#[test]
fn without_the_token_nothing_is_answered() {
    let server = served(&[]);
    let token = &server.token;
    assert_eq!(token.len(), 43);
    let address = format!("http://127.0.0.1:{}/{token}/", server.port);
    assert_eq!(server.address, address);
    let mut other = token.clone();
    let last = if other.pop() == Some('A') { 'B' } else { 'A' };
    other.push(last);
    for path in [
        "/".to_string(),
        "/about".to_string(),
        format!("/{other}/"),
        format!("/{other}/about"),
        format!("/{}/about", &token[..42]),
        format!("/{token}A/about"),
        format!("/{}/about", token.to_lowercase()),
        format!("//{token}x/about"),
        format!("/page/{token}/about"),
        format!("/?{token}/about"),
    ] {
        for method in ["GET", "POST", "DELETE", "OPTIONS"] {
            let reply = server.request(method, &path, &[JSON], b"{}");
            assert_eq!(
                (reply.status, reply.body.len()),
                (404, 0),
                "{method} {path}"
            );
        }
    }
    assert_eq!(server.get("about").status, 200);
    assert_ne!(served(&[]).token, *token);
}

#[test]
fn another_page_is_not_answered() {
    let server = served(&[]);
    let (path, host) = (server.path("about"), server.host());
    let own = format!("Host: {host}");
    for headers in [
        vec![],
        vec!["Host: evil.example".to_string()],
        // A name that somebody points to 127.0.0.1.
        vec![format!("Host: evil.example:{}", server.port)],
        vec![format!("Host: localhost:{}", server.port)],
        vec![format!("Host: 127.0.0.1.evil.example:{}", server.port)],
        vec!["Host: 127.0.0.1".to_string()],
        vec![format!("Host: 127.0.0.1:{}", server.port ^ 1)],
        vec![format!("Host: 127.1:{}", server.port)],
        vec![own.clone(), own.clone()],
        vec![own.clone(), "Origin: null".to_string()],
        vec![own.clone(), "Origin: http://evil.example".to_string()],
        vec![own.clone(), format!("Origin: https://{host}")],
        vec![
            own.clone(),
            format!("Origin: http://127.0.0.1:{}", server.port ^ 1),
        ],
        vec![own.clone(), format!("Origin: http://[::1]:{}", server.port)],
        vec![own.clone(), "Sec-Fetch-Site: cross-site".to_string()],
        vec![own.clone(), "Sec-Fetch-Site: same-site".to_string()],
    ] {
        let headers: Vec<&str> = headers.iter().map(String::as_str).collect();
        for method in ["GET", "POST"] {
            let reply = server.request_as(method, &path, &headers, b"");
            // Two of a header that may stand there once are refused by the HTTP library itself, or by us.
            let refused = [403, 400].contains(&reply.status);
            assert!(refused && reply.body.is_empty(), "{headers:?}: {reply:?}");
        }
    }
    let absolute = server.request("GET", &format!("http://{host}{path}"), &[], b"");
    assert_eq!(absolute.status, 403);
    for site in ["same-origin", "none"] {
        let (origin, site) = (
            format!("Origin: http://{host}"),
            format!("Sec-Fetch-Site: {site}"),
        );
        let reply = server.request("GET", &path, &[&origin, &site], b"");
        assert_eq!(reply.status, 200);
    }
}

/// Where this computer has ::1, it is listened on too, and nowhere else.
#[test]
fn it_listens_on_this_computer_only() {
    use std::net::{Ipv4Addr, Ipv6Addr, TcpStream, UdpSocket};
    let server = served(&[]);
    if let Ok(mut stream) = TcpStream::connect((Ipv6Addr::LOCALHOST, server.port)) {
        let request = format!(
            "GET {} HTTP/1.1\r\nHost: [::1]:{}\r\nConnection: close\r\n\r\n",
            server.path("about"),
            server.port
        );
        stream.write_all(request.as_bytes()).unwrap();
        assert_eq!(super::serving::reply(stream).status, 200);
    }
    // The address by which other computers would reach this one; nothing is sent to find it.
    let outward = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).unwrap();
    if outward.connect("192.0.2.1:9").is_ok() {
        let own = outward.local_addr().unwrap().ip();
        if !own.is_loopback() {
            assert!(TcpStream::connect((own, server.port)).is_err(), "{own}");
        }
    }
}

#[test]
fn every_response_carries_the_headers() {
    let server = served(&[]);
    let job = server.job("a.gcode", starving().as_bytes());
    let host = server.host();
    let replies = [
        (200, server.get("")),
        (200, server.get("page/app.js")),
        (200, server.get("about")),
        (200, server.post("replay", &question(&job))),
        (200, server.get(&format!("files/{job}"))),
        (
            303,
            server.request("GET", &format!("/{}", server.token), &[], b""),
        ),
        (400, server.post("replay", &json!({"job": 1}))),
        (
            403,
            server.request("GET", "/", &["Origin: http://evil.example"], b""),
        ),
        (404, server.request("GET", "/", &[], b"")),
        (404, server.get("page/none.js")),
        (404, server.post("replay", &question("none"))),
        (405, server.request("PUT", &server.path("about"), &[], b"")),
        (
            415,
            server.request(
                "POST",
                &server.path("board"),
                &["Content-Type: text/plain"],
                b"{}",
            ),
        ),
        (422, server.post("board", &json!({"name": "none"}))),
    ];
    for (status, reply) in replies {
        assert_eq!(reply.status, status, "{reply:?}");
        for (name, part) in HEADERS {
            let value = reply.header(name).unwrap_or_default();
            assert!(value.contains(part), "{status}: {name}: {value}");
        }
        assert!(!reply.head.to_lowercase().contains("set-cookie"));
        assert!(!reply.head.contains(&host), "{}", reply.head);
    }
    let page = server.get("");
    assert_eq!(
        page.header("content-type"),
        Some("text/html; charset=utf-8")
    );
    let script = server.get("page/app.js");
    let kind = script.header("content-type");
    assert_eq!(kind, Some("text/javascript; charset=utf-8"));
}

/// A form on another page can send only some kinds of content (WHATWG Fetch, "CORS-safelisted request-header").
#[test]
fn forms_are_not_taken() {
    let server = served(&[]);
    for kind in [
        "text/plain",
        "multipart/form-data; boundary=x",
        "application/x-www-form-urlencoded",
        "application/octet-stream",
        "",
    ] {
        let kind = format!("Content-Type: {kind}");
        let reply = server.request(
            "POST",
            &server.path("board"),
            &[&kind],
            b"{\"name\":\"8bit-card\"}",
        );
        assert_eq!(reply.status, 415, "{kind}");
    }
    let reply = server.request("POST", &server.path("jobs"), &[JSON], b"G1 X1\n");
    assert_eq!(reply.status, 415);
    let kind = "Content-Type: Application/JSON; charset=utf-8";
    let reply = server.request(
        "POST",
        &server.path("board"),
        &[kind],
        b"{\"name\":\"8bit-card\"}",
    );
    assert_eq!(reply.status, 200);
}

#[test]
fn what_is_too_large_is_refused() {
    let server = served(&[]);
    let host = server.host();
    for (path, kind, length, most) in [
        ("jobs", BYTES, (1u64 << 30) + 1, "1 GiB"),
        ("recordings", BYTES, (512 << 20) + 1, "512 MiB"),
        ("board", JSON, (4 << 20) + 1, "4 MiB"),
    ] {
        // Announced, and not sent.
        let head = format!(
            "POST {} HTTP/1.1\r\nHost: {host}\r\n{kind}\r\nConnection: close\r\nContent-Length: {length}\r\n\r\n",
            server.path(path)
        );
        let reply = server.raw(head.as_bytes());
        assert_eq!(reply.status, 413, "{path}");
        let why = reply.json()["error"].as_str().unwrap().to_string();
        assert_eq!(why, format!("what was sent is larger than {most}"));
    }
    // Not announced: sent in chunks.
    let head = format!(
        "POST {} HTTP/1.1\r\nHost: {host}\r\n{JSON}\r\nConnection: close\r\nTransfer-Encoding: chunked\r\n\r\n",
        server.path("board")
    );
    let chunk = [
        b"100000\r\n".to_vec(),
        vec![b' '; 1 << 20],
        b"\r\n".to_vec(),
    ]
    .concat();
    let reply = server.raw(&[head.into_bytes(), chunk.repeat(5), b"0\r\n\r\n".to_vec()].concat());
    assert!([0, 413].contains(&reply.status), "{reply:?}");
    // A head without an end, a path, a header: too long.
    let long = "a".repeat(1 << 20);
    for request in [
        format!("GET /{long} HTTP/1.1\r\nHost: {host}\r\n\r\n"),
        format!("GET / HTTP/1.1\r\nHost: {host}\r\nX: {long}\r\n\r\n"),
        format!(
            "GET / HTTP/1.1\r\nHost: {host}\r\n{}",
            "X: a\r\n".repeat(100_000)
        ),
    ] {
        let reply = server.raw(request.as_bytes());
        assert!(
            [0, 400, 404, 414, 431].contains(&reply.status),
            "{}",
            reply.status
        );
    }
    assert!(server.is_well());
}

#[test]
fn files_are_counted() {
    let server = served(&[]);
    let ids: Vec<String> = (0..20).map(|_| server.job("a.gcode", b"G1 X1\n")).collect();
    let path = server.path("jobs?name=b");
    let reply = server.request("POST", &path, &[BYTES], b"G1 X1\n");
    assert_eq!(reply.status, 507);
    let why = reply.json()["error"].to_string();
    assert!(why.contains("20 files are here already"), "{why}");
    let place = server.path(&format!("jobs/{}", ids[0]));
    assert_eq!(server.request("DELETE", &place, &[], b"").status, 204);
    assert_eq!(server.request("DELETE", &place, &[], b"").status, 404);
    assert_eq!(server.post("replay", &question(&ids[0])).status, 404);
    server.job("b", b"G1 X1\n");
}

/// No path from outside is ever opened: names are labels.
#[test]
fn paths_lead_nowhere() {
    let server = served(&[]);
    for path in [
        "page/../about",
        "page/..",
        "page/%2e%2e/about",
        "page/..%2f..%2fCargo.toml",
        "page//etc/passwd",
        "page/app.js/",
        "page/app.js%00",
        "page/..\\..\\Cargo.toml",
        "files/../../etc/passwd",
        "files/%2fetc%2fpasswd",
        "files/",
        "./about",
        "../about",
        "about/",
        "%61bout",
    ] {
        let reply = server.get(path);
        assert_eq!(
            (reply.status, server.get("about").status),
            (404, 200),
            "{path}"
        );
    }
    for (name, shown) in [
        ("..%2F..%2Fetc%2Fpasswd", "passwd"),
        ("C:%5Cjobs%5Ca.gcode", "a.gcode"),
        ("a%0D%0AX-Evil:%201", "a  X-Evil: 1"),
        (
            "%3Cscript%3Ealert(1)%3Cscript%3E",
            "<script>alert(1)<script>",
        ),
        ("%1B%5D0;evil%07b", "]0;evil b"),
        ("%E2%80%AEgcode.a", "gcode.a"),
        ("", "unnamed"),
    ] {
        let path = server.path(&format!("jobs?name={name}"));
        let reply = server.request("POST", &path, &[BYTES], b"G1 X1\n");
        assert_eq!(reply.json()["name"], shown, "{name}");
        let id = reply.json()["job"].as_str().unwrap().to_string();
        let file = server.get(&format!("files/{id}"));
        assert_eq!((file.status, file.body.as_slice()), (200, &b"G1 X1\n"[..]));
        let disposition = file.header("content-disposition").unwrap();
        assert!(
            disposition.starts_with("attachment; filename=\""),
            "{disposition}"
        );
        let plain = disposition[22..].trim_end_matches('"');
        assert!(
            !plain.contains(['/', '\\', '"', '<', ';', '\u{1b}']),
            "{disposition}"
        );
    }
}

/// What the page is told is what the command line prints.
#[test]
fn answers_are_the_commands() {
    let folder = cli::folder();
    let job = cli::write(&folder, "chords.gcode", &starving());
    let board = cli::write(&folder, "stutters.toml", STUTTERS);
    let server = served(&[&job, "--board", &board]);
    let about = server.get("about").json();
    let start = &about["start"];
    let (id, on) = (start["job"]["job"].as_str().unwrap(), &start["board"]);
    assert_eq!(
        (&start["job"]["name"], &on["file"]),
        (&json!("chords.gcode"), &json!("stutters.toml"))
    );
    let told = |args: &[&str]| {
        let mut command = cli::headstall();
        let out = command
            .current_dir(folder.path())
            .args(args)
            .output()
            .unwrap();
        (cli::text(&out.stdout), cli::text(&out.stderr))
    };
    let on_board = ["chords.gcode", "--board", "stutters.toml"];
    let of = |command: &str, more: &[&str]| told(&[&[command], &on_board[..], more].concat());
    let question = json!({"job": id, "board": on, "seed": 3});
    // What is known of the job's shape from other answers changes nothing.
    let first = server.post("replay", &question).json();
    let mut other = question.clone();
    other["board"]["sets"] = json!(["save.when=off", "queue.blocks=4"]);
    other["runs"] = json!(1);
    server.post("replay", &other);
    assert_eq!(server.post("replay", &question).json(), first);
    let fresh = served(&[&job, "--board", &board]);
    let mut asked = other.clone();
    asked["job"] = fresh.get("about").json()["start"]["job"]["job"].clone();
    assert_eq!(
        fresh.post("replay", &asked).json(),
        server.post("replay", &other).json()
    );
    // The strip of a stall that loses little.
    let stalls = first["answer"]["data"]["stalls"].as_array().unwrap();
    let mut asked = question.clone();
    asked["stall"] = stalls[stalls.len() - 1][0].clone();
    let strip = server.post("strip", &asked).json();
    assert!(
        strip["svg"].as_str().unwrap().starts_with("<svg"),
        "{strip}"
    );
    for command in ["replay", "remedies"] {
        let answer = &server.post(command, &question).json()["answer"];
        assert_eq!(answer["text"], of(command, &["--seed", "3"]).0, "{command}");
    }
    let mut asked = question.clone();
    asked["board"]["sets"] = json!(["save.when=off"]);
    let (text, _) = of("replay", &["--seed", "3", "--set", "save.when=off"]);
    assert_eq!(server.post("replay", &asked).json()["answer"]["text"], text);
    let boards = json!([on, asked["board"]]);
    let compared = server.post("compare", &json!({"job": id, "boards": boards}));
    let verdict = compared.json()["answer"]["json"]["verdict"].to_string();
    assert!(verdict.contains("save.when=off"), "{verdict}");
    asked = question.clone();
    asked["what"] = json!("bumps.csv");
    let bumps = server.post("take", &asked);
    let out = folder.path().join("out");
    of(
        "replay",
        &["--seed", "3", "--out", &out.display().to_string()],
    );
    assert_eq!(bumps.body, std::fs::read(out.join("bumps.csv")).unwrap());
    asked["what"] = json!("wall.svg");
    assert_eq!(
        server.post("take", &asked).body,
        std::fs::read(out.join("wall.svg")).unwrap()
    );
    // What is wrong is told in the same words.
    let sets = ["queue.blocks=1", "colour=red", "save.ms=-1"];
    for set in sets {
        let mut asked = question.clone();
        asked["board"]["sets"] = json!([set]);
        let why = server.post("replay", &asked).json()["error"].to_string();
        let (_, told) = of("replay", &["--set", set]);
        assert_eq!(
            format!("headstall: {}\n", why.trim_matches('"')),
            told,
            "{set}"
        );
    }
    let broken = server.job("broken.gcode", &[0, 159, 146, 150].repeat(100_000));
    let why = server
        .post("replay", &json!({"job": broken, "board": on}))
        .json();
    assert!(
        why["error"].as_str().unwrap().starts_with("broken.gcode"),
        "{why}"
    );
}

/// Two that ask at a time get what each would get alone.
#[test]
fn two_are_answered_at_a_time() {
    let server = served(&[]);
    let job = server.job("lantern.gcode", &lanterns(1));
    let asked = |board: &str| json!({"job": job, "board": {"name": board}, "runs": 2});
    let text =
        |board: &str| server.post("replay", &asked(board)).json()["answer"]["text"].to_string();
    let boards = [
        "8bit-card",
        "32bit-card",
        "8bit-card-saves",
        "8bit-serial-250000",
    ];
    let alone = boards.map(&text);
    let together = std::thread::scope(|scope| {
        let all = boards.map(|board| scope.spawn(move || text(board)));
        all.map(|one| one.join().unwrap())
    });
    assert_eq!(alone, together);
}

/// Processor time of a process so far, in clock ticks of 10 ms (proc(5)).
#[cfg(target_os = "linux")]
fn ticks(server: &Server) -> u64 {
    let stat = std::fs::read_to_string(format!("/proc/{}/stat", server.child.id())).unwrap();
    let fields: Vec<&str> = stat
        .rsplit_once(')')
        .unwrap()
        .1
        .split_whitespace()
        .collect();
    fields[11].parse::<u64>().unwrap() + fields[12].parse::<u64>().unwrap()
}

/// Begins to ask, reads until `seen` comes, and goes away.
fn gone_after(server: &Server, path: &str, question: &Value, seen: &str) {
    let body = question.to_string();
    let mut stream = server.connected();
    let head = format!(
        "POST {} HTTP/1.1\r\nHost: {}\r\n{JSON}\r\nContent-Length: {}\r\n\r\n",
        server.path(path),
        server.host(),
        body.len()
    );
    stream.write_all(head.as_bytes()).unwrap();
    stream.write_all(body.as_bytes()).unwrap();
    let (mut heard, mut piece) = (String::new(), [0; 4096]);
    while !heard.contains(seen) {
        let count = stream.read(&mut piece).unwrap();
        assert!(count > 0, "{seen} did not come: {heard}");
        heard += &String::from_utf8_lossy(&piece[..count]);
        assert!(!heard.contains("{\"answer\""), "{seen} did not come");
    }
}

/// Whoever goes away leaves no work behind, in whatever it was.
#[cfg(target_os = "linux")]
#[test]
fn work_that_nobody_waits_for_ends() {
    let mut command = cli::headstall();
    command
        .args(["open", "--no-browser"])
        .stderr(std::process::Stdio::piped());
    let mut server = super::serving::started(command);
    let long = server.job("long.gcode", &lanterns(30));
    let one = server.job("one.gcode", &lanterns(1));
    let of = |job: &str| {
        let mut asked = question(job);
        asked["runs"] = json!(2000);
        asked
    };
    let two = json!({"job": one, "runs": 10_000, "boards": [
        {"name": "8bit-card-saves"}, {"name": "8bit-card"}, {"name": "32bit-card"}
    ]});
    for (path, question, seen) in [
        ("replay", of(&long), "replaying"),
        ("replay", of(&one), "working out causes"),
        ("replay", of(&one), "trying other luck"),
        ("remedies", of(&one), "trying remedies"),
        ("mend", of(&one), "mending"),
        ("compare", two, "comparing"),
    ] {
        gone_after(&server, path, &question, seen);
        // A pass over a stored job that is under way goes on to its end.
        let began = Instant::now();
        let mut before = ticks(&server);
        loop {
            std::thread::sleep(Duration::from_millis(300));
            let now = ticks(&server);
            if now - before <= 1 {
                break;
            }
            before = now;
            assert!(
                began.elapsed() < Duration::from_secs(20),
                "{path}: {seen} goes on"
            );
        }
    }
    assert!(server.is_well());
    server.child.kill().unwrap();
    let mut said = String::new();
    server
        .child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut said)
        .unwrap();
    assert_eq!(said, "");
}

/// Whoever only holds connections keeps nobody out.
#[test]
fn a_thousand_connections() {
    let server = served(&[]);
    let mut held = Vec::new();
    for k in 0..1000 {
        let mut stream = server.connected();
        match k % 4 {
            0 => {}
            1 => drop(stream.write_all(b"GET /")),
            2 => drop(stream.write_all(b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 9\r\n\r\n")),
            _ => drop(stream.write_all(
                format!("GET / HTTP/1.1\r\nHost: {}\r\n\r\n", server.host()).as_bytes(),
            )),
        }
        held.push(stream);
        if k % 100 == 99 {
            let began = Instant::now();
            assert_eq!(server.get("about").status, 200);
            assert!(began.elapsed() < Duration::from_secs(5));
        }
    }
    // What shows the token stays, whoever else comes.
    let alive = format!(
        "GET {} HTTP/1.1\r\nHost: {}\r\n\r\n",
        server.path("alive"),
        server.host()
    );
    let mut page = server.connected();
    page.write_all(alive.as_bytes()).unwrap();
    let mut start = [0; 16];
    page.read_exact(&mut start).unwrap();
    held.extend((0..200).map(|_| server.connected()));
    page.set_read_timeout(Some(Duration::from_millis(300)))
        .unwrap();
    let mut rest = [0; 4096];
    while let Ok(count) = page.read(&mut rest) {
        assert!(count > 0, "the page's connection was closed");
    }
    drop(held);
    assert!(server.is_well());
}

/// Whoever sends slowly is given up, and keeps nobody waiting.
#[test]
fn slow_senders() {
    let server = served(&[]);
    let mut slow = server.connected();
    let head = format!(
        "POST {} HTTP/1.1\r\nHost: {}\r\n",
        server.path("jobs"),
        server.host()
    );
    let mut upload = server.connected();
    upload
        .write_all(format!("{head}{BYTES}\r\nContent-Length: 1000000\r\n\r\nG1 X1\n").as_bytes())
        .unwrap();
    let began = Instant::now();
    let closed = head.bytes().chain(std::iter::repeat(b'x')).find(|byte| {
        std::thread::sleep(Duration::from_millis(200));
        slow.write_all(&[*byte]).is_err() || began.elapsed() > Duration::from_secs(30)
    });
    assert!(closed.is_some());
    let took_s = began.elapsed().as_secs_f64();
    assert!((5.0..25.0).contains(&took_s), "{took_s}");
    assert!(server.is_well());
}

/// Rubbish in place of requests: whatever comes, the server goes on.
#[test]
fn rubbish() {
    let server = served(&[]);
    let good = format!(
        "POST {} HTTP/1.1\r\nHost: {}\r\n{JSON}\r\nConnection: close\r\nContent-Length: 20\r\n\r\n{{\"name\":\"8bit-card\"}}",
        server.path("board"),
        server.host()
    );
    assert_eq!(server.raw(good.as_bytes()).status, 200);
    // Numerical Recipes' linear congruential generator.
    let mut state = 7u32;
    let mut next = |below: usize| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as usize % below
    };
    for _ in 0..300 {
        let mut bytes = good.clone().into_bytes();
        for _ in 0..=next(6) {
            let at = next(bytes.len());
            match next(4) {
                0 => bytes[at] = next(256) as u8,
                1 => drop(bytes.drain(at..)),
                2 => bytes.insert(at, next(256) as u8),
                _ => bytes.extend_from_within(..at),
            }
            if bytes.is_empty() {
                bytes.push(b'\n');
            }
        }
        let mut stream = server.connected();
        let _ = stream.write_all(&bytes);
        let _ = stream.shutdown(std::net::Shutdown::Write);
        let reply = super::serving::reply(stream);
        assert!(reply.status < 500, "{reply:?}");
    }
    for body in [
        "",
        "null",
        "[]",
        "{}",
        "{\"text\":\"\"}",
        "{\"name\":\"8bit-card\",\"text\":\"\"}",
        "{\"name\":\"8bit-card\",\"sets\":[\"\"]}",
        "{\"name\":\"8bit-card\",\"sets\":[\"a.b.c.d.e.f.g.h.i=1\"]}",
        "{\"text\":\"a = [[[[[[[[[\"}",
        "\u{0}",
        "{\"name\":\"8bit-card\"",
        "{\"sets\":[1]}",
    ] {
        let reply = server.request("POST", &server.path("board"), &[JSON], body.as_bytes());
        assert!([400, 422].contains(&reply.status), "{body}: {reply:?}");
        assert!(reply.json()["error"].is_string());
    }
    let deep = format!("{{\"name\":{}", "[".repeat(1_000_000));
    let reply = server.request("POST", &server.path("board"), &[JSON], deep.as_bytes());
    assert_eq!(reply.status, 400);
    assert!(server.is_well());
}

/// It ends some time after the last page is closed, and not before.
#[test]
fn it_ends_when_the_page_is_closed() {
    let mut server = served(&["--idle", "1"]);
    let alive = format!(
        "GET {} HTTP/1.1\r\nHost: {}\r\n\r\n",
        server.path("alive"),
        server.host()
    );
    let open = || {
        let mut page = server.connected();
        page.write_all(alive.as_bytes()).unwrap();
        let mut start = [0; 16];
        page.read_exact(&mut start).unwrap();
        page
    };
    let (one, other) = (open(), open());
    drop(one);
    std::thread::sleep(Duration::from_millis(2500));
    assert!(server.is_well());
    drop(other);
    // A reload: gone, and there again.
    std::thread::sleep(Duration::from_millis(300));
    let again = open();
    std::thread::sleep(Duration::from_millis(2000));
    assert!(server.is_well());
    drop(again);
    assert_eq!(server.ends_within(Duration::from_secs(8)), Some(Some(0)));
}

/// However it ends, nothing is left on disk.
#[cfg(unix)]
#[test]
fn nothing_is_left() {
    for signal in ["INT", "TERM", "HUP", "KILL"] {
        let folder = cli::folder();
        let mut command = cli::headstall();
        command
            .args(["open", "--no-browser"])
            .env("TMPDIR", folder.path());
        let mut server = super::serving::started(command);
        server.job("a.gcode", &lanterns(2));
        // Another one on its way.
        let mut upload = server.connected();
        let head = format!(
            "POST {} HTTP/1.1\r\nHost: {}\r\n",
            server.path("jobs"),
            server.host()
        );
        let head = format!("{head}{BYTES}\r\nContent-Length: 9000000\r\n\r\n");
        upload.write_all(head.as_bytes()).unwrap();
        upload.write_all(&lanterns(3)).unwrap();
        assert!(server.is_well());
        // No name even while it is here, so that nobody else can open it.
        assert!(cli::names(folder.path()).is_empty());
        let id = server.child.id().to_string();
        let sent = std::process::Command::new("kill")
            .args(["-s", signal, &id])
            .status();
        assert!(sent.unwrap().success());
        let ended = server.ends_within(Duration::from_secs(5));
        assert_eq!(ended, Some(None), "{signal}: ended by the signal");
        assert!(cli::names(folder.path()).is_empty());
    }
}

/// The browser is started with a code that is good once; whatever becomes of it, the server goes on.
#[cfg(target_os = "linux")]
#[test]
fn the_browser_is_opened() {
    use std::os::unix::fs::PermissionsExt;
    let folder = cli::folder();
    let opener = folder.path().join("xdg-open");
    let note = folder.path().join("note");
    let script = format!(
        "#!/bin/sh\nprintf '%s %s' $$ \"$1\" > {0}.new\nmv {0}.new {0}\nexec sleep 60\n",
        note.display()
    );
    std::fs::write(&opener, script).unwrap();
    std::fs::set_permissions(&opener, std::fs::Permissions::from_mode(0o755)).unwrap();
    let mut command = cli::headstall();
    let path = format!("{}:/usr/bin:/bin", folder.path().display());
    command.arg("open").env("PATH", path);
    let server = super::serving::started(command);
    let began = Instant::now();
    while !note.exists() {
        assert!(began.elapsed() < Duration::from_secs(10));
        std::thread::sleep(Duration::from_millis(20));
    }
    let noted = std::fs::read_to_string(&note).unwrap();
    let (id, address) = noted.split_once(' ').unwrap();
    assert!(
        !address.contains(&server.token),
        "others can read a command line"
    );
    let code = address
        .strip_prefix(&format!("http://{}", server.host()))
        .unwrap();
    assert_eq!(server.request("POST", code, &[], b"").status, 404);
    assert_eq!(
        server
            .request("GET", &format!("{code}/about"), &[], b"")
            .status,
        404
    );
    let reply = server.request("GET", code, &["Sec-Fetch-Site: none"], b"");
    assert_eq!(reply.status, 303);
    assert_eq!(
        reply.header("location"),
        Some(format!("/{}/", server.token).as_str())
    );
    assert_eq!(server.request("GET", code, &[], b"").status, 404);
    assert!(
        std::process::Command::new("kill")
            .arg(id)
            .status()
            .unwrap()
            .success()
    );
    assert!(server.is_well());
    // Nothing to open it with: the address is printed all the same.
    let mut command = cli::headstall();
    command.arg("open").env("PATH", "/nowhere");
    assert!(super::serving::started(command).is_well());
}

#[test]
fn what_cannot_be_used_is_told_at_once() {
    let port = served(&[]);
    for (args, why) in [
        (vec!["nowhere.gcode"], "nowhere.gcode: cannot be read"),
        (
            vec!["--board", "nowhere"],
            "--board nowhere: there is no such board or file",
        ),
        (
            vec!["--set", "queue.blocks=1"],
            "must be a whole number from 2",
        ),
        (
            vec!["--idle", "0"],
            "must be a whole number from 1 to 86400",
        ),
        (
            vec!["--port", "65536"],
            "must be a whole number from 0 to 65535",
        ),
    ] {
        let out = cli::ran(&[&["open", "--no-browser"], &args[..]].concat());
        assert_eq!(out.status.code(), Some(2), "{args:?}");
        assert!(
            cli::text(&out.stderr).contains(why),
            "{}",
            cli::text(&out.stderr)
        );
    }
    let taken = port.port.to_string();
    let out = cli::ran(&["open", "--no-browser", "--port", &taken]);
    assert_eq!(out.status.code(), Some(1));
    assert!(cli::text(&out.stderr).contains("cannot be listened on"));
}
