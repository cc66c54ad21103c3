//! Every kind of fault with the line and column a person counts on the screen,
//! and a wall of hostile texts.

use super::*;
use crate::units::{Amperes, Quantity, Ratio, Seconds};
use proptest::prelude::*;
use std::slice::from_ref;

const WORDS: &[(&str, u8)] = &[("near", 1), ("far", 2)];

#[derive(Debug, PartialEq)]
struct Sample {
    pulse: Seconds,
    limit: Option<Amperes>,
    steps: Option<Vec<Amperes>>,
    guard: Ratio,
    place: Option<u8>,
    name: Option<String>,
    count: Option<i64>,
    quick: bool,
}

fn sample(text: &str) -> Result<(Sample, Vec<Fault>), Vec<Fault>> {
    let mut faults = Faults::new();
    let source = Source::new("sample.toml", text);
    let Some(tree) = Tree::read(&source, &mut faults) else {
        return Err(faults.into_list());
    };
    let reader = Reader::new(faults);
    let root = Table::of(&tree, &reader);
    root.format();
    let value = root.table("part").and_then(|part| {
        let pulse = part.quantity("pulse", Demand::Positive);
        let sample = (
            part.optional_quantity("limit", Demand::Within(1.0, 10.0)),
            part.quantities("steps", Demand::NotNegative),
            part.quantity_or("guard", Demand::Any, Ratio::new(1.0)),
            part.optional_word("place", WORDS),
            part.optional_string("name"),
            part.optional_integer("count", 1..=9),
            part.boolean_or("quick", false),
        );
        part.finish();
        let (limit, steps, guard, place, name, count, quick) = sample;
        Some(Sample {
            pulse: pulse?,
            limit,
            steps,
            guard,
            place,
            name,
            count,
            quick,
        })
    });
    root.finish();
    reader.conclude(value)
}

/// The only fault of a text, as `line:column message`.
fn check(text: &str, line: usize, column: usize, message: &str) -> Fault {
    let faults = sample(text).expect_err(text);
    assert_eq!(faults.len(), 1, "{text:?}: {faults:#?}");
    let fault = faults[0].clone();
    assert_eq!((fault.line, fault.column), (line, column), "{fault:?}");
    assert!(fault.message.contains(message), "{fault:?}");
    assert_eq!(fault.file, "sample.toml");
    fault
}

fn part(line: &str) -> String {
    format!("format = 1\n[part]\npulse = \"1 s\"\n{line}\n")
}

#[test]
fn a_sound_text_gives_its_values() {
    let text = part(
        "limit = \"2 A\"\nsteps = [\"0 A\", \"1500 mA\"]\nguard = 1.5\nplace = \"far\"\n\
         name = \"x\"\ncount = 3\nquick = true",
    );
    let (sample, warnings) = sample(&text).expect("sound");
    assert!(warnings.is_empty());
    assert_eq!(
        sample,
        Sample {
            pulse: Seconds::new(1.0),
            limit: Some(Amperes::new(2.0)),
            steps: Some(vec![Amperes::new(0.0), Amperes::new(1.5)]),
            guard: Ratio::new(1.5),
            place: Some(2),
            name: Some("x".to_owned()),
            count: Some(3),
            quick: true,
        }
    );
}

#[test]
fn each_kind_of_fault_points_at_its_character() {
    for (line, at, message) in [
        ("limit = \"2 V\"", (4, 9), "'V' is a voltage, not a current"),
        ("limit = 2", (4, 9), "a number without a unit"),
        ("limit = \"2\"", (4, 9), "the unit is missing"),
        ("limit = \"2 furlong\"", (4, 9), "'furlong' is not a unit"),
        ("limit = \"20 A\"", (4, 9), "out of range"),
        ("limit = true", (4, 9), "this is true or false"),
        ("limit = inf", (4, 9), "this is a number"),
        ("steps = [\"1 A\", \"-1 A\"]", (4, 17), "out of range"),
        ("steps = \"1 A\"", (4, 9), "this is a string"),
        ("place = \"hear\"", (4, 9), "'hear' is not known"),
        ("name = \"\"", (4, 8), "empty"),
        ("name = \"a\\u0007\"", (4, 8), "control characters"),
        ("name = 1", (4, 8), "this is a whole number"),
        ("count = 10", (4, 9), "out of range"),
        ("count = 99999999999999999999", (4, 9), "out of range"),
        ("quick = 1", (4, 9), "this is a whole number"),
        ("colour = 1", (4, 1), "`colour` is not a key here"),
        // Columns count characters: the umlaut is one.
        ("name = \"ü\" # ü\nx = 1", (5, 1), "`x` is not a key"),
        ("\"ü\" = 1", (4, 1), "is not a key"),
        ("pulse = \"2 s\"", (4, 1), "written twice"),
    ] {
        check(&part(line), at.0, at.1, message);
    }
}

#[test]
fn missing_keys_are_reported_at_their_table() {
    check("format = 1\n\n[part]\n", 3, 1, "`pulse` is missing");
    check("format = 1\n", 1, 1, "`part` is missing");
    check("[part]\npulse = \"1 s\"\n", 1, 1, "`format` is missing");
    check(
        "format = 2\n[part]\npulse = \"1 s\"\n",
        1,
        10,
        "this format",
    );
    check("format = 1\npart = 7\n", 2, 8, "this is a whole number");
}

#[test]
fn hints_name_the_nearest_word() {
    let fault = check(&part("place = \"neer\""), 4, 9, "not known");
    assert_eq!(fault.hint.as_deref(), Some("did you mean \"near\"?"));
    assert_eq!(fault.expected.as_deref(), Some("\"near\", \"far\""));
    let fault = check(&part("limt = \"2 A\""), 4, 1, "not a key");
    assert_eq!(fault.hint.as_deref(), Some("did you mean `limit`?"));
}

#[test]
fn all_faults_come_at_once_in_order() {
    let text = "[part]\nlimit = \"2 V\"\nplace = \"x\"\ncount = 0\nwhat = 1\n";
    let faults = sample(text).expect_err("faulty");
    let lines: Vec<usize> = faults.iter().map(|fault| fault.line).collect();
    // `format` and `pulse` are missing, and four lines are wrong.
    assert_eq!(lines, [1, 1, 2, 3, 4, 5], "{faults:#?}");
}

#[test]
fn files_that_are_no_toml_say_so_once() {
    check("", 1, 1, "the file says nothing");
    check("# only a comment\n\n", 1, 1, "the file says nothing");
    check("\u{feff}format = 1\n", 1, 1, "byte order mark");
    check("format = 1\n[part]\npulse = \"1 s", 3, 13, "not TOML");
    check("format = 1\n[part", 2, 6, "not TOML");
    check("format = \n", 1, 10, "not TOML");
    let faults = sample("\u{0}\u{1}\u{2}").expect_err("binary");
    assert_eq!(faults.len(), 1, "{faults:?}");
}

#[test]
fn a_text_cut_anywhere_never_has_more_faults_than_lines() {
    let text = part("limit = \"2 A\"\nsteps = [\"0 A\", \"1 A\"]\nname = \"ü\"");
    for cut in (0..text.len()).filter(|cut| text.is_char_boundary(*cut)) {
        if let Err(faults) = sample(&text[..cut]) {
            assert!(!faults.is_empty());
            assert!(faults.len() <= 2, "{cut}: {faults:#?}");
        }
    }
}

#[test]
fn bytes_that_are_no_text_are_refused_at_their_place() {
    let bytes = b"format = 1\nname = \"\xff\"\n";
    let refused = Source::from_bytes("x.toml", bytes).expect_err("not UTF-8");
    assert_eq!((refused.fault.line, refused.fault.column), (2, 9));
    assert!(!render(from_ref(&refused.fault), from_ref(&refused.source), false).is_empty());
    let large = vec![b'#'; usize::try_from(LARGEST_FILE).expect("a megabyte") + 1];
    let refused = Source::from_bytes("x.toml", &large).expect_err("too large");
    assert!(refused.fault.message.contains("1 MiB"));
    assert!(Source::from_bytes("x.toml", "ü = 1".as_bytes()).is_ok());
}

#[test]
fn rendering_shows_line_caret_expectation_and_hint() {
    let text = part("limit = \"2 V\"\nplase = \"near\"");
    let faults = sample(&text).expect_err("faulty");
    let source = Source::new("sample.toml", text);
    let shown = render(&faults, from_ref(&source), false);
    for piece in [
        "error: 'V' is a voltage, not a current",
        "sample.toml:4:9",
        "limit = \"2 V\"",
        "^^^^^ expected a current such as \"5 A\"",
        "help: did you mean `place`?",
    ] {
        assert!(shown.contains(piece), "{piece:?} in\n{shown}");
    }
    assert!(!shown.contains('\u{1b}'), "no colour was asked for");
    assert!(render(&faults, &[source], true).contains('\u{1b}'));
    assert!(render(&faults, &[], false).contains("sample.toml:4:9"));
}

#[test]
fn faults_survive_json() {
    let faults = sample(&part("limit = 2")).expect_err("faulty");
    let json = serde_json::to_string(&faults).expect("faults are plain data");
    assert!(json.contains("\"line\":4,\"column\":9"), "{json}");
    let back: Vec<Fault> = serde_json::from_str(&json).expect("its own JSON");
    assert_eq!(back, faults);
}

fn tree(name: &str, text: &str) -> Tree {
    let mut faults = Faults::new();
    let tree = Tree::read(&Source::new(name, text), &mut faults);
    assert!(faults.is_empty());
    tree.expect("sound")
}

#[test]
fn an_overlay_replaces_values_and_keeps_their_places() {
    let base = tree(
        "base.toml",
        "format = 1\n[a]\nx = 1\ny = 2\n[[s]]\nname = \"one\"\nv = 1\n[[s]]\nkind = \"two\"\nv = 2\n",
    );
    let over = tree(
        "over.toml",
        "[a]\nx = 7\n[[s]]\nkind = \"two\"\nv = 9\n[[s]]\nname = \"new\"\nv = 3\n",
    );
    let laid = base.overlaid(over, &["s"]);
    let reader = Reader::default();
    let root = Table::of(&laid, &reader);
    let a = root.table("a").expect("merged");
    assert_eq!(a.integer("x", 0..=9), Some(7));
    assert_eq!(a.integer("y", 0..=9), Some(2));
    assert_eq!(a.place_of("x").source.name, "over.toml");
    assert_eq!(a.place_of("y").source.name, "base.toml");
    let values: Vec<i64> = root
        .tables("s")
        .iter()
        .filter_map(|s| s.integer("v", 0..=9))
        .collect();
    assert_eq!(values, [1, 9, 3]);
}

proptest! {
    #[test]
    fn no_text_panics(text in any::<String>()) {
        if let Err(faults) = sample(&text) {
            prop_assert!(!faults.is_empty());
            render(&faults, &[Source::new("sample.toml", text)], true);
        }
    }

    /// Texts that look like files reach further than noise does.
    #[test]
    fn no_near_miss_panics(lines in proptest::collection::vec(
        "(\\[\\[?part\\]?\\]?|format = [0-9]{1,20}|(pulse|limit|steps|guard|name|count|é) ?=? ?(\"[0-9.µA-z ]{0,8}\"?|-?[0-9]{1,4}|\\[[^\\n]{0,5}|\\{[^\\n]{0,5}))",
        0..12,
    )) {
        let text = lines.join("\n");
        if let Err(faults) = sample(&text) {
            prop_assert!(!faults.is_empty());
            render(&faults, &[Source::new("sample.toml", text)], false);
        }
    }

    #[test]
    fn no_bytes_panic(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        if let Err(refused) = Source::from_bytes("x.toml", &bytes) {
            render(from_ref(&refused.fault), from_ref(&refused.source), false);
        }
    }

    #[test]
    fn a_finite_current_in_range_is_taken(value in 1.0_f64..10.0) {
        let (sample, _) = sample(&part(&format!("limit = \"{value} A\""))).expect("sound");
        prop_assert_eq!(sample.limit.map(Quantity::si), Some(value));
    }
}
