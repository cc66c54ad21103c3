//! How soon an event of a run is on a page, and what fifty pages that watch cost a run and
//! the server's memory. They print what they measured; how fast is fast is for people.

use super::client::{Client, Events};
use super::{FIRST, folder_with, page};
use crate::guardian::{Running, bench_on, serve};
use assert_cmd::cargo::cargo_bin_cmd;
use jiff::Timestamp;
use serde_json::Value;
use std::io::Read as _;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// Pages that watch.
const WATCHERS: usize = 50;

/// Pages that only watch, each read as it comes.
struct Watchers {
    stop: Vec<std::net::TcpStream>,
    read: Vec<std::thread::JoinHandle<()>>,
    events: Arc<AtomicUsize>,
}

impl Watchers {
    fn of(at: &str, count: usize) -> Self {
        let events = Arc::new(AtomicUsize::new(0));
        let (mut stop, mut read) = (Vec::new(), Vec::new());
        for number in 0..count {
            let mut page = Events::of(at, &format!("{number:032x}")).end();
            stop.push(page.try_clone().expect("a stream"));
            let events = Arc::clone(&events);
            // What it costs to understand the events is no cost of the server.
            read.push(std::thread::spawn(move || {
                let mut part = vec![0; 1 << 16];
                while let Ok(length @ 1..) = page.read(&mut part) {
                    let begins = part[..length].windows(7).filter(|part| *part == b"event: ");
                    events.fetch_add(begins.count(), Ordering::Relaxed);
                }
            }));
        }
        Self { stop, read, events }
    }

    /// How many events all of them saw.
    fn end(self) -> usize {
        for stream in &self.stop {
            let _ = stream.shutdown(std::net::Shutdown::Both);
        }
        for thread in self.read {
            thread.join().expect("it reads");
        }
        self.events.load(Ordering::Relaxed)
    }
}

fn opened(client: &Client, bench: &str) {
    let choice = [
        ("seat", FIRST),
        ("plan", "plan.toml"),
        ("bench", bench),
        ("confirmed", "yes"),
    ];
    assert_eq!(client.post("/sitting", &choice).status, 204);
    client.until("the bench is open", |state| state["phase"] == "ready");
}

/// Entries of the record that the page shows, with their kind, words and moment.
fn entries(folder: &Path, serial: &str) -> Vec<(String, String, Timestamp)> {
    let file = folder.join("run.json");
    let done = cargo_bin_cmd!("bufferstop")
        .current_dir(folder)
        .args(["records", "export", serial, "--model", "--out-file"])
        .arg(&file)
        .output()
        .expect("it runs");
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    let text = std::fs::read_to_string(file).expect("a file");
    let run: Value = serde_json::from_str(&text).expect("JSON");
    let chain = run["chain"].as_array().expect("a chain").iter();
    let entries = chain.filter_map(|line| {
        let line: Value = serde_json::from_str(line["text"].as_str()?).ok()?;
        let (event, at) = (&line["entry"]["event"], &line["entry"]["at"]);
        let at = at.as_str()?.parse().expect("a moment");
        let words = event["text"].as_str().unwrap_or_default().to_owned();
        Some((event["event"].as_str()?.to_owned(), words, at))
    });
    entries.collect()
}

#[test]
#[ignore = "half a minute in the wall's time: scripts/long"]
fn an_event_is_on_the_page_at_once() {
    let (_served, ports) = serve();
    let folder = folder_with(&["idle", "load", "short"]);
    std::fs::write(folder.path().join("bench.toml"), bench_on(&ports)).expect("a bench file");
    let (_server, at, _) = page(folder.path(), "127.0.0.1:0");
    let client = Client::new(&at);
    opened(&client, "bench.toml");
    let mut page = Events::of(&at, FIRST);
    let board = [("seat", FIRST), ("serial", "W-1")];
    assert_eq!(client.post("/board", &board).status, 204);
    let state = client.until("it waits", |state| state["phase"] == "confirming");
    let word = state["start"].as_str().expect("a word");
    let start = [("seat", FIRST), ("nonce", word)];
    assert_eq!(client.post("/start", &start).status, 204);
    let mut came = Vec::new();
    loop {
        let (name, data) = page.next().expect("it goes on");
        came.push((name, data, Timestamp::now()));
        if came.last().is_some_and(|(name, ..)| name == "verdict") {
            break;
        }
    }
    let mut came = came.into_iter();
    let mut took = Vec::new();
    for (kind, words, at) in entries(folder.path(), "W-1") {
        let shows = |name: &str, data: &Value| match kind.as_str() {
            "step" => name == "state" && data["step"].as_str() == Some(&words),
            "measured" => name == "add" && data["id"] == "metric-rows",
            "run_finished" => name == "verdict",
            _ => false,
        };
        if ["step", "measured", "run_finished"].contains(&kind.as_str()) {
            let found = came.find(|(name, data, _)| shows(name, data));
            let (.., arrived) = found.unwrap_or_else(|| panic!("{kind} {words} never comes"));
            took.push(arrived.duration_since(at).as_secs_f64() * 1e3);
        }
    }
    took.sort_by(f64::total_cmp);
    assert!(took.len() > 50 && took[0] >= 0.0, "{took:?}");
    let (median, most) = (took[took.len() / 2], took[took.len() - 1]);
    println!(
        "{} events from the runner, before they are on disk, to a page: median {median:.1} ms, maximum {most:.1} ms",
        took.len()
    );
}

/// Memory of a process in KiB (proc(5), `VmRSS`).
fn memory(server: &Running) -> u64 {
    let text = std::fs::read_to_string(format!("/proc/{}/status", server.0.id()));
    let text = text.expect("it runs");
    let line = text.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    let number = line.and_then(|line| line.split_whitespace().next()?.parse().ok());
    number.expect("a number")
}

/// Runs a board; how long it took, in seconds.
fn run(client: &Client, at: &str, serial: &str) -> f64 {
    let mut page = Events::of(at, FIRST);
    let begun = Instant::now();
    let board = [("seat", FIRST), ("serial", serial)];
    assert_eq!(client.post("/board", &board).status, 204);
    if let Some(word) = client.state()["start"].as_str() {
        let start = [("seat", FIRST), ("nonce", word)];
        assert_eq!(client.post("/start", &start).status, 204);
    }
    page.until("the verdict", |name, _| name == "verdict");
    let took = begun.elapsed();
    client.until("the next", |state| state["phase"] == "ready");
    took.as_secs_f64()
}

/// So many boards with pages that watch beside as many without, on that bench; prints what
/// it cost, and holds that memory does not grow.
fn paired(what: &str, folder: &Path, bench: &str, pairs: usize) {
    let (server, at, _) = page(folder, "127.0.0.1:0");
    let client = Client::new(&at);
    opened(&client, bench);
    run(&client, &at, "W-0");
    let (mut ratios, mut seen, mut kept) = (Vec::new(), 0, Vec::new());
    for pair in 0..pairs {
        let alone = || run(&client, &at, &format!("W-{pair}-alone"));
        let watched = || {
            let watchers = Watchers::of(&at, WATCHERS);
            // Each of them is there before it begins.
            std::thread::sleep(Duration::from_millis(300));
            let took = run(&client, &at, &format!("W-{pair}-watched"));
            (took, watchers.end())
        };
        // Now one, now the other is first.
        let (without, (with, events)) = match pair % 2 {
            0 => {
                let without = alone();
                (without, watched())
            }
            _ => {
                let watched = watched();
                (alone(), watched)
            }
        };
        ratios.push(with / without);
        seen += events;
        kept.push(memory(&server));
    }
    assert!(seen > pairs * WATCHERS * 20, "{seen} events were seen");
    ratios.sort_by(f64::total_cmp);
    let (first, last) = (kept[0], kept[pairs - 1]);
    println!(
        "{what}: {pairs} boards watched by {WATCHERS} pages beside as many unwatched ones: {:.3} times as long \
         (median of pairs, {:.3} to {:.3}), {seen} events sent; memory {first} KiB after the first pair, \
         {last} KiB after the last",
        ratios[pairs / 2],
        ratios[0],
        ratios[pairs - 1],
    );
    // A page that watched is forgotten: a leak of each event would be many times this.
    assert!(last < first + 16 * 1024, "memory grows: {kept:?} KiB");
}

#[test]
#[ignore = "many boards in the wall's time: scripts/long"]
fn fifty_pages_that_watch_slow_no_run() {
    let pairs = std::env::var("BUFFERSTOP_WATCHED_PAIRS");
    let pairs: usize = pairs.map_or(4, |pairs| pairs.parse().expect("a number"));
    let (_served, ports) = serve();
    let folder = folder_with(&["short"]);
    std::fs::write(folder.path().join("bench.toml"), bench_on(&ports)).expect("a bench file");
    paired("ports, the wall's time", folder.path(), "bench.toml", pairs);
    // On the embedded bench a run takes what the processor gives, and so do the pages.
    let folder = folder_with(&["idle", "load", "short"]);
    paired(
        "embedded bench, as fast as it can",
        folder.path(),
        "",
        pairs,
    );
}
