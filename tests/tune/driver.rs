//! A real browser, driven as the W3C standard WebDriver says (W3C Recommendation, 2018): commands are
//! JSON over HTTP to Debian's `chromedriver`.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use serde_json::{Value, json};

/// Element identifiers come under this key (12.1 of the standard).
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// One window of a browser.
pub(crate) struct Browser {
    child: Child,
    port: u16,
    session: String,
}

impl Browser {
    /// A window so many CSS pixels wide and high.
    pub(crate) fn open(width: u32, height: u32, phone: bool) -> Self {
        let mut child = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is missing: install chromium and chromium-driver");
        let stdout = BufReader::new(child.stdout.take().unwrap());
        let port = stdout.lines().map_while(Result::ok).find_map(|line| {
            let (_, rest) = line.split_once("started successfully on port ")?;
            rest.trim_end_matches('.').parse().ok()
        });
        let mut options = json!({ "args": ["--headless=new", "--no-sandbox", "--disable-gpu",
            "--autoplay-policy=no-user-gesture-required", format!("--window-size={width},{height}")] });
        if phone {
            let metrics =
                json!({ "width": width, "height": height, "pixelRatio": 2, "touch": true });
            options["mobileEmulation"] = json!({ "deviceMetrics": metrics });
        }
        let mut it =
            Self { child, port: port.expect("chromedriver did not start"), session: String::new() };
        let wanted = json!({ "capabilities": { "alwaysMatch": {
            "goog:chromeOptions": options, "goog:loggingPrefs": { "browser": "ALL" } } } });
        let session = it.ask("POST", "/session", &wanted);
        it.session = format!("/session/{}", session["sessionId"].as_str().unwrap());
        it
    }

    fn ask(&self, method: &str, path: &str, body: &Value) -> Value {
        let body = if method == "POST" { body.to_string() } else { String::new() };
        let answer = exchange(self.port, method, path, &body).expect("the driver answers");
        let mut answer: Value = serde_json::from_str(&answer).expect("JSON");
        let value = answer["value"].take();
        assert!(value["error"].is_null(), "{method} {path}: {}", value["message"]);
        value
    }

    fn post(&self, path: &str, body: Value) -> Value {
        self.ask("POST", &format!("{}{path}", self.session), &body)
    }

    pub(crate) fn go(&self, url: &str) {
        self.post("/url", json!({ "url": url }));
    }

    /// Value of a script's `return`.
    pub(crate) fn run(&self, script: &str) -> Value {
        self.post("/execute/sync", json!({ "script": script, "args": [] }))
    }

    /// Waits until an expression is true; polled in the page, with the browser's own pace.
    pub(crate) fn until(&self, what: &str, expression: &str) {
        let script = format!(
            "const done = arguments[0]; let n = 0; const look = () => {{ let ok = false; \
             try {{ ok = {expression}; }} catch {{}} \
             if (ok || ++n > 500) done(ok === true || Boolean(ok)); else setTimeout(look, 50); }}; look();"
        );
        let ok = self.post("/execute/async", json!({ "script": script, "args": [] }));
        assert!(ok == true, "never: {what} ({expression})");
    }

    pub(crate) fn find(&self, selector: &str) -> String {
        let found = self.post("/element", json!({ "using": "css selector", "value": selector }));
        found[ELEMENT].as_str().unwrap().to_owned()
    }

    pub(crate) fn click(&self, selector: &str) {
        self.post(&format!("/element/{}/click", self.find(selector)), json!({}));
    }

    /// Presses the mouse on an element's middle, moves by so many pixels in steps, lets go.
    pub(crate) fn drag(&self, selector: &str, right: i32) {
        let origin = json!({ ELEMENT: self.find(selector) });
        let mut actions = vec![
            json!({ "type": "pointerMove", "duration": 0, "x": 0, "y": 0, "origin": origin }),
            json!({ "type": "pointerDown", "button": 0 }),
        ];
        for _ in 0..10 {
            actions.push(json!({ "type": "pointerMove", "duration": 30, "x": right / 10, "y": 0,
                "origin": "pointer" }));
        }
        actions.push(json!({ "type": "pointerUp", "button": 0 }));
        let mouse = json!({ "type": "pointer", "id": "mouse",
            "parameters": { "pointerType": "mouse" }, "actions": actions });
        self.post("/actions", json!({ "actions": [mouse] }));
    }

    /// Presses keys one after the other; those of `with` are held meanwhile.
    pub(crate) fn keys(&self, with: &[&str], keys: &[&str]) {
        let press = |kind: &str, key: &str| json!({ "type": kind, "value": key });
        let mut actions: Vec<_> = with.iter().map(|key| press("keyDown", key)).collect();
        actions.extend(keys.iter().flat_map(|key| [press("keyDown", key), press("keyUp", key)]));
        actions.extend(with.iter().map(|key| press("keyUp", key)));
        self.post(
            "/actions",
            json!({ "actions": [{ "type": "key", "id": "keys", "actions": actions }] }),
        );
    }

    /// What the browser complained of.
    pub(crate) fn complaints(&self) -> Vec<String> {
        let log = self.post("/se/log", json!({ "type": "browser" }));
        let entries = log.as_array().cloned().unwrap_or_default();
        entries.iter().map(|entry| format!("{}: {}", entry["level"], entry["message"])).collect()
    }

    /// A picture of the window, PNG in base 64.
    pub(crate) fn picture(&self) -> String {
        let picture = self.ask("GET", &format!("{}/screenshot", self.session), &Value::Null);
        picture.as_str().unwrap().to_owned()
    }
}

/// One request and its answer.
fn exchange(port: u16, method: &str, path: &str, body: &str) -> std::io::Result<String> {
    let mut stream = TcpStream::connect(("127.0.0.1", port))?;
    stream.set_read_timeout(Some(Duration::from_secs(120)))?;
    let head = format!(
        "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\
         Content-Type: application/json\r\nContent-Length: {}\r\n\r\n",
        body.len()
    );
    stream.write_all(head.as_bytes())?;
    stream.write_all(body.as_bytes())?;
    // The driver keeps the line open whatever it is asked: its length says where an answer ends.
    let mut reader = BufReader::new(stream);
    let mut length = 0;
    loop {
        let mut line = String::new();
        reader.read_line(&mut line)?;
        if line.trim().is_empty() {
            break;
        }
        if let Some((name, value)) = line.split_once(':')
            && name.eq_ignore_ascii_case("content-length")
        {
            length = value.trim().parse().unwrap_or(0);
        }
    }
    let mut answer = vec![0; length];
    reader.read_exact(&mut answer)?;
    Ok(String::from_utf8_lossy(&answer).into_owned())
}

impl Drop for Browser {
    fn drop(&mut self) {
        // It ends the browser; a driver that is killed would leave it behind.
        if !self.session.is_empty() {
            let _ = exchange(self.port, "DELETE", &self.session, "");
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
