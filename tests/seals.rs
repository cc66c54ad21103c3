//! What is handed out and must stand alone: signatures that openssl checks
//! too, an exported run that is whole or is not, labels, and a chain redone
//! with sqlite3 and sha256sum alone.

use crate::records::{Shelf, fixture};
use serde_json::Value;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::Command;

/// A reports folder with a board that passed the whole plan and one that did
/// not.
fn shelf() -> Shelf {
    let shelf = Shelf::new();
    let plan = fixture("plan.toml");
    let plan = plan.to_str().expect("a plain path");
    let words = ["accept", plan, "--serial", "S1"];
    assert_eq!(shelf.says(&words).0, 0);
    shelf.accept("S2", &[]);
    shelf
}

fn runs(program: &str, words: &[&str], folder: &Path) -> Option<bool> {
    let done = Command::new(program)
        .args(words)
        .current_dir(folder)
        .output();
    let Ok(done) = done else {
        crate::tools::absent(&format!("{program} is not installed"));
        return None;
    };
    Some(done.status.success())
}

#[test]
fn a_signature_holds_for_its_key_and_record_only() {
    let shelf = shelf();
    assert_eq!(shelf.says(&["records", "key", "w.key"]).0, 0);
    let mode = |name: &str| {
        let file = shelf.path(name).metadata().expect("a file");
        file.permissions().mode() & 0o777
    };
    assert_eq!(mode("w.key"), 0o600);
    assert_eq!(shelf.says(&["records", "key", "w.key"]).0, 64);
    assert_eq!(shelf.says(&["records", "key", "other.key"]).0, 0);
    let verify = |key: &str| shelf.says(&["records", "verify", "--model", "--key", key]);
    assert_eq!(verify("w.key.pub").0, 1, "nothing is signed");
    let sign = ["records", "sign", "S1", "--model", "--key", "w.key"];
    let (status, signed) = shelf.json(&sign);
    assert_eq!(status, 0);
    let (status, said) = verify("w.key.pub");
    assert_eq!(status, 0, "{said}");
    let wanted = "1 run signed by the given key, 0 by other keys, 1 unsigned";
    assert!(said.contains(wanted), "{said}");
    let counted = |count: &str| {
        let words = ["records", "verify", "--model", "--key", "w.key.pub"];
        shelf.says(&[&words[..], &["--signed", count]].concat())
    };
    assert_eq!(counted("1").0, 0);
    let (status, said) = counted("2");
    assert!(status == 1 && said.contains("not 2"), "{said}");
    let digits = signed["seal"]["public_key"].as_str().expect("digits");
    assert_eq!(verify(digits).0, 0);
    assert_eq!(verify("other.key.pub").0, 1);
    assert_eq!(verify("w.key").0, 64, "a secret key is no public one");
    assert_eq!(verify("absent.pub").0, 64);
    let (_, page) = (
        shelf.says(&[
            "records",
            "certificate",
            "S1",
            "--model",
            "--out-file",
            "s1.html",
        ]),
        std::fs::read_to_string(shelf.path("s1.html")).expect("the page"),
    );
    for key in ["public_key", "signature"] {
        let digits = signed["seal"][key].as_str().expect("digits");
        assert!(page.contains(digits), "{key}");
    }
    openssl_agrees(&shelf, &signed["seal"]);
    // The file alone, and what is changed in it.
    let export = ["records", "export", "S1", "--model", "--file", "s1.json"];
    assert_eq!(shelf.says(&export).0, 0);
    let alone = [
        "records",
        "verify",
        "--file",
        "s1.json",
        "--key",
        "w.key.pub",
    ];
    let (status, said) = shelf.says(&alone);
    assert_eq!(status, 0, "{said}");
    assert!(said.contains("board S1, MODEL PASS"), "{said}");
    let text = std::fs::read_to_string(shelf.path("s1.json")).expect("the file");
    for (from, to) in [
        (
            "\\\"verdict\\\":\\\"pass\\\"",
            "\\\"verdict\\\":\\\"fail\\\"",
        ),
        ("\"verdict\": \"pass\"", "\"verdict\": \"fail\""),
        ("\"base64\": \"", "\"base64\": \"AAAA"),
        ("\"text\": \"{", "\"text\": \"{ "),
        ("\"format\": 1", "\"format\": 2"),
        ("\"previous\": \"000", "\"previous\": \"100"),
    ] {
        let altered = text.replacen(from, to, 2);
        assert_ne!(altered, text, "{from}");
        std::fs::write(shelf.path("altered.json"), altered).expect("room");
        let (status, said) = shelf.says(&["records", "verify", "--file", "altered.json"]);
        assert_eq!(status, 1, "{from}: {said}");
        assert!(said.starts_with("ALTERED"), "{said}");
    }
    // A signature moved under another key is found.
    let digits = |key: &str| signed["seal"][key].as_str().expect("digits").to_owned();
    assert_eq!(digits("signature").len(), 128);
}

/// openssl 3 checks the same signature with the same key file.
fn openssl_agrees(shelf: &Shelf, seal: &Value) {
    let statement = seal["statement"].as_str().expect("a text");
    assert!(statement.contains("\nverdict MODEL PASS\n"), "{statement}");
    let digits = seal["signature"].as_str().expect("digits");
    let bytes: Vec<u8> = (0..64)
        .map(|at| u8::from_str_radix(&digits[2 * at..2 * at + 2], 16).expect("digits"))
        .collect();
    std::fs::write(shelf.path("statement"), statement).expect("room");
    std::fs::write(shelf.path("signature"), bytes).expect("room");
    let words = "pkeyutl -verify -pubin -inkey w.key.pub -rawin -in statement -sigfile signature";
    let words: Vec<&str> = words.split(' ').collect();
    let folder = shelf.path(".");
    let Some(holds) = runs("openssl", &words, &folder) else {
        return;
    };
    assert!(holds, "openssl refuses the signature");
    std::fs::write(shelf.path("statement"), statement.replace("PASS", "FAIL")).expect("room");
    assert_eq!(runs("openssl", &words, &folder), Some(false));
}

#[test]
fn a_chain_is_redone_with_sqlite3_and_sha256sum_alone() {
    let shelf = shelf();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/shell/chain_check.sh");
    let script = script.to_str().expect("a plain path");
    let check = |head: &str| {
        let words = [script, "reports/model.sqlite", head];
        let words: Vec<&str> = words.into_iter().filter(|word| !word.is_empty()).collect();
        runs("bash", &words, &shelf.path(".")).expect("bash is there")
    };
    if runs("sqlite3", &["-version"], &shelf.path(".")).is_none() {
        return;
    }
    let (_, found) = shelf.json(&["records", "verify", "--model"]);
    let head = found["head"].as_str().expect("a head");
    assert!(check(""));
    assert!(check(head));
    assert!(!check(&"1".repeat(64)));
    shelf.alter("UPDATE lines SET text = text || ' ' WHERE position = 7");
    assert!(!check(""));
    assert_eq!(shelf.says(&["records", "verify", "--model"]).0, 1);
}

#[test]
fn labels_are_for_boards_that_passed_and_never_for_the_model_bench() {
    let shelf = shelf();
    let label = |more: &[&str]| {
        let words = ["records", "label", "--model"];
        let words: Vec<&str> = words.iter().chain(more).copied().collect();
        let done = shelf.command(&words);
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        (done.status.code().expect("a status"), said)
    };
    let (status, said) = label(&["--file", "l.pdf"]);
    assert_eq!(status, 64);
    assert!(said.contains("never enters a label"), "{said}");
    assert!(!shelf.path("l.pdf").exists());
    // S2 has a diagnosis only, so there is no whole run to go by.
    let words = [
        "--specimen",
        "--file",
        "l.pdf",
        "--columns",
        "2",
        "--skip",
        "3",
    ];
    assert_eq!(label(&words).0, 0);
    assert_eq!(label(&words).0, 64, "a file was written over");
    assert_eq!(
        label(&["--specimen", "--serial", "S2", "--file", "n.pdf"]).0,
        2
    );
    assert_eq!(
        label(&["--specimen", "--columns", "0", "--file", "n.pdf"]).0,
        64
    );
    let done = Command::new("pdftotext")
        .args(["l.pdf", "-"])
        .current_dir(shelf.path("."))
        .output();
    let Ok(done) = done else {
        crate::tools::absent("pdftotext (poppler-utils) is not installed");
        return;
    };
    let text = String::from_utf8_lossy(&done.stdout);
    assert!(text.contains("S1") && text.contains("SPECIMEN"), "{text}");
    assert!(!text.contains("S2"), "{text}");
}
