//! What the demo's bench cannot do, named at the line of the plan or the bench
//! that asks for it; numbers of the envelope are worked by hand.

use super::*;
use crate::bench_file;
use crate::document::Source;
use crate::plan;
use crate::profile;
use crate::units::Quantity;
use proptest::prelude::*;

const DEMO: &str = include_str!("../../fixtures/demo/plan.toml");
const BENCH: &str = include_str!("../../fixtures/demo/bench.toml");

fn read(text: &str) -> Result<(Plan, Vec<Fault>), Vec<Fault>> {
    plan::parse(&[Source::new("plan.toml", text)])
}

fn bench(text: &str) -> Bench {
    let (bench, _) = bench_file::parse(&Source::new("bench.toml", text)).expect("sound");
    bench
}

fn profiles() -> BTreeMap<Role, Profile> {
    profile::shipped_names()
        .into_iter()
        .map(|name| profile::shipped(name).expect("it comes with the program"))
        .map(|profile| (profile.role, profile))
        .collect()
}

/// The faults of `plan` on `bench`.
fn faults_of(plan: &Plan, bench: &Bench, profiles: &BTreeMap<Role, Profile>) -> Vec<Fault> {
    Preflight::of(plan, bench, profiles).faults
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

const SAME: (&str, &str) = ("format = ", "format = ");

#[test]
fn a_bench_that_cannot_carry_the_plan_is_faulted() {
    for (wiring, at, message) in [
        (
            ("current = \"45 A\"", "current = \"42 A\""),
            ("places", 1),
            "the prospective current (near short) is 42.86 A",
        ),
        (
            ("current = \"45 A\"", "current = \"11 A\""),
            ("multiples", 1),
            "the prospective current is 12.00 A, above the bench's envelope",
        ),
        (
            ("let_through = \"2200 A2s\"", "let_through = \"1500 A2s\""),
            ("recovery_pulse", 1),
            "without a trip",
        ),
        (
            ("energy = \"1000 J\"", "energy = \"100 J\""),
            ("recovery_pulse", 1),
            "would be freed",
        ),
        (
            ("seconds = \"300 s\"", "seconds = \"2.5 s\""),
            ("kind = \"overload\"", 1),
            "without a pause",
        ),
        (
            ("number = 5\nmeasures", "number = 6\nmeasures"),
            ("number = 6\n".trim(), 1),
            "no such channel",
        ),
        (
            ("scale = \"0.05 ohm\"\nrange", "scale = \"2 ohm\"\nrange"),
            ("range = \"60 A\"", 1),
            "input withstands",
        ),
        (
            ("range = \"60 A\"", "range = \"11 A\""),
            ("multiples", 1),
            "beyond the range",
        ),
        (
            ("conductor = \"AWG 14\"", "conductor = \"AWG 28\""),
            ("places", 1),
            "so no board need trip",
        ),
        (
            (
                "resistance = \"300 mohm\"\ninductance = \"1 uH\"",
                "resistance = \"9 ohm\"\ninductance = \"1 uH\"",
            ),
            ("[[scenario]]", 5),
            "too little to reverse on",
        ),
        (
            ("trip_time = \"60 ms\"", "trip_time = \"7 ms\""),
            ("trip_time = \"7 ms\"", 1),
            "within the limit of the reversal",
        ),
        (
            (
                "inductance = \"1 uH\"\nisolation",
                "inductance = \"3 uH\"\nisolation",
            ),
            ("inductance = \"3 uH\"", 1),
            "could not be distinguished from a mismatch",
        ),
        (
            ("isolated, both gaps", "isolated, one gap"),
            ("isolation", 1),
            "nothing reverses",
        ),
        (
            (
                "resistance = \"500 mohm\"\ncapacitance",
                "resistance = \"200 mohm\"\ncapacitance",
            ),
            ("kind = \"inrush\"", 1),
            "the prospective current (capacitor bank) is 56.25 A",
        ),
        // Three polarities of five steps of a quarter second, each read back, and
        // power-up.
        (
            ("seconds = \"300 s\"", "seconds = \"4.1 s\""),
            ("kind = \"load\"", 1),
            "without a pause",
        ),
        (
            ("seconds = \"300 s\"", "seconds = \"200 s\""),
            ("length = \"4 min\"", 1),
            "without a pause",
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
            "more than the load is made for",
        ),
        (
            ("multiples = [1.5, 2, 3]", "multiples = [1.5, 5]"),
            ("multiples", 1),
            "more than the load is made for",
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
            "4070001 samples",
        ),
        (
            ("recovery_pulse = \"1.3 s\"", "recovery_pulse = \"11 s\""),
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
    let faults = faults_of(&plan, &bare, &profiles());
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
        "closes the capacitor bank",
        "closes the supply load",
        "carries input a",
    ] {
        assert!(all.contains(missed), "{missed} in\n{all}");
    }
}

/// By hand, with what the demo's files state: 18 V through 100 + 20 + 300 mohm
/// is 42.857 A, and the gap's 35 V through 100 + 820 mohm 38.0 A. Half C V
/// squared is 0.162 J; all of it in 0.42 ohm is 0.3857 A2s; the supply's most,
/// 40 A, for 1.3 s is 2080 A2s and 936 J more; and while the charge C V of
/// 18 mC flows together with it, twice their product, 1.44 A2s.
#[test]
fn the_envelope_is_met_exactly_where_hand_arithmetic_says() {
    let (plan, _) = read(DEMO).expect("sound");
    let excess = |old: &str, new: &str| {
        let text = BENCH.replacen(old, new, 1);
        faults_of(&plan, &bench(&text), &profiles()).len()
    };
    assert_eq!(excess("current = \"45 A\"", "current = \"42.9 A\""), 0);
    assert!(excess("current = \"45 A\"", "current = \"42.8 A\"") > 0);
    assert_eq!(excess("\"2200 A2s\"", "\"2081.83 A2s\""), 0);
    assert!(excess("\"2200 A2s\"", "\"2081.82 A2s\"") > 0);
    assert_eq!(excess("\"1000 J\"", "\"936.17 J\""), 0);
    assert!(excess("\"1000 J\"", "\"936.16 J\"") > 0);
}

/// A soak of four minutes takes at least that and a fifth of a second to power
/// up; over a line of 300 bit/s each of its 25 looks takes 200 s, one after the
/// other: three signals and the lines, 1000 samples of two bytes of ten bits,
/// are 80 kbit.
#[test]
fn a_soak_that_outlasts_the_envelope_is_a_fault_of_the_plan() {
    let (plan, _) = read(DEMO).expect("sound");
    let faults = |seconds: f64, speed: u32| {
        let mut bench = bench(BENCH);
        bench.envelope.seconds = Seconds::new(seconds);
        let mut profiles = profiles();
        profiles.get_mut(&Role::Capture).expect("one").line.speed = speed;
        faults_of(&plan, &bench, &profiles)
    };
    assert!(faults(243.0, 4_000_000).is_empty());
    let soak = DEMO.find("length = \"4 min\"").expect("the soak's");
    let line = DEMO[..soak].matches('\n').count() + 1;
    for (seconds, speed) in [(240.2, 4_000_000), (25.0 * 266.0, 300)] {
        let faults = faults(seconds, speed);
        let fault = faults
            .iter()
            .find(|fault| fault.line == line)
            .unwrap_or_else(|| panic!("none at the soak's: {faults:#?}"));
        assert!(fault.message.contains("without a pause"), "{fault:?}");
        let hint = fault.hint.as_deref().expect("a hint");
        assert!(hint.contains("`seconds` in `[envelope]`"), "{hint}");
    }
}

/// The coin test by hand: a good board may trip as late as at 4.4 A, and 18 V
/// over 4.4 A is 4.0909 ohm, of which 170 mohm are the board's, the leads' and
/// the supply's. A loop up to the rest of 3.9209 ohm makes every board trip;
/// above it the plan says that none need.
#[test]
fn a_loop_trips_every_board_or_the_plan_says_so() {
    let (plan, _) = read(DEMO).expect("sound");
    for (ohms, trips) in [
        (0.3, true),
        (2.0, true),
        (3.920, true),
        (3.922, false),
        (6.0, false),
        (50.0, false),
    ] {
        let mut with = bench(BENCH);
        for branch in &mut with.branches {
            if branch.closes == crate::bench_file::Closes::NearShort {
                branch.resistance = crate::units::Ohms::new(ohms);
            }
        }
        let faults = faults_of(&plan, &with, &profiles());
        let said = faults
            .iter()
            .any(|fault| fault.message.contains("through the near loop flow only"));
        assert_eq!(said, !trips, "{ohms} ohm: {faults:#?}");
    }
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
    let faults = faults_of(&read, &bench(&bench_text), &profiles());
    // Other settings may ask for too much of the same.
    let named = faults.iter().any(|fault| {
        let source = if fault.file == "plan.toml" {
            &text
        } else {
            &bench_text
        };
        fault.message.contains(message)
            && source.contains(at.0)
            && fault.line == line_of(source, at.0, at.1)
    });
    assert!(named, "{message} at {at:?}: {faults:#?}");
}

/// Each way in which a bench falls short of what a drive asks of it is named in
/// the plan, where `check` used to find nothing.
#[test]
fn what_the_drives_ask_of_a_bench_is_looked_for_before_the_run() {
    let overload = |text: &str| text.replacen("hold_time = \"3 s\"", "hold_time = \"300 s\"", 1);
    for (plan, wiring, message) in [
        // The hold just below the trip current: 3.3 A for 300 s is 3267 A2s.
        (overload(DEMO), BENCH.to_owned(), "3.267 kA2s would pass"),
        (
            DEMO.to_owned(),
            BENCH.replacen("rectifier_drop = \"1.6 V\"\n", "", 1),
            "without a rectifier",
        ),
        (
            DEMO.to_owned(),
            BENCH.replacen("carries = \"fault\"", "carries = \"pilot\"", 1),
            "shows the fault, which starts the capture",
        ),
        (
            DEMO.replacen("lowest_supply = \"12 V\"\n", "", 1),
            BENCH.to_owned(),
            "so no trip could be distinguished from a supply that gives way",
        ),
    ] {
        assert!(plan != DEMO || wiring != BENCH, "{message}");
        let (read, _) = read(&plan).expect("sound alone");
        let faults = faults_of(&read, &bench(&wiring), &profiles());
        let found = faults.iter().any(|fault| fault.message.contains(message));
        assert!(found, "{message}: {faults:#?}");
    }
}

/// The reversal that `check` once called sound and the interlock refused: the
/// gap's current until the upstream trips, not what the supply feeds, counts.
#[test]
fn the_let_through_of_a_gap_is_weighed_as_the_interlock_weighs_it() {
    let (mut plan, _) = read(DEMO).expect("sound");
    plan.scenarios
        .retain(|scenario| scenario.name == "reversal");
    let text = BENCH.replacen("\"2200 A2s\"", "\"25 A2s\"", 1);
    let faults = faults_of(&plan, &bench(&text), &profiles());
    let found = faults
        .iter()
        .any(|fault| fault.message.contains("A2s would pass"));
    assert!(found, "{faults:#?}");
}

/// Steps are those of the procedures themselves; each scenario powers up, and
/// what puts energy into the board is marked.
/// A slip in a prefix: the envelope of this bench ends far below a megaampere.
#[test]
fn a_limit_that_nothing_on_the_bench_can_reach_is_named() {
    for (old, new, says) in [
        (
            "off_voltage = { max = \"500 mV\"",
            "off_voltage = { max = \"500 MV\"",
            "500.0 MV",
        ),
        (
            "let_through = { max = \"30 A2s\"",
            "let_through = { max = \"30000 A2s\"",
            "its envelope ends at",
        ),
        (
            "full_scale = { min = \"12 A\"",
            "full_scale = { min = \"12 kA\"",
            "12.00 kA",
        ),
        (
            "output_resistance = { max = \"220 mohm\"",
            "output_resistance = { max = \"43 Mohm\"",
            "43.00 Mohm",
        ),
        // A thousandfold, whatever the quantity.
        (
            "output_resistance = { max = \"220 mohm\"",
            "output_resistance = { max = \"220 ohm\"",
            "220.0 ohm",
        ),
        (
            "temperature_rise = { max = \"18 K\"",
            "temperature_rise = { max = \"18000 K\"",
            "no part of a board",
        ),
        (
            "charge = { min = \"120 mC\", max = \"200 mC\"",
            "charge = { min = \"120 mC\", max = \"200 C\"",
            "200.0 C",
        ),
        (
            "slew_rate = { min = \"2.5 V/us\"",
            "slew_rate = { min = \"2500 V/us\"",
            "shortest period",
        ),
        (
            "max = \"3.45 mA/count\"",
            "max = \"3.45 A/count\"",
            "over the last count",
        ),
        (
            "overshoot = { max = \"20 %\"",
            "overshoot = { max = \"20000 %\"",
            "against the lowest supply",
        ),
    ] {
        let text = DEMO.replacen(old, new, 1);
        assert_ne!(text, DEMO, "{old}");
        let (plan, _) = read(&text).expect("sound by itself");
        let faults = faults_of(&plan, &bench(BENCH), &profiles());
        let named = faults.iter().any(|fault| fault.message.contains(says));
        assert!(named, "{new}: {faults:?}");
    }
}

#[test]
fn steps_are_the_procedures_own() {
    let (plan, _) = read(DEMO).expect("sound");
    let steps = Preflight::of(&plan, &bench(BENCH), &profiles()).steps;
    for scenario in &plan.scenarios {
        let own: Vec<&Step> = steps
            .iter()
            .filter(|s| s.scenario == scenario.name)
            .collect();
        assert!(own.iter().any(|step| step.energises), "{}", scenario.name);
        assert!(own.iter().all(|step| step.bench_time.si() >= 0.0));
    }
    let total: f64 = steps.iter().map(|s| s.bench_time.si()).sum();
    assert!((340.0..460.0).contains(&total), "{total}");
}

proptest! {
    /// Numbers of any size pass through every check without a panic.
    #[test]
    fn wild_numbers_never_panic(value in any::<f64>(), which in 0_usize..12) {
        const NUMBERS: [&str; 12] = [
            "\"3 A\"", "\"4 A\"", "\"18 V\"", "\"1000 uF\"", "\"100 mohm\"", "\"60 ms\"",
            "\"3.3 A\"", "\"1.3 s\"", "\"220 mohm\"", "\"25 ms\"", "\"46 A\"", "\"50 ms\"",
        ];
        let number = NUMBERS[which];
        let unit = number.trim_matches('"').split(' ').nth(1).unwrap_or_default();
        let text = DEMO.replace(number, &format!("\"{value} {unit}\""));
        if let Ok((plan, _)) = read(&text) {
            Preflight::of(&plan, &bench(BENCH), &profiles());
        }
    }
}

#[test]
fn a_source_that_always_sends_runs_what_needs_no_other_signal() {
    let (plan, _) = read(DEMO).expect("sound");
    let mut bench = bench(BENCH);
    let mut profiles = profiles();
    let external = profile::shipped(profile::EXTERNAL).expect("it comes with the program");
    profiles.insert(Role::Drive, external);
    for instrument in &mut bench.instruments {
        if instrument.role == Role::Drive {
            instrument.port = bench_file::Port::External("idle packets".to_owned());
        }
    }
    let preflight = Preflight::of(&plan, &bench, &profiles);
    let lines = |what: &str| -> Vec<&str> {
        let found = preflight
            .faults
            .iter()
            .filter(|fault| fault.message.contains(what));
        found
            .map(|fault| {
                // Its kind stands on the line after a scenario's first.
                let before = DEMO.lines().take(fault.line + 1);
                let kinds = before.filter_map(|line| line.strip_prefix("kind = "));
                kinds.last().unwrap_or("none").trim_matches('"')
            })
            .collect()
    };
    assert_eq!(lines("packets of the plan"), ["signal"]);
    assert!(
        lines("the signal is to stop").contains(&"loss"),
        "{:#?}",
        preflight.faults
    );
    assert!(
        lines("off while it is fed").contains(&"idle"),
        "{:#?}",
        preflight.faults
    );
    // It starts into its load when it is enabled.
    assert!(
        lines("off while it is fed").contains(&"inrush"),
        "{:#?}",
        preflight.faults
    );
    assert!(
        lines("holds no polarity").contains(&"load"),
        "{:#?}",
        preflight.faults
    );
    // A short asks for nothing but a signal.
    let all: Vec<&str> = lines("");
    assert!(!all.contains(&"short"), "{:#?}", preflight.faults);
}
