//! Each way to spoil the demo's plan by itself, named at its line.

use super::*;

#[test]
fn each_spoiled_plan_is_faulted_at_its_line() {
    for (old, new, at, message) in [
        (
            "format = 2",
            "format = 3",
            ("format", 1),
            "format is not known",
        ),
        (
            "last_count = 4095\n",
            "",
            ("[[scenario]]", 6),
            "`last_count` is missing",
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
            "above the highest",
        ),
        (
            "lowest_supply = \"12 V\"",
            "lowest_supply = \"19 V\"",
            ("supply_voltage", 1),
            "below the lowest",
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
            "reversing = true",
            "reversing = false",
            ("kind = \"reversal\"", 1),
            "does not reverse",
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
            "kind = \"load\"\npolarities = [\"positive\", \"negative\", \"alternating\"]",
            "kind = \"load\"\npolarities = [\"positive\"]",
            ("polarities", 1),
            "needs both",
        ),
        (
            "kind = \"load\"\npolarities = [\"positive\", \"negative\", \"alternating\"]",
            "kind = \"load\"\npolarities = [\"positive\", \"positive\", \"negative\"]",
            ("polarities", 1),
            "in the list already",
        ),
        (
            "kind = \"soak\"",
            "kind = \"soak\"\nname = \"load\"",
            ("name = \"load\"", 1),
            "another scenario",
        ),
        (
            "level_asymmetry = {",
            "level_symetry = {",
            ("level_symetry", 1),
            "do not measure `level_symetry`",
        ),
        (
            "level_asymmetry = {",
            "trip_time = {",
            ("trip_time", 1),
            "`load` scenarios do not measure",
        ),
        (
            "max = \"700 mV\"",
            "max = \"300 mA\"",
            ("300 mA", 1),
            "'mA' is a current",
        ),
        (
            "max = \"700 mV\"",
            "max = \"-1 mV\"",
            ("-1 mV", 1),
            "out of range",
        ),
        (
            "min = \"16.5 V\", max = \"18.6 V\"",
            "min = \"18.6 V\", max = \"16.5 V\"",
            ("16.5", 1),
            "below the minimum",
        ),
        (
            "max = \"700 mV\", source = \"house limit\"",
            "max = \"700 mV\"",
            ("700 mV", 1),
            "`source` is missing",
        ),
        (
            "max = \"700 mV\", source",
            "source",
            ("level_asymmetry", 1),
            "bounds nothing",
        ),
        (
            "max = \"700 mV\"",
            "max = \"700 mV\", rule = \"simple\"",
            ("700 mV", 1),
            "'simple' is not known",
        ),
        (
            "max = \"700 mV\"",
            "max = \"700 mV\", rule = \"simple acceptance\", guard = 2",
            ("700 mV", 1),
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
            ("nuisance_trips", 1),
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
            ("[[scenario]]", 3),
            "time limit that it must resolve",
        ),
        (
            "pulse = \"60 ms\"\nrecovery",
            "pulse = \"20 ms\"\nrecovery",
            ("20 ms", 1),
            "less than twice",
        ),
        (
            "recovery_pulse = \"1.3 s\"",
            "recovery_pulse = \"1 s\"",
            ("recovery_pulse", 1),
            "see the retries",
        ),
        (
            "recovery_pulse = \"1.3 s\"",
            "recovery_pulse = \"1.3 s\"\ncoarse_period = \"5 ms\"",
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
        (
            "kind = \"sense\"",
            "kind = \"sense\"\nsteps = [\"1 A\", \"3 A\"]",
            ("steps", 1),
            "less than three steps",
        ),
        (
            "kind = \"sense\"",
            "kind = \"sense\"\nsteps = [\"1 A\", \"2 A\", \"3.5 A\"]",
            ("steps = [\"1 A\", \"2 A\"", 1),
            "above the rated current",
        ),
        (
            "kind = \"sense\"",
            "kind = \"sense\"\nsteps = [\"2 A\", \"1 A\", \"3 A\"]",
            ("steps = [\"2 A\"", 1),
            "do not rise",
        ),
        (
            "kind = \"sense\"",
            "kind = \"sense\"\nhold = \"0 s\"",
            ("hold = \"0 s\"", 1),
            "in no time",
        ),
        (
            "kind = \"sense\"",
            "kind = \"sense\"\nreadings = 0",
            ("readings", 1),
            "out of range",
        ),
        (
            "\"3 mA/count\"",
            "\"3 mA\"",
            ("\"3 mA\"", 1),
            "is a current",
        ),
        (
            "kind = \"inrush\"",
            "kind = \"inrush\"\ncoarse_period = \"50 us\"",
            ("coarse_period", 1),
            "distinguish a trip from a crossing",
        ),
        (
            "kind = \"inrush\"",
            "kind = \"inrush\"\nlength = \"15 ms\"",
            ("length = \"15 ms\"", 1),
            "less than twice the limit of `time_to_start`",
        ),
        (
            "kind = \"inrush\"",
            "kind = \"inrush\"\nclose_look = \"100 us\"",
            ("close_look", 1),
            "too short to see a peak",
        ),
        (
            "kind = \"inrush\"",
            "kind = \"inrush\"\nrepeats = 0",
            ("repeats = 0", 1),
            "out of range",
        ),
        (
            "max = \"200 mC\"",
            "max = \"200 mA\"",
            ("\"200 mA\"", 1),
            "is a current, not a charge",
        ),
        (
            "kind = \"soak\"",
            "kind = \"soak\"\ncurrent = \"3.5 A\"",
            ("current = \"3.5 A\"", 1),
            "above the rated current",
        ),
        (
            "kind = \"soak\"",
            "kind = \"soak\"\ninterval = \"40 s\"",
            ("interval = \"40 s\"", 1),
            "so few looks",
        ),
        (
            "length = \"4 min\"",
            "length = \"3 min\"",
            ("length = \"3 min\"", 1),
            "less than two of the longest time constants",
        ),
        (
            "kind = \"supply\"",
            "kind = \"supply\"\nsteps = [\"3 A\", \"2 A\", \"5 A\"]",
            ("steps = [\"3 A\"", 1),
            "do not rise",
        ),
        (
            "kind = \"supply\"",
            "kind = \"supply\"\nsteps = [\"3 A\", \"4 A\"]",
            ("steps = [\"3 A\"", 1),
            "none can show that it is reached",
        ),
        (
            "kind = \"supply\"",
            "kind = \"supply\"\nhold = \"10 ms\"",
            ("hold = \"10 ms\"", 1),
            "too short to see what the supply does",
        ),
    ] {
        check(old, new, at, message);
    }
}

/// The demo's `idle` holds the output for 260 ms, its `load` for 250 ms and its
/// `sense` for 100 ms.
#[test]
fn a_board_that_holds_for_a_while_only_is_held_no_longer() {
    for (longest, held) in [("150 ms", &["idle", "load"][..]), ("255 ms", &["idle"])] {
        let new = format!("on_signal_loss = \"hold\"\nlongest_hold = \"{longest}\"");
        let text = DEMO.replacen("on_signal_loss = \"hold\"", &new, 1);
        let faults = read(&text).expect_err("held too long");
        assert_eq!(faults.len(), held.len(), "{faults:#?}");
        for (fault, kind) in faults.iter().zip(held) {
            let message = "longer than the board can";
            assert!(fault.message.contains(message), "{fault:#?}");
            let scenario = line_of(&text, &format!("kind = \"{kind}\""), 1) - 1;
            assert_eq!(fault.line, scenario, "{fault:#?}");
        }
    }
}

/// `idle`, `load` and `sense` of the demo hold the output.
#[test]
fn a_board_that_goes_dead_without_a_signal_is_held_nowhere() {
    let text = DEMO.replacen("on_signal_loss = \"hold\"", "on_signal_loss = \"off\"", 1);
    let faults = read(&text).expect_err("held");
    // What is not stated follows the board: the list that is stated is the fault.
    assert_eq!(faults.len(), 1, "{faults:#?}");
    assert!(faults[0].message.contains("goes dead"), "{faults:#?}");
    assert_eq!(faults[0].line, line_of(&text, "polarities", 1));
}

#[test]
fn the_limit_of_another_scenario_is_hinted() {
    let text = DEMO.replacen("level_asymmetry = {", "trip_time = {", 1);
    let faults = read(&text).expect_err("not a load's");
    let hint = faults[0].hint.as_deref();
    assert_eq!(hint, Some("`overload` scenarios measure it"));
}

/// Stored runs keep plans of format 1, where ten bits were understood and some
/// metrics had other names. In a later plan such a name is a fault.
#[test]
fn a_plan_of_the_first_format_goes_on_being_read() {
    let text = DEMO
        .replacen("format = 2", "format = 1", 1)
        .replacen("last_count = 4095\n", "", 1);
    let former = [
        ("recovered_voltage =", "healthy_after ="),
        ("sense.scale_factor =", "sense.sense_scale ="),
        ("\"sense.scale_factor\"", "\"sense.sense_scale\""),
        ("slew_rate =", "slew ="),
        ("selectivity_margin =", "margin ="),
    ];
    let former = former.iter().fold(text.clone(), |text, (now, then)| {
        assert!(text.contains(now), "{now}");
        text.replace(now, then)
    });
    let (plan, _) = read(&former).expect("sound");
    let (present, _) = read(&text).expect("in the present words too");
    let limits = |plan: &Plan| -> Vec<_> {
        let scenarios = plan.scenarios.iter();
        scenarios.map(|s| s.limits.clone()).collect()
    };
    assert_eq!(limits(&plan), limits(&present));
    assert_eq!(plan.comparison, present.comparison);
    let found = plan.scenarios.iter().find_map(|s| match &s.settings {
        Settings::Sense(sense) => Some(sense.last_count),
        _ => None,
    });
    assert_eq!(found, Some(1023));
    let mixed = former.replacen("format = 1", "format = 2", 1);
    let faults = read(&mixed).expect_err("names of format 1");
    let hints = faults.iter().filter_map(|fault| fault.hint.as_deref());
    let hints: Vec<&str> = hints.collect();
    for hint in ["recovered_voltage", "slew_rate", "selectivity_margin"] {
        let wanted = format!("did you mean `{hint}`?");
        assert!(hints.contains(&wanted.as_str()), "{hint}: {hints:?}");
    }
}

/// A board with bootstrapped high sides cannot be held for minutes; one that
/// goes dead without a signal cannot be held at all.
#[test]
fn a_soak_is_held_only_where_the_board_can() {
    let held = DEMO.replacen(
        "kind = \"soak\"",
        "kind = \"soak\"\npolarities = [\"negative\"]",
        1,
    );
    read(&held).expect("a board that holds for ever");
    let fault_of = |text: &str, message: &str| {
        let faults = read(text).expect_err(message);
        let fault = faults.into_iter().rfind(|f| f.message.contains(message));
        fault.unwrap_or_else(|| panic!("{message}")).line
    };
    let short = held.replacen(
        "on_signal_loss = \"hold\"",
        "on_signal_loss = \"hold\"\nlongest_hold = \"1 s\"",
        1,
    );
    let line = fault_of(&short, "longer than the board can");
    assert_eq!(line, line_of(&short, "length = \"4 min\"", 1));
    let dead = held.replacen("on_signal_loss = \"hold\"", "on_signal_loss = \"off\"", 1);
    let line = fault_of(&dead, "goes dead without a signal");
    assert_eq!(line, line_of(&dead, "polarities = [\"negative\"]", 1));
}
