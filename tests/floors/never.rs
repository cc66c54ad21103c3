//! What each floor never does, as `DEVELOPERS.md` lists it: which paths its files
//! may not name. A method called on a value it was given is not seen here.

use super::paths::Path;
use super::{no_breach, the_crate};

/// A rule: files that never name what begins with one of these paths.
struct Never {
    /// Files, by the beginning of their names or by a pattern with `*` for one
    /// folder.
    files: &'static [&'static str],
    paths: &'static [&'static str],
    /// Of these paths, what they may name all the same.
    but: &'static [&'static str],
    /// Why, as a sentence.
    why: &'static str,
}

/// Reading, writing, waiting.
const WORLD: &[&str] = &[
    "tokio",
    "std::fs",
    "std::io",
    "std::net",
    "std::process",
    "std::thread",
    "std::time",
    "std::env",
    "rusqlite",
    "tempfile",
];

const NEVER: &[Never] = &[
    Never {
        files: &["store/"],
        paths: &["report", "handout", "drawing", "console"],
        but: &[],
        why: "the store keeps records and never renders them: a page can change without it",
    },
    Never {
        files: &["console/", "page/", "cli/"],
        paths: &["physics", "waveform", "track", "statistics", "interruption"],
        // Values to be shown, and a fault to be said.
        but: &[
            "track::SignalReport",
            "track::Edge",
            "track::Polarity",
            "track::Packet",
            "waveform::Capture",
            "waveform::Channel",
            "waveform::Signal",
            "statistics::equivalence::Margin",
            "statistics::lots::LotComparison",
            "statistics::lots::Outcome",
            "physics::PhysicsFault",
        ],
        why: "a face shows what was found and never computes it: another face finds the same",
    },
    Never {
        files: &["scenario/*/evaluate.rs"],
        paths: &[
            "scenario::session",
            "scenario::intent",
            "scenario::routine",
            "scenario::*::drive",
            "judgement",
            "plan",
        ],
        but: &[],
        why: "an evaluation knows what was seen alone, so that any observation can be evaluated again",
    },
    Never {
        files: &["scenario/*/drive.rs"],
        paths: &[
            "judgement",
            "measurement::Finding",
            "measurement::Estimate",
            "measurement::Metric",
            "scenario::*::evaluate",
            "scenario::sheet",
        ],
        but: &[],
        why: "a procedure never knows what its observation is worth, so that no verdict steers it",
    },
    Never {
        files: &["handout/", "report/"],
        paths: &["runner", "bench", "instruments", "link", "model_bench"],
        but: &[],
        why: "a report is a function of the record, so that it comes out again without a bench",
    },
    Never {
        files: &["envelope/", "preflight/"],
        paths: WORLD,
        but: &[],
        why: "what may be done is asked before a bench is open, so the answer touches none",
    },
    Never {
        files: &["protocol/", "physics/", "model_instruments/"],
        paths: &["tokio", "std::io", "std::time"],
        but: &[],
        why: "the model world moves in bench time alone, so that a seed repeats every bit",
    },
];

/// The last column of the table of floors, which a compiler does not check.
#[test]
fn each_floor_keeps_from_what_it_never_does() {
    let all = the_crate();
    let mut breaches = Vec::new();
    for rule in NEVER {
        let mut files = 0;
        for (module, file) in all.files() {
            if !rule.files.iter().any(|files| is_of(&file.name, files)) {
                continue;
            }
            files += 1;
            for (path, home) in all.named_by(module) {
                let found = is_below(path, rule.paths)
                    || home.as_ref().is_some_and(|home| is_below(home, rule.paths));
                if found && !is_below(path, rule.but) {
                    let path = path.join("::");
                    breaches.push(format!("{} names `{path}`: {}", file.name, rule.why));
                }
            }
        }
        assert!(files > 0, "no file is under the rule: {}", rule.why);
    }
    no_breach(&breaches);
}

/// Whether a file is meant by the beginning of its name or by a pattern.
fn is_of(name: &str, files: &str) -> bool {
    if files.ends_with('/') {
        return name.starts_with(files) || name.strip_suffix(".rs") == files.strip_suffix('/');
    }
    let (name, files) = (name.split('/'), files.split('/'));
    name.clone().count() == files.clone().count()
        && name
            .zip(files)
            .all(|(is, wanted)| wanted == "*" || is == wanted)
}

/// Whether `path` begins with one of `beginnings`.
fn is_below(path: &Path, beginnings: &[&str]) -> bool {
    beginnings.iter().any(|beginning| {
        let mut at = path.iter();
        let wanted = beginning.split("::");
        wanted.clone().count() <= path.len()
            && wanted
                .zip(&mut at)
                .all(|(wanted, is)| wanted == "*" || wanted == is)
    })
}
