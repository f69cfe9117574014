//! Chromium and its driver, spoken to as the WebDriver recommendation of the W3C says, over plain HTTP on loopback. It awaits
//! what happens in a page by watching the page, never by a guessed time.

use std::io::{Read, Write};
use std::net::TcpStream;

use serde_json::{Value, json};

use super::support::{Deadline, Folder, Process, TEN_SECONDS, command, free_port, wait_until_listening};

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
        let mut command = command("chromedriver");
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
            "--disable-features=BackForwardCache",
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

    /// What an element shows. Of a page that is on its way out it asks again on the next.
    pub fn text(&self, css: &str) -> String {
        let script = "return document.querySelector(arguments[0]).innerText";
        let text = self.run("sync", script, &json!([css]));
        text.as_str().expect("text").to_owned()
    }

    /// Runs a script, again where the page went away meanwhile.
    fn run(&self, how: &str, script: &str, arguments: &Value) -> Value {
        let patience = Deadline::after(TEN_SECONDS * 2);
        let path = format!("/session/{}/execute/{how}", self.session);
        loop {
            match self.send("POST", &path, &json!({ "script": script, "args": arguments })) {
                Ok(value) => return value,
                Err(error) if patience.passed() || !is_on_its_way(&error) => panic!("{script}: {error}"),
                Err(_) => {}
            }
        }
    }

    /// Clicks an element that leads to another page, and waits until that is there.
    pub fn follow(&self, css: &str) {
        self.script("window.isLeft = true");
        self.click(css);
        let patience = Deadline::after(TEN_SECONDS * 2);
        while self.script("return window.isLeft === true || document.readyState !== 'complete'") == true {
            assert!(!patience.passed(), "{css} leads nowhere from {}", self.url());
        }
    }

    /// Clicks an element.
    pub fn click(&self, css: &str) {
        let patience = Deadline::after(TEN_SECONDS);
        loop {
            let path = format!("/session/{}/element/{}/click", self.session, self.element(css));
            match self.send("POST", &path, &json!({})) {
                Ok(_) => return,
                // What is shown was replaced by something newer at this moment.
                Err(error) if error.contains("stale element") && !patience.passed() => {}
                Err(error) => panic!("{css} cannot be clicked: {error}"),
            }
        }
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
        self.run("sync", script, &json!([]))
    }

    /// Runs a script that calls back with what it has found.
    pub fn script_calling_back(&self, script: &str) -> Value {
        self.run("async", script, &json!([]))
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
        let shown = self.run("async", script, &json!([css, wanted, PATIENCE_MS]));
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

/// Whether a script was lost because its page was on its way out.
fn is_on_its_way(error: &str) -> bool {
    ["unloaded", "stale element", "no such execution context", "navigated", "aborted by navigation"]
        .iter()
        .any(|sign| error.contains(sign))
        || error.contains("Cannot read properties of null")
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
