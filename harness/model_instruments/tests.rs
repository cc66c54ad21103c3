//! The instruments against the shipped profiles and against what the circuit
//! must physically show; never against their own formulas.

use super::*;
use crate::clock::{BenchInstant, BenchSpan};
use crate::ident::Role;
use crate::model_board::{BoardParameters, ContactDefect, FixtureParameters};
use crate::physics::{Circuit, Probe, SwitchBranch};
use crate::protocol::{Reading, error_entry, list, number};
use crate::seed::Seed;
use crate::template::{Argument, Template};
use crate::units::{Amperes, Quantity};

fn world_of(board: &BoardParameters, fixture: &FixtureParameters, seed: u64) -> World {
    let circuit = Circuit::new(board, fixture).expect("the default circuit");
    World::new(circuit, WorldSettings::new(Seed(seed)))
}

pub(super) fn world() -> World {
    world_of(
        &BoardParameters::default(),
        &FixtureParameters::default(),
        1,
    )
}

/// Sends a line and returns the reply without its ending.
pub(super) fn ask(world: &mut World, role: Role, line: &str) -> String {
    let mut reply = world.exchange(role, line.as_bytes());
    if let Some(ending) = reply.pop() {
        assert_eq!(ending, b'\n', "{line}");
    }
    String::from_utf8(reply).expect("text")
}

/// Sends lines that must do without a reply and without an error.
pub(super) fn tell(world: &mut World, role: Role, lines: &[&str]) {
    for line in lines {
        assert_eq!(ask(world, role, line), "", "{line}");
        assert_eq!(next_error(world, role), 0, "{line}");
    }
}

pub(super) fn next_error(world: &mut World, role: Role) -> i32 {
    let line = if role == Role::Console {
        "error"
    } else {
        "SYST:ERR?"
    };
    error_entry(ask(world, role, line).as_bytes())
        .expect("an entry")
        .code
}

pub(super) fn value(world: &mut World, role: Role, line: &str) -> f64 {
    match number(ask(world, role, line).as_bytes()) {
        Ok(Reading::Number(value)) => value,
        other => panic!("{line}: {other:?}"),
    }
}

/// 18 V on the board, all ones at its input, output alive.
pub(super) fn powered(world: &mut World) {
    tell(world, Role::Supply, &["VOLT 18;CURR 5", "OUTP ON"]);
    tell(
        world,
        Role::Drive,
        &["SIGN:PATT ONES", "SIGN ON", "CONT:ENAB 1"],
    );
    world.advance(BenchSpan::from_microseconds(200_000));
}

const PROFILES: [(Role, &str); 6] = [
    (
        Role::Supply,
        include_str!("../../fixtures/profiles/supply.toml"),
    ),
    (
        Role::Load,
        include_str!("../../fixtures/profiles/load.toml"),
    ),
    (
        Role::Capture,
        include_str!("../../fixtures/profiles/capture.toml"),
    ),
    (
        Role::Switch,
        include_str!("../../fixtures/profiles/switch.toml"),
    ),
    (
        Role::Drive,
        include_str!("../../fixtures/profiles/drive.toml"),
    ),
    (
        Role::Console,
        include_str!("../../fixtures/profiles/console.toml"),
    ),
];

#[test]
fn every_command_of_the_shipped_profiles_is_understood() {
    let arguments = [
        ("volts", Argument::Number(5.0)),
        ("amperes", Argument::Number(0.5)),
        ("from_amperes", Argument::Number(0.0)),
        ("to_amperes", Argument::Number(2.5)),
        ("ohms", Argument::Number(8.0)),
        ("seconds", Argument::Number(0.001)),
        ("count", Argument::Integer(10)),
        ("start", Argument::Integer(0)),
        ("channel", Argument::Integer(1)),
        ("line", Argument::Integer(3)),
        ("slope", Argument::Text("POS")),
        ("pattern", Argument::Text("58US,58US,CUT,454US,100US,100US")),
        ("input", Argument::Text("B")),
        ("polarity", Argument::Text("NEG")),
        ("state", Argument::Integer(1)),
    ];
    for (role, source) in PROFILES {
        let profile: toml::Table = source.parse().expect("a sound profile");
        let commands = profile["commands"].as_table().expect("commands");
        for (name, text) in commands {
            let mut world = world();
            if name.starts_with("read_") || name == "preamble" {
                tell(&mut world, role, &["SWE:POIN 10;TINT 1E-6", "INIT"]);
                world.advance(BenchSpan::from_microseconds(10_000));
            }
            let template = Template::parse(text.as_str().expect("text")).expect("a template");
            let wanted: Vec<_> = arguments
                .iter()
                .filter(|(gap, _)| template.placeholders().any(|name| name == *gap))
                .copied()
                .collect();
            let line = template.fill(&wanted).expect("all gaps known");
            let reply = world.exchange(role, line.as_bytes());
            let query = line.contains('?') || role == Role::Console;
            assert_eq!(!reply.is_empty(), query, "{role}: {line}");
            assert_eq!(next_error(&mut world, role), 0, "{role}: {line}");
        }
        let identity = commands["identify"].as_str().expect("text");
        let answer = ask(&mut world(), role, identity);
        let pattern = profile["profile"]["identifies_as"].as_str().expect("text");
        let pattern = regex_lite::Regex::new(pattern).expect("a pattern");
        assert!(pattern.is_match(&answer), "{role}: {answer}");
    }
}

#[test]
fn the_default_settings_are_those_of_the_shipped_profiles() {
    let settings = WorldSettings::new(Seed(0));
    for (role, source) in PROFILES {
        let profile: toml::Table = source.parse().expect("a sound profile");
        let cost = settings.lines[&role];
        assert_eq!(
            profile["line"]["speed"].as_integer(),
            Some(cost.speed.into())
        );
        let processing = profile["line"]["processing"].as_str().expect("text");
        let processing = crate::units::parse(processing).expect("a time");
        assert_eq!(
            cost.processing,
            BenchSpan::from_seconds(processing),
            "{role}"
        );
    }
}

#[test]
fn an_exchange_costs_what_its_bytes_cost() {
    let mut world = world();
    let reply = world.exchange(Role::Supply, b"*OPC?");
    assert_eq!(reply, b"1\n");
    // Six bytes in, two out, ten bits each at 115200 bit/s, and 1 ms.
    let expected = 80.0 / 115_200.0 + 1e-3;
    assert!((world.now().since_zero().si() - expected).abs() < 1e-11);
    let cold = world.exchange(Role::Thermometer, b"MEAS:TEMP?");
    let cold: f64 = std::str::from_utf8(&cold).unwrap().trim().parse().unwrap();
    assert!((cold - 25.0).abs() <= 0.5, "{cold}");
}

#[test]
fn the_supply_measures_within_its_accuracy() {
    for seed in 0..5 {
        let (board, fixture) = (BoardParameters::default(), FixtureParameters::default());
        let mut world = world_of(&board, &fixture, seed);
        powered(&mut world);
        let before = world.now();
        let volts = value(&mut world, Role::Supply, "MEAS:VOLT?");
        assert!(world.now() - before > BenchSpan::from_microseconds(20_000));
        let volts_true = world.circuit().probe(Probe::SupplyVoltage);
        assert!(
            // 0.05 % and 5 mV, and a step of the display.
            (volts - volts_true).abs() < 0.0005 * 18.0 + 5e-3 + 1e-3,
            "{volts} {volts_true}"
        );
        // Quiescent 40 mA and the bleeder's 18 mA at this voltage, from the
        // parameters' own documentation; the snubber's share is small.
        let amperes = value(&mut world, Role::Supply, "MEAS:CURR?");
        assert!((amperes - 0.058).abs() < 0.02, "{amperes}");
    }
}

#[test]
fn supply_settings_and_their_bounds() {
    let mut world = world();
    tell(
        &mut world,
        Role::Supply,
        &["SOURCE:VOLTAGE:LEVEL 12.5", "curr 250MA"],
    );
    for (line, wanted) in [
        ("VOLT?", 12.5),
        ("VOLT? MAX", 32.0),
        ("VOLT? MIN", 0.0),
        ("CURR?", 0.25),
        ("OUTP?", 0.0),
    ] {
        assert_eq!(value(&mut world, Role::Supply, line), wanted, "{line}");
    }
    for (line, code) in [
        ("VOLT 33", -222),
        ("VOLT 1A", -131),
        ("VOLT", -109),
        ("OUTP MAYBE", -141),
    ] {
        assert_eq!(ask(&mut world, Role::Supply, line), "");
        assert_eq!(next_error(&mut world, Role::Supply), code, "{line}");
    }
    tell(&mut world, Role::Supply, &["OUTP ON", "*RST"]);
    assert_eq!(ask(&mut world, Role::Supply, "OUTP?;VOLT?"), "0;0.0E+00");
}

#[test]
fn the_supply_says_that_it_limits() {
    let mut world = world();
    // Charging 1 mF to 18 V at 0.1 A takes 180 ms.
    tell(&mut world, Role::Supply, &["VOLT 18;CURR 0.1;OUTP ON"]);
    assert_eq!(value(&mut world, Role::Supply, "STAT:QUES:COND?"), 2.0);
    tell(&mut world, Role::Supply, &["CURR 5"]);
    world.advance(BenchSpan::from_microseconds(500_000));
    assert_eq!(value(&mut world, Role::Supply, "STAT:QUES:COND?"), 0.0);
    assert_eq!(
        value(&mut world, Role::Supply, "STAT:QUES?"),
        2.0,
        "latched"
    );
}

#[test]
fn the_load_draws_what_it_is_set_to() {
    let mut world = world();
    powered(&mut world);
    tell(&mut world, Role::Drive, &["SIGN:HOLD POS"]);
    tell(
        &mut world,
        Role::Load,
        &["FUNC:MODE CURR", "CURR 2", "INP ON"],
    );
    world.advance(BenchSpan::from_microseconds(50_000));
    // Setting and meter: 0.1 % and 10 mA each.
    let amperes = value(&mut world, Role::Load, "MEAS:CURR?");
    assert!((amperes - 2.0).abs() < 2.0 * (0.002 + 0.01), "{amperes}");
    tell(&mut world, Role::Load, &["FUNC:MODE RES", "RES 10"]);
    world.advance(BenchSpan::from_microseconds(50_000));
    let volts = value(&mut world, Role::Load, "MEAS:VOLT?");
    let amperes = value(&mut world, Role::Load, "MEAS:CURR?");
    assert!(
        (volts / amperes - 10.0).abs() < 0.3,
        "{volts} V, {amperes} A"
    );
    tell(&mut world, Role::Load, &["ABOR", "INP OFF"]);
    world.advance(BenchSpan::from_microseconds(50_000));
    assert!(value(&mut world, Role::Load, "MEAS:CURR?") < 0.011);
}

#[test]
fn a_load_pulse_ends_by_itself() {
    let mut world = world();
    powered(&mut world);
    tell(&mut world, Role::Drive, &["SIGN:HOLD POS"]);
    tell(
        &mut world,
        Role::Load,
        &["CURR:TRIG 1.5;:PULS:WIDT 0.1;:INIT"],
    );
    assert_eq!(ask(&mut world, Role::Load, "STAT:OPER:COND?;:INP?"), "8;1");
    assert!((world.circuit().probe(Probe::LoadCurrent) - 1.5).abs() < 0.02);
    assert_eq!(ask(&mut world, Role::Load, "INIT"), "");
    assert_eq!(next_error(&mut world, Role::Load), -213);
    assert_eq!(ask(&mut world, Role::Load, "CURR 3"), "");
    assert_eq!(next_error(&mut world, Role::Load), -221);
    world.advance(BenchSpan::from_microseconds(100_000));
    assert_eq!(ask(&mut world, Role::Load, "STAT:OPER:COND?;:INP?"), "0;0");
    assert!(world.circuit().probe(Probe::LoadCurrent).abs() < 1e-3);
    tell(
        &mut world,
        Role::Load,
        &["CURR:STAR 0;STOP 2;:SWE:TIME 0.2;:INIT:SWE"],
    );
    world.advance(BenchSpan::from_microseconds(100_000));
    let half_way = world.circuit().probe(Probe::LoadCurrent);
    assert!((0.8..1.4).contains(&half_way), "{half_way}");
    world.advance(BenchSpan::from_microseconds(200_000));
    assert_eq!(ask(&mut world, Role::Load, "STAT:OPER:COND?;:INP?"), "0;1");
    assert!((world.circuit().probe(Probe::LoadCurrent) - 2.0).abs() < 0.02);
}

#[test]
fn the_load_protects_itself() {
    let board = BoardParameters {
        trip_current: Amperes::new(100.0),
        ..BoardParameters::default()
    };
    let mut world = world_of(&board, &FixtureParameters::default(), 1);
    tell(&mut world, Role::Supply, &["VOLT 32;CURR 25;OUTP ON"]);
    tell(&mut world, Role::Drive, &["SIGN:HOLD POS;:SIGN ON"]);
    world.advance(BenchSpan::from_microseconds(200_000));
    // 20 A at 32 V less the drops is well over 300 W.
    tell(&mut world, Role::Load, &["CURR 20;:INP ON"]);
    assert_eq!(ask(&mut world, Role::Load, "STAT:QUES:COND?;:INP?"), "8;0");
    assert!(world.circuit().probe(Probe::LoadCurrent) < 1e-3);
    assert_eq!(ask(&mut world, Role::Load, "INIT"), "");
    assert_eq!(next_error(&mut world, Role::Load), -221);
    tell(&mut world, Role::Load, &["CURR 1;:INP ON"]);
    assert_eq!(value(&mut world, Role::Load, "STAT:QUES:COND?"), 0.0);
}

/// Of 64 closings told at one phase of the signal (116 us a bit, S-9.1 nominal) some
/// come in each eighth of it; the seed says when, and says the same again.
#[test]
fn each_closing_meets_a_phase_of_its_own() {
    let closings = |seed: u64| -> Vec<i64> {
        let (board, fixture) = (BoardParameters::default(), FixtureParameters::default());
        let mut world = world_of(&board, &fixture, seed);
        let one = |_| {
            let begun = world.now();
            tell(&mut world, Role::Switch, &["ROUT:CLOS (@1)"]);
            let taken = world.now() - begun;
            tell(&mut world, Role::Switch, &["ROUT:OPEN (@1)"]);
            world.advance(BenchSpan::from_microseconds(10_000));
            taken.picoseconds()
        };
        (0..64).map(one).collect()
    };
    let (first, other) = (closings(1), closings(2));
    assert_eq!(closings(1), first);
    assert_ne!(other, first);
    for eighth in 0..8 {
        let met = first
            .iter()
            .any(|taken| taken % 116_000_000 * 8 / 116_000_000 == eighth);
        assert!(met, "no closing in eighth {eighth}: {first:?}");
    }
}

#[test]
fn the_switch_closes_for_a_time_and_knows_its_fuse() {
    let mut world = world();
    tell(&mut world, Role::Switch, &["ROUT:CLOS:PULS (@1),0.05"]);
    assert_eq!(
        ask(
            &mut world,
            Role::Switch,
            "ROUT:CLOS? (@1,2);:STAT:OPER:COND?"
        ),
        "1,0;8"
    );
    assert!(world.circuit().switch_is_closed(SwitchBranch::Near));
    world.advance(BenchSpan::from_microseconds(60_000));
    assert_eq!(
        ask(
            &mut world,
            Role::Switch,
            "ROUT:CLOS? (@1:2);:STAT:OPER:COND?"
        ),
        "0,0;0"
    );
    tell(&mut world, Role::Switch, &["ROUT:CLOS (@3,8)"]);
    assert_eq!(
        ask(&mut world, Role::Switch, "ROUT:CLOS? (@1:8)"),
        "0,0,1,0,0,0,0,1"
    );
    for (line, code) in [
        ("ROUT:CLOS (@4)", -221),
        ("ROUT:CLOS (@9)", -222),
        ("ROUT:CLOS (@0)", -222),
        ("ROUT:CLOS:PULS (@1),11", -222),
        ("ROUT:CLOS:PULS (@1)", -109),
        ("ROUT:CLOS 1", -128),
    ] {
        assert_eq!(ask(&mut world, Role::Switch, line), "");
        assert_eq!(next_error(&mut world, Role::Switch), code, "{line}");
    }
    tell(&mut world, Role::Switch, &["ROUT:OPEN:ALL"]);
    assert_eq!(
        ask(&mut world, Role::Switch, "ROUT:CLOS? (@1:8)"),
        "0,0,0,0,0,0,0,0"
    );
    assert_eq!(
        ask(&mut world, Role::Switch, "ROUT:CONT? (@1,2,8)"),
        "1,1,0"
    );
    let blown = FixtureParameters {
        contact_defect: Some(ContactDefect::FuseBlown),
        ..FixtureParameters::default()
    };
    let mut world = world_of(&BoardParameters::default(), &blown, 1);
    assert_eq!(ask(&mut world, Role::Switch, "ROUT:CONT? (@1)"), "0");
}

#[test]
fn the_drive_holds_either_polarity() {
    let mut world = world();
    powered(&mut world);
    for (line, sign) in [("SIGN:HOLD POS", 1.0), ("SIGNAL:HOLD NEGATIVE", -1.0)] {
        tell(&mut world, Role::Drive, &[line]);
        world.advance(BenchSpan::from_microseconds(1000));
        let volts = world.circuit().probe(Probe::NodeVoltage);
        assert!((volts * sign - 18.0).abs() < 0.2, "{line}: {volts}");
    }
    assert_eq!(
        ask(&mut world, Role::Drive, "SIGN:HOLD?;:SIGN?;:CONT:ENAB?"),
        "NEG;1;1"
    );
    tell(
        &mut world,
        Role::Drive,
        &["SIGN:PATT 58US,58E-6,1.0E-4,100US"],
    );
    let halves = list(ask(&mut world, Role::Drive, "SIGN:PATT?").as_bytes()).expect("numbers");
    let halves: Vec<_> = halves.into_iter().filter_map(Reading::value).collect();
    assert_eq!(halves, [58e-6, 58e-6, 100e-6, 100e-6]);
    for (line, code) in [
        ("SIGN:PATT 1", -222),
        ("SIGN:PATT SOME", -141),
        ("SIGN:HOLD UP", -141),
    ] {
        assert_eq!(ask(&mut world, Role::Drive, line), "");
        assert_eq!(next_error(&mut world, Role::Drive), code, "{line}");
    }
    tell(&mut world, Role::Drive, &["CONT:ENAB 0", "SIGN OFF"]);
    world.advance(BenchSpan::from_microseconds(100_000));
    let volts = world.circuit().probe(Probe::NodeVoltage);
    assert!(volts.abs() < 0.5, "{volts}");
}

#[test]
fn the_console_tells_what_the_board_believes() {
    let mut world = world();
    assert_eq!(ask(&mut world, Role::Console, "state"), "off");
    powered(&mut world);
    assert_eq!(ask(&mut world, Role::Console, "state"), "on");
    tell(&mut world, Role::Drive, &["SIGN:HOLD POS"]);
    tell(&mut world, Role::Load, &["CURR 2;:INP ON"]);
    world.advance(BenchSpan::from_microseconds(50_000));
    // 2 A and the bleeder's 18 mA x 0.25 V/A on a 12-bit converter of 3.3 V:
    // 626.1 counts.
    let counts = value(&mut world, Role::Console, "sense");
    assert!((counts - 626.0).abs() <= 8.0, "{counts}");
    tell(&mut world, Role::Switch, &["ROUT:CLOS:PULS (@1),0.1"]);
    world.advance(BenchSpan::from_microseconds(50_000));
    assert_eq!(ask(&mut world, Role::Console, "state"), "tripped");
    assert_eq!(ask(&mut world, Role::Console, "reboot"), "");
    assert_eq!(next_error(&mut world, Role::Console), -113);
    assert_eq!(next_error(&mut world, Role::Console), 0);
}

fn story(seed: u64) -> (Vec<u8>, BenchInstant) {
    let (board, fixture) = (BoardParameters::default(), FixtureParameters::default());
    let mut world = world_of(&board, &fixture, seed);
    powered(&mut world);
    let mut bytes = Vec::new();
    for (role, line) in [
        (
            Role::Capture,
            "SWE:POIN 3000;OFFS:POIN -100;:TRIG:SOUR DIG3;:INIT",
        ),
        (Role::Supply, "MEAS:VOLT?;CURR?"),
        (Role::Load, "CURR 1;:INP ON;:MEAS:VOLT?;CURR?"),
        (Role::Switch, "ROUT:CLOS:PULS (@1),0.02"),
        (Role::Load, "MEAS:CURR?"),
        (Role::Capture, "TRAC:PRE? CHAN2;:TRAC? CHAN2;:TRAC? DIG"),
        (Role::Console, "sense"),
    ] {
        bytes.extend(world.exchange(role, line.as_bytes()));
    }
    (bytes, world.now())
}

#[test]
fn a_world_may_live_on_a_thread_of_its_own() {
    fn check<T: Send + 'static>(_: &T) {}
    check(&world());
}

#[test]
fn a_seed_repeats_every_byte() {
    let first = story(7);
    assert_eq!(first, story(7));
    assert_ne!(first.0, story(8).0);
    assert!(first.0.len() > 12_000);
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(64))]

    #[test]
    fn no_bytes_panic_an_instrument(
        words in proptest::collection::vec(
            proptest::sample::select(vec![
                "VOLT", "CURR", "INIT", "TRAC", "?", ":", ";", " ", ",", "CHAN1", "DIG", "-1",
                "1E3", "MAX", "(@1:8)", "ROUT:CLOS", "SIGN:PATT", "MEAS:VOLT?", "\"", "#15", "ON",
                "SWE:POIN", "SWE:OFFS:POIN", "ABOR", "*RST", "TRIG:SOUR", "0", "\u{e9}", "sense",
            ]),
            0..12,
        ),
        role in 0_usize..7,
    ) {
        let mut world = world();
        let line = words.concat();
        let _ = world.exchange(Role::ALL[role], line.as_bytes());
        let _ = world.exchange(Role::ALL[role], line.as_bytes());
    }
}
