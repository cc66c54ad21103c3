//! Reports about lots: bytes that repeat, every metric named, hostile words
//! harmless, and pages that a reader nobody here wrote can open.

use super::no_sheet_is_blank_by_a_third;
use crate::comparison::{Bounds, LotReadings, LotsCompared, compare_lots, summarise};
use crate::drawing::tests::{figures_of_tagged, told};
use crate::handout::block::{NO_BREAK, bound};
use crate::handout::{lot_summary, lot_words, lots_compared, plan_proof};
use crate::measurement::in_words;
use crate::plan::Comparison;
use crate::proof::{Asked, PlanProof, Setting, Trial};
use crate::record::{Record, samples};
use crate::statistics::equivalence::Margin;
use crate::units::Dimension;

fn lot(name: &str, first: f64, boards: u32) -> LotReadings {
    let records: Vec<Record> = (0..boards)
        .map(|n| {
            let serial = format!("{name}-{n}");
            let started = samples::started(&format!("r-{serial}"), &serial, true);
            let value = samples::value(first + 1e-5 * f64::from(n * 7 % 11), 1e-6);
            Record::fold(&samples::numbered(samples::events(started, value))).expect("a run")
        })
        .collect();
    LotReadings::of(name.parse().ok(), &records)
}

fn compared(boards: u32) -> LotsCompared {
    let (before, after) = (lot("L1", 0.0040, boards), lot("L2", 0.0046, boards));
    compare_lots(&before, &after, &Comparison::default())
}

#[test]
fn every_metric_is_named_and_bytes_repeat() {
    let found = compared(12);
    let page = lots_compared(&found, true).html();
    assert_eq!(page, lots_compared(&found, true).html());
    assert_eq!(
        lots_compared(&found, true).pdf(),
        lots_compared(&found, true).pdf()
    );
    for row in &found.rows {
        let name = in_words(&row.label);
        for cell in [
            format!(">{name}</td>"),
            format!("colgroup\">{}</th>", row.scenario),
        ] {
            assert!(page.contains(&cell), "{cell} is missing");
        }
    }
    for wanted in [
        "MODEL BENCH",
        "equivalent, shift detected",
        "<svg",
        "+1 margin",
    ] {
        assert!(page.contains(wanted), "{wanted} is missing");
    }
    assert!(!lots_compared(&found, false).html().contains("MODEL"));
    let summary = summarise(&lot("L1", 0.0200, 12), &Comparison::default());
    let page = lot_summary(&summary, false).html();
    for wanted in [
        "first-pass yield: 0 of 12",
        "trip time (near)",
        "Ppk",
        "cumulated",
    ] {
        assert!(page.contains(wanted), "{wanted} is missing");
    }
}

#[test]
fn a_number_keeps_to_its_unit() {
    let shown = |cell: &str, number| bound(cell, number).replace(NO_BREAK, "_");
    for (cell, wanted) in [
        ("15.11 ms", "15.11_ms"),
        ("-40.4 to 32.3 mV", "-40.4_to 32.3_mV"),
        ("67.13 (47.73 to 86.53)", "67.13 (47.73_to_86.53)"),
        ("12.16 mA/count", "12.16 mA/count"),
        ("300.0 ns (plan)", "300.0_ns (plan)"),
        ("17.99 V (23)", "17.99_V (23)"),
    ] {
        assert_eq!(shown(cell, true), wanted);
    }
    let label = "output voltage at positive 2.25 A, worst";
    assert_eq!(
        shown(label, false),
        "output voltage at positive 2.25_A, worst"
    );
}

/// The half-bit of a zero by NMRA S-9.1:2020 table 1: a limit is never rounded.
#[test]
fn both_ends_of_a_limit_are_shown_as_they_were_stated() {
    let shown = |lower, upper| {
        let bounds = Bounds {
            lower: Some(lower),
            upper: Some(upper),
        };
        lot_words::bounds(Some(bounds), Dimension::Time)
    };
    assert_eq!(shown(95e-6, 9.9e-3), "95.00 us to 9.900 ms");
    assert_eq!(shown(55e-6, 61e-6), "55.00 to 61.00 us");
    let margin = Margin::new(-0.095e-3, 9.9e-3).expect("two sides");
    let margin = lot_words::margin(&margin, Dimension::Time);
    assert_eq!(margin, "-95.00 us to 9.900 ms");
}

#[test]
fn hostile_words_do_nothing() {
    let mut found = compared(3);
    let hostile = "<script>alert(1)</script>\u{202E}\u{7}\"'";
    found.rows[0].scenario = hostile.into();
    found.warnings.push(hostile.into());
    found.candidate.name = hostile.into();
    let page = lots_compared(&found, false).html();
    assert!(page.contains("&lt;script&gt;"));
    for harm in ["<script", "\u{202E}", "\u{7}"] {
        assert!(!page.contains(harm));
    }
    assert!(lots_compared(&found, false).pdf().is_ok());
}

/// Lots of one board and of thousands have pages too.
#[test]
fn other_readers_open_the_pages() {
    for boards in [1, 12, 3000] {
        let found = compared(boards);
        let summary = summarise(&lot("L1", 0.0040, boards), &Comparison::default());
        let files = [
            lots_compared(&found, true).pdf(),
            lot_summary(&summary, true).pdf(),
        ];
        for (bytes, word) in files.into_iter().zip(["L2 against L1", "Lot L1"]) {
            let Some(text) = told("pdftotext", &[], &bytes.expect("a PDF")) else {
                return;
            };
            assert!(text.contains(word), "{text}");
            let pages = text.matches('\u{c}').count();
            assert!(
                text.contains(&format!("page {pages} of {pages}")),
                "{pages} pages"
            );
        }
    }
}

/// ISO 32000-1, 14.8: a structure that others can read aloud.
#[test]
fn other_readers_find_headings_tables_and_words_for_pictures() {
    let summary = summarise(&lot("L1", 0.0040, 12), &Comparison::default());
    for bytes in [
        lots_compared(&compared(12), true).pdf(),
        lot_summary(&summary, true).pdf(),
    ] {
        let bytes = bytes.expect("a PDF");
        let Some(figures) = figures_of_tagged(&bytes, "trip time (near) ") else {
            return;
        };
        assert!(figures > 0, "no pictures");
    }
}

/// A run of which two metrics are judged, as good or with a defect.
fn trial(defect: Option<&str>, trip: f64) -> Trial {
    let started = samples::started("r-1", "S-1", true);
    let entries = samples::numbered(samples::events(started, samples::value(trip, 1e-6)));
    let record = Record::fold(&entries).expect("a run");
    Trial::of(&record, defect).expect("a whole run")
}

fn setting() -> Setting {
    Setting {
        plan: "invented".into(),
        bench: "model".into(),
        bench_file: Some("own.toml".into()),
        real: true,
        board: "invented".into(),
        board_of_demo: true,
        seed: crate::seed::Seed(1),
        each: 1,
        left_out: Vec::new(),
        files: Vec::new(),
    }
}

#[test]
fn what_a_plan_catches_is_told_alike_on_page_and_paper() {
    // A name that would be markup, were it not for what writes it.
    let hostile = "slow <b>\u{1b}trip";
    let asked = Asked {
        scenarios: vec!["load".into(), "short".into()],
        defects: vec![
            (hostile.into(), "late".into()),
            ("none".into(), "well".into()),
        ],
        each: 1,
        good: 2,
    };
    let trials = [
        trial(Some(hostile), 0.5),
        trial(Some("none"), 0.004),
        trial(None, 0.004),
        trial(None, 0.0041),
    ];
    let found = PlanProof::of(&asked, &trials);
    let setting = setting();
    let at = jiff::Timestamp::UNIX_EPOCH;
    let page = plan_proof(&found, &setting, at).html();
    assert_eq!(page, plan_proof(&found, &setting, at).html());
    for wanted in [
        "MODEL BENCH",
        "<svg",
        "slow &lt;b&gt;",
        "built from own.toml: no port is opened",
        "none: passed in 1 of 1 (well)",
    ] {
        assert!(page.contains(wanted), "{wanted} is missing");
    }
    assert!(!page.contains('\u{1b}') && !page.contains("<b>"));
    let paper = plan_proof(&found, &setting, at).pdf().expect("a PDF");
    assert_eq!(plan_proof(&found, &setting, at).pdf().as_ref(), Ok(&paper));
    if let Some(figures) = figures_of_tagged(&paper, "none: passed in 1 of 1 (well)") {
        assert_eq!(figures, 1);
    }
}

/// However much there is to say.
#[test]
fn no_sheet_about_lots_is_blank_by_a_third() {
    let (compared, summary) = (
        compared(12),
        summarise(&lot("L1", 0.0200, 12), &Comparison::default()),
    );
    for count in 1..60 {
        let mut found = compared.clone();
        let rows = compared.rows.iter().cycle().take(count);
        found.rows = rows.cloned().collect();
        let what = format!("{count} metrics compared");
        no_sheet_is_blank_by_a_third(&what, &lots_compared(&found, true));
        let mut found = summary.clone();
        let metrics = summary.metrics.iter().cycle().take(count);
        found.metrics = metrics.cloned().collect();
        let what = format!("{count} metrics of a lot");
        no_sheet_is_blank_by_a_third(&what, &lot_summary(&found, true));
        let names = (0..count).map(|number| format!("defect {number}"));
        let asked = Asked {
            scenarios: vec!["load".into(), "short".into()],
            defects: names.clone().map(|name| (name, "late".into())).collect(),
            each: 1,
            good: 1,
        };
        let trials: Vec<Trial> = names.map(|name| trial(Some(&name), 0.5)).collect();
        let found = PlanProof::of(&asked, &trials);
        let what = format!("{count} defects");
        let at = jiff::Timestamp::UNIX_EPOCH;
        no_sheet_is_blank_by_a_third(&what, &plan_proof(&found, &setting(), at));
    }
}
