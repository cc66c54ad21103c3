//! The page at the bench as a client of plain sockets meets it: who is refused, a day of
//! boards, two pages, a start by its word, a stop in mid-short and a lost server. What a
//! browser draws of it is not looked at here.

mod attended;
mod client;
mod watched;

use super::guardian::{Running, bench_on, fixture, output_is_on, serve};
use client::{Client, Events};
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// A server over `folder`, its address and the token that it printed.
pub(crate) fn page(folder: &Path, listen: &str) -> (Running, String, Option<String>) {
    let mut server = Command::new(env!("CARGO_BIN_EXE_bufferstop"))
        .args(["serve", "--json", "--listen", listen, "--out"])
        .arg(folder.join("reports"))
        .arg(folder)
        .current_dir(folder)
        .stdout(Stdio::piped())
        .spawn()
        .expect("the server starts");
    let mut line = String::new();
    let out = server.stdout.take().expect("a pipe");
    BufReader::new(out)
        .read_line(&mut line)
        .expect("it says where it is");
    let said: Value = serde_json::from_str(&line).expect("JSON");
    let address = said["address"].as_str().expect("an address");
    let rest = address.strip_prefix("http://").expect("an address");
    let (at, query) = rest.split_once('/').expect("an address with a path");
    let token = query.strip_prefix("?token=").map(str::to_owned);
    (Running(server), at.to_owned(), token)
}

/// The demo's plan with these scenarios alone.
fn plan_of(kinds: &[&str]) -> String {
    let text = std::fs::read_to_string(fixture("plan.toml")).expect("the demo's plan");
    let end = text.find("[comparison]").expect("it says how lots compare");
    let mut parts = text[..end].split("[[scenario]]");
    let head = parts.next().expect("a head").to_owned();
    let wanted = |part: &&str| {
        let of = |kind: &&&str| part.contains(&format!("kind = \"{kind}\""));
        kinds.iter().any(|kind| of(&kind))
    };
    parts
        .filter(wanted)
        .fold(head, |plan, part| format!("{plan}[[scenario]]{part}"))
}

pub(crate) fn folder_with(kinds: &[&str]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    std::fs::write(folder.path().join("plan.toml"), plan_of(kinds)).expect("a plan");
    std::fs::copy(fixture("lot.toml"), folder.path().join("lot.toml")).expect("a lot");
    folder
}

/// Sends `bytes` as they are; what comes back until the other end closes or `within` is
/// over.
fn raw(at: &str, bytes: &[u8], within: Duration) -> String {
    let mut stream = TcpStream::connect(at).expect("it listens");
    stream.set_read_timeout(Some(within)).expect("a time");
    // Whoever refuses need not read all of it.
    let _ = stream.write_all(bytes);
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

#[test]
fn strangers_are_refused() {
    let folder = folder_with(&["idle"]);
    let (_server, at, token) = page(folder.path(), "127.0.0.1:0");
    assert_eq!(token, None, "only this computer reaches it");
    let short = Duration::from_secs(5);
    let get = |path: &str, head: &str| {
        let asked = format!("GET {path} HTTP/1.1\r\nConnection: close\r\n{head}\r\n");
        raw(&at, asked.as_bytes(), short)
    };
    let own = format!("Host: {at}\r\n");
    let status = |answer: &str| answer.split(' ').nth(1).unwrap_or_default().to_owned();
    assert_eq!(status(&get("/", &own)), "200");
    // DNS rebinding: a name of somebody else's that leads here.
    assert_eq!(status(&get("/", "Host: evil.example\r\n")), "421");
    let port = at.rsplit(':').next().expect("a port");
    assert_eq!(
        status(&get("/", &format!("Host: evil.example:{port}\r\n"))),
        "421"
    );
    // Another site's page, by what a browser says of it.
    for (head, expected) in [
        ("Origin: http://evil.example\r\n", "403"),
        ("Origin: null\r\n", "403"),
        ("", "403"),
        (&*format!("Origin: http://{at}\r\n"), "409"),
    ] {
        let asked = format!(
            "POST /stop HTTP/1.1\r\nConnection: close\r\n{own}{head}Content-Length: 0\r\n\r\n"
        );
        assert_eq!(
            status(&raw(&at, asked.as_bytes(), short)),
            expected,
            "{head}"
        );
    }
    // Out of the folder.
    for path in [
        "/../../../../etc/passwd",
        "/page.css/../../../etc/passwd",
        "/plan?file=../../../../etc/passwd",
        "/plan?file=%2Fetc%2Fpasswd",
        "/run/..%2f..%2fetc%2fpasswd",
        "/run/x/file/..%2F..%2Fetc%2Fpasswd",
        "/board/%2e%2e%2f",
    ] {
        let answer = get(path, &own);
        assert_eq!(status(&answer), "404", "{path}");
        assert!(!answer.contains("root:"), "{path}");
    }
    // Too much.
    let long = format!("/{}", "a".repeat(4000));
    assert_eq!(status(&get(&long, &own)), "414");
    let head = format!("{own}X-Long: {}\r\n", "a".repeat(100_000));
    assert_eq!(status(&get("/", &head)), "431");
    let body = "a".repeat(3 << 20);
    let asked = format!(
        "POST /plan/check HTTP/1.1\r\nConnection: close\r\n{own}Origin: http://{at}\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    let answer = raw(&at, asked.as_bytes(), short);
    // Closed in mid-sending, the answer may be lost on its way.
    assert!(["413", ""].contains(&&*status(&answer)), "{answer}");
    // Too slow: the head never ends.
    let begun = Instant::now();
    let answer = raw(&at, b"GET / HTTP/1.1\r\nHost: ", Duration::from_secs(40));
    assert!(
        begun.elapsed() < Duration::from_secs(30),
        "it waits for ever"
    );
    assert!(["408", ""].contains(&&*status(&answer)), "{answer}");
    // Whatever it answers, a page may load nothing of others.
    let answer = get("/", &own).to_lowercase();
    for header in [
        "content-security-policy: default-src 'none'",
        "x-content-type-options: nosniff",
        "referrer-policy: no-referrer",
        "cache-control: no-store",
    ] {
        assert!(answer.contains(header), "{header}");
    }
    for forbidden in ["<script>", " onclick=", " style=", "http://", "https://"] {
        assert!(!answer.contains(forbidden), "{forbidden}");
    }
}

#[test]
fn where_others_reach_it_a_token_is_asked_for() {
    let folder = folder_with(&["idle"]);
    let (_server, at, token) = page(folder.path(), "0.0.0.0:0");
    let token = token.expect("a token");
    let at = at.replace("0.0.0.0", "127.0.0.1");
    let client = Client::new(&at);
    assert_eq!(client.get("/").status, 401);
    assert_eq!(client.get("/events?seat=0123456789abcdef").status, 401);
    assert_eq!(
        client.get(&format!("/?token={}", "0".repeat(32))).status,
        401
    );
    assert_eq!(client.post("/stop", &[]).status, 401);
    let answer = client.get(&format!("/?token={token}"));
    assert_eq!(answer.status, 303);
    let cookie = answer.header("set-cookie").expect("a cookie");
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"));
    assert!(!cookie.contains(&token), "the token stays what it is");
    let shown = cookie.split(';').next().expect("its value");
    let known = client.with("Cookie", shown);
    assert_eq!(known.get("/").status, 200);
    let forged = client.with("Cookie", "bufferstop=00000000000000000000000000000000");
    assert_eq!(forged.get("/").status, 401);
    // Token or not, another site's page commands nothing.
    assert_eq!(
        known
            .with("Origin", "http://evil.example")
            .post("/stop", &[])
            .status,
        403
    );
}

const FIRST: &str = "0123456789abcdef0123456789abcdef";
const SECOND: &str = "fedcba9876543210fedcba9876543210";

#[test]
fn a_day_of_boards_on_the_model_bench() {
    let folder = folder_with(&["idle", "load", "short"]);
    let (mut server, at, _) = page(folder.path(), "127.0.0.1:0");
    let client = Client::new(&at);
    let open = |lot: &str| {
        let choice = [
            ("seat", FIRST),
            ("plan", "plan.toml"),
            ("bench", ""),
            ("lot", lot),
        ];
        assert_eq!(client.post("/sitting", &choice).status, 204);
        client.until("a bench is open", |state| state["phase"] == "ready")
    };
    let scan = |serial: &str, retest: &str| {
        let board = [("seat", FIRST), ("serial", serial), ("retest", retest)];
        client.post("/board", &board)
    };
    let nothing = client.post("/board", &[("seat", FIRST), ("serial", "GB-2026-11-01")]);
    assert_eq!(nothing.status, 409, "no bench is open");
    open("lot.toml");

    // Two pages see one run; the second commands nothing.
    let mut one = Events::of(&at, FIRST);
    let mut other = Events::of(&at, SECOND);
    let refused = client.post("/board", &[("seat", SECOND), ("serial", "GB-2026-11-01")]);
    assert_eq!(refused.status, 409);
    assert!(refused.text().contains("take over"), "{}", refused.text());
    // A name that is markup is refused, and becomes none on the page.
    let hostile = "<img src=x onerror=alert(1)>";
    assert_eq!(scan(hostile, "").status, 422);
    let shown = one.until("the refusal", |name, data| {
        name == "put" && data["id"] == "desk" && data["html"].to_string().contains("cannot be used")
    });
    assert!(!shown["html"].to_string().contains("<img"), "{shown}");

    assert_eq!(scan("GB-2026-11-01", "").status, 204);
    assert_eq!(scan("GB-2026-11-02", "").status, 409, "one runs already");
    // Loaded again in mid-run, the page shows the run.
    one.until("a metric", |name, data| {
        name == "add" && data["id"] == "metric-rows"
    });
    drop(one);
    let again = client.get("/");
    assert!(again.text().contains("RUNNING") && again.text().contains("GB-2026-11-01"));
    let mut one = Events::of(&at, FIRST);
    let metrics = one.until("all metrics so far", |name, data| {
        name == "put" && data["id"] == "metrics"
    });
    assert!(
        metrics["html"].to_string().contains("input current"),
        "{metrics}"
    );
    for page in [&mut one, &mut other] {
        let end = page.until("the verdict", |name, _| name == "verdict");
        assert_eq!(end["verdict"], "PASS");
    }
    client.until("the next board", |state| state["phase"] == "ready");

    // The same again, the scanner read twice.
    let twice = scan("GB-2026-11-01", "");
    assert_eq!(twice.status, 422);
    assert!(
        twice.text().contains("in this sitting already"),
        "{}",
        twice.text()
    );
    assert_eq!(client.post("/leave", &[("seat", FIRST)]).status, 204);
    client.until("the next board", |state| state["phase"] == "ready");

    // A board with a planted defect fails by it.
    assert_eq!(scan("GB-2026-11-05", "").status, 204);
    let state = client.until("its end", |state| {
        state["phase"] == "ready" && state["serial"] == "GB-2026-11-05"
    });
    assert_eq!(state["verdict"], "FAIL");
    let failed = state["run"].as_str().expect("a run").to_owned();

    // A board of another lot is not run without a reason.
    assert_eq!(client.post("/close", &[("seat", FIRST)]).status, 204);
    client.until("it is closed", |state| state["phase"] == "closed");
    open("another-lot");
    let other_lot = scan("GB-2026-11-01", "");
    assert_eq!(other_lot.status, 422);
    assert!(
        other_lot.text().contains("board of lot GB-2026-11"),
        "{}",
        other_lot.text()
    );

    looked_up(&client, &failed);

    // Any page stops, whoever commands; so does the end of the server.
    assert_eq!(scan("GB-2026-11-05", "<b>replaced R7</b>").status, 204);
    let state = client.until("it runs", |state| {
        state["phase"] == "running" && state["run"] != failed.as_str() && state["energised"] == true
    });
    let run = state["run"].as_str().expect("a run").to_owned();
    let id = rustix::process::Pid::from_child(&server.0);
    rustix::process::kill_process(id, rustix::process::Signal::TERM).expect("it is asked to end");
    let until = Instant::now() + Duration::from_secs(60);
    let status = loop {
        if let Some(status) = server.0.try_wait().expect("a process") {
            break status;
        }
        assert!(Instant::now() < until, "it does not end");
        std::thread::sleep(Duration::from_millis(50));
    };
    assert!(status.success(), "{status}");
    let record = folder.path().join("reports/GB-2026-11-05").join(run);
    let record = std::fs::read_to_string(record.join("record.json")).expect("its record");
    let record: Value = serde_json::from_str(&record).expect("JSON");
    assert_eq!(record["verdict"], "inconclusive", "{}", record["verdict"]);
    assert_eq!(record["record"]["started"]["retest"], "<b>replaced R7</b>");
    assert_eq!(record["record"]["safety"][0]["safe"], true);
}

/// What is found again of the boards.
fn looked_up(client: &Client, failed: &str) {
    let found = |path: &str, words: &[&str]| {
        let answer = client.get(path);
        let text = answer.text();
        assert_eq!(answer.status, 200, "{path}");
        for word in words {
            assert!(text.contains(word), "{path} lacks {word}");
        }
    };
    found(
        "/boards?model=yes",
        &["GB-2026-11-01", "GB-2026-11-05", "PASS", "FAIL"],
    );
    found("/boards?model=yes&verdict=fail", &["GB-2026-11-05"]);
    // What finds nothing because it is mistyped says so.
    for (mistyped, words) in [
        ("from=9999-99-99", "from: write a day as"),
        ("until=tomorrow", "until: write a day as"),
        ("verdict=good", "verdict: good is none of"),
    ] {
        let said = client.get(&format!("/boards?model=yes&{mistyped}")).text();
        assert!(said.contains(words), "{mistyped}: {said}");
    }
    let passes = client.get("/boards?model=yes&verdict=pass&lot=GB-2026-11");
    assert!(
        !passes.text().contains("GB-2026-11-05"),
        "{}",
        passes.text()
    );
    found(
        "/boards?model=yes&from=2001-01-01&until=2001-01-02",
        &["No run is as you ask"],
    );
    found("/boards?serial=%3Cscript%3E", &["serial number: "]);
    found(
        "/board/GB-2026-11-05?model=yes",
        &["MODEL FAIL", "trip_time"],
    );
    found(
        &format!("/run/{failed}"),
        &["MODEL FAIL", "trip time", "gauge", "data-captures"],
    );
    let picture = client.get(&format!("/run/{failed}/capture/short/1"));
    assert!(picture.text().starts_with("<svg"), "{}", picture.text());
    let part = client.get(&format!("/run/{failed}/capture/short/1?from=0&to=0.001"));
    assert!(part.text().contains("data-to=\"0.001"), "a part of it");
    let paper = client.get(&format!("/run/{failed}/paper/certificate.pdf"));
    assert!(paper.body.starts_with(b"%PDF-"), "a PDF");
    found(
        &format!("/run/{failed}/paper/certificate.html"),
        &["GB-2026-11-05"],
    );
    found(&format!("/run/{failed}/file/junit.xml"), &["<testsuite"]);
    found("/lots?model=yes", &["GB-2026-11"]);
    found("/lot/GB-2026-11?model=yes", &["MODEL lot", "trip time"]);
    found("/bench", &["Bench"]);
    found("/plan", &["Sound", "guarded"]);
    assert_eq!(
        client
            .get("/run/01a2293e-07a3-755d-8256-000000000000")
            .status,
        404
    );
}

#[test]
fn a_plan_is_checked_in_place_and_saved_whole() {
    let folder = folder_with(&["idle"]);
    let (_server, at, _) = page(folder.path(), "127.0.0.1:0");
    let client = Client::new(&at);
    let shown = client.get("/plan?file=plan.toml");
    let text = shown.text();
    let was = text
        .split("name=\"was\" value=\"")
        .nth(1)
        .expect("its digest");
    let was = was.split('"').next().expect("its end").to_owned();
    let path = folder.path().join("plan.toml");
    let before = std::fs::read_to_string(&path).expect("the plan");
    // A fault is named at its line.
    let line = 1 + before
        .lines()
        .position(|l| l.starts_with("kind = "))
        .expect("a kind");
    let faulty = before.replacen("kind = \"idle\"", "kind = \"unheard\"", 1);
    let sent = [("file", "plan.toml"), ("text", &*faulty), ("was", &was)];
    let checked = client.post("/plan/check", &sent);
    assert!(checked.text().contains("Not sound"), "{}", checked.text());
    assert!(
        checked.text().contains(&format!("data-line=\"{line}\"")),
        "{}",
        checked.text()
    );
    assert_eq!(std::fs::read_to_string(&path).expect("the plan"), before);
    // Saved with a fault in it, it runs nothing.
    let saved = client.post("/plan/save", &sent);
    assert_eq!(saved.status, 200, "{}", saved.text());
    assert_eq!(std::fs::read_to_string(&path).expect("the plan"), faulty);
    let choice = [
        ("seat", FIRST),
        ("plan", "plan.toml"),
        ("bench", ""),
        ("lot", ""),
    ];
    assert_eq!(client.post("/sitting", &choice).status, 204);
    let state = client.until("it is refused", |state| {
        state["phase"] == "closed" && !state["hindered"].is_null()
    });
    assert!(state["hindered"].to_string().contains("unheard"), "{state}");
    // Over what somebody else saved since, nothing is saved.
    let sent = [("file", "plan.toml"), ("text", &*before), ("was", &was)];
    assert_eq!(client.post("/plan/save", &sent).status, 409);
    assert_eq!(std::fs::read_to_string(&path).expect("the plan"), faulty);
}

/// On ports that are real to the server, at the wall's pace.
#[test]
fn a_board_starts_by_its_word_and_stops_in_mid_short() {
    let (_served, ports) = serve();
    let list = ports["ports"].as_array().expect("a list");
    let supply = list.iter().find(|port| port["role"] == "supply");
    let supply = supply.expect("a supply")["path"].as_str().expect("a path");
    let folder = folder_with(&["idle", "short"]);
    std::fs::write(folder.path().join("bench.toml"), bench_on(&ports)).expect("a bench file");
    let (mut server, at, _) = page(folder.path(), "127.0.0.1:0");
    let client = Client::new(&at);
    let mut choice = vec![
        ("seat", FIRST),
        ("plan", "plan.toml"),
        ("bench", "bench.toml"),
    ];
    assert_eq!(client.post("/sitting", &choice).status, 204);
    let state = client.until("it is refused", |state| !state["hindered"].is_null());
    assert!(
        state["hindered"]
            .to_string()
            .contains("confirmed the cautions"),
        "{state}"
    );
    choice.push(("confirmed", "yes"));
    assert_eq!(client.post("/sitting", &choice).status, 204);
    client.until("the bench is open", |state| state["phase"] == "ready");

    // Scanned, the board waits; only the word that was shown starts it.
    let begin = |serial: &str, retest: &str| {
        let board = [("seat", FIRST), ("serial", serial), ("retest", retest)];
        assert_eq!(client.post("/board", &board).status, 204);
        let state = client.until("it waits", |state| state["phase"] == "confirming");
        state["start"].as_str().expect("a word").to_owned()
    };
    let word = begin("P-1", "");
    assert!(!output_is_on(supply), "nothing is energised yet");
    // Whoever is answered may ask again at once: the bench is not busy any more.
    for _ in 0..20 {
        let wrong = client.post("/start", &[("seat", FIRST), ("nonce", "0")]);
        assert_eq!(wrong.status, 409);
        assert!(wrong.text().contains("no board waits"), "{}", wrong.text());
    }
    let stranger = client.post("/start", &[("seat", SECOND), ("nonce", &word)]);
    assert_eq!(stranger.status, 409);
    assert_eq!(client.state()["phase"], "confirming");
    let mut events = Events::of(&at, FIRST);
    assert_eq!(
        client
            .post("/start", &[("seat", FIRST), ("nonce", &word)])
            .status,
        204
    );
    let again = client.post("/start", &[("seat", FIRST), ("nonce", &word)]);
    assert_eq!(again.status, 409, "a word is good once");
    events.until("a reading of a meter", |name, _| name == "meter");
    // A page that is closed ends nothing.
    events.until("the short", |name, data| {
        name == "state" && data["energised"] == true && data["step"].to_string().contains("short")
    });
    drop(events);
    assert_eq!(client.state()["phase"], "running");
    // In mid-short, from a page that only watches.
    assert_eq!(client.post("/stop", &[("seat", SECOND)]).status, 204);
    let state = client.until("it stopped", |state| state["phase"] == "ready");
    assert_eq!(state["verdict"], "INCONCLUSIVE", "{state}");
    assert_eq!(state["safe"], true);

    // The server is lost while a board is energised: the guardian makes it safe.
    let word = begin("P-1", "stopped before");
    let mut events = Events::of(&at, FIRST);
    assert_eq!(
        client
            .post("/start", &[("seat", FIRST), ("nonce", &word)])
            .status,
        204
    );
    events.until("the short again", |name, data| {
        name == "state" && data["energised"] == true && data["step"].to_string().contains("short")
    });
    server.0.kill().expect("it is there");
    let _ = server.0.wait();
    let until = Instant::now() + Duration::from_secs(10);
    while output_is_on(supply) {
        assert!(Instant::now() < until, "the supply is still on");
        std::thread::sleep(Duration::from_millis(100));
    }
}
