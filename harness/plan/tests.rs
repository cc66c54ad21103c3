//! The demo's plan is sound alone and on its bench, and each way to spoil one
//! is named at its line; numbers of the envelope are worked by hand.

use super::*;
use crate::bench_file::{self, Bench};
use crate::document::{Fault, Severity, Source};
use crate::ident::Role;
use crate::judgement::DecisionRule;
use crate::profile::{self, Profile};
use crate::units::Quantity;
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

const DEMO: &str = include_str!("../../fixtures/demo/plan.toml");
const BENCH: &str = include_str!("../../fixtures/demo/bench.toml");

fn read(text: &str) -> Result<(Plan, Vec<Fault>), Vec<Fault>> {
    parse(&[Source::new("plan.toml", text)])
}

fn bench(text: &str) -> Bench {
    let (bench, _) = bench_file::parse(&Source::new("bench.toml", text)).expect("sound");
    bench
}

fn profiles() -> BTreeMap<Role, Profile> {
    profile::SHIPPED
        .iter()
        .map(|name| profile::shipped(name).expect("it comes with the program"))
        .map(|profile| (profile.role, profile))
        .collect()
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

/// The same on the demo's bench, both with replacements.
fn check_bench(plan: (&str, &str), wiring: (&str, &str), at: (&str, usize), message: &str) {
    assert!(
        DEMO.contains(plan.0) && BENCH.contains(wiring.0),
        "{plan:?}"
    );
    let text = DEMO.replacen(plan.0, plan.1, 1);
    let (read, _) = read(&text).expect("sound alone");
    let bench_text = BENCH.replacen(wiring.0, wiring.1, 1);
    let faults = against_bench(&read, &bench(&bench_text), &profiles());
    let fault = faults
        .iter()
        .find(|fault| fault.message.contains(message))
        .unwrap_or_else(|| panic!("{message}: {faults:#?}"));
    let source = if fault.file == "plan.toml" {
        &text
    } else {
        &bench_text
    };
    assert_eq!(fault.line, line_of(source, at.0, at.1), "{fault:#?}");
}

const SAME: (&str, &str) = ("format = 1", "format = 1");

#[test]
fn the_demo_plan_is_sound_alone_and_on_its_bench() {
    let (plan, warnings) = read(DEMO).expect("sound");
    assert!(warnings.is_empty(), "{warnings:#?}");
    let faults = against_bench(&plan, &bench(BENCH), &profiles());
    assert!(faults.is_empty(), "{faults:#?}");
    let names: Vec<&str> = plan.scenarios.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["load", "overload", "short", "reversal"]);
    let Settings::Load(load) = &plan.scenarios[0].settings else {
        panic!("the first is a load");
    };
    let steps: Vec<f64> = load.steps.iter().map(|step| step.si()).collect();
    assert_eq!(steps, [0.0, 0.75, 1.5, 2.25, 3.0]);
    let limit = plan.scenarios[1].limit("trip_time").expect("stated");
    assert_eq!((limit.lower, limit.upper), (None, Some(0.025)));
    assert_eq!(limit.rule, DecisionRule::GuardedAcceptance { guard: 1.0 });
    let trips = plan.scenarios[1].limit("no_trip_below").expect("stated");
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
fn words_of_the_catalogue_are_those_of_the_settings() {
    use crate::catalogue::Form;
    for (kind, key, words) in [
        ("load", "polarities", words(Polarity::WORDS)),
        ("short", "places", words(ShortPlace::WORDS)),
        ("reversal", "directions", words(Direction::WORDS)),
    ] {
        let kind = ScenarioKind::from_word(kind).expect("known");
        let setting = kind.entry().settings.iter().find(|s| s.name == key);
        let form = setting.map(|s| s.form);
        assert!(
            matches!(form, Some(Form::Words(listed)) if listed == words),
            "{key}: {form:?} {words:?}"
        );
    }
}

fn words<T>(list: &[(&'static str, T)]) -> Vec<&'static str> {
    list.iter().map(|(word, _)| *word).collect()
}

/// Every setting of the catalogue can be written, with the default it states;
/// where that is a plain text the plan is the same as without it.
#[test]
fn the_catalogue_and_the_parser_know_the_same_settings() {
    use crate::catalogue::Form;
    let head = &DEMO[..DEMO.find("[[scenario]]").expect("it has some")];
    for kind in ScenarioKind::ALL {
        let silent = format!("{head}[[scenario]]\nkind = \"{kind}\"\n");
        let (plain, _) = read(&silent).expect("defaults fit together");
        let mut known = BTreeSet::new();
        for setting in kind.entry().settings {
            known.insert(setting.name);
            let value = match setting.form {
                Form::One(dimension) => match setting.default.parse::<u32>() {
                    Ok(number) => number.to_string(),
                    Err(_)
                        if setting.default.starts_with(|c: char| c.is_ascii_digit())
                            && !setting.default.contains('%') =>
                    {
                        format!("\"{}\"", setting.default)
                    }
                    Err(_) => format!("{:?}", dimension.example()),
                },
                Form::List(_) => continue,
                Form::Words(_) => format!(
                    "[{}]",
                    setting
                        .default
                        .split(", ")
                        .map(|word| format!("{word:?}"))
                        .collect::<Vec<_>>()
                        .join(", ")
                ),
            };
            let text = format!("{silent}{} = {value}\n", setting.name);
            let result = read(&text);
            let unknown = result
                .as_ref()
                .err()
                .is_some_and(|faults| faults.iter().any(|f| f.message.contains("not a key")));
            assert!(!unknown, "{kind} {}: {result:#?}", setting.name);
            let stated = value.contains(setting.default) || matches!(setting.form, Form::Words(_));
            if stated {
                let (spoken, _) = result.expect(setting.name);
                assert_eq!(spoken.scenarios, plain.scenarios, "{kind} {}", setting.name);
            }
        }
        let wrong = read(&format!("{silent}nonsense = 1\n")).expect_err("unknown");
        let unknown = wrong.iter().find(|f| f.message.contains("nonsense"));
        let expected = unknown.and_then(|f| f.expected.clone()).unwrap_or_default();
        for name in known {
            assert!(expected.contains(name), "{kind} {name}: {expected}");
        }
    }
}

#[test]
fn each_spoiled_plan_is_faulted_at_its_line() {
    for (old, new, at, message) in [
        (
            "format = 1",
            "format = 2",
            ("format", 1),
            "format is not known",
        ),
        (
            "family = \"garden booster\"\n",
            "",
            ("[plan]", 1),
            "`family` is missing",
        ),
        (
            "rated_current = \"3 A\"",
            "rated_current = \"3 V\"",
            ("\"3 V\"", 1),
            "'V' is a voltage",
        ),
        (
            "trip_current = \"4 A\"",
            "trip_current = \"3.7 A\"\nspare = 1",
            ("spare", 1),
            "not a key",
        ),
        (
            "highest_supply = \"22 V\"",
            "highest_supply = \"16 V\"",
            ("supply_voltage", 1),
            "above the largest",
        ),
        (
            "lowest_supply = \"12 V\"",
            "lowest_supply = \"19 V\"",
            ("supply_voltage", 1),
            "below the least",
        ),
        (
            "signal_lines = 2",
            "signal_lines = 3",
            ("signal_lines", 1),
            "out of range",
        ),
        (
            "on_signal_loss = \"hold\"",
            "on_signal_loss = \"of\"",
            ("\"of\"", 1),
            "'of' is not known",
        ),
        (
            "on_signal_loss = \"hold\"",
            "on_signal_loss = \"off\"",
            ("[[scenario]]", 1),
            "cannot be held",
        ),
        (
            "reversing = true",
            "reversing = false",
            ("kind = \"reversal\"", 1),
            "does not reverse",
        ),
        (
            "on_signal_loss = \"hold\"",
            "on_signal_loss = \"hold\"\nlongest_hold = \"20 ms\"",
            ("[[scenario]]", 1),
            "longer than the board can",
        ),
        (
            "kind = \"load\"",
            "kind = \"lode\"",
            ("\"lode\"", 1),
            "'lode' is not known",
        ),
        (
            "kind = \"load\"",
            "kind = \"load\"\nsteps = [\"1 A\", \"1 A\"]",
            ("steps", 1),
            "do not rise",
        ),
        (
            "kind = \"load\"",
            "kind = \"load\"\nsteps = [\"0 A\", \"3.5 A\"]",
            ("steps", 1),
            "above the rated current",
        ),
        (
            "kind = \"load\"",
            "kind = \"load\"\nsteps = [\"1 A\"]",
            ("steps", 1),
            "gives no slope",
        ),
        (
            "kind = \"load\"",
            "kind = \"load\"\nsteps = []",
            ("steps", 1),
            "the list is empty",
        ),
        (
            "kind = \"load\"",
            "kind = \"load\"\npolarities = [\"positive\"]",
            ("polarities", 1),
            "needs both",
        ),
        (
            "kind = \"load\"",
            "kind = \"load\"\npolarities = [\"positive\", \"positive\", \"negative\"]",
            ("polarities", 1),
            "in the list already",
        ),
        (
            "kind = \"overload\"",
            "kind = \"overload\"\nname = \"load\"",
            ("name = \"load\"", 1),
            "another scenario",
        ),
        (
            "level_symmetry = {",
            "level_symetry = {",
            ("level_symetry", 1),
            "do not measure `level_symetry`",
        ),
        (
            "level_symmetry = {",
            "trip_time = {",
            ("trip_time", 1),
            "`load` scenarios do not measure",
        ),
        (
            "max = \"300 mV\"",
            "max = \"300 mA\"",
            ("300 mA", 1),
            "'mA' is a current",
        ),
        (
            "max = \"300 mV\"",
            "max = \"-1 mV\"",
            ("-1 mV", 1),
            "out of range",
        ),
        (
            "min = \"16.5 V\", max = \"18.6 V\"",
            "min = \"18.6 V\", max = \"16.5 V\"",
            ("16.5", 1),
            "below the least",
        ),
        (
            "max = \"300 mV\", source = \"house limit\"",
            "max = \"300 mV\"",
            ("300 mV", 1),
            "`source` is missing",
        ),
        (
            "max = \"300 mV\", source",
            "source",
            ("level_symmetry", 1),
            "bounds nothing",
        ),
        (
            "max = \"300 mV\"",
            "max = \"300 mV\", rule = \"simple\"",
            ("300 mV", 1),
            "'simple' is not known",
        ),
        (
            "max = \"300 mV\"",
            "max = \"300 mV\", rule = \"simple acceptance\", guard = 2",
            ("300 mV", 1),
            "no guard band",
        ),
        (
            "guard = 1.0",
            "guard = 99",
            ("guard = 99", 1),
            "out of range",
        ),
        (
            "max = 0,",
            "max = 0.5,",
            ("no_trip_below", 1),
            "out of range",
        ),
        (
            "multiples = [1.5, 2, 3]",
            "multiples = [1.05, 2]",
            ("multiples", 1),
            "need not trip",
        ),
        (
            "multiples = [1.5, 2, 3]",
            "multiples = [2, 1.5]",
            ("multiples", 1),
            "do not rise",
        ),
        (
            "multiples = [1.5, 2, 3]",
            "multiples = [0.5, 2]",
            ("multiples", 1),
            "out of range",
        ),
        (
            "hold_current = \"3.3 A\"",
            "hold_current = \"3.7 A\"",
            ("hold_current", 1),
            "may trip at this",
        ),
        (
            "ramp_from = \"3 A\"",
            "ramp_from = \"3.6 A\"",
            ("ramp_from", 1),
            "does not span",
        ),
        (
            "ramp_to = \"6 A\"",
            "ramp_to = \"4.3 A\"",
            ("ramp_to", 1),
            "does not span",
        ),
        (
            "ramp_time = \"2 s\"",
            "ramp_time = \"0 s\"",
            ("ramp_time", 1),
            "takes time",
        ),
        (
            "ramp_time = \"2 s\"",
            "onset_level = \"7 A\"",
            ("onset_level", 1),
            "outside what the current sweeps",
        ),
        (
            "pulse = \"60 ms\"",
            "pulse = \"49 ms\"",
            ("49 ms", 1),
            "less than twice the limit of `trip_time`",
        ),
        (
            "pulse = \"60 ms\"",
            "pulse = \"60 ms\"\nsampling_period = \"5 us\"",
            ("sampling_period", 1),
            "every crossing",
        ),
        (
            "trip_time = { max = \"25 ms\"",
            "trip_time = { max = \"200 us\"",
            ("[[scenario]]", 2),
            "time limit that it must resolve",
        ),
        (
            "pulse = \"60 ms\"\nrecovery",
            "pulse = \"20 ms\"\nrecovery",
            ("20 ms", 1),
            "less than twice",
        ),
        (
            "recovery_pulse = \"2 s\"",
            "recovery_pulse = \"1 s\"",
            ("recovery_pulse", 1),
            "see the retries",
        ),
        (
            "recovery_pulse = \"2 s\"",
            "recovery_pulse = \"2 s\"\ncoarse_period = \"5 ms\"",
            ("coarse_period", 1),
            "too slow for the limit",
        ),
        ("repeats = 2", "repeats = 0", ("repeats", 1), "out of range"),
        (
            "places = [\"near\", \"far\"]",
            "places = [\"near\", \"fair\"]",
            ("fair", 1),
            "'fair' is not known",
        ),
        (
            "gap_pulse = \"50 ms\"",
            "gap_pulse = \"100 ms\"",
            ("gap_pulse", 1),
            "before the gap opens",
        ),
        (
            "gap_pulse = \"50 ms\"",
            "gap_pulse = \"5 ms\"",
            ("gap_pulse", 1),
            "before a good board",
        ),
        (
            "short_pulse = \"60 ms\"",
            "short_pulse = \"40 ms\"",
            ("short_pulse", 1),
            "less than twice",
        ),
    ] {
        check(old, new, at, message);
    }
}

#[test]
fn the_limit_of_another_scenario_is_hinted() {
    let text = DEMO.replacen("level_symmetry = {", "trip_time = {", 1);
    let faults = read(&text).expect_err("not a load's");
    let hint = faults[0].hint.as_deref();
    assert_eq!(hint, Some("`overload` scenarios measure it"));
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
    assert_eq!(plan.scenarios.len(), 4);
    let limit = plan.scenarios[1].limit("trip_time").expect("kept");
    assert_eq!(limit.upper, Some(0.020));
    assert!(limit.source.contains("section 4"), "kept from the base");
    assert_eq!(plan.scenarios[0], before.scenarios[0]);
    // A fault in the overlay is the overlay's.
    let spoiled = Source::new("over.toml", over.text.replace("80 ms", "8 ms"));
    let faults = parse(&[base, spoiled]).expect_err("too short");
    assert_eq!((faults[0].file.as_str(), faults[0].line), ("over.toml", 7));
    assert!(parse(&[]).is_err());
}

#[test]
fn a_bench_that_cannot_carry_the_plan_is_faulted() {
    for (wiring, at, message) in [
        (
            ("current = \"150 A\"", "current = \"100 A\""),
            ("places", 1),
            "the prospective current (near) is 112.5 A",
        ),
        (
            ("current = \"150 A\"", "current = \"11 A\""),
            ("multiples", 1),
            "12.00 A is above the bench's envelope",
        ),
        (
            ("let_through = \"300 A2s\"", "let_through = \"100 A2s\""),
            ("recovery_pulse", 1),
            "without a trip",
        ),
        (
            ("energy = \"500 J\"", "energy = \"100 J\""),
            ("recovery_pulse", 1),
            "would be freed",
        ),
        (
            ("voltage = \"40 V\"", "voltage = \"34 V\""),
            ("[[scenario]]", 4),
            "35.00 V can stand across",
        ),
        (
            ("seconds = \"30 s\"", "seconds = \"2.5 s\""),
            ("hold_time", 1),
            "without a pause",
        ),
        (
            ("number = 5\nmeasures", "number = 6\nmeasures"),
            ("number = 6\n".trim(), 1),
            "no such channel",
        ),
        (
            ("scale = \"0.01 ohm\"\nrange", "scale = \"0.5 ohm\"\nrange"),
            ("range = \"200 A\"", 1),
            "input bears",
        ),
        (
            ("range = \"200 A\"", "range = \"11 A\""),
            ("multiples", 1),
            "beyond the range",
        ),
        (
            (
                "closes = \"far short\"\n",
                "closes = \"far short\"\nresistance = \"5 ohm\"\n",
            ),
            ("places", 1),
            "so no board need trip",
        ),
        (
            ("resistance = \"300 mohm\"", "resistance = \"9 ohm\""),
            ("[[scenario]]", 4),
            "too little to reverse on",
        ),
        (
            ("trip_time = \"60 ms\"", "trip_time = \"7 ms\""),
            ("trip_time = \"7 ms\"", 1),
            "within the limit of the reversal",
        ),
        (
            ("isolated, both gaps", "isolated, one gap"),
            ("isolation", 1),
            "nothing reverses",
        ),
        (
            ("proof = \"pilot current\"", "proof = \"marker\""),
            ("proof = \"marker\"", 1),
            "nothing proves this contact",
        ),
    ] {
        check_bench(SAME, wiring, at, message);
    }
    for (plan, at, message) in [
        (
            (
                "supply_voltage = \"18 V\"\nlowest_supply = \"12 V\"\nhighest_supply = \"22 V\"",
                "supply_voltage = \"33 V\"",
            ),
            ("supply_voltage", 1),
            "more than the supply gives",
        ),
        (
            ("multiples = [1.5, 2, 3]", "multiples = [1.5, 8]"),
            ("multiples", 1),
            "is more than the load draws",
        ),
        (
            ("multiples = [1.5, 2, 3]", "multiples = [1.5, 5]"),
            ("multiples", 1),
            "more than the load bears",
        ),
        (
            (
                "pulse = \"60 ms\"",
                "pulse = \"60 ms\"\nsampling_period = \"20 ns\"",
            ),
            ("sampling_period", 1),
            "cannot sample so fast",
        ),
        (
            (
                "pulse = \"60 ms\"",
                "pulse = \"400 ms\"\nsampling_period = \"100 ns\"",
            ),
            ("sampling_period", 1),
            "4400000 samples",
        ),
        (
            ("recovery_pulse = \"2 s\"", "recovery_pulse = \"11 s\""),
            ("recovery_pulse", 1),
            "by itself",
        ),
    ] {
        check_bench(plan, SAME, at, message);
    }
}

/// A part of the bench that is not there is missed by name.
#[test]
fn missing_roles_channels_and_branches_are_named() {
    let (plan, _) = read(DEMO).expect("sound");
    let mut bare = bench(BENCH);
    bare.instruments.retain(|i| i.role != Role::Switch);
    bare.channels.clear();
    bare.branches.clear();
    bare.lines.clear();
    let faults = against_bench(&plan, &bare, &profiles());
    let all: String = faults.iter().map(|f| format!("{}\n", f.message)).collect();
    for missed in [
        "no switch",
        "the node voltage",
        "the output current",
        "the board supply",
        "the gap current",
        "the upstream voltage",
        "closes the near short",
        "closes the far short",
        "closes the gap straight",
        "closes the gap crossed",
        "carries input a",
    ] {
        assert!(all.contains(missed), "{missed} in\n{all}");
    }
}

/// By hand, with what the demo's files state: 18 V through 100 + 20 + 40 mohm
/// is 112.5 A. Half C V squared is 0.162 J; all of it in 0.16 ohm is
/// 1.0125 A2s, and 10 A for 2 s is 200 A2s and 360 J more.
#[test]
fn the_envelope_is_met_exactly_where_hand_arithmetic_says() {
    let (plan, _) = read(DEMO).expect("sound");
    let excess = |old: &str, new: &str| {
        let text = BENCH.replacen(old, new, 1);
        against_bench(&plan, &bench(&text), &profiles()).len()
    };
    assert_eq!(excess("current = \"150 A\"", "current = \"112.6 A\""), 0);
    assert!(excess("current = \"150 A\"", "current = \"112.4 A\"") > 0);
    assert_eq!(excess("\"300 A2s\"", "\"201.02 A2s\""), 0);
    assert!(excess("\"300 A2s\"", "\"201.00 A2s\"") > 0);
    assert_eq!(excess("\"500 J\"", "\"360.2 J\""), 0);
    assert!(excess("\"500 J\"", "\"360.1 J\"") > 0);
}

#[test]
fn steps_say_what_energises_and_how_long_it_takes() {
    let (plan, _) = read(DEMO).expect("sound");
    let steps = steps(&plan);
    let count = |name: &str| steps.iter().filter(|s| s.scenario == name).count();
    // Each scenario switches on first and makes safe last; between them: five
    // steps in two polarities; ramp, three multiples, hold; two places with
    // two repeats and a recovery each; two directions and the true short.
    let counts = ["load", "overload", "short", "reversal"].map(count);
    assert_eq!(counts, [12, 7, 8, 5]);
    assert_eq!(steps.iter().filter(|s| !s.energises).count(), 4);
    let text = &steps[1].text;
    assert!(text.starts_with("positive: hold 0.000 A"), "{text}");
    let total: f64 = steps.iter().map(|s| s.bench_time.si()).sum();
    assert!((15.0..60.0).contains(&total), "{total}");
}

proptest! {
    #[test]
    fn a_damaged_plan_never_panics(at in 0_usize..3000, cut in 0_usize..40, with: String) {
        let start = at.min(DEMO.len());
        let end = (start + cut).min(DEMO.len());
        let text = format!("{}{with}{}", &DEMO[..start], &DEMO[end..]);
        match read(&text) {
            Ok((plan, _)) => {
                against_bench(&plan, &bench(BENCH), &profiles());
                steps(&plan);
            }
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }

    /// Numbers of any size pass through every check without a panic.
    #[test]
    fn wild_numbers_never_panic(value in any::<f64>(), which in 0_usize..12) {
        const NUMBERS: [&str; 12] = [
            "\"3 A\"", "\"4 A\"", "\"18 V\"", "\"1000 uF\"", "\"100 mohm\"", "\"60 ms\"",
            "\"3.3 A\"", "\"2 s\"", "\"220 mohm\"", "\"25 ms\"", "\"130 A\"", "\"50 ms\"",
        ];
        let number = NUMBERS[which];
        let unit = number.trim_matches('"').split(' ').nth(1).unwrap_or_default();
        let text = DEMO.replace(number, &format!("\"{value} {unit}\""));
        if let Ok((plan, _)) = read(&text) {
            against_bench(&plan, &bench(BENCH), &profiles());
            steps(&plan);
        }
    }
}
