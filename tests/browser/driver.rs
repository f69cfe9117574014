//! Chromium and its driver, spoken to as the WebDriver recommendation of the W3C says, over plain HTTP on loopback. It awaits
//! what happens in a page by watching the page, never by a guessed time.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::Command;

use serde_json::{Value, json};

use super::support::{Folder, Process, TEN_SECONDS, free_port, wait_until_listening};

/// The key under which WebDriver names an element.
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// So long a page is watched for what it is to show, in ms.
const PATIENCE_MS: u64 = 20_000;

/// A browser with one page; gone when dropped.
pub struct Browser {
    driver: Process,
    port: u16,
    session: String,
    _profile: Folder,
}

impl Browser {
    /// A browser that reaches nothing but this machine, as wide as this.
    pub fn start(width: u32) -> Browser {
        let (port, profile) = (free_port(), Folder::new());
        let mut command = Command::new("chromedriver");
        command.arg(format!("--port={port}"));
        let driver = Process::start("chromedriver", &mut command);
        wait_until_listening(port, TEN_SECONDS);
        let mut browser = Browser { driver, port, session: String::new(), _profile: profile };
        let folder = format!("--user-data-dir={}", browser._profile.path("profile").display());
        let args = [
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--no-first-run",
            "--no-default-browser-check",
            "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost",
            &folder,
        ];
        let wanted = json!({ "browserName": "chrome", "goog:chromeOptions": { "args": args },
            "timeouts": { "script": PATIENCE_MS + 5000, "pageLoad": 30_000 } });
        let session = browser.send("POST", "/session", &json!({ "capabilities": { "alwaysMatch": wanted } }));
        let session = session.unwrap_or_else(|error| panic!("no session: {error}"));
        browser.session = session["sessionId"].as_str().expect("a session").to_owned();
        let size = json!({ "width": width, "height": 800, "deviceScaleFactor": 1, "mobile": false });
        browser.tell("Emulation.setDeviceMetricsOverride", &size);
        browser
    }

    /// Asks the driver; the answer's value, or what went wrong.
    fn send(&self, method: &str, path: &str, body: &Value) -> Result<Value, String> {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("the driver listens");
        stream.set_read_timeout(Some(TEN_SECONDS * 6)).expect("set");
        let body = if method == "POST" { body.to_string() } else { String::new() };
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\nContent-Type: application/json\r\n\
             Content-Length: {}\r\n\r\n",
            body.len()
        );
        stream.write_all(head.as_bytes()).and_then(|()| stream.write_all(body.as_bytes())).expect("sent");
        let answer = read_answer(&mut stream);
        let value =
            serde_json::from_str::<Value>(&answer).unwrap_or_else(|error| panic!("{error}: {answer}"))["value"].take();
        match value["error"].as_str() {
            Some(error) => Err(format!("{error}: {}", value["message"].as_str().unwrap_or_default())),
            None => Ok(value),
        }
    }

    fn ask(&self, method: &str, path: &str, body: &Value) -> Value {
        let path = format!("/session/{}{path}", self.session);
        self.send(method, &path, body).unwrap_or_else(|error| panic!("{method} {path} {body}: {error}"))
    }

    /// Tells chromium something of its own protocol.
    pub fn tell(&self, command: &str, parameters: &Value) {
        self.ask("POST", "/goog/cdp/execute", &json!({ "cmd": command, "params": parameters }));
    }

    /// Whether the browser prefers dark or light.
    pub fn prefer(&self, scheme: &str) {
        let features = json!([{ "name": "prefers-color-scheme", "value": scheme }]);
        self.tell("Emulation.setEmulatedMedia", &json!({ "features": features }));
    }

    /// Switches scripts off for all pages to come.
    pub fn without_scripts(&self) {
        self.tell("Emulation.setScriptExecutionDisabled", &json!({ "value": true }));
    }

    /// Opens an address.
    pub fn go(&self, url: &str) {
        self.ask("POST", "/url", &json!({ "url": url }));
    }

    /// The address that is open.
    pub fn url(&self) -> String {
        self.ask("GET", "/url", &Value::Null).as_str().expect("an address").to_owned()
    }

    fn element(&self, css: &str) -> String {
        let found = self.ask("POST", "/element", &json!({ "using": "css selector", "value": css }));
        found[ELEMENT].as_str().expect("an element").to_owned()
    }

    /// What an element shows.
    pub fn text(&self, css: &str) -> String {
        let element = self.element(css);
        let text = self.ask("GET", &format!("/element/{element}/text"), &Value::Null);
        text.as_str().expect("text").to_owned()
    }

    /// Clicks an element, and waits for the page that this leads to.
    pub fn click(&self, css: &str) {
        let element = self.element(css);
        self.ask("POST", &format!("/element/{element}/click"), &json!({}));
    }

    /// Types into an element.
    pub fn type_into(&self, css: &str, text: &str) {
        let element = self.element(css);
        self.ask("POST", &format!("/element/{element}/value"), &json!({ "text": text }));
    }

    /// Presses a key on the page, wherever the focus is.
    pub fn press(&self, key: &str) {
        let actions = json!([{ "type": "keyDown", "value": key }, { "type": "keyUp", "value": key }]);
        self.ask("POST", "/actions", &json!({ "actions": [{ "type": "key", "id": "keys", "actions": actions }] }));
    }

    /// Runs a script in the page and returns what it returns.
    pub fn script(&self, script: &str) -> Value {
        self.ask("POST", "/execute/sync", &json!({ "script": script, "args": [] }))
    }

    /// Runs a script that calls back with what it has found.
    pub fn script_calling_back(&self, script: &str) -> Value {
        self.ask("POST", "/execute/async", &json!({ "script": script, "args": [] }))
    }

    /// Watches the page until an element shows a text. Panics with what it shows in the end.
    pub fn expect(&self, css: &str, wanted: &str) {
        let script = "const [css, wanted, patience, done] = arguments;
            const text = () => document.querySelector(css)?.innerText ?? '';
            const look = () => { if (text().includes(wanted)) { watch.disconnect(); clearTimeout(end); done(null); } };
            const watch = new MutationObserver(look);
            const end = setTimeout(() => { watch.disconnect(); done(text()); }, patience);
            watch.observe(document, { subtree: true, childList: true, characterData: true });
            look();";
        let arguments = json!([css, wanted, PATIENCE_MS]);
        let shown = self.ask("POST", "/execute/async", &json!({ "script": script, "args": arguments }));
        assert!(shown.is_null(), "{css} does not show {wanted:?} but {shown}; {}", self.url());
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // Chromium ends with its session; the driver after it. A test that fails is told of by itself.
        let _ = self.send("DELETE", &format!("/session/{}", self.session), &Value::Null);
        self.driver.terminate();
    }
}

/// The body of an answer, by its length: the driver may keep the connection all the same.
fn read_answer(stream: &mut TcpStream) -> String {
    let mut bytes = Vec::new();
    let mut piece = [0; 65536];
    loop {
        if let Some(end) = bytes.windows(4).position(|four| four == b"\r\n\r\n") {
            let head = String::from_utf8_lossy(&bytes[..end]).to_ascii_lowercase();
            let length = head.lines().find_map(|line| line.strip_prefix("content-length:"));
            let length: usize = length.and_then(|length| length.trim().parse().ok()).expect("a length");
            if bytes.len() >= end + 4 + length {
                return String::from_utf8_lossy(&bytes[end + 4..end + 4 + length]).into_owned();
            }
        }
        match stream.read(&mut piece) {
            Ok(count) if count > 0 => bytes.extend_from_slice(&piece[..count]),
            other => panic!("the driver breaks off: {other:?} after {}", String::from_utf8_lossy(&bytes)),
        }
    }
}
