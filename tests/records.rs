//! Records as their keeper meets them: found, told, handed out, checked and
//! copied. What the chain says is redone here with an outside SHA-256, and what
//! is altered is altered with an outside SQLite.

use assert_cmd::cargo::cargo_bin_cmd;
use serde_json::Value;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

pub(crate) fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/demo")
        .join(name)
}

/// A reports folder with runs on the model bench.
pub(crate) struct Shelf(TempDir);

impl Shelf {
    pub(crate) fn new() -> Self {
        Self(tempfile::tempdir().expect("a temporary folder"))
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub(crate) fn command(&self, words: &[&str]) -> Output {
        let done = cargo_bin_cmd!("bufferstop")
            .env_remove("BUFFERSTOP_BENCH")
            .current_dir(self.0.path())
            .args(words)
            .output()
            .expect("the command runs");
        let said = String::from_utf8_lossy(&done.stderr);
        assert!(!said.contains("a bug in"), "{words:?}:\n{said}");
        done
    }

    /// The status and standard output of a call.
    pub(crate) fn says(&self, words: &[&str]) -> (i32, String) {
        let done = self.command(words);
        let said = String::from_utf8(done.stdout).expect("UTF-8");
        (done.status.code().expect("an exit status"), said)
    }

    pub(crate) fn json(&self, words: &[&str]) -> (i32, Value) {
        let words: Vec<&str> = words.iter().copied().chain(["--json"]).collect();
        let (status, said) = self.says(&words);
        let document = serde_json::from_str(&said);
        (
            status,
            document.unwrap_or_else(|fault| panic!("{words:?}: {fault}\n{said}")),
        )
    }

    /// One scenario of the demo's plan on one model board.
    pub(crate) fn accept(&self, serial: &str, more: &[&str]) {
        let plan = fixture("plan.toml");
        let plan = plan.to_str().expect("a plain path");
        let words = ["accept", plan, "--serial", serial, "--only", "load"];
        let words: Vec<&str> = words.iter().chain(more).copied().collect();
        let done = self.command(&words);
        let status = done.status.code().expect("an exit status");
        assert!(
            [1, 2].contains(&status),
            "a diagnosis accepts nothing: {status}"
        );
    }

    /// A board's certificate or test report as a new `file`: where it is.
    pub(crate) fn certificate(&self, serial: &str, file: &str) -> PathBuf {
        let words = ["records", "certificate", serial, "--model"];
        let words = [&words[..], &["--out-file", file]].concat();
        let (status, said) = self.says(&words);
        assert!([0, 1, 2].contains(&status), "{file} of {serial}: {said}");
        self.path(file)
    }

    /// Changes the store as somebody with another SQLite would.
    pub(crate) fn alter(&self, sql: &str) {
        let store = self.path("reports/model.sqlite");
        let connection = rusqlite::Connection::open(store).expect("the store");
        assert!(
            connection.execute(sql, []).expect("the statement") > 0,
            "{sql}"
        );
    }
}

/// SHA-256 by coreutils.
pub(crate) fn sha256sum(bytes: &[u8]) -> String {
    let mut child = Command::new("sha256sum")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("coreutils are there");
    let mut input = child.stdin.take().expect("a pipe");
    input.write_all(bytes).expect("it reads");
    drop(input);
    let done = child.wait_with_output().expect("it ends");
    String::from_utf8_lossy(&done.stdout)[..64].to_owned()
}

/// Base 64 by coreutils.
pub(crate) fn decoded(text: &str) -> Vec<u8> {
    let mut file = tempfile::NamedTempFile::new().expect("a file");
    file.write_all(text.as_bytes()).expect("room");
    let done = Command::new("base64").arg("-d").arg(file.path()).output();
    let done = done.expect("coreutils are there");
    assert!(done.status.success());
    done.stdout
}

#[test]
fn an_exported_run_stands_alone_and_its_chain_can_be_redone() {
    let shelf = Shelf::new();
    shelf.accept("A1", &["--seed", "1"]);
    let words = [
        "records",
        "note",
        "A1",
        "=1+1 \u{1b}[2J \u{202e}<b>",
        "--model",
    ];
    assert_eq!(shelf.says(&words).0, 0);
    let words = ["records", "export", "A1", "--model", "--file", "a1.json"];
    assert_eq!(shelf.says(&words).0, 0);
    assert_eq!(shelf.says(&words).0, 64, "a file was written over");
    let text = std::fs::read_to_string(shelf.path("a1.json")).expect("the file");
    let file: Value = serde_json::from_str(&text).expect("JSON");
    let chain = file["chain"].as_array().expect("a chain");
    assert_eq!(chain[0]["previous"], "0".repeat(64));
    for (line, next) in chain.iter().zip(chain[1..].iter().map(Some).chain([None])) {
        let word = |key: &str| line[key].as_str().expect("a text");
        let link = sha256sum(format!("{}\n{}", word("previous"), word("text")).as_bytes());
        assert_eq!(link, word("link"), "line {}", line["position"]);
        if let Some(next) = next {
            assert_eq!(next["previous"], link);
        }
    }
    let closing = chain.iter().rev().find(|line| {
        line["text"]
            .as_str()
            .is_some_and(|text| text.contains("run_finished"))
    });
    assert_eq!(closing.expect("an end")["link"], file["closing_link"]);
    let seen = &file["record"]["scenarios"][0]["observations"][0];
    assert_eq!(&file["bytes"][0]["digest"], seen);
    let bytes = decoded(file["bytes"][0]["base64"].as_str().expect("bytes"));
    assert_eq!(&sha256sum(&bytes), seen.as_str().expect("a digest"));
    // The note is kept as it was written and shown so that it steers nothing.
    assert_eq!(file["notes"][0]["text"], "=1+1 \u{1b}[2J \u{202e}<b>");
    let (_, shown) = shelf.says(&["records", "show", "A1", "--model"]);
    assert!(shown.contains("=1+1 \\u{1b}[2J \\u{202e}<b>"), "{shown}");
    let (_, shown) = shelf.json(&["records", "show", "A1", "--model"]);
    assert_eq!(shown["notes"][0]["text"], file["notes"][0]["text"]);
    assert_eq!(shown["record"], file["record"]);
}

#[test]
fn what_was_altered_is_named_and_a_cut_end_is_found_by_a_head() {
    let shelf = Shelf::new();
    shelf.accept("A1", &[]);
    let verify = ["records", "verify", "--model"];
    let (status, intact) = shelf.json(&verify);
    assert_eq!((status, &intact["intact"]), (0, &Value::Bool(true)));
    let head = intact["head"].as_str().expect("a head").to_owned();
    let words = ["records", "backup", "copy.sqlite", "--model"];
    assert_eq!(shelf.says(&words).0, 0);
    assert_eq!(shelf.says(&words).0, 74, "a backup was written over");
    let kept = std::fs::read(shelf.path("copy.sqlite")).expect("the copy");
    let restore = || {
        for ending in ["-wal", "-shm"] {
            let _ = std::fs::remove_file(shelf.path(&format!("reports/model.sqlite{ending}")));
        }
        std::fs::write(shelf.path("reports/model.sqlite"), &kept).expect("room");
    };
    restore();
    let with_head = ["records", "verify", "--model", "--head", &head];
    assert_eq!(shelf.says(&with_head).0, 0, "a backup is the store");
    for (sql, says) in [
        (
            "UPDATE lines SET text = replace(text, 'output_voltage', 'output_voltagf') WHERE position = \
             (SELECT min(position) FROM lines WHERE text LIKE '%output_voltage%')",
            "changed",
        ),
        ("DELETE FROM lines WHERE position = 4", "line 4 is missing"),
        (
            "UPDATE lines SET text = (SELECT text FROM lines b WHERE b.position = 9 - lines.position), \
             link = (SELECT link FROM lines b WHERE b.position = 9 - lines.position) \
             WHERE position IN (4, 5)",
            "line 4",
        ),
        ("UPDATE runs SET verdict = 'fail'", "list"),
        ("UPDATE blobs SET packed = x'00'", "bytes"),
    ] {
        restore();
        shelf.alter(sql);
        let (status, said) = shelf.says(&verify);
        assert_eq!(status, 1, "{sql}\n{said}");
        assert!(
            said.contains("ALTERED") && said.contains(says),
            "{sql}\n{said}"
        );
    }
    restore();
    shelf.accept("A2", &[]);
    let (_, longer) = shelf.json(&verify);
    let longer = longer["head"].as_str().expect("a head").to_owned();
    restore();
    let (status, said) = shelf.says(&["records", "verify", "--model", "--head", &longer]);
    assert_eq!(status, 1, "{said}");
    assert!(said.contains("cut off"), "{said}");
    let (status, _) = shelf.says(&["records", "verify", "--model", "--head", "12"]);
    assert_eq!(status, 64);
}

/// A board that passed on a bench of which nobody knows that it is off: the paper
/// waits for somebody who has looked.
#[test]
fn a_certificate_waits_until_the_bench_was_looked_at() {
    let shelf = Shelf::new();
    shelf.accept("A1", &[]);
    shelf.alter(
        "UPDATE lines SET text = replace(text, '\"safe\":true', '\"safe\":false') \
         WHERE text LIKE '%\"safe\":true%'",
    );
    let certificate = [
        "records",
        "certificate",
        "A1",
        "--model",
        "--out-file",
        "a1.html",
    ];
    let refused = shelf.command(&certificate);
    let said = String::from_utf8_lossy(&refused.stderr);
    assert_eq!(refused.status.code(), Some(69), "{said}");
    assert!(said.contains("--bench-is-off"), "{said}");
    let note = ["records", "note", "A1", "the supply hung", "--model"];
    let note = |more: &[&str]| shelf.says(&[&note[..], more].concat()).0;
    assert_eq!(note(&["--author", "J. Doe"]), 0);
    assert_eq!(
        shelf.says(&certificate).0,
        69,
        "a remark alone says nothing of it"
    );
    assert_eq!(note(&["--bench-is-off"]), 64, "somebody has to have looked");
    assert_eq!(note(&["--author", "J. Doe", "--bench-is-off"]), 0);
    assert_eq!(shelf.says(&certificate).0, 0);
    let shown = shelf.says(&["records", "show", "A1", "--model"]).1;
    assert!(shown.contains("everything on it is off"), "{shown}");
}

/// A disc that takes no file beside the store, as a read-only mount is one. Only
/// root may mount; anybody else's run says so.
#[test]
fn a_store_on_a_read_only_medium_is_read_and_boards_are_not_named_after_it() {
    let shelf = Shelf::new();
    for name in ["records.sqlite", "model.sqlite-lock"] {
        let plan = fixture("plan.toml");
        let plan = plan.to_str().expect("a plain path");
        let (status, said) = shelf.says(&["accept", plan, "--serial", name]);
        assert_eq!(status, 64, "{said}");
    }
    shelf.accept("A1", &[]);
    let folder = shelf.path("reports");
    let folder = folder.to_str().expect("plain");
    let mount = |words: &[&str]| {
        let done = Command::new("mount").args(words).output();
        done.is_ok_and(|done| done.status.success())
    };
    if !mount(&["--bind", folder, folder]) {
        println!("skipped: only root may mount");
        return;
    }
    let read_only = mount(&["-o", "remount,ro,bind", folder]);
    let list = shelf.says(&["records", "list", "--model"]);
    let verify = shelf.says(&["records", "verify", "--model"]);
    let show = shelf.says(&["records", "show", "A1", "--model"]);
    // What is handed out is noted in the store, which this one cannot take.
    let page = ["records", "certificate", "A1", "--model"];
    let page = shelf.command(&[&page[..], &["--out-file", "a1.html"]].concat());
    let unmounted = Command::new("umount").arg(folder).status();
    assert!(unmounted.is_ok_and(|status| status.success()) && read_only);
    assert!(list.0 == 0 && list.1.contains("A1"), "{list:?}");
    assert!(verify.0 == 0 && verify.1.contains("INTACT"), "{verify:?}");
    assert!(show.0 == 0 && show.1.contains("A1"), "{show:?}");
    let said = String::from_utf8_lossy(&page.stderr);
    assert!(
        page.status.code() == Some(74) && said.contains("written to"),
        "{said}"
    );
}

#[test]
fn lists_are_filtered_and_rows_come_as_csv_and_json_lines() {
    let shelf = Shelf::new();
    shelf.accept("B1", &["--lot", "autumn", "--operator", "=cmd()"]);
    shelf.accept("B2", &["--lot", "winter", "--defect", "cold joint"]);
    let list = |more: &[&str]| {
        let words = ["records", "list", "--model", "--json"];
        let words: Vec<&str> = words.iter().chain(more).copied().collect();
        let (status, said) = shelf.says(&words);
        assert_eq!(status, 0, "{more:?}");
        let serial = |line: &str| {
            let line: Value = serde_json::from_str(line).expect("JSON lines");
            line["serial"].as_str().expect("a serial").to_owned()
        };
        said.lines().map(serial).collect::<Vec<String>>()
    };
    let today = jiff::Timestamp::now().strftime("%Y-%m-%d").to_string();
    assert_eq!(list(&[]), ["B1", "B2"]);
    assert_eq!(list(&["--lot", "winter"]), ["B2"]);
    assert_eq!(list(&["--failing", "output_resistance"]), ["B2"]);
    assert_eq!(list(&["--failing-scenario", "load"]), ["B2"]);
    assert!(list(&["--failing-scenario", "beauty"]).is_empty());
    assert_eq!(list(&["--serial", "B1"]), ["B1"]);
    assert_eq!(list(&["--verdict", "fail"]), ["B2"]);
    assert_eq!(list(&["--verdict", "pass", "--lot", "autumn"]), ["B1"]);
    assert!(list(&["--verdict", "fail", "--lot", "autumn"]).is_empty());
    assert_eq!(list(&["--metric", "output_voltage"]), ["B1", "B2"]);
    assert!(list(&["--metric", "trip_time"]).is_empty());
    assert_eq!(list(&["--from", &today, "--until", &today]), ["B1", "B2"]);
    assert!(list(&["--until", "2020-01-01"]).is_empty());
    assert!(list(&["--from", "2999-01-01T00:00:00Z"]).is_empty());
    for words in [
        &["records", "list", "--model", "--failing", "beauty"][..],
        &["records", "list", "--model", "--metric", "beauty"],
        &["records", "list", "--model", "--from", "tomorrow"],
        &["records", "export", "--model", "--parquet"],
        &["records", "export", "--model"],
        &["records", "show", "--model", "B3"],
        &["records", "note", "--model", "B1", "  "],
    ] {
        assert_eq!(shelf.says(words).0, 64, "{words:?}");
    }
    let (status, csv) = shelf.says(&["records", "export", "--model", "--csv"]);
    assert_eq!(status, 0);
    let (status, lines) = shelf.says(&["records", "export", "--model", "--json-lines"]);
    assert_eq!(status, 0);
    let rows: Vec<Value> = lines
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON lines"))
        .collect();
    assert_eq!(csv.lines().count(), rows.len() + 1);
    assert!(rows.len() > 10, "{lines}");
    let words = ["--csv", "--metric", "output_resistance"];
    let words: Vec<&str> = ["records", "export", "--model"]
        .into_iter()
        .chain(words)
        .collect();
    let (_, narrow) = shelf.says(&words);
    assert!(
        narrow.lines().count() > 2
            && narrow
                .lines()
                .skip(1)
                .all(|line| line.contains(",load,output_resistance,")),
        "{narrow}"
    );
    let (_, one) = shelf.says(&["records", "export", "--model", "--csv", "B1"]);
    assert!(
        one.lines().skip(1).all(|line| line.contains(",B1,autumn,")),
        "{one}"
    );
    // A form of one record is what the run's folder holds, and is asked of one.
    let mut folders = std::fs::read_dir(shelf.path("reports/B1")).expect("a folder");
    let folder = folders.next().expect("a run").expect("readable").path();
    for (option, file) in [
        ("--record", "record.json"),
        ("--junit", "junit.xml"),
        ("--summary", "summary.txt"),
    ] {
        let kept = std::fs::read_to_string(folder.join(file)).expect("text");
        let words = ["records", "export", "--model", option, "B1"];
        assert_eq!(shelf.says(&words), (0, kept), "{option}");
        assert_eq!(shelf.says(&words[..4]).0, 64, "{option} of no run");
    }
    let both = ["records", "export", "--model", "--csv", "--junit", "B1"];
    assert_eq!(shelf.says(&both).0, 64, "one form at once");
}

/// A stricter plan turns a verdict without touching the record; the recorded
/// plan repeats what was said.
#[test]
fn a_record_is_judged_again_under_another_plan_and_stays_as_it_was() {
    let shelf = Shelf::new();
    shelf.accept("C1", &["--seed", "3"]);
    let (_, before) = shelf.json(&["records", "verify", "--model"]);
    let (status, said) = shelf.says(&["rejudge", "--run", "C1", "--model"]);
    assert!(said.contains("as before"), "{said}");
    assert!(said.contains("metrics changed 0"), "{said}");
    assert_eq!(status, 2, "a diagnosis accepts nothing:\n{said}");
    let plan = std::fs::read_to_string(fixture("plan.toml")).expect("the demo's plan");
    // The demo's board has some 150 mohm: 20 mohm is out of its reach.
    let stricter = plan.replace("max = \"220 mohm\"", "max = \"20 mohm\"");
    assert_ne!(plan, stricter);
    std::fs::write(shelf.path("stricter.toml"), stricter).expect("a file");
    let words = [
        "rejudge",
        "--run",
        "C1",
        "--plan",
        "stricter.toml",
        "--model",
    ];
    let (status, said) = shelf.says(&words);
    assert_eq!(status, 1, "{said}");
    assert!(
        said.contains("limit <= 20.00 mohm, was <= 220.0 mohm"),
        "{said}"
    );
    let (_, after) = shelf.json(&["records", "verify", "--model"]);
    assert_eq!(
        before["head"], after["head"],
        "a rejudgement wrote something"
    );
    assert_eq!(shelf.says(&["rejudge", "--model"]).0, 64);
    assert_eq!(shelf.says(&["rejudge", "--run", "C9", "--model"]).0, 64);
}

/// Two lots of the same model board are no different; a lot with a cold joint
/// in every board is.
#[test]
fn lots_are_compared_and_a_substituted_part_is_shown() {
    let shelf = Shelf::new();
    let plan = fixture("plan.toml");
    let plan = plan.to_str().expect("a plain path");
    let lot = std::fs::read_to_string(fixture("lot.toml")).expect("the demo's lot");
    let other = lot
        .replace("GB-2026-11", "GB-2027-01")
        .replace("line driver, batch 2618", "line driver, batch 2702");
    std::fs::write(shelf.path("first.toml"), &lot).expect("a file");
    std::fs::write(shelf.path("second.toml"), &other).expect("a file");
    for (lot, more) in [
        ("first.toml", &[][..]),
        ("second.toml", &["--defect", "cold joint"]),
    ] {
        for seed in ["1", "2", "3"] {
            let serial = format!("{}-{seed}", &lot[..1]);
            let words = [
                "accept", plan, "--lot", lot, "--serial", &serial, "--seed", seed,
            ];
            let words: Vec<&str> = words.iter().chain(more).copied().collect();
            shelf.command(&words);
        }
    }
    let words = [
        "compare",
        "--baseline",
        "GB-2026-11",
        "--candidate",
        "GB-2027-01",
        "--model",
    ];
    let (status, said) = shelf.says(&words);
    assert_eq!(status, 1, "{said}");
    assert!(said.contains("MODEL DIFFERENT"), "{said}");
    assert!(
        said.contains("batch 2702") && said.contains("substituted"),
        "{said}"
    );
    let (_, found) = shelf.json(&words);
    let rows = found["comparison"]["rows"].as_array().expect("rows");
    let resistance = rows.iter().filter(|row| {
        row["label"]
            .as_str()
            .is_some_and(|label| label.starts_with("output_resistance"))
    });
    // The planted joint has 150 mohm.
    for row in resistance {
        let difference = row["difference"].as_f64().expect("a number");
        assert!((difference - 0.150).abs() < 0.03, "{row}");
        assert_eq!(row["outcome"], "different", "{row}");
    }
    let itself = [
        "compare",
        "--baseline",
        "GB-2026-11",
        "--candidate",
        "GB-2026-11",
        "--model",
    ];
    assert_ne!(shelf.says(&itself).0, 1, "a lot differs from itself");
    let (status, sizes) = shelf.json(&[
        "compare",
        "--baseline",
        "GB-2026-11",
        "--boards-needed",
        "--model",
    ]);
    assert_eq!(status, 0);
    assert!(
        sizes["metrics"]
            .as_array()
            .is_some_and(|metrics| metrics.len() > 5),
        "{sizes}"
    );
    assert_eq!(
        shelf
            .says(&[
                "compare",
                "--baseline",
                "GB-2026-11",
                "--candidate",
                "X",
                "--model"
            ])
            .0,
        64
    );
}

/// A run of the whole demo plan, on paper that a reader nobody here wrote counts.
#[test]
fn the_certificate_of_a_whole_run_is_one_page_and_a_measurement_sheet() {
    let shelf = Shelf::new();
    let plan = fixture("plan.toml");
    let plan = plan.to_str().expect("a plain path");
    let (status, said) = shelf.says(&["accept", plan, "--serial", "W1"]);
    assert!([0, 1].contains(&status), "{status}: {said}");
    let words = ["records", "certificate", "W1", "--model"];
    let words: Vec<&str> = words.into_iter().chain(["--out-file", "w1.pdf"]).collect();
    assert_eq!(shelf.says(&words).0, 0);
    let done = Command::new("pdftotext")
        .arg(shelf.path("w1.pdf"))
        .arg("-")
        .output();
    let Ok(done) = done else {
        crate::tools::absent("pdftotext (poppler-utils) is not installed");
        return;
    };
    let text = String::from_utf8_lossy(&done.stdout);
    let pages = text.matches('\u{c}').count();
    assert!((2..=8).contains(&pages), "{pages} pages");
    let first = text.split('\u{c}').next().expect("page one");
    assert!(
        first.contains("page 1 of") && first.contains("covers only"),
        "{first}"
    );
    for kind in [
        "idle", "load", "sense", "overload", "short", "reversal", "signal", "loss", "inrush",
        "soak", "supply",
    ] {
        assert!(text.contains(&format!("{kind}: ")), "{kind} is missing");
    }
}
