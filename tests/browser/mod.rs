//! A browser without a screen, driven by the WebDriver protocol (W3C) through chromedriver.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Long enough for a browser on a loaded machine.
const PATIENCE: Duration = Duration::from_secs(60);
/// The key under which WebDriver names an element.
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
}

impl Browser {
    /// Starts chromedriver and a browser with a profile of its own.
    pub fn start(profile: &Path) -> Self {
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let driver = Command::new("chromedriver")
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is installed");
        let mut browser = Self { driver, port, session: String::new() };
        let profile = format!("--user-data-dir={}", profile.display());
        let args = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            &profile,
        ];
        let wanted = json!({"capabilities": {"alwaysMatch": {
            "goog:chromeOptions": {"args": args}, "goog:loggingPrefs": {"browser": "ALL"},
        }}});
        let end = Instant::now() + PATIENCE;
        let session = loop {
            if TcpStream::connect(("127.0.0.1", port)).is_ok() {
                break browser.http("POST", "/session", Some(&wanted));
            }
            assert!(Instant::now() < end, "chromedriver does not listen");
            std::thread::sleep(Duration::from_millis(50));
        };
        browser.session = session["sessionId"].as_str().unwrap_or_else(|| panic!("{session}")).to_owned();
        browser
    }

    fn http(&self, method: &str, path: &str, body: Option<&Value>) -> Value {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        let body = body.map_or(String::new(), Value::to_string);
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nhost: localhost\r\ncontent-type: application/json\r\ncontent-length: {}\r\nconnection: close\r\n\r\n{body}",
            body.len()
        )
        .unwrap();
        let mut reader = BufReader::new(stream);
        let mut length = 0;
        loop {
            let mut line = String::new();
            if reader.read_line(&mut line).unwrap() == 0 || line == "\r\n" {
                break;
            }
            if let Some(n) = line.to_lowercase().strip_prefix("content-length:") {
                length = n.trim().parse().unwrap();
            }
        }
        let mut answer = vec![0; length];
        reader.read_exact(&mut answer).unwrap();
        let answer: Value = serde_json::from_slice(&answer).unwrap();
        answer["value"].clone()
    }

    fn ask(&self, method: &str, path: &str, body: Option<&Value>) -> Value {
        self.http(method, &format!("/session/{}{path}", self.session), body)
    }

    pub fn open(&self, address: &str) {
        self.ask("POST", "/url", Some(&json!({"url": address})));
    }

    /// What a script returns.
    pub fn run(&self, script: &str) -> Value {
        self.ask("POST", "/execute/sync", Some(&json!({"script": script, "args": []})))
    }

    /// The text that is to be seen at a selector; nothing where it is hidden.
    pub fn text(&self, selector: &str) -> String {
        let found = self.ask("POST", "/element", Some(&json!({"using": "css selector", "value": selector})));
        let Some(id) = found[ELEMENT].as_str() else { return String::new() };
        self.ask("GET", &format!("/element/{id}/text"), None).as_str().unwrap_or("").to_owned()
    }

    /// The name a screen reader gives to whatever has the keyboard's focus.
    pub fn focused_label(&self) -> String {
        let found = self.ask("GET", "/element/active", None);
        let id = found[ELEMENT].as_str().unwrap_or("");
        self.ask("GET", &format!("/element/{id}/computedlabel"), None).as_str().unwrap_or("").to_owned()
    }

    /// Presses keys one after another, wherever the focus is. Tab is U+E004, Enter U+E007 (WebDriver 17.4.2).
    pub fn keys(&self, keys: &str) {
        let actions: Vec<Value> = keys
            .chars()
            .flat_map(|k| [json!({"type": "keyDown", "value": k}), json!({"type": "keyUp", "value": k})])
            .collect();
        self.ask(
            "POST",
            "/actions",
            Some(&json!({"actions": [{"type": "key", "id": "keys", "actions": actions}]})),
        );
    }

    /// Holds a finger on an element for some milliseconds.
    pub fn hold(&self, selector: &str, ms: u64) {
        let found = self.ask("POST", "/element", Some(&json!({"using": "css selector", "value": selector})));
        let actions = json!([
            {"type": "pointerMove", "duration": 0, "x": 0, "y": 0, "origin": {ELEMENT: found[ELEMENT]}},
            {"type": "pointerDown", "button": 0}, {"type": "pause", "duration": ms}, {"type": "pointerUp", "button": 0},
        ]);
        let finger = json!({"type": "pointer", "id": "finger", "parameters": {"pointerType": "touch"}, "actions": actions});
        self.ask("POST", "/actions", Some(&json!({"actions": [finger]})));
    }

    /// What axe-core finds against the rules of WCAG 2.1 A and AA, each finding in a line.
    ///
    /// # Panics
    /// Where MIDDLEWATCH_AXE does not name its script.
    pub fn barriers(&self) -> Vec<String> {
        let axe =
            std::env::var_os("MIDDLEWATCH_AXE").expect("MIDDLEWATCH_AXE names axe.min.js of npm's axe-core");
        self.run(&std::fs::read_to_string(axe).unwrap());
        let found = self.run(
            "return axe.run({ runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa'] }).then((r) => r.violations.map((v) =>
                v.id + ': ' + v.nodes.map((n) => n.html + ' ' + n.failureSummary).join(' | ')))",
        );
        found.as_array().unwrap_or_else(|| panic!("{found}")).iter().map(ToString::to_string).collect()
    }

    /// What keeps the browser from installing the page.
    pub fn installability(&self) -> Value {
        let asked = json!({"cmd": "Page.getInstallabilityErrors", "params": {}});
        self.ask("POST", "/goog/cdp/execute", Some(&asked))["installabilityErrors"].clone()
    }

    /// A screen of so many pixels.
    pub fn screen(&self, width: u32, height: u32) {
        let params = json!({"width": width, "height": height, "deviceScaleFactor": 2, "mobile": true});
        self.ask(
            "POST",
            "/goog/cdp/execute",
            Some(&json!({"cmd": "Emulation.setDeviceMetricsOverride", "params": params})),
        );
    }

    /// What the browser's console says.
    pub fn complaints(&self) -> Value {
        self.ask("POST", "/se/log", Some(&json!({"type": "browser"})))
    }

    /// A picture, into the folder that MIDDLEWATCH_PICTURES names, if it does.
    pub fn picture(&self, name: &str) {
        if std::env::var_os("MIDDLEWATCH_PICTURES").is_none() {
            return;
        }
        let params = json!({"format": "png", "captureBeyondViewport": false});
        let shot = self.ask(
            "POST",
            "/goog/cdp/execute",
            Some(&json!({"cmd": "Page.captureScreenshot", "params": params})),
        );
        kept(&format!("{name}.png"), &shot);
    }

    /// The page as A4 paper would have it, as PDF; kept in the folder that MIDDLEWATCH_PICTURES names, if it does.
    pub fn paper(&self, name: &str) -> Vec<u8> {
        let params = json!({"paperWidth": 8.27, "paperHeight": 11.69, "printBackground": false, "preferCSSPageSize": true});
        let printed =
            self.ask("POST", "/goog/cdp/execute", Some(&json!({"cmd": "Page.printToPDF", "params": params})));
        kept(&format!("{name}.pdf"), &printed)
    }

    /// Asks again and again until there is an answer.
    ///
    /// # Panics
    /// When there is none in time.
    pub fn until<T>(&self, what: &str, mut ask: impl FnMut(&Self) -> Option<T>) -> T {
        let end = Instant::now() + PATIENCE;
        loop {
            if let Some(t) = ask(self) {
                return t;
            }
            assert!(Instant::now() < end, "waited in vain for {what}; the page says:\n{}", self.text("body"));
            std::thread::sleep(Duration::from_millis(100));
        }
    }
}

/// What the browser made, out of its answer; written into the folder that MIDDLEWATCH_PICTURES names, if it does.
fn kept(name: &str, answer: &Value) -> Vec<u8> {
    use base64::Engine as _;
    let bytes = base64::engine::general_purpose::STANDARD.decode(answer["data"].as_str().unwrap()).unwrap();
    if let Some(folder) = std::env::var_os("MIDDLEWATCH_PICTURES") {
        std::fs::write(Path::new(&folder).join(name), &bytes).unwrap();
    }
    bytes
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() && !std::thread::panicking() {
            self.ask("DELETE", "", None);
        }
        // Asked to end, it takes its browser with it; killed, it leaves it behind.
        let pid = nix::unistd::Pid::from_raw(i32::try_from(self.driver.id()).unwrap());
        let _ = nix::sys::signal::kill(pid, nix::sys::signal::Signal::SIGTERM);
        let _ = self.driver.wait();
    }
}
