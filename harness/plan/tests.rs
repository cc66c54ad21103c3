//! The demo's plan is sound, and each way to spoil it is named at its line.

use super::*;
use crate::document::{Fault, Severity, Source};
use crate::judgement::DecisionRule;
use crate::units::Quantity;
use proptest::prelude::*;

mod alone;
mod catalogue;
mod comparisons;

const DEMO: &str = include_str!("../../fixtures/demo/plan.toml");

fn read(text: &str) -> Result<(Plan, Vec<Fault>), Vec<Fault>> {
    parse(&[Source::new("plan.toml", text)])
}

/// The line on which `word` stands for the `nth` time, counted from one.
fn line_of(text: &str, word: &str, nth: usize) -> usize {
    text.lines()
        .enumerate()
        .filter(|(_, line)| line.contains(word))
        .nth(nth - 1)
        .map(|(index, _)| index + 1)
        .unwrap_or_else(|| panic!("{word:?} stands there less than {nth} times"))
}

/// `DEMO` with `old` replaced has exactly one fault, in the line of `at`.
fn check(old: &str, new: &str, at: (&str, usize), message: &str) {
    assert!(DEMO.contains(old), "{old:?}");
    let text = DEMO.replacen(old, new, 1);
    let faults = read(&text).expect_err(new);
    assert_eq!(faults.len(), 1, "{new:?}: {faults:#?}");
    assert!(faults[0].message.contains(message), "{:#?}", faults[0]);
    assert_eq!(
        faults[0].line,
        line_of(&text, at.0, at.1),
        "{:#?}",
        faults[0]
    );
}

#[test]
fn the_demo_plan_is_sound() {
    let (plan, warnings) = read(DEMO).expect("sound");
    assert!(warnings.is_empty(), "{warnings:#?}");
    let names: Vec<&str> = plan.scenarios.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(
        names,
        [
            "idle", "load", "overload", "short", "reversal", "sense", "signal", "loss", "inrush",
            "soak", "supply"
        ]
    );
    let Settings::Load(load) = &plan.scenarios[1].settings else {
        panic!("the second is a load");
    };
    let steps: Vec<f64> = load.steps.iter().map(|step| step.si()).collect();
    assert_eq!(steps, [0.0, 0.75, 1.5, 2.25, 3.0]);
    let limit = plan.scenarios[2].limit("trip_time").expect("stated");
    assert_eq!((limit.lower, limit.upper), (None, Some(0.025)));
    assert_eq!(limit.rule, DecisionRule::GuardedAcceptance { guard: 1.0 });
    let trips = plan.scenarios[2].limit("nuisance_trips").expect("stated");
    assert_eq!(trips.rule, DecisionRule::Simple);
}

#[test]
fn the_demo_lot_is_sound() {
    let (lot, _) = parse_lot(&demo::lot()).expect("sound");
    let (plan, _) = parse(&[demo::plan()]).expect("sound");
    assert_eq!((lot.family, lot.revision), (plan.family, plan.revision));
    assert_eq!(lot.parts[0].place, "U1");
    let spoiled = Source::new(
        "lot.toml",
        "format = 1\n[lot]\nname = \"../x\"\nfamily = \"f\"\nrevision = \"A\"\n[parts]\nU1 = 7\n",
    );
    let faults = parse_lot(&spoiled).expect_err("spoiled");
    let places: Vec<_> = faults.iter().map(|f| (f.line, f.column)).collect();
    assert_eq!(places, [(3, 8), (7, 6)], "{faults:#?}");
}

#[test]
fn a_scenario_without_limits_is_only_warned_of() {
    let head = &DEMO[..DEMO.find("[scenario.limits]").expect("it has some")];
    let (_, warnings) = read(head).expect("usable");
    assert_eq!(warnings.len(), 1);
    assert_eq!(warnings[0].severity, Severity::Warning);
}

#[test]
fn an_overlay_of_ten_lines_changes_what_it_says() {
    let over = Source::new(
        "over.toml",
        "format = 1\nextends = \"plan.toml\"\n[plan]\nrevision = \"C\"\n[[scenario]]\n\
         kind = \"overload\"\npulse = \"80 ms\"\n[scenario.limits]\n\
         trip_time = { max = \"20 ms\" }\n",
    );
    let base = Source::new("plan.toml", DEMO);
    assert_eq!(
        extends(&over).expect("readable").as_deref(),
        Some("plan.toml")
    );
    assert_eq!(extends(&base).expect("readable"), None);
    let (plan, _) = parse(&[base.clone(), over.clone()]).expect("sound");
    let (before, _) = read(DEMO).expect("sound");
    assert_eq!(plan.revision, "C");
    assert_eq!(plan.family, before.family);
    assert_eq!(plan.scenarios.len(), before.scenarios.len());
    let limit = plan.scenarios[2].limit("trip_time").expect("kept");
    assert_eq!(limit.upper, Some(0.020));
    assert!(limit.source.contains("section 4"), "kept from the base");
    assert_eq!(plan.scenarios[0], before.scenarios[0]);
    // A fault in the overlay is the overlay's.
    let spoiled = Source::new("over.toml", over.text.replace("80 ms", "8 ms"));
    let faults = parse(&[base, spoiled]).expect_err("too short");
    assert_eq!((faults[0].file.as_str(), faults[0].line), ("over.toml", 7));
    assert!(parse(&[]).is_err());
}

proptest! {
    #[test]
    fn a_damaged_plan_never_panics(at in 0_usize..3000, cut in 0_usize..40, with: String) {
        let start = at.min(DEMO.len());
        let end = (start + cut).min(DEMO.len());
        let text = format!("{}{with}{}", &DEMO[..start], &DEMO[end..]);
        match read(&text) {
            Ok(_) => {}
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }
}

#[test]
fn a_board_that_goes_dead_without_a_signal_is_left_alternating() {
    let text = DEMO
        .replacen("on_signal_loss = \"hold\"", "on_signal_loss = \"off\"", 1)
        .replace(
            "polarities = [\"positive\", \"negative\", \"alternating\"]\n",
            "",
        );
    let (plan, _) = read(&text).unwrap_or_else(|faults| panic!("{faults:#?}"));
    for scenario in &plan.scenarios {
        let polarities = match &scenario.settings {
            Settings::Idle(idle) => &idle.polarities,
            Settings::Load(load) => &load.polarities,
            Settings::Sense(sense) => &sense.polarities,
            _ => continue,
        };
        assert_eq!(polarities, &[crate::scenario::Polarity::Alternating]);
    }
    // One alternating capture shows the symmetry that the demo limits.
    let limited = plan.scenarios[1].limit("level_asymmetry");
    assert!(limited.is_some());
    check(
        "polarities = [\"positive\", \"negative\", \"alternating\"]",
        "polarities = [\"positive\"]",
        ("polarities", 1),
        "needs both polarities",
    );
}

#[test]
fn a_default_that_does_not_fit_is_named_with_its_value() {
    let text = DEMO.replacen(
        "on_signal_loss = \"hold\"",
        "on_signal_loss = \"hold\"\nlongest_hold = \"100 ms\"",
        1,
    );
    let faults = read(&text).expect_err("held too long");
    let said: Vec<&str> = faults.iter().filter_map(|f| f.hint.as_deref()).collect();
    let named = said
        .iter()
        .any(|hint| hint.contains("`hold` is not stated and so is 200 ms"));
    assert!(named, "{faults:#?}");
}
