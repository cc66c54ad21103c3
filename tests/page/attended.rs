//! A bench on which a person works the supply, run from the page: what is to be done is
//! asked there, and done at the model's own keys. What a terminal asks is looked at
//! elsewhere.

use super::client::{Answer, Client};
use super::{FIRST, SECOND, folder_with, page};
use crate::guardian::{Running, serve};
use crate::worked_by_hand::{Keys, bench, does, port_of};
use serde_json::Value;
use std::path::Path;
use std::time::{Duration, Instant};

/// A board takes less.
const PATIENCE: Duration = Duration::from_secs(240);

/// A question as the page shows it.
#[derive(Debug, PartialEq)]
struct Shown {
    number: String,
    what: String,
    is_reading: bool,
}

fn between<'a>(text: &'a str, before: &str, after: &str) -> Option<&'a str> {
    let (_, rest) = text.split_once(before)?;
    Some(rest.split_once(after)?.0)
}

/// What the page asks the person for, if it does.
fn shown(page: &Answer) -> Option<Shown> {
    let text = page.text();
    let what = between(&text, "<p class=\"task\" role=\"alert\">", "</p>")?;
    assert!(text.contains("data-until=\""), "how long it waits");
    Some(Shown {
        number: between(&text, "name=\"question\" value=\"", "\"")?.to_owned(),
        what: what.replace("&#39;", "'"),
        is_reading: text.contains("name=\"typed\" required"),
    })
}

/// A bench of a served model whose supply a person works by `profile`, and whose signal
/// comes from elsewhere; its server, its page and its supply's keys.
fn attended(folder: &Path, profile: &str) -> ([Running; 2], Client, Keys) {
    let (served, ports) = serve();
    let mut station = Keys::of(port_of("drive", &ports));
    for line in ["SIGN:PATT ONES", "CONT:ENAB 1", "SIGN ON"] {
        station.press(line);
    }
    let supply = format!("person = true{profile}");
    bench(
        folder,
        &ports,
        &[("supply", &supply), ("drive", "external = \"ones\"")],
    );
    let keys = Keys::of(port_of("supply", &ports));
    let (server, at, _) = page(folder, "127.0.0.1:0");
    let client = Client::new(&at);
    ([served, server], client, keys)
}

/// Opens the bench; what is asked meanwhile is done.
fn opened(client: &Client, keys: &mut Keys) {
    let choice = [
        ("seat", FIRST),
        ("plan", "plan.toml"),
        ("bench", "bench.toml"),
        ("confirmed", "yes"),
    ];
    assert_eq!(client.post("/sitting", &choice).status, 204);
    let state = answered(client, "opening", |question| {
        let read = does(keys, &question.what);
        Some(if question.is_reading {
            read
        } else {
            "done".to_owned()
        })
    });
    assert_eq!(state["phase"], "ready", "{state}");
}

fn begun(client: &Client, serial: &str) {
    let board = [("seat", FIRST), ("serial", serial)];
    assert_eq!(client.post("/board", &board).status, 204);
    let state = client.until("it waits", |state| state["phase"] == "confirming");
    let word = state["start"].as_str().expect("a word").to_owned();
    let start = [("seat", FIRST), ("nonce", word.as_str())];
    assert_eq!(client.post("/start", &start).status, 204);
}

/// Answers each question once by `answer` while it is in that phase, or stops; how it
/// stands then.
fn answered(
    client: &Client,
    phase: &str,
    mut answer: impl FnMut(&Shown) -> Option<String>,
) -> Value {
    let (end, mut last) = (Instant::now() + PATIENCE, None);
    loop {
        assert!(Instant::now() < end, "it never ends: {:#}", client.state());
        let question = shown(&client.get("/"));
        if let Some(question) = question.filter(|question| Some(&question.number) != last.as_ref())
        {
            if let Some(typed) = answer(&question) {
                let sent = [
                    ("seat", FIRST),
                    ("question", &question.number),
                    ("typed", &typed),
                ];
                let status = client.post("/answer", &sent).status;
                assert_eq!(status, 204, "{question:?}: {typed}");
                // An answer is taken once, and from who commands.
                assert_eq!(client.post("/answer", &sent).status, 409);
            }
            last = Some(question.number);
        }
        let state = client.state();
        if state["phase"] != phase && state["phase"] != "stopping" {
            return state;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn a_person_does_and_reads_what_the_page_asks_for() {
    let folder = folder_with(&["short"]);
    let (_running, client, mut keys) = attended(folder.path(), "");
    opened(&client, &mut keys);
    begun(&client, "P-1");
    let mut asked: Vec<Shown> = Vec::new();
    let mut mistyped = false;
    let state = answered(&client, "running", |question| {
        let stranger = [
            ("seat", SECOND),
            ("question", question.number.as_str()),
            ("typed", "done"),
        ];
        assert_eq!(client.post("/answer", &stranger).status, 409);
        let again = question.what.split_once("type it as in 23.5. ");
        let what = again.map_or(question.what.as_str(), |(_, what)| what);
        let done = does(&mut keys, what);
        assert_eq!(question.is_reading, what.ends_with('?'), "{question:?}");
        asked.push(Shown {
            number: question.number.clone(),
            what: question.what.clone(),
            is_reading: question.is_reading,
        });
        Some(match question.is_reading {
            false => "done".to_owned(),
            // A comma for a point is asked again, and ends no run.
            true if !mistyped => {
                mistyped = true;
                done.replace('.', ",")
            }
            true => done,
        })
    });
    assert_eq!(state["verdict"], "PASS", "{state}");
    assert_eq!(state["safe"], true, "{state}");
    assert_eq!(keys.read("OUTP?"), "0");
    let times = |what: &str| asked.iter().filter(|one| one.what.contains(what)).count();
    assert_eq!(times("Supply output: switch it on"), 1, "{asked:#?}");
    assert!(
        times("Which voltage does the supply show, in V?") >= 3,
        "{asked:#?}"
    );
    assert_eq!(times("cannot be read: type it as in 23.5"), 1, "{asked:#?}");
    // The record keeps what was asked, done and typed.
    let run = state["run"].as_str().expect("a run");
    let record = client.get(&format!("/run/{run}/file/record.json")).text();
    for kept in [
        "the person at the bench",
        "Supply output: switch it on - done",
        "Which current does the supply show, in A? - ",
        "typed, asked again",
    ] {
        assert!(record.contains(kept), "{kept}: {record}");
    }
}

#[test]
fn what_nobody_answers_in_time_ends_the_run() {
    let folder = folder_with(&["short"]);
    let profile = std::fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/profiles/by-hand/supply.toml"),
    );
    let profile = profile.expect("the shipped profile");
    let hasty = profile.replacen("dtr = false\n", "dtr = false\nreply = \"2 s\"\n", 1);
    assert_ne!(hasty, profile);
    std::fs::write(folder.path().join("hasty.toml"), hasty).expect("room");
    let (_running, client, mut keys) = attended(folder.path(), "\nprofile = \"hasty.toml\"");
    opened(&client, &mut keys);
    begun(&client, "P-2");
    let mut asked = Vec::new();
    // Somebody leaves when the supply is to be switched on, and is back to make it safe.
    let state = answered(&client, "running", |question| {
        asked.push(question.what.clone());
        let left = asked.iter().any(|what| what.contains("switch it on"));
        if left && question.what != "Supply output: switch it off" {
            return None;
        }
        let read = does(&mut keys, &question.what);
        Some(if question.is_reading {
            read
        } else {
            "done".to_owned()
        })
    });
    assert_eq!(state["verdict"], "INCONCLUSIVE", "{state}");
    assert_eq!(state["question"], Value::Null, "{state}");
    assert!(asked.len() >= 2, "{asked:?}");
    assert!(
        shown(&client.get("/")).is_none(),
        "nothing is asked any more"
    );
    assert_eq!(keys.read("OUTP?"), "0");
    let run = state["run"].as_str().expect("a run");
    let record = client.get(&format!("/run/{run}/file/record.json")).text();
    let kept = ["not answered in time", "nobody answered"];
    assert!(kept.iter().any(|kept| record.contains(kept)), "{record}");
}
