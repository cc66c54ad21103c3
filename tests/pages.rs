//! Every kind of page that is handed out, held to the words and the order it
//! had: certificate, comparison, lot summary, labels. What differs from run to
//! run (names of runs, digests, times, versions) is redacted, and so are numbers:
//! those of a certificate are compared with its record instead.
//! `BUFFERSTOP_RENEW_PAGES=1` writes the pages again; read what git then shows.

use crate::blanks::no_sheet_is_blank_by_a_third;
use crate::records::{Shelf, fixture};
use regex_lite::Regex;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Lines of a difference that are shown.
const SHOWN: usize = 40;
/// Lines looked ahead to find where two texts go on alike.
const AHEAD: usize = 60;

/// A plan of few scenarios, for lots.
fn small_plan(shelf: &Shelf) -> String {
    let plan = std::fs::read_to_string(fixture("plan.toml")).expect("the demo's plan");
    let mut parts = plan.split("[[scenario]]");
    let head = parts.next().expect("a beginning");
    let wanted = ["overload", "loss", "supply"];
    let wanted = |part: &&str| {
        let mut kinds = wanted.iter();
        kinds.any(|kind| part.starts_with(&format!("\nkind = \"{kind}\"")))
    };
    let mut small = head.to_owned();
    for part in parts.filter(wanted) {
        small.push_str("[[scenario]]");
        // What follows the last scenario names metrics that are not looked for.
        small.push_str(part.split("# What decides whether").next().expect("a part"));
    }
    small.push_str("\n[comparison]\nkey = [\"overload.trip_time\", \"loss.residual_dc\"]\n");
    let path = shelf.path("small.toml");
    std::fs::write(&path, small).expect("room");
    path.to_str().expect("a plain path").to_owned()
}

fn accept(shelf: &Shelf, plan: &str, serial: &str, more: &[&str]) {
    let words = ["accept", plan, "--serial", serial];
    let words: Vec<&str> = words.iter().chain(more).copied().collect();
    let (status, said) = shelf.says(&words);
    assert!([0, 1].contains(&status), "{serial}: {said}");
}

/// A lot of three boards, those named `slow` with a trip that comes too late.
fn lot(shelf: &Shelf, plan: &str, name: &str, slow: &[u32]) {
    let text = std::fs::read_to_string(fixture("lot.toml")).expect("the demo's lot");
    let file = format!("{name}.toml");
    std::fs::write(shelf.path(&file), text.replace("GB-2026-11", name)).expect("room");
    for number in 1..=3 {
        let serial = format!("{name}-{number}");
        let mut more = vec!["--lot", &file];
        if slow.contains(&number) {
            more.extend(["--defect", "slow trip"]);
        }
        accept(shelf, plan, &serial, &more);
    }
}

/// Writes a document by the command and holds it to what is kept.
fn check(shelf: &Shelf, words: &[&str], file: &str) {
    let words: Vec<&str> = words.iter().copied().chain(["--out-file", file]).collect();
    let (status, said) = shelf.says(&words);
    assert!([0, 1, 2].contains(&status), "{words:?}: {said}");
    let path = shelf.path(file);
    let (name, ending) = file.split_once('.').expect("an ending");
    let text = if ending == "html" {
        let page = std::fs::read_to_string(&path).expect("a page");
        in_lines(&page)
    } else {
        let Some(text) = on_paper(&path) else {
            crate::tools::absent("pdftotext (poppler-utils) is not installed");
            return;
        };
        if name != "labels" {
            no_sheet_is_blank_by_a_third(&path);
        }
        text
    };
    let kept = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/pages")
        .join(format!("{name}-{ending}.txt"));
    hold(&kept, &redacted(&text));
}

fn hold(kept: &PathBuf, found: &str) {
    if std::env::var_os("BUFFERSTOP_RENEW_PAGES").is_some() {
        std::fs::create_dir_all(kept.parent().expect("a folder")).expect("room");
        std::fs::write(kept, found).expect("room");
        return;
    }
    let wanted = std::fs::read_to_string(kept).unwrap_or_default();
    let lines = difference(&wanted, found);
    assert!(
        lines.is_empty(),
        "{} differs (- kept, + found); if it is meant, BUFFERSTOP_RENEW_PAGES=1 keeps it:\n{}",
        kept.display(),
        lines.join("\n")
    );
}

/// What tells `found` from `wanted`, in few lines; nothing where they are alike.
fn difference(wanted: &str, found: &str) -> Vec<String> {
    let (old, new): (Vec<&str>, Vec<&str>) = (wanted.lines().collect(), found.lines().collect());
    let (mut i, mut j) = (0, 0);
    let mut told = Vec::new();
    while i < old.len() || j < new.len() {
        if i < old.len() && old.get(i) == new.get(j) {
            (i, j) = (i + 1, j + 1);
            continue;
        }
        // The nearest place at which both go on alike.
        let steps = (1..=AHEAD).flat_map(|sum| (0..=sum).map(move |a| (a, sum - a)));
        let alike = |&(a, b): &(usize, usize)| {
            let both_end = i + a == old.len() && j + b == new.len();
            both_end || (i + a < old.len() && old.get(i + a) == new.get(j + b))
        };
        let (a, b) = { steps }.find(alike).unwrap_or((AHEAD, AHEAD));
        told.push(format!("@ line {}", i + 1));
        let gone = old.iter().skip(i).take(a);
        told.extend(gone.map(|line| format!("- {line}")));
        let come = new.iter().skip(j).take(b);
        told.extend(come.map(|line| format!("+ {line}")));
        (i, j) = (i + a, j + b);
    }
    if told.len() > SHOWN {
        let left = told.len() - SHOWN;
        told.truncate(SHOWN);
        told.push(format!("and {left} lines more"));
    }
    told
}

/// A page of HTML with a line for each part, and of each picture its words.
fn in_lines(page: &str) -> String {
    let picture = Regex::new(r#"(?s)<svg[^>]*aria-label="([^"]*)"[^>]*>(.*?)</svg>"#);
    let picture = picture.expect("a sound pattern");
    let text = Regex::new("<text[^>]*>([^<]*)</text>").expect("a sound pattern");
    let mut out = String::new();
    let mut last = 0;
    for found in picture.captures_iter(page) {
        let whole = found.get(0).expect("the whole");
        out.push_str(&page[last..whole.start()]);
        let drawn = text.captures_iter(&found[2]);
        let drawn: Vec<String> = drawn.map(|text| text[1].to_owned()).collect();
        out.push_str(&format!("<svg {:?} {}>", &found[1], drawn.join(" | ")));
        last = whole.end();
    }
    out.push_str(&page[last..]);
    let begins = Regex::new(
        "<(h[12]|tr|dl|dt|p|div|section|figure|figcaption|header|table|thead|tbody|style|body|meta|title|ul|li)[ >]",
    );
    let begins = begins.expect("a sound pattern");
    let out = begins.replace_all(&out, "\n$0").replace('}', "}\n");
    let lines = out.lines().map(str::trim_end).filter(|l| !l.is_empty());
    lines.map(|line| format!("{line}\n")).collect()
}

/// The text of a PDF as a reader that nobody here wrote lays it out, blanks
/// shortened, with the number of its pages; nothing where there is no reader.
fn on_paper(path: &Path) -> Option<String> {
    let done = Command::new("pdftotext")
        .arg("-layout")
        .arg(path)
        .arg("-")
        .output()
        .ok()?;
    assert!(done.status.success(), "pdftotext refuses {path:?}");
    let text = String::from_utf8(done.stdout).expect("UTF-8");
    let blanks = Regex::new("   +").expect("a sound pattern");
    let mut out = format!("{} pages\n", text.matches('\u{c}').count());
    for (number, page) in text.split_terminator('\u{c}').enumerate() {
        out.push_str(&format!("---- page {}\n", number + 1));
        for line in page.lines().map(str::trim_end).filter(|l| !l.is_empty()) {
            out.push_str(&blanks.replace_all(line, "   "));
            out.push('\n');
        }
    }
    Some(out)
}

fn redacted(text: &str) -> String {
    let mut text = text.to_owned();
    for (pattern, word) in [
        (r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", "RUN"),
        (r"[0-9a-f]{64}", "DIGEST"),
        (
            r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d:\d\d(\.\d+)?( UTC|Z)",
            "MOMENT",
        ),
        (r"\d{4}-\d\d-\d\d", "DAY"),
        (r"bufferstop \d+\.\d+\.\d+", "bufferstop VERSION"),
        (
            r"MODEL_([A-Z]+),(\d+),\d+\.\d+(\.\d+)?",
            "MODEL_$1,$2,VERSION",
        ),
    ] {
        let pattern = Regex::new(pattern).expect("a sound pattern");
        text = pattern.replace_all(&text, word).into_owned();
    }
    // Numbers are held against the record, not against what they were.
    let numbers = Regex::new(r"-?\d+(\.\d+)?").expect("a sound pattern");
    numbers.replace_all(&text, "#").into_owned()
}

/// A number with its unit in SI units, read by this test's own rules; nothing
/// where the text is no number.
fn si(text: &str) -> Option<f64> {
    let text = text.trim_start_matches(['>', '<', ' ']);
    let (number, unit) = text.split_once([' ', '\u{a0}']).unwrap_or((text, ""));
    let number: f64 = number.parse().ok()?;
    let bases = [
        "s", "A", "V", "\u{3a9}", "H", "F", "C", "W", "J", "A\u{b2}s", "Hz", "\u{b0}C", "K", "V/s",
        "A/s", "A/count",
    ];
    let power = match unit {
        "" => 0,
        "%" => -2,
        "V/\u{b5}s" => 6,
        unit if bases.contains(&unit) => 0,
        unit => {
            let prefix = unit.chars().next()?;
            assert!(
                bases.contains(&&unit[prefix.len_utf8()..]),
                "the unit {unit}"
            );
            match prefix {
                'p' => -12,
                'n' => -9,
                '\u{b5}' => -6,
                'm' => -3,
                'k' => 3,
                'M' => 6,
                'G' => 9,
                _ => panic!("the prefix of {unit}"),
            }
        }
    };
    Some(number * 10_f64.powi(power))
}

/// Every value and uncertainty on the measurement sheet is that of the record,
/// to the digits shown: four of a value, two of an uncertainty.
fn numbers_are_the_records(page: &str, record: &serde_json::Value) {
    let row = Regex::new("(?s)<tr>(.*?)</tr>").expect("a sound pattern");
    let cell = Regex::new("(?s)<td[^>]*data-t=\"([^\"]*)\"[^>]*>(.*?)</td>").expect("sound");
    let cells = |row: &str| -> Vec<(String, String)> {
        let found = cell.captures_iter(row);
        let plain = |text: &str| text.replace("&gt;", ">").replace("&lt;", "<");
        found.map(|c| (c[1].to_owned(), plain(&c[2]))).collect()
    };
    let rows = row.captures_iter(page).map(|found| cells(&found[1]));
    let rows: Vec<_> = rows.filter(|r| r.iter().any(|c| c.0 == "Margin")).collect();
    let scenarios = record["record"]["scenarios"].as_array().expect("a list");
    let metrics: Vec<&serde_json::Value> = scenarios
        .iter()
        .flat_map(|scenario| scenario["metrics"].as_array().expect("a list"))
        .collect();
    assert!(metrics.len() > 100);
    assert_eq!(rows.len(), metrics.len());
    for (row, metric) in rows.iter().zip(metrics) {
        let shown = |title: &str| {
            let cell = row.iter().find(|cell| cell.0 == title);
            cell.expect("each row has every cell").1.as_str()
        };
        let finding = &metric["metric"]["finding"];
        let temperature = if shown("Value").ends_with("\u{b0}C") {
            273.15
        } else {
            0.0
        };
        let value = finding["value"].as_f64().expect("every metric was found");
        match shown("Value") {
            "yes" => assert_eq!(value, 1.0, "{metric}"),
            "no" => assert_eq!(value, 0.0, "{metric}"),
            text => {
                let read = si(text).expect("a number");
                // Shown to the place of its U's second digit, or with four digits.
                let coarse = 0.102 * finding["u"].as_f64().expect("a standard uncertainty");
                let near = [value, value - temperature].iter().any(|value| {
                    let least = coarse.max(5.1e-4 * value.abs()).max(1e-15);
                    (read - value).abs() <= least
                });
                assert!(near, "{text} of {metric}");
            }
        }
        if let Some(read) = si(shown("U")) {
            let expanded = 2.0 * finding["u"].as_f64().expect("a standard uncertainty");
            assert!(
                (read - expanded).abs() <= 0.051 * expanded,
                "U {read} of {metric}"
            );
        } else {
            assert_eq!(shown("U"), "", "{metric}");
        }
    }
}

#[test]
fn certificates_read_as_they_did() {
    let shelf = Shelf::new();
    let plan = fixture("plan.toml");
    accept(&shelf, plan.to_str().expect("a plain path"), "A1", &[]);
    let words = ["records", "certificate", "A1", "--model"];
    check(&shelf, &words, "certificate.html");
    check(&shelf, &words, "certificate.pdf");
    let page = std::fs::read_to_string(shelf.path("certificate.html")).expect("a page");
    let mut runs = std::fs::read_dir(shelf.path("reports/A1")).expect("a folder");
    let run = runs.next().expect("a run").expect("an entry").path();
    let record = std::fs::read_to_string(run.join("record.json")).expect("a record");
    numbers_are_the_records(&page, &serde_json::from_str(&record).expect("JSON"));
}

#[test]
fn reports_about_lots_and_labels_read_as_they_did() {
    let shelf = Shelf::new();
    let plan = small_plan(&shelf);
    lot(&shelf, &plan, "before", &[]);
    lot(&shelf, &plan, "after", &[1, 2, 3]);
    let words = ["compare", "--baseline", "before", "--candidate", "after"];
    let words: Vec<&str> = words.into_iter().chain(["--model"]).collect();
    check(&shelf, &words, "comparison.html");
    check(&shelf, &words, "comparison.pdf");
    let words = ["records", "lot", "after", "--model"];
    check(&shelf, &words, "lot.html");
    check(&shelf, &words, "lot.pdf");
    // A short plan's certificate, and a test report.
    for (serial, file) in [("before-1", "short.pdf"), ("after-1", "report.pdf")] {
        no_sheet_is_blank_by_a_third(&shelf.certificate(serial, file));
    }
    let words = [
        "records",
        "label",
        "--model",
        "--specimen",
        "--lot",
        "before",
    ];
    check(&shelf, &words, "labels.pdf");
}

#[test]
fn a_difference_is_told_in_few_lines() {
    let old = "a\nb\nc\nd\ne\n";
    assert!(difference(old, old).is_empty());
    assert_eq!(
        difference(old, "a\nb\nX\nd\ne\n"),
        ["@ line 3", "- c", "+ X"]
    );
    assert_eq!(difference(old, "a\nb\nc\nd\n"), ["@ line 5", "- e"]);
    assert_eq!(difference("", "a\n"), ["@ line 1", "+ a"]);
    assert_eq!(
        difference(old, "b\nc\nd\ne\nf\n"),
        ["@ line 1", "- a", "@ line 6", "+ f"]
    );
    let long: String = (0..500).map(|n| format!("line {n}\n")).collect();
    assert_eq!(difference(old, &long).len(), SHOWN + 1);
    let run = "run 01a21551-52e6-7093-baf6-b1d4443ba808 at 2026-11-26 00:46:20 UTC, -1.5 V";
    assert_eq!(redacted(run), "run RUN at MOMENT, # V");
    assert_eq!(si("12.5 m\u{3a9}"), Some(0.0125));
    assert_eq!(si("> 19 V/\u{b5}s"), Some(19e6));
    assert_eq!(si("not measured"), None);
}
