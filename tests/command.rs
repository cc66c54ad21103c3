//! The command as a person meets it: what it says and how it ends when the
//! input is not what it should be. Nothing here may energise anything, and no
//! folder may appear where a serial number tried to put one.

use super::records::fixture;
use assert_cmd::cargo::cargo_bin_cmd;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// One call in a fresh folder: its words, its status, and what it must say.
struct Case {
    words: &'static [&'static str],
    status: i32,
    says: &'static [&'static str],
}

fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    for entry in fs::read_dir(demo)
        .expect("the demo's files are there")
        .flatten()
    {
        fs::copy(entry.path(), folder.path().join(entry.file_name())).expect("a copy");
    }
    folder
}

fn check(folder: &Path, case: &Case) {
    let done = cargo_bin_cmd!("bufferstop")
        .current_dir(folder)
        .env_remove("BUFFERSTOP_BENCH")
        .args(case.words)
        .output()
        .expect("the command runs");
    let said = String::from_utf8_lossy(&done.stderr);
    assert_eq!(
        done.status.code(),
        Some(case.status),
        "{:?}\n{said}",
        case.words
    );
    for part in case.says {
        assert!(
            said.contains(part),
            "{:?} does not say {part:?}:\n{said}",
            case.words
        );
    }
    assert!(
        !said.contains("panicked"),
        "{:?} panicked:\n{said}",
        case.words
    );
}

#[test]
fn wrong_usage_is_answered_with_64() {
    let folder = folder();
    for case in [
        Case {
            words: &["fly"],
            status: 64,
            says: &["fly"],
        },
        Case {
            words: &["accept", "plan.toml"],
            status: 64,
            says: &["--serial"],
        },
        Case {
            words: &["accept", "plan.toml", "--serial", ""],
            status: 64,
            says: &["serial number", "empty"],
        },
        Case {
            words: &["accept", "plan.toml", "--serial", "../../x"],
            status: 64,
            says: &["'.'"],
        },
        Case {
            words: &["accept", "plan.toml", "--serial", "a/b"],
            status: 64,
            says: &["'/'", "character 2"],
        },
        Case {
            words: &["accept", "plan.toml", "--serial", "a\u{7}"],
            status: 64,
            says: &["\\u{7}"],
        },
        Case {
            words: &["accept", "plan.toml", "--serial", "\u{1F682}"],
            status: 64,
            says: &["1f682"],
        },
        Case {
            words: &["accept", "plan.toml", "--serial", "A1", "--ambient", "5 V"],
            status: 64,
            says: &["--ambient", "a voltage"],
        },
        Case {
            words: &[
                "accept",
                "plan.toml",
                "--serial",
                "A1",
                "--only",
                "levitation",
            ],
            status: 64,
            says: &["levitation", "overload"],
        },
    ] {
        check(folder.path(), &case);
    }
    let long = "x".repeat(300);
    let done = cargo_bin_cmd!("bufferstop")
        .current_dir(folder.path())
        .args(["accept", "plan.toml", "--serial", &long])
        .output()
        .expect("the command runs");
    assert_eq!(done.status.code(), Some(64));
    assert!(
        !folder.path().join("reports").exists(),
        "a refused serial number left a folder"
    );
}

#[test]
fn faulty_files_are_answered_with_65() {
    let folder = folder();
    let write =
        |name: &str, bytes: &[u8]| fs::write(folder.path().join(name), bytes).expect("a file");
    let plan = fs::read_to_string(folder.path().join("plan.toml")).expect("the demo's plan");
    write("empty.toml", b"");
    write("binary.toml", b"\x00\xff\xfe\x80format = 1");
    let open = plan.rfind('{').expect("a limit");
    write("half.toml", &plan.as_bytes()[..open + 3]);
    write(
        "unknown.toml",
        format!("{plan}\n[colour]\nframe = 1\n").as_bytes(),
    );
    for case in [
        Case {
            words: &["check", "absent.toml"],
            status: 65,
            says: &["absent.toml"],
        },
        Case {
            words: &["check", "empty.toml"],
            status: 65,
            says: &["empty.toml"],
        },
        Case {
            words: &["check", "binary.toml"],
            status: 65,
            says: &["binary.toml"],
        },
        Case {
            words: &["check", "unknown.toml"],
            status: 65,
            says: &["unknown.toml", "colour"],
        },
        Case {
            words: &["check", "."],
            status: 65,
            says: &["."],
        },
        Case {
            words: &["accept", "half.toml", "--serial", "A1"],
            status: 65,
            says: &["half.toml"],
        },
        Case {
            words: &["accept", "absent.toml", "--serial", "A1"],
            status: 65,
            says: &["absent.toml"],
        },
    ] {
        check(folder.path(), &case);
    }
    assert!(
        !folder.path().join("reports").exists(),
        "a faulty file left a record"
    );
}

#[test]
fn an_absent_bench_is_answered_with_69() {
    let folder = folder();
    let bench = fs::read_to_string(folder.path().join("bench.toml")).expect("the demo's bench");
    // Every instrument of the demo's bench, moved to ports that are not there.
    let mut real = bench.clone();
    for number in 0.. {
        let port = format!("path = \"/dev/bufferstop-absent{number}\"");
        let next = real.replacen("model = true", &port, 1);
        if next == real {
            assert!(number > 0, "the demo's bench is a model");
            break;
        }
        real = next;
    }
    let real: String = strip_model_section(&real);
    fs::write(folder.path().join("real.toml"), real).expect("a file");
    check(
        folder.path(),
        &Case {
            words: &[
                "accept",
                "plan.toml",
                "--serial",
                "A1",
                "--ready",
                "--bench",
                "real.toml",
            ],
            status: 69,
            says: &["/dev/bufferstop-absent"],
        },
    );
}

/// A bench of real ports may not describe a model.
fn strip_model_section(text: &str) -> String {
    let mut inside = false;
    let mut kept = String::new();
    for line in text.lines() {
        if line.starts_with('[') {
            inside = line.starts_with("[model");
        }
        if !inside {
            kept.push_str(line);
            kept.push('\n');
        }
    }
    kept
}

#[test]
fn records_that_cannot_be_written_are_answered_with_74() {
    let folder = folder();
    fs::write(
        folder.path().join("taken"),
        "a file where a folder is wanted",
    )
    .expect("a file");
    let words = &["accept", "plan.toml", "--serial", "A1", "--out", "taken"];
    check(
        folder.path(),
        &Case {
            words,
            status: 74,
            says: &["taken"],
        },
    );
}

/// One serial number a line; a wrong one is answered and the next one runs.
#[test]
fn serial_numbers_are_read_one_after_another() {
    let folder = folder();
    let done = cargo_bin_cmd!("bufferstop")
        .current_dir(folder.path())
        .env_remove("BUFFERSTOP_BENCH")
        .args(["accept", "plan.toml", "--serial", "-", "--only", "load"])
        .write_stdin("A1\n../x\n\nA2\n")
        .output()
        .expect("the command runs");
    let said = String::from_utf8_lossy(&done.stderr);
    assert_eq!(done.status.code(), Some(2), "{said}");
    assert!(said.contains("'.'"), "{said}");
    for serial in ["A1", "A2"] {
        assert!(
            folder.path().join("reports").join(serial).is_dir(),
            "{serial}"
        );
    }
}

/// A file in another's place is named as what it is, in one fault.
#[test]
fn a_file_of_the_wrong_kind_is_named_as_what_it_is() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    let at = |name: &str| demo.join(name).display().to_string();
    let accept = |plan: &str, more: &[&str]| {
        let folder = folder();
        let done = cargo_bin_cmd!("bufferstop")
            .current_dir(folder.path())
            .env_remove("BUFFERSTOP_BENCH")
            .args(["accept", plan, "--serial", "K1"])
            .args(more)
            .output()
            .expect("the command runs");
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        assert_eq!(done.status.code(), Some(65), "{said}");
        said
    };
    let (plan, bench, lot) = (at("plan.toml"), at("bench.toml"), at("lot.toml"));
    let said = accept(&bench, &[]);
    assert_eq!(said.matches("error:").count(), 1, "{said}");
    assert!(said.contains("this file is a bench"), "{said}");
    assert!(said.contains("bench.toml:5:"), "{said}");
    assert!(said.contains("a plan here"), "{said}");
    let said = accept(&plan, &["--bench", &lot]);
    assert!(said.contains("this file is a lot"), "{said}");
    let said = accept(&plan, &["--model-board", &plan]);
    assert!(said.contains("this file is a plan"), "{said}");
    // Boards of another family are not what the plan is for.
    let other = tempfile::NamedTempFile::with_suffix(".toml").expect("a file");
    let text = fs::read_to_string(&lot).expect("the demo's lot");
    fs::write(&other, text.replace("garden booster", "hall booster")).expect("a lot");
    let said = accept(&plan, &["--lot", &other.path().display().to_string()]);
    assert!(said.contains("its boards are hall booster"), "{said}");
}

#[test]
fn faults_come_as_json_too() {
    let folder = folder();
    fs::write(
        folder.path().join("bad.toml"),
        "format = 1\n[plan]\nname = 3\n",
    )
    .expect("a file");
    let done = cargo_bin_cmd!("bufferstop")
        .current_dir(folder.path())
        .args(["check", "bad.toml", "--json"])
        .output()
        .expect("the command runs");
    assert_eq!(done.status.code(), Some(65));
    let document: serde_json::Value =
        serde_json::from_slice(&done.stdout).expect("one JSON document");
    let faults = document["faults"].as_array().expect("a list of faults");
    let name = faults
        .iter()
        .find(|fault| fault["line"] == 3)
        .expect("the fault on line 3");
    assert_eq!(name["file"], "bad.toml");
    assert!(name["column"].as_u64().is_some_and(|column| column >= 1));
}

/// With `--json` whatever goes wrong is said in lines of JSON, by every command.
#[test]
fn errors_come_as_json_from_every_command() {
    let folder = folder();
    fs::write(
        folder.path().join("bad.toml"),
        "format = 1\n[plan]\nname = 3\n",
    )
    .expect("room");
    for (words, status, key) in [
        (&["accept", "bad.toml", "--serial", "A1"][..], 65, "faults"),
        (&["accept", "bad.toml"], 64, "message"),
        (&["accept", "bad.toml", "--serial", "../x"], 64, "message"),
        (&["bench", "absent.toml"], 65, "faults"),
        (
            &["compare", "--baseline", "none", "--candidate", "none"],
            64,
            "message",
        ),
        (&["guide", "nothing"], 64, "message"),
        (&["inspect", "absent.vcd"], 64, "message"),
        (&["prove", "bad.toml"], 65, "faults"),
        (&["records", "list"], 64, "message"),
        (&["records", "show", "X1"], 64, "message"),
        (&["rejudge", "--all"], 64, "message"),
        (&["no-such-command"], 64, "message"),
    ] {
        let done = cargo_bin_cmd!("bufferstop")
            .env_remove("BUFFERSTOP_BENCH")
            .current_dir(folder.path())
            .args(words)
            .arg("--json")
            .output()
            .expect("the command runs");
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        let lines = said.lines().map(serde_json::from_str::<serde_json::Value>);
        let lines: Vec<_> = lines
            .collect::<Result<_, _>>()
            .unwrap_or_else(|_| panic!("{words:?}: {said}"));
        assert!(
            lines.iter().any(|line| !line[key].is_null()),
            "{words:?}: {said}"
        );
        assert!(
            done.status.code().is_some_and(|found| found >= 64),
            "{words:?}: {said}"
        );
        if status == 65 {
            assert_eq!(done.status.code(), Some(65), "{words:?}: {said}");
        }
    }
}

#[test]
fn every_command_has_help_with_an_example() {
    for words in [
        &["demo"][..],
        &["accept"],
        &["check"],
        &["bench"],
        &["model-bench"],
        &["records", "backup"],
        &["records", "export"],
        &["records", "list"],
        &["records", "note"],
        &["records", "show"],
        &["records", "verify"],
        &["rejudge"],
        &["compare"],
    ] {
        let done = cargo_bin_cmd!("bufferstop")
            .args(words)
            .arg("--help")
            .output()
            .expect("the command runs");
        assert_eq!(done.status.code(), Some(0), "{words:?}");
        let said = String::from_utf8_lossy(&done.stdout);
        assert!(said.contains("Example:  bufferstop"), "{words:?}:\n{said}");
    }
    let accept = cargo_bin_cmd!("bufferstop")
        .args(["accept", "--help"])
        .output()
        .expect("the command runs");
    assert!(String::from_utf8_lossy(&accept.stdout).contains("CAUTION"));
}

/// What the workshop's file states serves every folder below it, an option goes
/// first, and a fault in it is named at its line.
#[test]
fn the_workshops_file_is_found_upwards() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let below = folder.path().join("a/b");
    std::fs::create_dir_all(&below).expect("room");
    let workshop = folder.path().join("bufferstop.toml");
    let text = "format = 1\n[defaults]\noperator = \"R. T.\"\n";
    let run = |serial: &str, more: &[&str]| {
        let plan = fixture("plan.toml");
        cargo_bin_cmd!("bufferstop")
            .env_remove("BUFFERSTOP_BENCH")
            .current_dir(&below)
            .args(["accept", "--only", "sense", "--json", "--serial", serial])
            .arg(plan)
            .args(more)
            .output()
            .expect("the command runs")
    };
    let operator = |serial: &str, more: &[&str]| {
        let done = run(serial, more);
        let said = String::from_utf8_lossy(&done.stdout).into_owned();
        let first = said.lines().next().expect("an event");
        let event: serde_json::Value = serde_json::from_str(first).expect("JSON");
        event["event"]["operator"].clone()
    };
    assert_eq!(operator("O1", &[]), serde_json::Value::Null);
    std::fs::write(&workshop, text).expect("room");
    assert_eq!(operator("O2", &[]), "R. T.");
    assert_eq!(operator("O3", &["--operator", "K. L."]), "K. L.");
    // Lot and folder lie beside that file, not where the command is called.
    let more = "lot = \"spring.toml\"\nrecords = \"kept\"\n";
    std::fs::write(&workshop, format!("{text}{more}")).expect("room");
    let lot = std::fs::read_to_string(fixture("lot.toml")).expect("a lot");
    std::fs::write(folder.path().join("spring.toml"), lot).expect("room");
    let trial = run("O5", &[]);
    let said = String::from_utf8_lossy(&trial.stdout).into_owned();
    assert!(said.contains("\"lot\":\"GB-2026-11\""), "{said}");
    assert!(folder.path().join("kept/model.sqlite").is_file());
    let list = |more: &[&str]| {
        let done = cargo_bin_cmd!("bufferstop")
            .current_dir(&below)
            .args(["records", "list", "--model", "--json"])
            .args(more)
            .output()
            .expect("the command runs");
        String::from_utf8_lossy(&done.stdout).into_owned()
    };
    assert!(list(&[]).contains("O5") && !list(&[]).contains("O3"));
    assert!(list(&["--out", "reports"]).contains("O3"));
    std::fs::write(&workshop, text.replace("operator", "operators")).expect("room");
    let done = run("O4", &[]);
    let said = String::from_utf8_lossy(&done.stderr).into_owned();
    assert_eq!(done.status.code(), Some(65), "{said}");
    assert!(
        said.contains("bufferstop.toml") && said.contains("\"line\":3"),
        "{said}"
    );
}
