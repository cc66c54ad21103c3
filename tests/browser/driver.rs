//! A browser without a screen, driven over its debugging socket: keys as a keyboard gives
//! them, and questions to the page. The socket is that of RFC 6455, as little of it as is
//! needed.

use serde_json::{Value, json};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const PATIENCE: Duration = Duration::from_secs(90);

/// A browser that ends with the test.
pub(super) struct Browser {
    process: Child,
    port: u16,
    _folder: tempfile::TempDir,
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

impl Browser {
    /// Nothing where this machine has none.
    pub(super) fn start() -> Option<Self> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let process = Command::new("chromium")
            .args(["--headless", "--no-sandbox", "--disable-gpu"])
            .args(["--remote-debugging-port=0", "about:blank"])
            .arg(format!("--user-data-dir={}", folder.path().display()))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .ok()?;
        let mut browser = Self {
            process,
            port: 0,
            _folder: folder,
        };
        browser.port = port(browser._folder.path());
        Some(browser)
    }

    /// A tab of its own.
    pub(super) fn tab(&self) -> Tab {
        let mut stream = connect(self.port);
        let asked = format!(
            "PUT /json/new?about:blank HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n",
            self.port
        );
        stream.write_all(asked.as_bytes()).expect("it reads");
        // It keeps the connection, whatever it is asked.
        let head = head(&mut stream);
        let length = head.to_lowercase();
        let length = length.split("content-length:").nth(1).expect("a length");
        let length = length
            .lines()
            .next()
            .and_then(|text| text.trim().parse().ok());
        let mut body = vec![0; length.expect("a number")];
        stream.read_exact(&mut body).expect("a description");
        let told: Value = serde_json::from_slice(&body).expect("JSON");
        let url = told["webSocketDebuggerUrl"].as_str().expect("an address");
        let path = &url[url.find("/devtools").expect("a path")..];
        Tab::open(self.port, path)
    }
}

/// Where the browser listens, once it says so.
fn port(folder: &Path) -> u16 {
    let end = Instant::now() + PATIENCE;
    loop {
        let text = std::fs::read_to_string(folder.join("DevToolsActivePort"));
        let first = text.ok().and_then(|text| text.lines().next()?.parse().ok());
        if let Some(port) = first {
            return port;
        }
        assert!(Instant::now() < end, "the browser never listens");
        std::thread::sleep(Duration::from_millis(50));
    }
}

fn connect(port: u16) -> TcpStream {
    let stream = TcpStream::connect(("127.0.0.1", port)).expect("the browser listens");
    stream.set_read_timeout(Some(PATIENCE)).expect("a time");
    stream
}

/// The head of an answer.
fn head(stream: &mut TcpStream) -> String {
    let mut head = Vec::new();
    while !head.ends_with(b"\r\n\r\n") {
        let mut byte = [0];
        stream.read_exact(&mut byte).expect("a head");
        head.extend(byte);
    }
    String::from_utf8_lossy(&head).into_owned()
}

/// A tab.
pub(super) struct Tab {
    stream: TcpStream,
    asked: u64,
    /// What the page complained of.
    pub(super) complaints: Vec<String>,
}

impl Tab {
    fn open(port: u16, path: &str) -> Self {
        let mut stream = connect(port);
        let asked = format!(
            "GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\
             Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n"
        );
        stream.write_all(asked.as_bytes()).expect("it reads");
        let head = head(&mut stream);
        assert!(head.contains(" 101 "), "it takes the socket: {head}");
        let mut tab = Self {
            stream,
            asked: 0,
            complaints: Vec::new(),
        };
        for domain in ["Page.enable", "Runtime.enable", "Log.enable"] {
            tab.ask(domain, json!({}));
        }
        tab
    }

    /// A text frame, masked as a client's is (RFC 6455, 5.2 and 5.3).
    fn send(&mut self, text: &str) {
        let bytes = text.as_bytes();
        let mut frame = vec![0x81];
        match u16::try_from(bytes.len()) {
            Ok(length @ 0..=125) => frame.push(0x80 | length as u8),
            Ok(length) => {
                frame.push(0x80 | 126);
                frame.extend(length.to_be_bytes());
            }
            Err(_) => {
                frame.push(0x80 | 127);
                frame.extend((bytes.len() as u64).to_be_bytes());
            }
        }
        // A mask of zeros leaves the text as it is.
        frame.extend([0; 4]);
        frame.extend(bytes);
        self.stream.write_all(&frame).expect("it reads");
    }

    fn receive(&mut self) -> Value {
        let mut text = Vec::new();
        loop {
            let mut head = [0; 2];
            self.stream.read_exact(&mut head).expect("a frame");
            let length = match head[1] & 0x7f {
                126 => {
                    let mut length = [0; 2];
                    self.stream.read_exact(&mut length).expect("a length");
                    usize::from(u16::from_be_bytes(length))
                }
                127 => {
                    let mut length = [0; 8];
                    self.stream.read_exact(&mut length).expect("a length");
                    usize::try_from(u64::from_be_bytes(length)).expect("it fits")
                }
                short => usize::from(short),
            };
            let start = text.len();
            text.resize(start + length, 0);
            self.stream.read_exact(&mut text[start..]).expect("a frame");
            if head[0] & 0x80 != 0 {
                return serde_json::from_slice(&text).expect("JSON");
            }
        }
    }

    fn ask(&mut self, method: &str, parameters: Value) -> Value {
        self.asked += 1;
        let id = self.asked;
        self.send(&json!({"id": id, "method": method, "params": parameters}).to_string());
        loop {
            let told = self.receive();
            if told["id"] == id {
                return told["result"].clone();
            }
            let entry = &told["params"]["entry"];
            let complains = told["method"] == "Runtime.exceptionThrown"
                // A refusal of the server is an answer, not a fault of the page.
                || (told["method"] == "Log.entryAdded"
                    && entry["level"] == "error"
                    && entry["source"] != "network");
            if complains {
                self.complaints.push(told["params"].to_string());
            }
        }
    }

    /// A tab behind another draws nothing, and its clocks run slowly.
    pub(super) fn bring_to_front(&mut self) {
        self.ask("Page.bringToFront", json!({}));
    }

    pub(super) fn go(&mut self, address: &str) {
        self.bring_to_front();
        self.evaluated("window.before = true");
        self.ask("Page.navigate", json!({ "url": address }));
        let there = "!window.before && document.readyState === 'complete'";
        self.until("the page is there", there);
    }

    pub(super) fn reload(&mut self) {
        self.evaluated("window.before = true");
        self.ask("Page.reload", json!({}));
        let there = "!window.before && document.readyState === 'complete'";
        self.until("the page is there again", there);
    }

    pub(super) fn screen(&mut self, width: u32, height: u32, dark: bool) {
        let size =
            json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false});
        self.ask("Emulation.setDeviceMetricsOverride", size);
        let scheme = if dark { "dark" } else { "light" };
        let media = json!({"features": [{"name": "prefers-color-scheme", "value": scheme}]});
        self.ask("Emulation.setEmulatedMedia", media);
    }

    /// The page as it is printed on A4: a PDF.
    pub(super) fn printed(&mut self) -> Vec<u8> {
        let asked = json!({"preferCSSPageSize": true, "printBackground": true});
        let text = self.ask("Page.printToPDF", asked)["data"].clone();
        let text = text.as_str().expect("a document in base 64");
        crate::records::decoded(text)
    }

    /// What the page says to `expression`.
    pub(super) fn evaluated(&mut self, expression: &str) -> Value {
        let asked = json!({"expression": expression, "awaitPromise": true, "returnByValue": true});
        self.ask("Runtime.evaluate", asked)["result"]["value"].clone()
    }

    /// Waits until `expression` is true.
    pub(super) fn until(&mut self, what: &str, expression: &str) {
        let end = Instant::now() + PATIENCE;
        while self.evaluated(expression) != true {
            if Instant::now() >= end {
                let shown = self.evaluated("document.body.innerText");
                panic!("{what} never comes: {shown}");
            }
            std::thread::sleep(Duration::from_millis(40));
        }
    }

    /// Presses a key that types nothing, or the one that sends a form.
    pub(super) fn press(&mut self, key: &str) {
        let (code, text) = match key {
            "Enter" => (13, "\r"),
            "Tab" => (9, ""),
            "Escape" => (27, ""),
            "ArrowDown" => (40, ""),
            "F9" => (120, ""),
            " " => (32, " "),
            other => panic!("no key is called {other}"),
        };
        let mut down = json!({"type": "keyDown", "key": key, "windowsVirtualKeyCode": code});
        if !text.is_empty() {
            down["text"] = json!(text);
        }
        self.ask("Input.dispatchKeyEvent", down);
        let up = json!({"type": "keyUp", "key": key, "windowsVirtualKeyCode": code});
        self.ask("Input.dispatchKeyEvent", up);
    }

    /// Types as a keyboard, or a scanner that is one, does.
    pub(super) fn types(&mut self, text: &str) {
        for letter in text.chars() {
            let key =
                json!({"type": "keyDown", "key": letter.to_string(), "text": letter.to_string()});
            self.ask("Input.dispatchKeyEvent", key);
            let up = json!({"type": "keyUp", "key": letter.to_string()});
            self.ask("Input.dispatchKeyEvent", up);
        }
    }

    /// Goes from control to control until `expression` is true of `e`, the one that has
    /// the keyboard.
    pub(super) fn tab_to(&mut self, what: &str, expression: &str) {
        for _ in 0..60 {
            let there = format!("((e) => Boolean({expression}))(document.activeElement)");
            if self.evaluated(&there) == true {
                return;
            }
            self.press("Tab");
        }
        panic!("the keyboard never comes to {what}");
    }
}
