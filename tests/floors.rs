//! House rules that a compiler does not hold: the order of the floors, what
//! the pure floors may not touch, and how a file begins. Each breach is named.

mod circles;
mod never;
mod paths;

use std::fs;
use std::path::{Path, PathBuf};

fn harness() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("harness")
}

/// Modules in the order in which `lib.rs` declares them, with whether they
/// stand below the I/O line.
fn declared() -> Vec<(String, bool)> {
    let text = fs::read_to_string(harness().join("lib.rs")).expect("lib.rs is there");
    let line = text
        .find("the I/O line")
        .expect("lib.rs draws the I/O line");
    text.match_indices("pub mod ")
        .map(|(at, word)| {
            let rest = &text[at + word.len()..];
            (
                rest[..rest.find(';').expect("a declaration ends")].to_owned(),
                at < line,
            )
        })
        .collect()
}

/// Every source file of a module with its text.
fn sources(module: &str) -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    let single = harness().join(format!("{module}.rs"));
    if single.exists() {
        found.push(single);
    }
    let mut folders = vec![harness().join(module)];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).into_iter().flatten().flatten() {
            let path = entry.path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                found.push(path);
            }
        }
    }
    found.sort();
    assert!(!found.is_empty(), "module {module} has no file");
    found
        .into_iter()
        .map(|path| {
            let text = fs::read_to_string(&path).expect("a source file is UTF-8");
            (path, text)
        })
        .collect()
}

/// Whether a file holds tests only.
fn is_test(path: &Path) -> bool {
    path.components().any(|part| {
        matches!(
            part.as_os_str().to_str(),
            Some("tests" | "tests.rs" | "samples.rs")
        )
    })
}

/// Lines of code up to the file's own tests, comments left out, numbered from
/// one.
fn code_lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let code = text
        .find("#[cfg(test)]\nmod tests {")
        .map_or(text, |at| &text[..at]);
    code.lines()
        .enumerate()
        .map(|(index, line)| (index + 1, line))
        .filter(|(_, line)| !line.trim_start().starts_with("//"))
}

/// Every file that is not for tests, with the paths it names.
fn the_crate() -> paths::Crate {
    let mut texts = Vec::new();
    for (module, _) in declared() {
        for (path, text) in sources(&module) {
            let name = path.strip_prefix(harness()).expect("it is below");
            let name = name.to_str().expect("names are ASCII").to_owned();
            let of_tests = is_test(&path) || name.ends_with("_tests.rs");
            if !of_tests {
                texts.push((name, text));
            }
        }
    }
    let texts = texts.iter();
    paths::Crate::of(texts.map(|(name, text)| (name.clone(), text.as_str())))
}

fn no_breach(breaches: &[String]) {
    assert!(breaches.is_empty(), "\n{}\n", breaches.join("\n"));
}

/// A knot of modules cannot be read, tested or replaced one by one; so a
/// module imports only what stands above it.
#[test]
fn a_module_imports_only_modules_declared_above_it() {
    let modules = declared();
    let mut breaches = Vec::new();
    for (floor, (module, _)) in modules.iter().enumerate() {
        for (path, text) in sources(module) {
            for (number, line) in code_lines(&text) {
                for (at, word) in line.match_indices("crate::") {
                    if line[..at].ends_with('$') {
                        continue;
                    }
                    let rest = &line[at + word.len()..];
                    let name: String = rest
                        .chars()
                        .take_while(|c| c.is_alphanumeric() || *c == '_')
                        .collect();
                    let known = modules.iter().position(|(m, _)| *m == name);
                    match known {
                        Some(other) if other <= floor => {}
                        Some(_) => breaches.push(format!(
                            "{}:{number}: `{module}` imports `{name}`, which is declared below it",
                            path.display()
                        )),
                        None => breaches.push(format!(
                            "{}:{number}: import by module path, not through the crate root: {}",
                            path.display(),
                            line.trim()
                        )),
                    }
                }
            }
        }
    }
    no_breach(&breaches);
}

/// Below the line everything is a function of its arguments; that is why a
/// record can be judged again and a model run repeats bit for bit.
#[test]
fn the_pure_floors_touch_no_world() {
    const WORLD: &[&str] = &[
        "tokio::",
        "std::fs",
        "std::io",
        "std::net",
        "std::process",
        "std::thread",
        "std::time",
        "rusqlite",
        "serialport",
        "rustix",
        "tracing::",
        "HashMap",
        "HashSet",
    ];
    // Caches that are looked up and never walked: no order comes out of them.
    const CACHES: &[&str] = &[
        "physics/circuit.rs",
        "physics/mean.rs",
        "physics/sampling.rs",
        "physics/strides.rs",
    ];
    let mut breaches = Vec::new();
    for (module, pure) in declared() {
        if !pure {
            continue;
        }
        for (path, text) in sources(&module) {
            if is_test(&path) {
                continue;
            }
            let cache = CACHES.iter().any(|file| path.ends_with(file));
            for (number, line) in code_lines(&text) {
                let allowed = |word: &str| cache && word == "HashMap";
                for word in WORLD
                    .iter()
                    .filter(|word| line.contains(*word) && !allowed(word))
                {
                    breaches.push(format!(
                        "{}:{number}: `{word}` below the I/O line",
                        path.display()
                    ));
                }
            }
        }
    }
    no_breach(&breaches);
}

/// A newcomer reads the first two sentences and knows whether to read on; and
/// a file that has grown past this length tells more than one story.
#[test]
fn a_file_says_what_it_is_for_and_stays_short() {
    const LONGEST: usize = 520;
    const LONGEST_TESTS: usize = 700;
    let mut breaches = Vec::new();
    for (module, _) in declared() {
        for (path, text) in sources(&module) {
            if !text.starts_with("//!") {
                breaches.push(format!(
                    "{}: does not open with what it is for",
                    path.display()
                ));
            }
            let lines = text.lines().count();
            let longest = if is_test(&path) {
                LONGEST_TESTS
            } else {
                LONGEST
            };
            if lines > longest {
                breaches.push(format!(
                    "{}: {lines} lines, more than {longest}",
                    path.display()
                ));
            }
        }
    }
    no_breach(&breaches);
}

/// Such names say nothing of what is inside, so everything ends up there.
#[test]
fn no_module_is_named_after_nothing() {
    const EMPTY: &[&str] = &[
        "util", "utils", "helpers", "helper", "common", "manager", "imp", "core", "misc",
    ];
    let mut breaches = Vec::new();
    for (module, _) in declared() {
        for (path, _) in sources(&module) {
            let stem = path
                .file_stem()
                .and_then(|stem| stem.to_str())
                .unwrap_or_default();
            if EMPTY.contains(&stem) || EMPTY.contains(&module.as_str()) {
                breaches.push(format!(
                    "{}: says nothing of what is inside",
                    path.display()
                ));
            }
        }
    }
    no_breach(&breaches);
}

/// `unsafe` may stand in one audited module at most; today in none.
#[test]
fn nothing_is_unsafe() {
    let mut breaches = Vec::new();
    for (module, _) in declared() {
        for (path, text) in sources(&module) {
            for (number, line) in code_lines(&text) {
                if line.contains("unsafe ") || line.contains("unsafe_code") {
                    breaches.push(format!("{}:{number}: {}", path.display(), line.trim()));
                }
            }
        }
    }
    no_breach(&breaches);
}
