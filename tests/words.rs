//! Words that no person should meet on a screen, on paper, in the guide or in
//! help: one table, looked for in every string of the program and in the texts
//! that come with it. It does not judge style.

use regex_lite::Regex;
use std::path::{Path, PathBuf};

/// What is not written, and what is written instead.
const AVOIDED: &[(&str, &str)] = &[
    (
        r"\b[Hh](old|olds|eld|olding) [a-z ]{0,20}against\b",
        "check against",
    ),
    (
        r"\b(be|not|never|nothing|no more|numbers) told\b|\btells? (no|nothing|how)\b",
        "state, show, distinguish",
    ),
    (r"\bbears?\b", "withstand"),
    (r"\blet go\b", "drop out, open"),
    (
        r"\b(the least|least (value|supply|voltage|allowed))\b",
        "the lowest, the minimum",
    ),
    (r"\b[Gg]reatest\b", "the largest, the maximum"),
    (r"\banew\b", "again"),
    (r"\bis no number\b", "is not a number"),
    (r"not seen to its end", "a lower or an upper bound"),
    (r"\bcaught\b|\bcatch(es)?\b", "detected"),
    (
        r"\bpassed at (first|last)\b",
        "first-pass yield, final yield",
    ),
    (r">spread\b", "standard deviation"),
    (
        r"\b[Uu]ndecided\b|UNDECIDED|\bnot decided\b",
        "inconclusive",
    ),
    (
        r"\bcannot be told\b|\bcould be told\b",
        "judged, stated, shown",
    ),
    (
        r"plan-size|--take\b|--each\b",
        "an option that says what it does",
    ),
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn files(folder: &Path, ending: &str, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            files(&path, ending, found);
        } else if path.extension().is_some_and(|is| is == ending) {
            found.push(path);
        }
    }
}

/// The string literals of a source before its tests, with their lines.
fn literals(source: &str) -> Vec<(usize, String)> {
    let source = source.split("#[cfg(test)]").next().unwrap_or_default();
    let literal =
        Regex::new(r#"(?s)//[^\n]*|'(?:\\.|[^\\'])'|"((?:\\.|[^"\\])*)""#).expect("sound");
    let folded = Regex::new(r"\\\n\s*").expect("sound");
    let found = literal.captures_iter(source).filter_map(|found| {
        let text = found.get(1)?;
        let line = source[..text.start()].matches('\n').count() + 1;
        Some((line, folded.replace_all(text.as_str(), "").into_owned()))
    });
    found.collect()
}

/// Each text that a person reads, with its file and line.
fn texts() -> Vec<(String, String)> {
    let mut sources = Vec::new();
    files(&root().join("harness"), "rs", &mut sources);
    let mut texts = Vec::new();
    for path in sources {
        let name = path
            .strip_prefix(root())
            .expect("inside")
            .display()
            .to_string();
        if name.contains("/tests") || name.ends_with("tests.rs") {
            continue;
        }
        let source = std::fs::read_to_string(&path).expect("a source");
        let literals = literals(&source).into_iter();
        texts.extend(literals.map(|(line, text)| (format!("{name}:{line}"), text)));
        // What stands on an option or command is its help.
        if name.starts_with("harness/cli/arguments") {
            let lines = source.lines().enumerate();
            let help = lines.filter(|(_, line)| line.trim_start().starts_with("///"));
            texts.extend(help.map(|(at, line)| (format!("{name}:{}", at + 1), line.to_owned())));
        }
    }
    let mut pages = vec![root().join("README.md")];
    files(&root().join("fixtures/demo"), "toml", &mut pages);
    files(&root().join("fixtures/profiles"), "toml", &mut pages);
    for path in pages {
        let text = std::fs::read_to_string(&path).expect("a text");
        let name = path
            .strip_prefix(root())
            .expect("inside")
            .display()
            .to_string();
        let lines = text.lines().enumerate();
        texts.extend(lines.map(|(at, line)| (format!("{name}:{}", at + 1), line.to_owned())));
    }
    texts
}

#[test]
fn no_text_for_people_has_a_word_that_is_avoided() {
    let texts = texts();
    assert!(texts.len() > 3000, "only {} texts were found", texts.len());
    let mut found = Vec::new();
    for (pattern, instead) in AVOIDED {
        let pattern = Regex::new(pattern).expect("sound");
        let hits = texts.iter().filter(|(_, text)| pattern.is_match(text));
        found.extend(hits.map(|(place, text)| format!("{place}: {text:?}: write {instead}")));
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// The reader of literals sees what it should, or the test above sees nothing.
#[test]
fn literals_are_found_across_lines_and_not_in_comments() {
    let source =
        "let a = \"one \\\n    two\"; // \"not this\"\nlet b = '\"'; let c = \"th\\\"ree\";";
    let found = literals(source);
    let texts: Vec<&str> = found.iter().map(|(_, text)| text.as_str()).collect();
    assert_eq!(texts, ["one two", "th\\\"ree"]);
    assert_eq!(found[1].0, 3);
}
