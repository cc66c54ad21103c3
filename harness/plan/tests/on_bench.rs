//! What the demo's bench cannot do, named at the line of the plan or the bench
//! that asks for it.

use super::*;

const SAME: (&str, &str) = ("format = 1", "format = 1");

#[test]
fn a_bench_that_cannot_carry_the_plan_is_faulted() {
    for (wiring, at, message) in [
        (
            ("current = \"45 A\"", "current = \"42 A\""),
            ("places", 1),
            "the prospective current (near) is 42.86 A",
        ),
        (
            ("current = \"45 A\"", "current = \"11 A\""),
            ("multiples", 1),
            "12.00 A is above the bench's envelope",
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
            ("voltage = \"40 V\"", "voltage = \"34 V\""),
            ("[[scenario]]", 5),
            "35.00 V can stand across",
        ),
        (
            ("seconds = \"300 s\"", "seconds = \"2.5 s\""),
            ("hold_time", 1),
            "3.000 s without a pause",
        ),
        (
            ("number = 5\nmeasures", "number = 6\nmeasures"),
            ("number = 6\n".trim(), 1),
            "no such channel",
        ),
        (
            ("scale = \"0.05 ohm\"\nrange", "scale = \"2 ohm\"\nrange"),
            ("range = \"60 A\"", 1),
            "input bears",
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
            "could not be told from a mismatch",
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
        // Three polarities of five steps of a quarter second.
        (
            ("seconds = \"300 s\"", "seconds = \"3.7 s\""),
            ("[[scenario]]", 2),
            "3.750 s without a pause",
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
        "closes the capacitor bank",
        "closes the supply load",
        "carries input a",
    ] {
        assert!(all.contains(missed), "{missed} in\n{all}");
    }
}

/// By hand, with what the demo's files state: 18 V through 100 + 20 + 300 mohm
/// is 42.857 A, and the gap's 35 V through 100 + 820 mohm 38.0 A. Half C V
/// squared is 0.162 J; all of it in 0.42 ohm is 0.3857 A2s; and 40 A, the
/// supply's most, for 1.3 s is 2080 A2s and 936 J more.
#[test]
fn the_envelope_is_met_exactly_where_hand_arithmetic_says() {
    let (plan, _) = read(DEMO).expect("sound");
    let excess = |old: &str, new: &str| {
        let text = BENCH.replacen(old, new, 1);
        against_bench(&plan, &bench(&text), &profiles()).len()
    };
    assert_eq!(excess("current = \"45 A\"", "current = \"42.9 A\""), 0);
    assert!(excess("current = \"45 A\"", "current = \"42.8 A\"") > 0);
    assert_eq!(excess("\"2200 A2s\"", "\"2080.39 A2s\""), 0);
    assert!(excess("\"2200 A2s\"", "\"2080.38 A2s\"") > 0);
    assert_eq!(excess("\"1000 J\"", "\"936.17 J\""), 0);
    assert!(excess("\"1000 J\"", "\"936.16 J\"") > 0);
}

/// By hand: half a second to power up, four minutes, and a last look of 0.1 s
/// with 60 kbit of samples; at 4 Mbit/s 240.615 s, at 300 bit/s 25 looks of
/// 200.1 s each, one after the other.
#[test]
fn a_soak_that_outlasts_the_envelope_is_a_fault_of_the_plan() {
    let (plan, _) = read(DEMO).expect("sound");
    let faults = |seconds: f64, speed: u32| {
        let mut bench = bench(BENCH);
        bench.envelope.seconds = Seconds::new(seconds);
        let mut profiles = profiles();
        profiles.get_mut(&Role::Capture).expect("one").line.speed = speed;
        against_bench(&plan, &bench, &profiles)
    };
    assert!(faults(240.62, 4_000_000).is_empty());
    for (seconds, speed, message) in [
        (240.61, 4_000_000, "240.6 s without a pause"),
        (5000.0, 300, "5.003 ks without a pause"),
    ] {
        let faults = faults(seconds, speed);
        let [fault] = &faults[..] else {
            panic!("one fault: {faults:#?}");
        };
        let at = DEMO.find("length = \"4 min\"").expect("the soak's");
        let line = DEMO[..at].matches('\n').count() + 1;
        assert_eq!((fault.line, fault.column), (line, 10), "{fault:?}");
        assert!(fault.message.contains(message), "{}", fault.message);
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
        let faults = against_bench(&plan, &with, &profiles());
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
