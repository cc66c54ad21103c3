//! Tests of the reports: the XML against the facts of three published schemas,
//! the text against what a person must find in it.

use super::*;
use crate::event::Abort;
use crate::judgement::Verdict;
use crate::measurement::{Blame, Estimate, Finding};
use crate::record::Record;
use crate::record::samples::{
    events, finished, made_safe, measured, numbered, started, trouble, value,
};
use proptest::prelude::*;

fn record_of(trip: Finding, model: bool) -> Record {
    let entries = numbered(events(started("r1", "GR-0042", model), trip));
    Record::fold(&entries).expect("a whole run")
}

/// An element as the tests see it.
#[derive(Debug, Default)]
struct Element {
    name: String,
    attributes: Vec<(String, String)>,
    children: Vec<Element>,
    text: String,
}

impl Element {
    fn get(&self, key: &str) -> &str {
        let found = self.attributes.iter().find(|(name, _)| name == key);
        found.map_or("", |(_, value)| value)
    }
    fn named<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a Element> {
        self.children.iter().filter(move |c| c.name == name)
    }
    fn count(&self, key: &str) -> usize {
        self.get(key).parse().expect("a count")
    }
}

/// A reader of its own, strict about what XML 1.0 (fifth edition) demands of
/// the constructs used here: 2.2 characters, 2.4 markup, 3.1 tags.
fn read(xml: &str) -> Element {
    for c in xml.chars() {
        let allowed = matches!(c, '\t' | '\n' | '\r' | '\u{20}'..='\u{D7FF}'
            | '\u{E000}'..='\u{FFFD}' | '\u{10000}'..='\u{10FFFF}');
        assert!(allowed, "{c:?} is no XML character");
    }
    let body = xml
        .strip_prefix("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n")
        .expect("a declaration");
    let mut stack = vec![Element::default()];
    let mut rest = body;
    while let Some(at) = rest.find('<') {
        let (text, tagged) = rest.split_at(at);
        stack.last_mut().expect("open").text += &unescaped(text);
        let end = tagged.find('>').expect("a tag ends");
        let tag = &tagged[1..end];
        rest = &tagged[end + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            let done = stack.pop().expect("open");
            assert_eq!(done.name, name);
            stack.last_mut().expect("a parent").children.push(done);
            continue;
        }
        let (tag, empty) = tag.strip_suffix('/').map_or((tag, false), |t| (t, true));
        let element = opened(tag);
        if empty {
            stack.last_mut().expect("a parent").children.push(element);
        } else {
            stack.push(element);
        }
    }
    assert!(rest.trim().is_empty(), "nothing follows the root");
    let mut document = stack.pop().expect("the document");
    assert!(stack.is_empty(), "every element is closed");
    assert_eq!(document.children.len(), 1, "one root");
    document.children.remove(0)
}

fn opened(tag: &str) -> Element {
    let (name, mut rest) = tag.split_once(' ').unwrap_or((tag, ""));
    let mut attributes: Vec<(String, String)> = Vec::new();
    while !rest.is_empty() {
        let (key, after) = rest.split_once("=\"").expect("key and value");
        let (value, after) = after.split_once('"').expect("a closed value");
        assert!(attributes.iter().all(|(k, _)| k != key), "{key} twice");
        assert!(!value.contains(['\n', '\t', '\r']));
        attributes.push((key.to_owned(), unescaped(value)));
        rest = after.trim_start();
    }
    Element {
        name: name.to_owned(),
        attributes,
        ..Element::default()
    }
}

fn unescaped(text: &str) -> String {
    assert!(!text.contains("]]>"));
    let mut out = String::new();
    let mut parts = text.split('&');
    out += parts.next().expect("a first part");
    for part in parts {
        let (name, rest) = part.split_once(';').expect("a reference ends");
        out.push(match name {
            "amp" => '&',
            "lt" => '<',
            "gt" => '>',
            "quot" => '"',
            "apos" => '\'',
            other => panic!("unknown reference {other}"),
        });
        out += rest;
    }
    out
}

/// The facts extracted from the schema of the Jenkins xunit plugin (junit-10)
/// and the Ant dialect's JUnit.xsd: required attributes, order of children,
/// at most one outcome, times with three decimals, timestamps without zone.
fn assert_portable(xml: &str) -> Element {
    let root = read(xml);
    assert_eq!(root.name, "testsuites");
    assert!(root.attributes.is_empty(), "Ant allows none on the root");
    assert!(!root.children.is_empty());
    for (index, suite) in root.children.iter().enumerate() {
        assert_eq!(suite.name, "testsuite");
        let keys: Vec<&str> = suite.attributes.iter().map(|(k, _)| k.as_str()).collect();
        assert_eq!(
            keys,
            [
                "package",
                "id",
                "name",
                "timestamp",
                "hostname",
                "tests",
                "failures",
                "errors",
                "skipped",
                "time"
            ]
        );
        assert!(suite.attributes.iter().all(|(_, v)| !v.is_empty()));
        assert_eq!(suite.count("id"), index);
        assert_time(suite.get("time"));
        let timestamp = suite.get("timestamp");
        assert_eq!(timestamp.len(), "2026-01-01T00:00:00".len(), "{timestamp}");
        assert!(timestamp.parse::<jiff::civil::DateTime>().is_ok());
        let cases: Vec<&Element> = suite.named("testcase").collect();
        let mut order = vec!["properties"];
        order.extend(cases.iter().map(|_| "testcase"));
        order.extend(["system-out", "system-err"]);
        let found: Vec<&str> = suite.children.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(found, order);
        for property in suite.children[0].children.iter() {
            assert_eq!(property.name, "property");
            assert!(!property.get("name").is_empty());
        }
        assert_eq!(suite.count("tests"), cases.len());
        for (key, outcome) in [
            ("failures", "failure"),
            ("errors", "error"),
            ("skipped", "skipped"),
        ] {
            let cases = cases.iter().filter(|c| c.named(outcome).count() > 0);
            assert_eq!(suite.count(key), cases.count(), "{key}");
        }
        for case in cases {
            assert!(!case.get("name").is_empty() && !case.get("classname").is_empty());
            assert_time(case.get("time"));
            let children: Vec<&str> = case.children.iter().map(|c| c.name.as_str()).collect();
            let outcomes = children.len() - 1;
            assert!(outcomes <= 1, "{children:?}");
            assert_eq!(children.last(), Some(&"system-out"));
            for outcome in case.children.iter().take(outcomes) {
                assert!(["failure", "error", "skipped"].contains(&outcome.name.as_str()));
                if outcome.name != "skipped" {
                    assert!(!outcome.get("type").is_empty());
                    assert!(!outcome.get("message").is_empty());
                }
            }
        }
    }
    root
}

fn assert_time(text: &str) {
    let (whole, decimals) = text.split_once('.').expect("a decimal point");
    assert!(
        whole.parse::<u64>().is_ok() && decimals.len() == 3,
        "{text}"
    );
}

fn total(root: &Element, key: &str) -> usize {
    root.children.iter().map(|suite| suite.count(key)).sum()
}

#[test]
fn a_failed_board_is_a_failure_with_its_numbers() {
    let root = assert_portable(&junit(&record_of(value(0.0123, 2e-5), false)));
    assert_eq!(root.children.len(), 2, "a scenario a suite");
    assert_eq!((total(&root, "tests"), total(&root, "failures")), (2, 1));
    assert_eq!(total(&root, "errors"), 0);
    let failure = root.children[1].children[1]
        .named("failure")
        .next()
        .expect("a failure");
    for text in [
        "value: 12.30 ms",
        "uncertainty: 40.00 us",
        "limit: <= 10.00 ms",
        "rule: guarded acceptance, 1 U",
        "source: data sheet, page 4",
        "margin: -2.300 ms",
        "time: 2.500 s",
        "note: contact bounced",
    ] {
        assert!(failure.text.contains(text), "{text}: {}", failure.text);
    }
    assert!(
        failure
            .get("message")
            .contains("2.300 ms above the upper limit")
    );
    assert_eq!(root.children[0].get("time"), "0.750");
}

#[test]
fn what_is_not_decided_is_an_error() {
    let root = assert_portable(&junit(&record_of(value(0.01, 2e-5), false)));
    assert_eq!((total(&root, "failures"), total(&root, "errors")), (0, 1));
    let unknown = Finding::unknown(Blame::Bench, "the channel was clipped");
    let root = assert_portable(&junit(&record_of(unknown, false)));
    assert_eq!((total(&root, "failures"), total(&root, "errors")), (0, 1));
}

#[test]
fn a_run_that_was_cut_off_is_not_read_as_passed() {
    let whole = events(started("r1", "GR-0042", false), value(0.005, 2e-5));
    for kept in 1..whole.len() {
        let mut cut = whole[..kept].to_vec();
        let open = Record::fold(&numbered(cut.clone())).expect("an open run");
        let root = assert_portable(&junit(&open));
        assert!(total(&root, "errors") > 0, "open after {kept}");
        cut.push(finished(Verdict::Inconclusive, Some(Abort::CutOff)));
        let closed = Record::fold(&numbered(cut)).expect("a closed run");
        let root = assert_portable(&junit(&closed));
        assert!(total(&root, "errors") > 0, "closed after {kept}");
    }
}

#[test]
fn a_bench_left_live_is_shown_everywhere() {
    let mut all = events(started("r1", "GR-0042", false), value(0.005, 2e-5));
    let end = all.len() - 2;
    all[end] = made_safe(false);
    let record = Record::fold(&numbered(all)).expect("a whole run");
    let root = assert_portable(&junit(&record));
    assert_eq!(total(&root, "errors"), 1);
    let text = summary(&record);
    assert!(text.contains("Bench made safe: NO") && text.contains("no answer within 1 s"));
}

#[test]
fn a_failed_boards_summary_says_what_was_wrong_first() {
    let text = summary(&record_of(value(0.0123, 2e-5), false));
    assert!(text.starts_with("FAIL  GR-0042\n"), "{text}");
    for needed in [
        "Lot        autumn",
        "21.50 degC",
        "short: trip time (near)",
        "12.30 ms",
        "40.00 us (k = 2)",
        "<= 10.00 ms",
        "data sheet, page 4",
        "It is 2.300 ms above the upper limit, 10.00 ms, far beyond its expanded uncertainty of 40.00 us.",
        "Bench made safe: yes",
    ] {
        assert!(text.contains(needed), "{needed}\n{text}");
    }
    let at = |needle: &str| text.find(needle).expect(needle);
    assert!(at("What failed") < at("Everything measured"));
}

#[test]
fn a_board_that_never_tripped_is_told_so() {
    let text = summary(&record_of(
        Finding::Above(Estimate::new(0.198, 1e-6)),
        false,
    ));
    assert!(
        text.contains("It is at least 198.0 ms, its end was not seen."),
        "{text}"
    );
    assert!(text.starts_with("FAIL"));
}

#[test]
fn a_model_run_says_so_in_every_report() {
    let record = record_of(value(0.005, 2e-5), true);
    assert!(summary(&record).starts_with("MODEL PASS  GR-0042\n"));
    assert!(junit(&record).contains("value=\"MODEL PASS\""));
    assert!(json(&record).contains("\"headline\": \"MODEL PASS\""));
}

#[test]
fn the_json_comes_back_and_has_a_format() {
    let record = record_of(value(0.0123, 2e-5), false);
    let text = json(&record);
    assert_eq!(from_json(&text), Ok(record));
    let newer = text.replacen("\"format\": 1", "\"format\": 2", 1);
    assert_eq!(from_json(&newer), Err(JsonFault::Format(2)));
    assert!(matches!(from_json("{}"), Err(JsonFault::Malformed(_))));
}

#[test]
fn hostile_text_is_shown_and_does_nothing() {
    let hostile = "a\u{1b}[2J\u{202e}b\u{7}]]><x y='&\">\u{fffe}\u{ffff}\u{0}\r\n\u{9b}31m";
    let mut facts = started("r1", "GR-0042", false);
    facts.plan = hostile.into();
    facts.operator = Some(hostile.into());
    facts.scenarios.push(hostile.into());
    let mut all = events(facts, value(0.0123, 2e-5));
    all.insert(3, trouble(Some("load"), hostile));
    all.insert(4, trouble(None, hostile));
    let mut metric = measured("load", hostile, value(0.02, 1e-6), Some(0.01));
    if let crate::event::Event::Measured { metric, limit, .. } = &mut metric {
        metric.at = hostile.into();
        metric.notes = vec![hostile.into()];
        limit.as_mut().expect("a limit").source = hostile.into();
    }
    all.insert(5, metric);
    let record = Record::fold(&numbered(all)).expect("a whole run");
    let root = assert_portable(&junit(&record));
    assert!(root.children[0].children.len() > 4);
    let text = summary(&record);
    let harmful = |c: char| (c.is_control() && c != '\n') || c == '\u{202e}';
    assert!(!text.contains(harmful), "{text:?}");
    assert!(text.contains("a\\u{1b}[2J\\u{202e}b"));
    assert_eq!(from_json(&json(&record)), Ok(record));
}

/// Writes what `tests/python/junit_check.py` reads, where the folder is named
/// in the environment; without it the same documents are checked here.
#[test]
fn documents_for_an_outside_reader() {
    let folder = std::env::var_os("BUFFERSTOP_JUNIT_OUT");
    let mut hostile = started("r1", "GR-0042", true);
    hostile.plan = "a\u{1b}[2J\u{202e}]]>&<x>\u{ffff}\u{0}".into();
    let mut cut = events(started("r1", "GR-0042", false), value(0.005, 2e-5));
    cut.truncate(9);
    cut.push(finished(Verdict::Inconclusive, Some(Abort::CutOff)));
    let fold = |events| Record::fold(&numbered(events)).expect("a run");
    for (name, record) in [
        ("pass", record_of(value(0.005, 2e-5), false)),
        ("fail", record_of(value(0.0123, 2e-5), false)),
        ("undecided", record_of(value(0.01, 2e-5), false)),
        ("hostile", fold(events(hostile, value(0.0123, 2e-5)))),
        ("cut", fold(cut)),
    ] {
        let xml = junit(&record);
        assert_portable(&xml);
        if let Some(folder) = &folder {
            let folder = std::path::Path::new(folder).join(name);
            std::fs::create_dir_all(&folder).expect("the named folder");
            std::fs::write(folder.join("junit.xml"), xml).expect("the named folder");
            std::fs::write(folder.join("record.json"), json(&record)).expect("the named folder");
        }
    }
}

proptest! {
    /// A reader who only counts sees a clean document exactly when the board
    /// passed.
    #[test]
    fn counts_agree_with_the_verdict(trip in 0.009_f64..0.011, u in 0.0_f64..1e-3, name: String) {
        let mut facts = started("r1", "GR-0042", false);
        facts.family = name;
        let entries = numbered(events(facts, value(trip, u)));
        let record = Record::fold(&entries).expect("a whole run");
        let root = assert_portable(&junit(&record));
        let counted = if total(&root, "failures") > 0 {
            Verdict::Fail
        } else if total(&root, "errors") > 0 {
            Verdict::Inconclusive
        } else {
            Verdict::Pass
        };
        prop_assert_eq!(counted, record.verdict());
    }
}
