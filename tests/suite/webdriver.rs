//! A headless Chromium, driven over WebDriver (W3C Recommendation "WebDriver", 2018).
//!
//! Where there is no browser the tests that need one are skipped, and say so; with
//! `HEADSTALL_BROWSER=required` they fail instead.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use serde_json::{Value, json};

fn find(name: &str) -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    std::env::split_paths(&path)
        .map(|folder| folder.join(name))
        .find(|file| file.is_file())
}

/// A browser with one window.
pub struct Browser {
    driver: Child,
    /// Where its session is reached.
    pub session: String,
    /// The browser's own folder.
    _profile: tempfile::TempDir,
}

const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

impl Browser {
    pub fn open() -> Option<Browser> {
        let (Some(driver), Some(chromium)) = (find("chromedriver"), find("chromium")) else {
            assert_ne!(
                std::env::var("HEADSTALL_BROWSER").as_deref(),
                Ok("required"),
                "chromium and chromedriver are not on the PATH"
            );
            println!("SKIPPED: no chromium and chromedriver on the PATH; the page is not tested");
            return None;
        };
        let mut driver = Command::new(driver)
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(driver.stdout.take().unwrap()).lines();
        let port = loop {
            let line = lines.next().expect("the driver says its port").unwrap();
            if let Some((_, port)) = line.split_once("started successfully on port ") {
                break port.trim_end_matches('.').to_string();
            }
        };
        std::thread::spawn(move || lines.for_each(drop));
        let profile = tempfile::tempdir().unwrap();
        let args: Vec<String> = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-dev-shm-usage",
        ]
        .into_iter()
        .map(String::from)
        .chain([format!("--user-data-dir={}", profile.path().display())])
        .collect();
        let asked = json!({ "capabilities": { "alwaysMatch": {
            "browserName": "chrome",
            "goog:loggingPrefs": { "browser": "ALL" },
            "goog:chromeOptions": { "binary": chromium, "args": args },
        } } });
        let root = format!("http://127.0.0.1:{port}/session");
        let made: Value = ureq::post(&root)
            .send_json(asked)
            .unwrap()
            .body_mut()
            .read_json()
            .unwrap();
        let id = made["value"]["sessionId"]
            .as_str()
            .expect("a session")
            .to_string();
        Some(Browser {
            driver,
            session: format!("{root}/{id}"),
            _profile: profile,
        })
    }

    #[track_caller]
    pub fn post(&self, command: &str, body: Value) -> Value {
        let url = format!("{}/{command}", self.session);
        let asked = ureq::post(&url)
            .config()
            .http_status_as_error(false)
            .build();
        let answer: Value = asked
            .send_json(&body)
            .unwrap()
            .body_mut()
            .read_json()
            .unwrap();
        let value = &answer["value"];
        assert!(value["error"].is_null(), "{command} {body}: {value}");
        value.clone()
    }

    pub fn size(&self, wide: u32, high: u32) {
        let metrics =
            json!({ "width": wide, "height": high, "deviceScaleFactor": 1, "mobile": false });
        self.cdp("Emulation.setDeviceMetricsOverride", metrics);
    }

    pub fn scheme(&self, scheme: &str) {
        let features = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        self.cdp("Emulation.setEmulatedMedia", features);
    }

    pub fn cdp(&self, command: &str, params: Value) -> Value {
        self.post(
            "goog/cdp/execute",
            json!({ "cmd": command, "params": params }),
        )
    }

    pub fn go(&self, page: &Path) {
        let path = page.display().to_string();
        self.visit(&format!(
            "file://{}",
            path.replace('%', "%25").replace(' ', "%20")
        ));
    }

    /// Opens an address.
    pub fn visit(&self, url: &str) {
        self.post("url", json!({ "url": url }));
    }

    /// What a script returns.
    #[track_caller]
    pub fn eval(&self, script: &str) -> Value {
        self.post("execute/sync", json!({ "script": script, "args": [] }))
    }

    #[track_caller]
    pub fn text(&self, script: &str) -> String {
        let value = self.eval(script);
        value
            .as_str()
            .unwrap_or_else(|| panic!("{script}: {value}"))
            .to_string()
    }

    #[track_caller]
    pub fn element(&self, css: &str) -> String {
        let found = self.post("element", json!({ "using": "css selector", "value": css }));
        found[ELEMENT]
            .as_str()
            .unwrap_or_else(|| panic!("{css}: {found}"))
            .to_string()
    }

    #[track_caller]
    pub fn click(&self, css: &str) {
        let id = self.element(css);
        // To where nothing that stays on top hides it.
        self.eval(&format!(
            "document.querySelector({}).scrollIntoView({{ block: 'center' }})",
            json!(css)
        ));
        self.post(&format!("element/{id}/click"), json!({}));
    }

    #[track_caller]
    pub fn keys(&self, css: &str, keys: &str) {
        let id = self.element(css);
        self.post(&format!("element/{id}/value"), json!({ "text": keys }));
    }

    /// Moves the pointer to a place of the window.
    pub fn point(&self, x: f64, y: f64) {
        let moves =
            json!([{ "type": "pointerMove", "x": x.round(), "y": y.round(), "duration": 0 }]);
        let pointer = json!({ "type": "pointer", "id": "mouse", "actions": moves });
        self.post("actions", json!({ "actions": [pointer] }));
    }

    /// Presses the pointer's first button at a place of the window, moves it through others, and lets go.
    pub fn drag(&self, places: &[[f64; 2]]) {
        let go = |at: &[f64; 2]| json!({ "type": "pointerMove", "x": at[0].round(), "y": at[1].round(), "duration": 0 });
        let mut actions = vec![
            go(&places[0]),
            json!({ "type": "pointerDown", "button": 0 }),
        ];
        actions.extend(places[1..].iter().map(go));
        actions.push(json!({ "type": "pointerUp", "button": 0 }));
        let pointer = json!({ "type": "pointer", "id": "mouse", "actions": actions });
        self.post("actions", json!({ "actions": [pointer] }));
    }

    /// Waits until a script returns true.
    #[track_caller]
    pub fn wait(&self, script: &str) {
        self.wait_s(script, 5);
    }

    /// The same, at most so many seconds.
    #[track_caller]
    pub fn wait_s(&self, script: &str, most_s: u64) {
        let start = std::time::Instant::now();
        while start.elapsed().as_secs() < most_s {
            if self.eval(script) == true {
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
        panic!("in {most_s} s not true: {script}");
    }

    /// What the console holds, but for what this test's own looking at the canvas brings there.
    pub fn complaints(&self) -> Vec<Value> {
        let log = self.post("se/log", json!({ "type": "browser" }));
        let own = |entry: &&Value| !entry["message"].to_string().contains("willReadFrequently");
        log.as_array()
            .unwrap()
            .iter()
            .filter(own)
            .cloned()
            .collect()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = ureq::delete(&self.session).call();
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}
