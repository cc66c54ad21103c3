//! Certificates of invented runs: bytes that repeat, nothing left out, nothing
//! that a name can break.

#![allow(clippy::print_stdout, reason = "a skipped test says so")]

use super::{Sources, html, pdf};
use crate::digest::Digest;
use crate::observation::Observation;
use crate::record::samples::{events, numbered, observation, started, value};
use crate::record::{Note, Record};
use std::process::Command;

fn record(model: bool) -> Record {
    let events = events(started("run-1", "GR-0042", model), value(0.020, 1e-5));
    Record::fold(&numbered(events)).expect("a whole run")
}

fn seen() -> Vec<(String, Observation)> {
    vec![("load".to_owned(), observation(64))]
}

fn sources<'a>(record: &'a Record, seen: &'a [(String, Observation)]) -> Sources<'a> {
    Sources {
        record,
        observations: seen,
        notes: &[],
        head: Some(Digest::of(b"head")),
    }
}

#[test]
fn bytes_repeat() {
    let (record, seen) = (record(true), seen());
    let sources = sources(&record, &seen);
    assert_eq!(html(&sources), html(&sources));
    let bytes = pdf(&sources).expect("a PDF");
    assert!(bytes.starts_with(b"%PDF-"));
    assert_eq!(pdf(&sources), Ok(bytes));
}

#[test]
fn every_metric_and_the_verdict_are_on_the_page() {
    let (record, seen) = (record(true), seen());
    let page = html(&sources(&record, &seen));
    for wanted in [
        "settling at near",
        "droop time at near",
        "trip time at near",
        "20.00 ms",
        "2.000 ms",
        "MODEL FAIL",
        "MODEL BENCH",
        "data sheet, page 4",
        "contact bounced",
        &Digest::of(b"head").to_string(),
    ] {
        assert!(page.contains(wanted), "{wanted} is missing");
    }
    let real = self::record(false);
    assert!(!html(&sources(&real, &seen)).contains("MODEL"));
}

#[test]
fn hostile_texts_do_nothing() {
    let mut record = record(false);
    let hostile = "<script>alert(1)</script>\u{202E}\u{0007}\"'=cmd()&";
    record.started.operator = Some(hostile.into());
    record.started.family = hostile.into();
    record.scenarios[0].name = hostile.into();
    record.scenarios[0].metrics[0].metric.at = hostile.into();
    let notes = [Note {
        at: record.started_at,
        author: Some(hostile.into()),
        text: hostile.into(),
    }];
    let sources = Sources {
        notes: &notes,
        ..sources(&record, &[])
    };
    let page = html(&sources);
    assert!(page.contains("&lt;script&gt;"));
    for harm in ["<script", "\u{202E}", "\u{0007}"] {
        assert!(!page.contains(harm));
    }
    assert!(pdf(&sources).is_ok());
}

/// poppler-utils is a reader that nobody here wrote.
#[test]
fn other_readers_find_one_to_three_pages() {
    let mut record = record(true);
    for many in [1, 200] {
        let metric = record.scenarios[1].metrics[0].clone();
        record.scenarios[1].metrics = vec![metric; many];
        let seen = seen();
        let bytes = pdf(&sources(&record, &seen)).expect("a PDF");
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("certificate.pdf");
        std::fs::write(&path, bytes).expect("room on the disk");
        let Ok(told) = Command::new("pdftotext").arg(&path).arg("-").output() else {
            println!("skipped: pdftotext (poppler-utils) is not installed");
            return;
        };
        let text = String::from_utf8_lossy(&told.stdout).into_owned();
        assert!(
            told.status.success() && text.contains("MODEL FAIL"),
            "{text}"
        );
        let pages = text.matches('\u{c}').count();
        assert!((1..=3).contains(&pages), "{pages} pages");
        assert!(text.contains(&format!("page {pages} of {pages}")));
    }
}
