//! What readers that nobody here wrote find in a PDF, for tests. It draws
//! nothing; where a reader is not installed it says so and finds nothing.

#![allow(clippy::print_stdout, reason = "a skipped test says so")]

use std::process::Command;

/// What a program of poppler-utils tells of a PDF.
pub(crate) fn told(program: &str, words: &[&str], bytes: &[u8]) -> Option<String> {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("pages.pdf");
    std::fs::write(&path, bytes).expect("room on the disk");
    let mut command = Command::new(program);
    command.args(words).arg(&path);
    if program == "pdftotext" {
        command.arg("-");
    }
    let Ok(told) = command.output() else {
        // `scripts/check` installs it, so there a lack is a fault.
        assert!(
            std::env::var_os("BUFFERSTOP_EVERY_TOOL").is_none(),
            "{program} (poppler-utils) is not installed"
        );
        println!("skipped: {program} (poppler-utils) is not installed");
        return None;
    };
    assert!(told.status.success(), "{program} refuses the file");
    Some(String::from_utf8_lossy(&told.stdout).into_owned())
}

/// Holds a PDF to a structure that others can read aloud (ISO 32000-1, 14.8)
/// and that contains `sentence`; the number of its pictures, which all have
/// words.
pub(crate) fn figures_of_tagged(bytes: &[u8], sentence: &str) -> Option<usize> {
    let tree = told("pdfinfo", &["-struct-text"], bytes)?;
    for wanted in [
        "H1 (block)",
        "H2 (block)",
        "Table (block)",
        "TH",
        "/Scope /Column",
        "TD",
        "P (block)",
        "Figure",
        // Words with spaces between them.
        sentence,
    ] {
        assert!(tree.contains(wanted), "no {wanted} in {tree}");
    }
    let file = String::from_utf8_lossy(bytes);
    assert!(file.contains("/Lang"), "no language");
    let figures = tree.matches("Figure").count();
    assert_eq!(file.matches("/Alt").count(), figures, "pictures with words");
    Some(figures)
}
