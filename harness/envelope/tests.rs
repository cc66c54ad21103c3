//! Checks of the envelope: what could flow against closed forms and against a
//! circuit stepped through in time, and the states a bench goes through.

use super::worst::Worst;
use super::*;
use crate::bench_file::{self, Closes, Loop};
use crate::clock::{BenchInstant, BenchSpan};
use crate::ident::Role;
use crate::measurement::Blame;
use crate::plan::demo;
use crate::profile::{self, Profile};
use crate::scenario::intent::{Intent, LoadSetting};
use crate::scenario::{Place, Polarity};
use crate::units::{
    AmpereSquareSeconds, Amperes, Farads, Henries, Joules, Ohms, Quantity, Seconds, Volts,
};
use std::collections::BTreeMap;

const BOARD: BoardFacts = BoardFacts {
    bulk_capacitance: Farads::new(1e-3),
    source_resistance: Ohms::new(0.1),
    rated_current: Amperes::new(3.0),
};

const SUPPLY: Intent = Intent::SupplyOn {
    voltage: Volts::new(18.0),
    current_limit: Amperes::new(6.0),
};

fn file() -> bench_file::Bench {
    bench_file::parse(&demo::bench())
        .expect("the demo's bench is sound")
        .0
}

fn around(file: &bench_file::Bench) -> Surroundings {
    let profiles: BTreeMap<Role, Profile> = Role::ALL
        .into_iter()
        .filter_map(|role| Some((role, profile::shipped(role.word())?)))
        .collect();
    Surroundings::new(file, &profiles, BOARD)
}

fn at(seconds: f64) -> BenchInstant {
    BenchInstant::ZERO + BenchSpan::from_seconds(Seconds::new(seconds))
}

fn powered() -> State {
    State::at_rest().after(&SUPPLY, at(1.0))
}

fn asked(file: &bench_file::Bench, state: State, intent: Intent) -> Result<(), Refusal> {
    around(file).prospect(&state, at(1.0)).check(&intent)
}

fn pulse(place: Place, milliseconds: f64) -> Intent {
    Intent::ShortPulse {
        place,
        duration: Seconds::new(milliseconds * 1e-3),
    }
}

fn gap(milliseconds: f64) -> Intent {
    Intent::GapPulse {
        crossed: true,
        duration: Seconds::new(milliseconds * 1e-3),
    }
}

fn supply_state(limit: f64) -> SupplyState {
    SupplyState {
        on: true,
        voltage: Volts::new(18.0),
        limit: Amperes::new(limit),
    }
}

fn short_loop(resistance: f64) -> Loop {
    Loop {
        voltage: Volts::new(18.0),
        resistance: Ohms::new(resistance),
        inductance: Henries::ZERO,
    }
}

fn near(found: f64, expected: f64) {
    assert!(
        (found - expected).abs() < 1e-9 * expected.abs().max(1.0),
        "{found} instead of {expected}"
    );
}

/// A capacitor that empties into a resistor frees C V^2 / 2 in it, whatever the
/// resistor (the discharge i = V/R exp(-t/RC), squared and integrated: textbook,
/// from memory), so the let-through is C V^2 / 2R.
#[test]
fn a_capacitor_alone_lets_half_its_energy_over_the_resistance_through() {
    let worst = |resistance| {
        let second = Seconds::new(1.0);
        Worst::of_short(
            &short_loop(resistance),
            supply_state(0.0),
            Farads::new(1e-3),
            second,
        )
    };
    for resistance in [0.05, 0.42, 3.0] {
        let worst = worst(resistance);
        near(worst.current, 18.0 / resistance);
        near(worst.energy, 0.162);
        near(worst.let_through, 0.162 / resistance);
    }
    // A pulse shorter than the discharge passes no more than V/R the whole time.
    let brief = Seconds::new(1e-5);
    let worst = Worst::of_short(
        &short_loop(0.42),
        supply_state(0.0),
        Farads::new(1e-3),
        brief,
    );
    near(worst.let_through, (18.0_f64 / 0.42).powi(2) * 1e-5);
}

/// The circuit itself, stepped through: a capacitor behind a resistance, fed
/// by a constant current. The bound is never below it, and close to it.
#[test]
fn what_capacitor_and_supply_push_through_a_short_stays_below_its_bound() {
    for (resistance, capacitance, limit, pulse) in [
        (0.42, 1e-3, 6.0, 0.04),
        (0.42, 1e-3, 6.0, 3e-4),
        (0.2, 4.7e-3, 10.0, 0.02),
        (2.0, 1e-3, 2.0, 5e-3),
        (0.42, 1e-5, 6.0, 0.04),
    ] {
        let steps = 400_000;
        let step = pulse / f64::from(steps);
        let (mut voltage, mut let_through, mut energy) = (18.0_f64, 0.0, 0.0);
        for _ in 0..steps {
            let current = voltage / resistance;
            let_through += current * current * step;
            energy += current * voltage * step;
            voltage += (limit - current) / capacitance * step;
        }
        let worst = Worst::of_short(
            &short_loop(resistance),
            supply_state(limit),
            Farads::new(capacitance),
            Seconds::new(pulse),
        );
        let case = format!("{resistance} ohm, {capacitance} F, {limit} A, {pulse} s");
        assert!(worst.let_through * 1.001 >= let_through, "{case}");
        assert!(worst.let_through < 2.0 * let_through, "{case}");
        assert!(worst.energy * 1.001 >= energy, "{case}");
    }
}

/// The bank takes as much energy as stays in the resistance that charges it
/// (textbook, from memory).
#[test]
fn a_bank_takes_its_charge_and_a_resistor_goes_on() {
    let bank = bench_file::BankEntry {
        capacitance: Farads::new(9.4e-3),
        bleeder: Ohms::new(100.0),
        drop: Volts::new(1.4),
    };
    let (through, second) = (short_loop(0.62), Seconds::new(1.0));
    let worst = Worst::of_bank(&bank, &through, second);
    // By hand: 9.4 mF x (18 V)^2 = 3.0456 J, half of it over 620 mohm.
    near(worst.energy, 3.0456);
    near(worst.let_through, 1.5228 / 0.62);
    near(worst.current, 18.0 / 0.62);
    let worst = Worst::of_resistor(&short_loop(6.0), second);
    near(worst.current, 3.0);
    near(worst.let_through, 9.0);
    near(worst.energy, 54.0);
}

/// Ohm's law round each loop of the demo's bench, by hand.
#[test]
fn the_loops_are_those_of_the_wiring() {
    let (file, supply) = (file(), Volts::new(18.0));
    let closed = |closes| file.closed_loop(closes, supply, BOARD.source_resistance);
    let short = closed(Closes::NearShort).expect("a loop");
    near(short.resistance.si(), 0.42);
    near(short.inductance.si(), 1.5e-6);
    near(short.current().si(), 18.0 / 0.42);
    let far = closed(Closes::FarShort).expect("a loop");
    assert!(far.current() < short.current());
    let gap = closed(Closes::GapCrossed).expect("a loop");
    // 18 V and 17 V over source, leads, gap and upstream.
    near(gap.current().si(), 35.0 / 0.92);
    // 2 us and three times 3 uH over 820 mohm, without the board's own.
    let spike = file.edge_spike(supply).expect("a spike");
    assert!((spike.si() - (2e-6 + 3.0 * 3e-6 / 0.82)).abs() < 1e-12);
    let bank = closed(Closes::CapacitorBank).expect("a loop");
    near(bank.current().si(), 18.0 / 0.62);
    assert_eq!(closed(Closes::SupplyLoad), None);
    // No resistance at all: more than any envelope.
    assert_eq!(short_loop(0.0).current().si(), f64::MAX);
}

#[test]
fn a_gap_lasts_until_the_upstream_trips() {
    let mut file = file();
    file.envelope.let_through = AmpereSquareSeconds::new(25.0);
    let refused = asked(&file, powered(), gap(50.0)).expect_err("too much");
    let Refusal::LetThrough { prospective, .. } = &refused else {
        panic!("{refused}");
    };
    // The upstream trips after 60 ms only, so the closure itself ends it.
    let current = 35.0 / 0.92;
    near(prospective.si(), current * current * 0.05);
    let upstream = file.upstream.as_mut().expect("an upstream source");
    upstream.trip_time = Seconds::new(0.01);
    asked(&file, powered(), gap(50.0)).expect("it trips first");
    let upstream = file.upstream.as_mut().expect("an upstream source");
    upstream.trip_current = Amperes::new(39.0);
    asked(&file, powered(), gap(50.0)).expect_err("it does not trip");
}

/// Either of two voltages may stand across the rails.
#[test]
fn the_higher_of_two_sources_counts() {
    let mut file = file();
    file.envelope.voltage = Volts::new(19.0);
    asked(&file, powered(), gap(5.0)).expect("both below");
    file.upstream.as_mut().expect("upstream").voltage = Volts::new(20.0);
    let refused = asked(&file, powered(), gap(5.0)).expect_err("too high");
    assert_eq!(refused.kind(), RefusalKind::Voltage);
}

#[test]
fn a_load_is_weighed_at_the_voltage_of_the_supply() {
    let file = file();
    let at_rest = asked(
        &file,
        State::at_rest(),
        Intent::LoadOn(LoadSetting::Resistance(Ohms::new(6.0))),
    );
    at_rest.expect("no voltage, no current");
    let load = |ohms: f64| Intent::LoadOn(LoadSetting::Resistance(Ohms::new(ohms)));
    asked(&file, powered(), load(6.0)).expect("3 A");
    let refused = asked(&file, powered(), load(1e-3)).expect_err("18 kA");
    assert_eq!(refused.kind(), RefusalKind::Range);
    assert!(refused.expected().expect("a value").ends_with("or less"));
}

/// Each kind with who can mend it, as a caller turns it into a fault.
#[test]
fn refusals_say_what_kind_they_are_and_what_would_do() {
    let unknown = asked(&file(), State::UNKNOWN, SUPPLY).expect_err("unknown");
    assert_eq!(unknown.kind(), RefusalKind::Unknown);
    assert_eq!((unknown.blame(), unknown.expected()), (Blame::Bench, None));

    let mut low = file();
    low.envelope.current = Amperes::new(40.0);
    let refused = asked(&low, powered(), pulse(Place::Near, 10.0)).expect_err("42.86 A");
    assert_eq!(refused.kind(), RefusalKind::Current);
    assert_eq!(refused.expected().as_deref(), Some("40.00 A or less"));
    assert!(
        refused
            .hint()
            .expect("a hint")
            .contains("source_resistance")
    );
    assert_eq!(refused.blame(), Blame::Plan);

    let pulse_of = |amperes| Intent::LoadPulse {
        current: Amperes::new(amperes),
        duration: Seconds::new(0.01),
    };
    low.envelope.current = Amperes::new(10.0);
    let refused = asked(&low, powered(), pulse_of(12.0)).expect_err("12 A");
    assert_eq!(refused.kind(), RefusalKind::Current);
    assert_eq!(refused.hint(), None, "no loop, no resistance");

    let mut weak = file();
    weak.envelope.energy = Joules::new(0.1);
    let refused = asked(&weak, State::at_rest(), SUPPLY).expect_err("0.162 J");
    assert_eq!(refused.kind(), RefusalKind::Energy);

    let mut bare = file();
    bare.branches.clear();
    let refused = asked(&bare, powered(), pulse(Place::Far, 10.0)).expect_err("no branch");
    assert_eq!(refused.kind(), RefusalKind::Lacks);

    let refused = asked(&file(), powered(), pulse(Place::Near, 1e9)).expect_err("too long");
    assert_eq!(refused.kind(), RefusalKind::NotTimed);
    let word = serde_json::to_string(&RefusalKind::NotTimed).expect("a word");
    assert_eq!(word, "\"not-timed\"");
}

/// What was said of the states: one code for a run with a bench and without.
#[test]
fn each_action_moves_the_state() {
    let hold = Intent::LoadHold {
        current: Amperes::new(1.0),
        duration: Seconds::new(2.0),
    };
    let state = powered();
    assert_eq!(state.supply, Known::Sure(supply_state(6.0)));
    near(state.energised_for(at(3.5)).si(), 2.5);
    // Set again, it has been on since the first time.
    let again = state.after(&SUPPLY, at(9.0));
    assert_eq!(again.energised_since, state.energised_since);
    let loaded = state.after(&hold, at(2.0));
    assert_eq!(loaded.load_on, Known::Sure(true));
    assert_eq!(
        loaded.after(&pulse(Place::Near, 1.0), at(3.0)),
        loaded,
        "the switch opens by itself"
    );
    let off = loaded.load_off().supply_off();
    assert_eq!(off.load_on, Known::Sure(false));
    assert_eq!(off.energised_since, None);
    // The capacitors may still be charged.
    let Known::Sure(supply) = off.supply else {
        panic!("known")
    };
    assert!(!supply.on && supply.voltage == Volts::new(18.0));
    let held = off.driven(Some(Polarity::Positive));
    assert_eq!(held.drive, Known::Sure(Some(Polarity::Positive)));
    // Trouble: whatever was tried may have happened.
    let perhaps = State::at_rest().perhaps_after(&SUPPLY, at(1.0));
    assert_eq!(perhaps.supply, Known::Unknown);
    assert_eq!(perhaps.energised_since, Some(at(1.0)));
    assert_eq!(state.perhaps_after(&hold, at(2.0)).load_on, Known::Unknown);
    assert_eq!(held.unsure_of(Role::Drive).drive, Known::Unknown);
}

#[test]
fn time_without_a_pause_ends() {
    let mut file = file();
    file.envelope.seconds = Seconds::new(30.0);
    let around = around(&file);
    let state = powered();
    let prospect = around.prospect(&state, at(30.0));
    prospect.may_go_on(Seconds::new(1.0)).expect("30 s in all");
    let refused = prospect.may_go_on(Seconds::new(1.5)).expect_err("longer");
    let Refusal::Time { would, most, .. } = &refused else {
        panic!("{refused}")
    };
    assert_eq!((would.si(), most.si()), (30.5, 30.0));
    let hold = Intent::LoadHold {
        current: Amperes::new(1.0),
        duration: Seconds::new(1.5),
    };
    let refused = prospect.check(&hold).expect_err("longer");
    assert_eq!(refused.kind(), RefusalKind::Time);
    // Without energy in the board nothing runs out.
    let rest = state.supply_off();
    let prospect = around.prospect(&rest, at(30.0));
    prospect.may_go_on(Seconds::new(1e4)).expect("a pause");
}

#[test]
fn without_a_rectifier_the_load_takes_one_polarity() {
    let mut file = file();
    file.wiring.rectifier_drop = Volts::ZERO;
    let load = Intent::LoadOn(LoadSetting::Current(Amperes::new(1.0)));
    for drive in [None, Some(Polarity::Negative), Some(Polarity::Alternating)] {
        let refused = asked(&file, powered().driven(drive), load).expect_err("reversed");
        assert_eq!(refused.kind(), RefusalKind::LoadWiring);
    }
    let held = powered().driven(Some(Polarity::Positive));
    asked(&file, held, load).expect("positive");
    let around = around(&file);
    let loaded = held.after(&load, at(1.0));
    let prospect = around.prospect(&loaded, at(2.0));
    prospect.may_drive(Polarity::Positive).expect("as it is");
    let refused = prospect
        .may_drive(Polarity::Negative)
        .expect_err("reversed");
    assert_eq!(refused.kind(), RefusalKind::LoadWiring);
}
