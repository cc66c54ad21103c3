//! Records when something is against them: a full disk, a folder that cannot
//! be written to, a file from a newer version or cut or flipped, two programs
//! at once, and names that were written to do harm. What must hold: a plain
//! sentence and the right status, never a bug, and what was durable stays.

use crate::records::{Shelf, fixture};
use std::process::{Command, Stdio};

const PLAN: [&str; 2] = ["--only", "load"];

fn accept<'a>(plan: &'a str, serial: &'a str) -> Vec<&'a str> {
    let words = ["accept", plan, "--serial", serial];
    words.into_iter().chain(PLAN).collect()
}

/// The command in a shell that allows no file longer than `kilobytes`: writes
/// then fail with EFBIG, as on a disk without room.
fn narrow(shelf: &Shelf, kilobytes: u32, words: &[&str]) -> (i32, String) {
    let script = format!("trap '' XFSZ; ulimit -f {kilobytes}; exec \"$0\" \"$@\"");
    let done = Command::new("bash")
        .args(["-c", &script, env!("CARGO_BIN_EXE_bufferstop")])
        .args(words)
        .env_remove("BUFFERSTOP_BENCH")
        .current_dir(shelf.path("."))
        .output()
        .expect("bash is there");
    let said = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(!said.contains("a bug in"), "{words:?}:\n{said}");
    (done.status.code().expect("no signal ended it"), said)
}

#[test]
fn a_full_disk_costs_what_was_not_durable_yet_and_nothing_else() {
    let shelf = Shelf::new();
    shelf.accept("A1", &[]);
    let plan = fixture("plan.toml");
    let plan = plan.to_str().expect("a plain path");
    let size = shelf
        .path("reports/model.sqlite")
        .metadata()
        .expect("a store")
        .len();
    let kilobytes = u32::try_from(size / 1024).expect("a small store");
    // What waits in the log beside the store is smaller than the store.
    for room in [kilobytes / 8, kilobytes / 3] {
        let (status, said) = narrow(&shelf, room.max(8), &accept(plan, "A2"));
        assert_eq!(status, 74, "{room} kB: {said}");
        assert!(said.contains("model.sqlite"), "{said}");
        let (status, said) = shelf.says(&["records", "verify", "--model"]);
        assert_eq!(status, 0, "{said}");
        assert!(shelf.says(&["records", "list", "--model"]).1.contains("A1"));
    }
    for words in [
        &["records", "export", "A1", "--model", "--file", "a1.json"][..],
        &["records", "export", "--csv", "--model", "--file", "all.csv"],
        &[
            "records",
            "export",
            "--parquet",
            "--model",
            "--file",
            "all.parquet",
        ],
        &[
            "records",
            "certificate",
            "A1",
            "--model",
            "--out-file",
            "a1.pdf",
        ],
        &["records", "backup", "copy.sqlite", "--model"],
    ] {
        let (status, said) = narrow(&shelf, 1, words);
        assert_eq!(status, 74, "{words:?}: {said}");
        let left: Vec<String> = std::fs::read_dir(shelf.path("."))
            .expect("the folder")
            .map(|file| {
                file.expect("a file")
                    .file_name()
                    .to_string_lossy()
                    .into_owned()
            })
            .filter(|name| name != "reports")
            .collect();
        assert!(left.is_empty(), "{words:?} left {left:?}");
    }
}

/// What could not be said is a failure of its own, whatever was found; a reader
/// that has seen enough is none.
#[test]
fn a_full_disk_behind_standard_output_is_told() {
    let shelf = Shelf::new();
    shelf.accept("A1", &[]);
    // Lots are made of whole runs.
    let plan = fixture("plan.toml");
    let plan = plan.to_str().expect("a plain path");
    shelf.command(&["accept", plan, "--serial", "A2", "--lot", "whole"]);
    for words in [
        &["records", "list"][..],
        &["records", "list", "--json"],
        &["records", "export", "--csv"],
        &["records", "export", "A1"],
        &["records", "show", "A1"],
        &["records", "lot", "whole"],
        &["records", "verify"],
        &["compare", "--baseline", "whole", "--candidate", "whole"],
        &["rejudge", "--run", "A1", "--json"],
    ] {
        for (place, wanted) in [("/dev/full", Some(74)), ("/dev/null", None)] {
            let out = std::fs::File::options().write(true).open(place);
            let done = std::process::Command::new(assert_cmd::cargo::cargo_bin!("bufferstop"))
                .args(words)
                .arg("--model")
                .current_dir(shelf.path("."))
                .stdout(out.expect("a device of every system"))
                .output()
                .expect("the command runs");
            let said = String::from_utf8_lossy(&done.stderr);
            let status = done.status.code();
            let full = said.contains("standard output cannot be written");
            assert_eq!(full, wanted.is_some(), "{words:?} {place}: {said}");
            assert!(
                wanted.is_none() || status == wanted,
                "{words:?}: {status:?}"
            );
            assert_ne!(status, Some(70), "{words:?} {place}: {said}");
        }
    }
    let (mut reader, writer) = std::io::pipe().expect("a pipe");
    let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin!("bufferstop"))
        .args(["records", "export", "A1", "--model"])
        .current_dir(shelf.path("."))
        .stdout(writer)
        .stderr(std::process::Stdio::piped())
        .spawn()
        .expect("the command runs");
    let mut first = [0; 100];
    std::io::Read::read_exact(&mut reader, &mut first).expect("a beginning");
    drop(reader);
    assert_eq!(child.wait().expect("it ends").code(), Some(0));
}

#[test]
fn a_folder_that_cannot_be_written_to_is_told_before_anything_is_energised() {
    let shelf = Shelf::new();
    let plan = fixture("plan.toml");
    let plan = plan.to_str().expect("a plain path");
    let words: Vec<&str> = accept(plan, "A1")
        .into_iter()
        .chain(["--out", "/proc/self"])
        .collect();
    let done = shelf.command(&words);
    let said = String::from_utf8_lossy(&done.stderr);
    assert_eq!(done.status.code(), Some(74), "{said}");
    assert!(said.contains("/proc/self"), "{said}");
    shelf.accept("A1", &[]);
    for file in ["/proc/self/a.json", "absent/a.json"] {
        let words = ["records", "export", "A1", "--model", "--file", file];
        assert_eq!(shelf.says(&words).0, 74, "{file}");
    }
    let words = ["records", "key", "/proc/self/k"];
    assert_eq!(shelf.says(&words).0, 74);
}

#[test]
fn a_store_that_is_newer_cut_or_flipped_is_named_and_left_alone() {
    let shelf = Shelf::new();
    shelf.accept("A1", &[]);
    assert_eq!(
        shelf
            .says(&["records", "backup", "good.sqlite", "--model"])
            .0,
        0
    );
    let good = std::fs::read(shelf.path("good.sqlite")).expect("the copy");
    let put = |bytes: &[u8]| {
        for ending in ["-wal", "-shm"] {
            let _ = std::fs::remove_file(shelf.path(&format!("reports/model.sqlite{ending}")));
        }
        std::fs::write(shelf.path("reports/model.sqlite"), bytes).expect("room");
    };
    let plan = fixture("plan.toml");
    let plan = plan.to_str().expect("a plain path");
    // The header's `user_version` is the big-endian number at 60
    // (sqlite.org/fileformat2.html, section 1.3).
    let mut newer = good.clone();
    newer[60..64].copy_from_slice(&99_u32.to_be_bytes());
    put(&newer);
    for words in [
        accept(plan, "A2"),
        vec!["records", "list", "--model"],
        vec!["records", "note", "A1", "text", "--model"],
        vec!["records", "verify", "--model"],
    ] {
        let done = shelf.command(&words);
        let said = String::from_utf8_lossy(&done.stderr);
        assert_eq!(done.status.code(), Some(74), "{words:?}: {said}");
        assert!(said.contains("newer version"), "{said}");
    }
    assert_eq!(
        std::fs::read(shelf.path("reports/model.sqlite")).expect("it"),
        newer
    );
    for length in [0, 50, 4096, good.len() / 2, good.len() - 4096] {
        put(&good[..length]);
        let (status, said) = shelf.says(&["records", "verify", "--model"]);
        assert!(
            [1, 74].contains(&status),
            "cut to {length}: {status} {said}"
        );
    }
    for at in (0..good.len()).step_by(good.len() / 40) {
        let mut flipped = good.clone();
        flipped[at] ^= 0x10;
        put(&flipped);
        for words in [
            &["records", "verify", "--model"][..],
            &["records", "list", "--model"],
            &["records", "show", "A1", "--model"],
            &["records", "export", "--csv", "--model"],
            &[
                "records",
                "label",
                "--model",
                "--specimen",
                "--file",
                "l.pdf",
            ],
        ] {
            // `command` refuses a panic; any plain answer will do.
            shelf.command(words);
        }
    }
}

#[test]
fn two_programs_write_one_chain() {
    let shelf = Shelf::new();
    let plan = fixture("plan.toml");
    let plan = plan.to_str().expect("a plain path");
    let begun: Vec<_> = ["A1", "A2", "A3"]
        .into_iter()
        .map(|serial| {
            Command::new(env!("CARGO_BIN_EXE_bufferstop"))
                .args(accept(plan, serial))
                .env_remove("BUFFERSTOP_BENCH")
                .current_dir(shelf.path("."))
                .stdout(Stdio::null())
                .spawn()
                .expect("the command starts")
        })
        .collect();
    for mut child in begun {
        let status = child.wait().expect("it ends");
        assert!([Some(1), Some(2)].contains(&status.code()), "{status}");
    }
    let (status, found) = shelf.json(&["records", "verify", "--model"]);
    assert_eq!(
        (status, &found["runs"], &found["open"]),
        (0, &3.into(), &0.into())
    );
}

/// A formula, markup, a terminal's escape, a right-to-left override, a line
/// end and a character that XML 1.0 forbids.
const HARM: &str = "=1+1 <b>&x</b> \u{1b}[2J \u{202e}txt \u{7} \u{ffff}";

#[test]
fn names_written_to_do_harm_do_none() {
    let shelf = Shelf::new();
    let plan = std::fs::read_to_string(fixture("plan.toml")).expect("the demo's plan");
    let written = toml_text("=1+1 <b>&x</b>");
    let hostile = plan.replace("\"data sheet of the demo booster, section 3\"", &written);
    assert_ne!(hostile, plan);
    std::fs::write(shelf.path("plan.toml"), hostile).expect("room");
    let words = ["--operator", HARM, "--retest", HARM];
    let words: Vec<&str> = accept("plan.toml", "A1").into_iter().chain(words).collect();
    let done = shelf.command(&words);
    assert_eq!(
        done.status.code(),
        Some(2),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    let screen = [done.stdout, done.stderr].concat();
    let note = ["records", "note", "A1", HARM, "--author", HARM, "--model"];
    assert_eq!(shelf.says(&note).0, 0);
    let text = |words: &[&str]| shelf.says(words).1;
    let csv = text(&["records", "export", "--csv", "--model"]);
    let show = text(&["records", "show", "A1", "--model"]);
    let list = text(&["records", "list", "--model"]);
    let (html, pdf) = ("a1.html", "a1.pdf");
    for file in [html, pdf] {
        let words = [
            "records",
            "certificate",
            "A1",
            "--model",
            "--out-file",
            file,
        ];
        assert_eq!(shelf.says(&words).0, 0);
    }
    let html = std::fs::read_to_string(shelf.path(html)).expect("the page");
    let folder = std::fs::read_dir(shelf.path("reports/A1")).expect("the run's folder");
    let folder = folder
        .map(|entry| entry.expect("a folder").path())
        .next()
        .expect("one");
    let xml = std::fs::read_to_string(folder.join("junit.xml")).expect("the XML");
    let summary = std::fs::read_to_string(folder.join("summary.txt")).expect("the summary");
    let screen = String::from_utf8_lossy(&screen).into_owned();
    for (name, text) in [
        ("csv", &csv),
        ("show", &show),
        ("list", &list),
        ("html", &html),
        ("xml", &xml),
        ("summary", &summary),
        ("screen", &screen),
    ] {
        for harm in ['\u{1b}', '\u{202e}', '\u{7}', '\u{ffff}'] {
            assert!(!text.contains(harm), "{name} holds {harm:?}");
        }
    }
    for (name, text) in [("html", &html), ("xml", &xml)] {
        assert!(!text.contains("<b>"), "{name} holds markup");
        assert!(text.contains("&lt;b&gt;"), "{name} lost the name");
    }
    // A cell begins after a comma, a quote or a line's end.
    for before in [",=", "\"=", "\n="] {
        assert!(!csv.contains(before), "a formula in {csv}");
    }
    assert!(csv.contains("'=1+1"), "{csv}");
    let done = Command::new("pdftotext")
        .args([pdf, "-"])
        .current_dir(shelf.path("."))
        .output();
    let Ok(done) = done else {
        crate::tools::absent("pdftotext (poppler-utils) is not installed");
        return;
    };
    let text = String::from_utf8_lossy(&done.stdout);
    assert!(text.contains("=1+1 <b>"), "{text}");
    for harm in ['\u{1b}', '\u{202e}', '\u{7}'] {
        assert!(!text.contains(harm), "the PDF holds {harm:?}");
    }
}

/// A basic string of TOML 1.0.
fn toml_text(text: &str) -> String {
    let escaped: String = text
        .chars()
        .map(|c| match c {
            '"' | '\\' => format!("\\{c}"),
            c if c.is_control() || u32::from(c) > 0x7e => format!("\\U{:08X}", u32::from(c)),
            c => c.to_string(),
        })
        .collect();
    format!("\"{escaped}\"")
}

/// A bleeder and a snubber so large that the node would move faster than the
/// circuit's picoseconds: a fault of the file, with its line, before anything
/// runs.
#[test]
fn a_model_too_stiff_to_compute_is_a_fault_of_its_file() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bench = std::fs::read_to_string("fixtures/demo/bench.toml").expect("the demo's bench");
    let stiff = bench
        .replace("bleeder = \"1 kohm\"", "bleeder = \"1 Mohm\"")
        .replace(
            "board = \"board.toml\"",
            "[model.fixture]\nsnubber_resistance = \"1 Mohm\"",
        );
    let path = folder.path().join("bench.toml");
    std::fs::write(&path, &stiff).expect("written");
    let done = assert_cmd::cargo::cargo_bin_cmd!("bufferstop")
        .arg("check")
        .arg(&path)
        .assert()
        .code(65)
        .get_output()
        .clone();
    let said =
        String::from_utf8_lossy(&done.stderr).into_owned() + &String::from_utf8_lossy(&done.stdout);
    assert!(said.contains("makes no circuit"), "{said}");
    let line = stiff
        .lines()
        .position(|line| line.contains("lead_inductance"));
    let place = format!("bench.toml:{}:", line.expect("written") + 1);
    assert!(said.contains(&place), "{place} in {said}");
}
