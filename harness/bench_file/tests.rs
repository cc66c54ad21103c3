//! The demo's bench is sound, each way to spoil one is named at its line, and
//! conductors agree with the published tables.

use super::*;
use crate::document::{Fault, Source};
use crate::ident::Role;
use crate::model_board::GapReturn;
use crate::units::{Farads, Ohms, Quantity, Seconds, Volts};
use proptest::prelude::*;

const DEMO: &str = include_str!("../../fixtures/demo/bench.toml");

fn read(text: &str) -> Result<(Bench, Vec<Fault>), Vec<Fault>> {
    parse(&Source::new("bench.toml", text))
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

#[test]
fn the_demo_bench_is_sound_and_says_what_it_says() {
    let (bench, warnings) = read(DEMO).expect("sound");
    assert!(warnings.is_empty(), "{warnings:#?}");
    assert!(bench.is_model());
    assert_eq!(bench.instruments.len(), 7);
    assert_eq!(bench.instruments[0].role, Role::Supply);
    let current = bench.channel(Measures::OutputCurrent).expect("stated");
    assert_eq!((current.scale, current.range), (0.05, 60.0));
    assert_eq!(current.uncertainty.si(), 0.002, "the sensor's own");
    let near = bench.branch(Closes::NearShort).expect("stated");
    assert_eq!(near.proof, Proof::PilotCurrent);
    assert_eq!(near.bounce, Seconds::new(200e-6));
    let bank = bench.branch(Closes::CapacitorBank).expect("stated");
    assert_eq!(bank.bank.map(|bank| bank.bleeder), Some(Ohms::new(100.0)));
    assert_eq!(bank.proof, Proof::None);
    let model = bench.model.as_ref().expect("a model");
    assert_eq!(model.fixture.bank.capacitance, Farads::new(9400e-6));
    assert_eq!(model.fixture.near.resistance, Ohms::new(0.300));
    assert_eq!(model.fixture.upstream.branch.resistance, Ohms::new(0.8));
    let calibration = bench.instruments[0].calibration.as_ref().expect("stated");
    assert_eq!(calibration.due, jiff::civil::date(2027, 3, 2));
}

/// 20 m of AWG 14 there and back is 0.33 ohm (worked example of the track
/// trade, derived from ASTM B258); the far short adds it to its own.
#[test]
fn the_bus_follows_from_its_length() {
    let (bench, _) = read(DEMO).expect("sound");
    let bus = bench.wiring.bus_resistance.si();
    assert!((bus - 0.3314).abs() < 0.0005, "{bus}");
    let far = bench.branch(Closes::FarShort).expect("stated");
    assert!((far.resistance.si() - 0.300 - bus).abs() < 1e-12);
    assert!((far.inductance.si() - 12.5e-6).abs() < 1e-15);
}

/// NBS Handbook 100 (1966), resistance of solid annealed copper at 20 degC in
/// ohms per 1000 feet; gauges 12 to 30 as seen in a published copy of the
/// table, the others from memory. NBS rounds the diameter first, so agreement
/// is to 0.1 %.
#[test]
fn gauges_agree_with_the_published_table() {
    const METRES_IN_1000_FEET: f64 = 304.8;
    for (gauge, published) in [
        ("AWG 0", 0.09827),
        ("AWG 4", 0.2485),
        ("AWG 8", 0.6282),
        ("AWG 10", 0.9989),
        ("AWG 12", 1.588),
        ("AWG 14", 2.525),
        ("AWG 16", 4.016),
        ("AWG 18", 6.385),
        ("AWG 20", 10.15),
        ("AWG 22", 16.14),
        ("AWG 24", 25.67),
        ("AWG 30", 103.2),
    ] {
        let conductor: Conductor = gauge.parse().expect(gauge);
        let found = conductor.ohms_per_metre() * METRES_IN_1000_FEET;
        assert!((found / published - 1.0).abs() < 1e-3, "{gauge}: {found}");
    }
    // ASTM B258 fixes 4/0 at 0.4600 inch, so its area is 107.2 mm2.
    let heavy: Conductor = "AWG 4/0".parse().expect("the heaviest");
    assert!((1.0 / 58.0 / heavy.ohms_per_metre() - 107.2).abs() < 0.05);
}

/// IEC 60228:2004, table 3, class 5, plain wires.
#[test]
fn flexible_conductors_are_the_table_itself() {
    for (area, ohms_per_kilometre) in [("0.5 mm2", 39.0), ("1.5 mm²", 13.3), ("4mm2", 4.95)] {
        let conductor: Conductor = area.parse().expect(area);
        let found = conductor.loop_resistance(500.0).si();
        assert!((found - ohms_per_kilometre).abs() < 1e-9, "{area}: {found}");
    }
    for (text, fault) in [
        ("AWG 41", ConductorFault::Gauge),
        ("AWG 5/0", ConductorFault::Gauge),
        ("AWG -3", ConductorFault::Form),
        ("AWG x", ConductorFault::Form),
        ("1.6 mm2", ConductorFault::CrossSection),
        ("thick", ConductorFault::Form),
    ] {
        assert_eq!(text.parse::<Conductor>(), Err(fault), "{text}");
    }
}

#[test]
fn each_spoiled_bench_is_faulted_at_its_line() {
    let load = "role = \"load\"\nmodel = true\nprofile = \"load\"\nnet = \"isolated\"";
    for (old, new, at, nth, message) in [
        (
            "role = \"capture\"",
            "role = \"capture\"\nat = \"ambient\"",
            "at = \"ambient\"",
            1,
            "a capture has no probe",
        ),
        (
            "role = \"thermometer\"",
            "role = \"thermometer\"\nat = \"window\"",
            "at = \"window\"",
            1,
            "'window' is not known here",
        ),
        (
            "proof = \"pilot current\"",
            "proof = \"load\"",
            "proof = \"load\"",
            1,
            "the load says nothing of a contact",
        ),
        (
            "number = 1\ncloses = \"near short\"",
            "number = 1\nclosed_by = \"load\"\ncloses = \"near short\"",
            "number = 1",
            3,
            "the load's short has no number",
        ),
        (
            "format = 1",
            "format = 3",
            "format",
            1,
            "format is not known",
        ),
        (
            "profile = \"supply\"",
            "profile = \"suply\"",
            "suply",
            1,
            "no profile 'suply'",
        ),
        (
            "net = \"isolated\"",
            "net = \"floating\"",
            "floating",
            1,
            "not known here",
        ),
        (
            "due = 2027-03-02",
            "due = 2025-03-02",
            "due = 2025",
            1,
            "before it was calibrated",
        ),
        (
            "due = 2027-03-02\n",
            "",
            "[[instrument]]",
            1,
            "`due` is missing",
        ),
        (
            "calibrated = 2026-03-02",
            "calibrated = \"May\"",
            "\"May\"",
            1,
            "",
        ),
        (
            "role = \"load\"",
            "role = \"supply\"",
            "role = \"supply\"",
            2,
            "more than one supply",
        ),
        (
            load,
            &load.replace("isolated", "negative"),
            "net = \"negative\"",
            1,
            "hangs on the rails",
        ),
        (
            "model = true",
            "path = \"/dev/ttyUSB0\"",
            "[[instrument]]",
            1,
            "some are real",
        ),
        ("model = true\n", "", "[[instrument]]", 1, "has no port"),
        (
            "model = true",
            "model = true\npath = \"/dev/x\"",
            "[[instrument]]",
            1,
            "more than one port",
        ),
        (
            "reference = \"differential\"",
            "reference = \"earthed\"",
            "earthed",
            1,
            "shorts a bridge switch",
        ),
        (
            "reference = \"isolated\"",
            "reference = \"subtracted\"",
            "subtracted",
            1,
            "too coarse",
        ),
        (
            "scale = \"0.1 V/V\"",
            "scale = \"0.1 ohm\"",
            "scale = \"0.1 ohm\"",
            1,
            "not a ratio of voltages",
        ),
        (
            "scale = \"0.05 ohm\"",
            "scale = \"0.05 V/V\"",
            "scale = \"0.05 V/V\"",
            1,
            "not a unit",
        ),
        (
            "range = \"60 A\"",
            "range = \"60 kV\"",
            "range = \"60 kV\"",
            1,
            "a voltage, not a current",
        ),
        (
            "number = 2\nmeasures",
            "number = 1\nmeasures",
            "number = 1",
            2,
            "used twice",
        ),
        (
            "\"board supply\"",
            "\"node voltage\"",
            "\"node voltage\"",
            2,
            "used twice",
        ),
        (
            "marker_line = 3",
            "marker_line = 6",
            "marker_line = 6",
            1,
            "line 6 carries pilot",
        ),
        (
            "pilot_line = 6\n",
            "pilot_line = 9\n",
            "pilot_line = 9",
            1,
            "there is no line 9",
        ),
        ("pilot_line = 6\n", "", "proof =", 1, "is proven on no line"),
        (
            "conductor = \"AWG 14\"",
            "conductor = \"AWG 99\"",
            "AWG 99",
            1,
            "AWG 40",
        ),
        (
            "bus_inductance",
            "bus_resistance = \"1 ohm\"\nbus_inductance",
            "bus =",
            1,
            "as well",
        ),
        (
            "lead_resistance = \"20 mohm\"",
            "lead_resistance = \"5 mohm\"",
            "lead_resistance",
            1,
            "sensor alone",
        ),
        (
            "uncertainty = \"0.2 %\"",
            "uncertainty = \"50 %\"",
            "50 %",
            1,
            "out of range",
        ),
        (
            "isolation = \"isolated, both gaps\"",
            "isolation = \"earthed\"",
            "isolation",
            1,
            "not known",
        ),
        (
            "voltage = \"40 V\"",
            "voltage = \"10 V\"",
            "voltage = \"17 V\"",
            1,
            "above the envelope",
        ),
        (
            "current = \"45 A\"\n",
            "",
            "[envelope]",
            1,
            "`current` is missing",
        ),
        (
            "board = \"board.toml\"",
            "bored = 1",
            "bored",
            1,
            "not a key",
        ),
    ] {
        assert!(DEMO.contains(old), "{old:?}");
        let text = DEMO.replacen(old, new, 1);
        let faults = read(&text).expect_err(new);
        let line = line_of(&text, at, nth);
        let found = faults
            .iter()
            .any(|fault| fault.message.contains(message) && fault.line == line);
        assert!(found, "{new:?} line {line}: {faults:#?}");
    }
}

#[test]
fn one_earth_is_allowed_and_a_second_is_not() {
    let supply = "role = \"supply\"\nmodel = true\nprofile = \"supply\"\nnet = \"isolated\"";
    let earthed = DEMO.replacen(supply, &supply.replace("isolated", "earth"), 1);
    read(&earthed).expect("one earth");
    let drive = "profile = \"drive\"\nnet = \"negative\"";
    let twice = earthed.replacen(drive, &drive.replace("negative", "earth"), 1);
    let faults = read(&twice).expect_err("two earths");
    assert_eq!(faults.len(), 1, "{faults:#?}");
    assert!(faults[0].message.contains("a second time"), "{faults:?}");
    let line = line_of(&twice, "profile = \"drive\"", 1) + 1;
    assert_eq!((faults[0].line, faults[0].column), (line, 7));
}

/// A real bench names its emergency stop and its fuse, or why there is none; on
/// the model bench nobody is hurt.
#[test]
fn a_real_bench_without_a_stop_or_a_fuse_is_faulted_unless_it_says_why() {
    let at = DEMO.find("[safety]").expect("stated");
    let end = DEMO.find("[model]").expect("stated");
    let model = format!("{}{}", &DEMO[..at], &DEMO[end..]);
    let (bench, warnings) = read(&model).expect("a model bench");
    assert!(warnings.is_empty(), "{warnings:#?}");
    assert!(bench.safety.missing().is_empty());

    let mut real = DEMO[..at].to_owned();
    for port in 0.. {
        let with_path = real.replacen("model = true", &format!("path = \"/dev/ttyS{port}\""), 1);
        if with_path == real {
            break;
        }
        real = with_path;
    }
    let faults = read(&real).expect_err("neither is named");
    let missing = |what: &str| faults.iter().filter(|f| f.message.contains(what)).count();
    assert_eq!(
        (faults.len(), missing("emergency stop")),
        (2, 1),
        "{faults:#?}"
    );
    let fuse = format!("{real}[safety]\nsupply_fuse = \"10 A at the terminal\"\n");
    let faults = read(&fuse).expect_err("no stop");
    assert_eq!(faults.len(), 1, "{faults:#?}");
    assert!(faults[0].message.contains("emergency stop"), "{faults:#?}");
    let text = format!("{fuse}no_emergency_stop_because = \"5 V and 50 mA at most\"\n");
    let (bench, _) = read(&text).expect("a reason is stated");
    assert_eq!(
        bench.safety.missing(),
        ["no emergency stop: 5 V and 50 mA at most"]
    );
}

#[test]
fn usb_ports_and_overrides_are_read() {
    let text = DEMO
        .replace("model = true", "usb = { vendor = 0x1a86, product = 29987 }")
        .replace("[model]\nboard = \"board.toml\"\n", "");
    let faults = read(&text).expect_err("all on one port");
    assert!(faults.iter().all(|f| f.message.contains("has the port of")));
    let text = DEMO.replace(
        "board = \"board.toml\"",
        "[model.fixture]\nnear_resistance = \"70 mohm\"\nbounce_for = \"0 s\"",
    );
    let (bench, _) = read(&text).expect("sound");
    let fixture = bench.model.expect("a model").fixture;
    assert_eq!(fixture.near.resistance, Ohms::new(0.070));
    assert_eq!(fixture.bounce_for, Seconds::ZERO);
    assert_eq!(fixture.lead_resistance, Ohms::new(0.020), "as stated");
}

/// The three cases of the bench's electrical design: round the loop the sum of
/// both voltages, over a common negative one of them, else nothing.
#[test]
fn what_flows_across_the_gap_depends_on_isolation() {
    for (case, voltage, returns) in [
        ("isolated, both gaps", Some(35.0), GapReturn::OtherGap),
        (
            "common negative, one gap",
            Some(18.0),
            GapReturn::CommonNegative,
        ),
        ("isolated, one gap", None, GapReturn::Nowhere),
    ] {
        let text = DEMO.replace("\"isolated, both gaps\"", &format!("\"{case}\""));
        let (bench, warnings) = read(&text).expect("sound");
        let silent = warnings.iter().all(|fault| !fault.message.contains("gap"));
        assert!(silent, "{warnings:?}");
        let model = bench.model.as_ref().expect("a model");
        assert_eq!(model.fixture.upstream.returns, returns);
        let found = bench.mismatch(Volts::new(18.0), Closes::GapCrossed);
        assert_eq!(found.map(|found| found.voltage.si()), voltage, "{case}");
        if let Some(found) = found {
            assert!((found.resistance.si() - 0.82).abs() < 1e-12, "{case}");
            // Leads, gap and the upstream's own: 1 uH each.
            assert!((found.inductance.si() - 3e-6).abs() < 1e-12, "{case}");
        }
    }
}

proptest! {
    #[test]
    fn a_damaged_bench_never_panics(at in 0_usize..4000, cut in 0_usize..40, with: String) {
        let start = at.min(DEMO.len());
        let end = (start + cut).min(DEMO.len());
        // The demo's text is ASCII, so every index is a boundary.
        let text = format!("{}{with}{}", &DEMO[..start], &DEMO[end..]);
        if let Err(faults) = read(&text) {
            prop_assert!(!faults.is_empty());
        }
    }
}
