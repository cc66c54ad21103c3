//! A client of the page over plain sockets: requests, and the stream of events. It shares
//! no code with the server.

use serde_json::Value;
use std::fmt::Write as _;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// What is waited for at most.
const PATIENCE: Duration = Duration::from_secs(120);

/// A client with headers of its own.
#[derive(Clone)]
pub(super) struct Client {
    at: String,
    headers: Vec<(String, String)>,
}

/// An answer.
pub(super) struct Answer {
    pub(super) status: u16,
    head: String,
    pub(super) body: Vec<u8>,
}

impl Answer {
    pub(super) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub(super) fn header(&self, name: &str) -> Option<&str> {
        let mut lines = self.head.lines().filter_map(|line| line.split_once(": "));
        lines.find_map(|(found, value)| found.eq_ignore_ascii_case(name).then_some(value))
    }
}

impl Client {
    pub(super) fn new(at: &str) -> Self {
        Self {
            at: at.to_owned(),
            headers: vec![("Origin".to_owned(), format!("http://{at}"))],
        }
    }

    /// The same with another header, or another value of it.
    pub(super) fn with(&self, name: &str, value: &str) -> Self {
        let mut client = self.clone();
        client.headers.retain(|(known, _)| known != name);
        client.headers.push((name.to_owned(), value.to_owned()));
        client
    }

    pub(super) fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, "")
    }

    pub(super) fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let pairs = fields
            .iter()
            .map(|(name, value)| format!("{name}={}", escaped(value)));
        self.ask("POST", path, &pairs.collect::<Vec<_>>().join("&"))
    }

    fn ask(&self, method: &str, path: &str, body: &str) -> Answer {
        let mut stream = TcpStream::connect(&self.at).expect("it listens");
        stream.set_read_timeout(Some(PATIENCE)).expect("a time");
        let mut asked = format!("{method} {path} HTTP/1.1\r\nHost: {}\r\n", self.at);
        for (name, value) in &self.headers {
            let _ = write!(asked, "{name}: {value}\r\n");
        }
        let _ = write!(
            asked,
            "Connection: close\r\nContent-Type: application/x-www-form-urlencoded\r\n\
             Content-Length: {}\r\n\r\n{body}",
            body.len()
        );
        stream.write_all(asked.as_bytes()).expect("it reads");
        let mut all = Vec::new();
        // A stream of events does not end by itself: its head is enough.
        let _ = stream.read_to_end(&mut all);
        let end = all.windows(4).position(|four| four == b"\r\n\r\n");
        let end = end.expect("a head");
        let head = String::from_utf8_lossy(&all[..end]).into_owned();
        let status = head.split(' ').nth(1).and_then(|word| word.parse().ok());
        Answer {
            status: status.expect("a status"),
            head,
            body: all[end + 4..].to_vec(),
        }
    }

    /// How it stands.
    pub(super) fn state(&self) -> Value {
        serde_json::from_slice(&self.get("/state").body).expect("JSON")
    }

    /// Asks until it stands so.
    pub(super) fn until(&self, what: &str, so: impl Fn(&Value) -> bool) -> Value {
        let end = Instant::now() + PATIENCE;
        loop {
            let state = self.state();
            if so(&state) {
                return state;
            }
            assert!(Instant::now() < end, "{what} never comes: {state:#}");
            std::thread::sleep(Duration::from_millis(30));
        }
    }
}

/// The events of the bench as a page receives them.
pub(super) struct Events(BufReader<TcpStream>);

impl Events {
    pub(super) fn of(at: &str, seat: &str) -> Self {
        let mut stream = TcpStream::connect(at).expect("it listens");
        stream.set_read_timeout(Some(PATIENCE)).expect("a time");
        let asked = format!("GET /events?seat={seat} HTTP/1.1\r\nHost: {at}\r\n\r\n");
        stream.write_all(asked.as_bytes()).expect("it reads");
        Self(BufReader::new(stream))
    }

    /// What ends it from another thread.
    pub(super) fn end(&self) -> TcpStream {
        self.0.get_ref().try_clone().expect("a stream")
    }

    /// Reads until such an event; its data.
    pub(super) fn until(&mut self, what: &str, so: impl Fn(&str, &Value) -> bool) -> Value {
        let end = Instant::now() + PATIENCE;
        loop {
            assert!(Instant::now() < end, "{what} never comes");
            let next = self.next();
            let (name, data) =
                next.unwrap_or_else(|| panic!("{what} never comes: the stream ends"));
            if so(&name, &data) {
                return data;
            }
        }
    }

    /// The next event and its data; nothing where the stream ends.
    pub(super) fn next(&mut self) -> Option<(String, Value)> {
        let mut name = String::new();
        loop {
            let mut line = String::new();
            let read = self.0.read_line(&mut line).expect("it sends");
            if read == 0 {
                return None;
            }
            // The lengths of the parts of the answer stand between the lines.
            if let Some(word) = line.strip_prefix("event: ") {
                name = word.trim().to_owned();
            } else if let Some(data) = line.strip_prefix("data: ") {
                return Some((name, serde_json::from_str(data).expect("JSON")));
            }
        }
    }
}

fn escaped(text: &str) -> String {
    text.bytes().map(|byte| format!("%{byte:02X}")).collect()
}
