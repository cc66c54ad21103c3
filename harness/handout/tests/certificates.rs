//! Certificates of invented runs: bytes that repeat, nothing left out, nothing
//! that a name can break.

use super::no_sheet_is_blank_by_a_third;
use crate::digest::Digest;
use crate::drawing::raster::Raster;
use crate::drawing::tests::{figures_of_tagged, told};
use crate::handout::{BoardRun, Letterhead, Logo, PdfFault, Sources, certificate};
use crate::measurement::Finding;
use crate::record::samples::{events, numbered, observation, started, value};
use crate::record::{Note, Record};
use crate::scenario::{Observation, Polarity};
use crate::waveform::Signal;
use crate::workshop::Issuer;

fn html(sources: &Sources<'_>) -> String {
    certificate(sources).html()
}

fn pdf(sources: &Sources<'_>) -> Result<Vec<u8>, PdfFault> {
    certificate(sources).pdf()
}

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
        runs: &[],
        seal: None,
        letterhead: None,
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
        "settling (near)",
        "droop time (near)",
        "trip time (near)",
        "20.000 ms",
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
        bench_is_off: false,
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

/// However long a record is, every text of it is on some page, whole.
#[test]
fn other_readers_find_everything_on_as_many_pages_as_it_takes() {
    let mut record = record(true);
    let (first, second) = (record.scenarios.len(), 250);
    let metric = record.scenarios[1].metrics[0].clone();
    record.scenarios[1].metrics = (0..second)
        .map(|number| {
            let mut metric = metric.clone();
            metric.metric.at = format!("place number {number} with a name that takes two lines");
            metric.metric.notes = vec![format!("remark {number}")];
            metric
        })
        .collect();
    record.started.operator = Some("word ".repeat(700) + "lastword");
    record.started.retest = Some("x".repeat(3000) + "end");
    let notes: Vec<Note> = (0..40)
        .map(|number| Note {
            at: record.started_at,
            author: None,
            text: format!("note {number} {}", "word ".repeat(60)),
            bench_is_off: false,
        })
        .collect();
    let seen = seen();
    let sources = Sources {
        notes: &notes,
        ..sources(&record, &seen)
    };
    let bytes = pdf(&sources).expect("a PDF");
    let Some(text) = told("pdftotext", &["-raw"], &bytes) else {
        return;
    };
    assert!(first > 1 && text.contains("MODEL FAIL"), "{text}");
    let joined: String = text.split_whitespace().collect();
    for number in 0..second {
        let wanted = format!("placenumber{number}withanamethattakestwolines");
        assert!(joined.contains(&wanted), "{wanted} is missing");
        assert!(
            joined.contains(&format!("remark{number}")),
            "remark {number}"
        );
    }
    for wanted in ["lastword", "note39", &Digest::of(b"head").to_string()] {
        assert!(joined.contains(wanted), "{wanted} is missing");
    }
    assert_eq!(
        joined.matches('x').count() / 1000,
        3,
        "a long word is whole"
    );
    assert!(!text.contains('\u{2026}'), "something was cut");
    let pages = text.matches('\u{c}').count();
    assert!(pages > 5 && text.contains(&format!("page {pages} of {pages}")));
}

/// ISO 32000-1, 14.8: a structure that others can read aloud.
#[test]
fn other_readers_find_headings_tables_and_words_for_pictures() {
    let (record, seen) = (record(true), seen());
    let bytes = pdf(&sources(&record, &seen)).expect("a PDF");
    let Some(info) = told("pdfinfo", &[], &bytes) else {
        return;
    };
    for wanted in ["Certificate GR-0042: MODEL FAIL", "Tagged:          yes"] {
        assert!(info.contains(wanted), "{info}");
    }
    let figures = figures_of_tagged(&bytes, "trip time (near) ").expect("pdfinfo is there");
    assert!(figures > 2, "{figures} pictures");
}

#[test]
fn a_board_that_was_tested_twice_shows_both() {
    let (record, seen) = (record(false), seen());
    let run = |name: &str, headline: &str, only| BoardRun {
        run: name.parse().expect("a name"),
        started: record.started_at,
        headline: headline.into(),
        diagnosis: only,
    };
    let runs = [
        run("run-0", "PASS", false),
        run("run-1", "FAIL", false),
        run("run-2", "DIAGNOSIS PASS", true),
    ];
    let page = html(&Sources {
        runs: &runs,
        ..sources(&record, &seen)
    });
    let wanted = "was run 3 times, 2 of them the whole plan. First of these: PASS. Last: FAIL.";
    assert!(page.contains(wanted), "{page}");
    assert!(page.contains("run-1 (this certificate)"));
    assert!(!html(&sources(&record, &seen)).contains("Every run"));
}

/// An observation that has a plot.
fn drawn() -> Observation {
    let mut seen = observation(64);
    if let Observation::Load(crate::scenario::load::Seen { steps }) = &mut seen {
        for step in steps {
            step.drive = Polarity::Positive;
            let mut channel = step.take.capture.channels[0].clone();
            channel.signal = Signal::NodeVoltage;
            step.take.capture.channels.push(channel);
        }
    }
    seen
}

/// A run of all eleven kinds of scenario, each with as many metrics as a full
/// plan gives it (one each where `few`), all of them `found` against 10 ms.
fn eleven(found: Finding, few: bool) -> Record {
    let events = events(started("run-1", "GR-0042", true), found);
    let mut record = Record::fold(&numbered(events)).expect("a whole run");
    let scenario = record.scenarios[1].clone();
    let metric = scenario.metrics[0].clone();
    let kinds = [
        ("idle", 11),
        ("load", 23),
        ("sense", 4),
        ("overload", 5),
        ("short", 18),
        ("reversal", 9),
        ("signal", 54),
        ("loss", 2),
        ("inrush", 5),
        ("soak", 3),
        ("supply", 4),
    ];
    record.scenarios = kinds
        .iter()
        .map(|&(name, count)| {
            let mut scenario = scenario.clone();
            scenario.name = name.to_owned();
            scenario.metrics = (0..if few { 1 } else { count })
                .map(|number: usize| {
                    let mut metric = metric.clone();
                    metric.metric.key = format!("quantity_{}", number / 3);
                    metric.metric.at = format!("place {}", number % 3);
                    metric.metric.notes = match number % 3 {
                        0 => vec![format!("2 of 2 repeats measured, {number} ms to 46 ms")],
                        _ => vec![],
                    };
                    metric
                })
                .collect();
            scenario
        })
        .collect();
    record
}

#[test]
fn other_readers_find_page_one_and_as_few_sheets_as_it_takes() {
    // The customer's page, the measurement sheet and what was seen: all of it in
    // letters of 8 points.
    for (few, most) in [(true, 3), (false, 6)] {
        let record = eleven(value(0.004, 1e-6), few);
        let seen: Vec<_> = (0..12)
            .map(|number| (format!("load {number}"), drawn()))
            .collect();
        let bytes = pdf(&sources(&record, &seen)).expect("a PDF");
        let Some(text) = told("pdftotext", &[], &bytes) else {
            return;
        };
        let pages = text.matches('\u{c}').count();
        assert!((2..=most).contains(&pages), "{pages} pages");
        assert!(text.contains(&format!("page {pages} of {pages}")));
        let first = text.split('\u{c}').next().expect("page one");
        let scope = "not a declaration of electrical safety";
        assert!(
            first
                .split_whitespace()
                .collect::<Vec<_>>()
                .join(" ")
                .contains(scope),
            "{first}"
        );
        // Without a trip to be seen it fills no page: the measurements follow on it.
        assert!(first.contains("Measurement sheet"), "{first}");
        assert!(
            text.contains("load 11: output voltage over current"),
            "{text}"
        );
        assert!(!text.contains('\u{2026}'), "something was cut");
    }
}

/// Whatever a plan has in it, and whether a board passed or failed.
#[test]
fn no_sheet_of_a_board_is_blank_by_a_third() {
    for (found, few) in [(0.004, true), (0.004, false), (0.020, true), (0.020, false)] {
        for scenarios in 1..=11 {
            let mut record = eleven(value(found, 1e-6), few);
            record.scenarios.truncate(scenarios);
            for figures in [0, 1, 4, 12] {
                let seen: Vec<_> = (0..figures)
                    .map(|number| (record.scenarios[number % scenarios].name.clone(), drawn()))
                    .collect();
                let what = format!("{found} s, {few}, {scenarios} scenarios, {figures} figures");
                let paper = certificate(&sources(&record, &seen));
                no_sheet_is_blank_by_a_third(&what, &paper);
            }
        }
    }
}

/// A board that fails everything: no failing metric is left out, and what is
/// left to the HTML page is counted.
#[test]
fn other_readers_find_every_failing_metric_on_seven_pages() {
    let mut record = eleven(value(0.020, 1e-6), false);
    // More plots than there is room for, those of one that passed before one
    // that did not.
    let passed = &mut record.scenarios[1];
    passed.verdict = Some(crate::judgement::Verdict::Pass);
    let plots = std::iter::repeat_n("load", 30).chain(["signal"]);
    let seen: Vec<_> = plots.map(|name| (name.to_owned(), drawn())).collect();
    let sources = sources(&record, &seen);
    let bytes = pdf(&sources).expect("a PDF");
    let Some(text) = told("pdftotext", &["-raw"], &bytes) else {
        return;
    };
    let pages = text.matches('\u{c}').count();
    assert!((1..=7).contains(&pages), "{pages} pages");
    let joined = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let (mut all, page) = (0, html(&sources));
    for scenario in &record.scenarios {
        let count = scenario.metrics.len();
        let named = format!("{}: {count} of {count} metrics", scenario.name);
        assert!(joined.contains(&named), "{named} is missing:\n{text}");
        all += count;
        let sentences = page
            .matches(&format!("FAIL {}: quantity", scenario.name))
            .count();
        assert_eq!(sentences, count, "{} on the HTML page", scenario.name);
    }
    // Each row of the tables, each scenario's heading and name, and the whole.
    let told = joined.matches("FAIL").count();
    assert!(
        told >= all + 2 * record.scenarios.len() - 1,
        "{told} of {all}"
    );
    assert!(joined.contains("give each a sentence of its own"));
    let left: usize = joined
        .split(" further plots are on the HTML page")
        .next()
        .and_then(|before| before.rsplit(' ').next()?.parse().ok())
        .expect("plots are counted");
    let drawn = joined.matches(": output voltage over current").count();
    assert_eq!(left + drawn, seen.len(), "{joined}");
    assert!(left > 0 && joined.contains("signal: output voltage over current"));
    assert!(!text.contains('\u{2026}'), "something was cut");
}

/// The reference board of a lot is nobody's to buy.
#[test]
fn a_check_standard_gets_no_label() {
    use crate::handout::{NoLabel, may_have_label};
    let within = events(started("run-1", "GR-REF", false), value(0.004, 1e-6));
    let mut record = Record::fold(&numbered(within)).expect("a whole run");
    assert_eq!(may_have_label(&record, false), Ok(()));
    let text = "format = 1\n\n[lot]\nname = \"autumn\"\nfamily = \"garden booster\"\n\
                revision = \"C\"\ncheck_standard = \"GR-REF\"\n";
    record.started.files.push(crate::event::FileFacts {
        name: "lot.toml".into(),
        digest: Digest::of(text.as_bytes()),
        text: text.into(),
    });
    let refused = Err(NoLabel::CheckStandard);
    assert_eq!(may_have_label(&record, false), refused);
    assert_eq!(may_have_label(&record, true), refused);
    record.started.serial = "GR-0042".parse().expect("a plain name");
    assert_eq!(may_have_label(&record, false), Ok(()));
}

/// Both forms show the workshop's logo, in its own pixels.
#[test]
fn a_logo_of_pixels_heads_both_forms() {
    let raster = Raster::new(b"\x89PNG\r\n\x1a\n", (31, 17), vec![0; 31 * 17 * 4]);
    let letterhead = Letterhead {
        issuer: Issuer {
            name: "Workshop Nether Sallow".to_owned(),
            address: Vec::new(),
            logo: Some("logo.png".to_owned()),
            signature: None,
        },
        logo: Some(Logo::Png(raster.expect("whole"))),
    };
    let (record, seen) = (record(false), seen());
    let plain = sources(&record, &seen);
    let headed = Sources {
        letterhead: Some(&letterhead),
        ..sources(&record, &seen)
    };
    // The dictionary of an image (ISO 32000-1, table 89).
    let of_image = |sources: &Sources<'_>| {
        let pdf = pdf(sources).expect("a PDF");
        let text = String::from_utf8_lossy(&pdf).into_owned();
        ["/Subtype/Image", "/Width 31", "/Height 17"].map(|part| text.contains(part))
    };
    assert_eq!(of_image(&plain), [false; 3]);
    assert_eq!(of_image(&headed), [true; 3]);
    let page = html(&headed);
    assert!(
        page.contains("src=\"data:image/png;base64,iVBORw0KGgo"),
        "{page}"
    );
}
