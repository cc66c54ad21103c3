//! The shipped profiles are sound, and each way to spoil one is named at its
//! character.

use super::*;
use crate::document::{Fault, Source};
use crate::units::Amperes;
use proptest::prelude::*;

fn text(name: &str) -> String {
    shipped_source(name)
        .expect("it comes with the program")
        .text
}

/// The faults of a shipped profile with `old` replaced by `new`.
fn spoiled(name: &str, old: &str, new: &str) -> Vec<Fault> {
    let text = text(name);
    assert!(text.contains(old), "{name} says {old:?}");
    let text = text.replacen(old, new, 1);
    parse(&Source::new("p.toml", text)).expect_err("spoiled")
}

/// A command that does the opposite of its name is worse than one that fails.
#[test]
fn what_cannot_be_meant_is_named() {
    for (name, old, new, says) in [
        ("supply", "\"OUTP OFF\"\n", "\"OUTP ON\"\n", "the same line"),
        (
            "supply",
            "\"MEAS:CURR?\"",
            "\"MEAS:VOLT?\"",
            "the same line",
        ),
        ("supply", "[\"OUTP OFF\"]", "[\"outp on\"]", "`output_on`"),
        (
            "supply",
            "[\"OUTP OFF\"]",
            "[\"OUTP OFF;:OUTP ON\"]",
            "`output_on`",
        ),
        (
            "supply",
            "abandon = \"\\n\"",
            "abandon = \"\\nOUTP ON\\n\"",
            "`output_on`",
        ),
        (
            "supply",
            "over_voltage = 1",
            "over_voltage = 2",
            "the same bit",
        ),
        (
            "supply",
            "reading = \"0.05 %\"\nfixed = \"5 mV\"",
            "reading = \"0 %\"\nfixed = \"0 mV\"",
            "errs by nothing",
        ),
        ("load", "\"INP OFF\"\n", "\"INP ON\"\n", "the same line"),
        (
            "load",
            "\"ABOR\", \"INP OFF\"",
            "\"INIT\", \"INP OFF\"",
            "does what `pulse` does",
        ),
        (
            "switch",
            "\"ROUT:OPEN:ALL\"\n",
            "\"ROUT:CLOS (@1,2)\"\n",
            "does what `close` does",
        ),
        (
            "switch",
            "[\"ROUT:OPEN:ALL\"]",
            "[\"ROUT:CLOS (@8)\"]",
            "`close`",
        ),
        (
            "switch",
            "\"ROUT:OPEN (@{channel})\"",
            "\"ROUT:CLOS (@{channel})\"",
            "the same line",
        ),
    ] {
        let faults = spoiled(name, old, new);
        let named = faults.iter().any(|fault| fault.message.contains(says));
        assert!(named, "{name}: {new}: {faults:?}");
    }
}

/// Where `word` stands in `text`, as people count.
fn position(text: &str, word: &str) -> (usize, usize) {
    for (index, line) in text.lines().enumerate() {
        if let Some(at) = line.find(word) {
            return (index + 1, line[..at].chars().count() + 1);
        }
    }
    panic!("{word:?} is not in the text")
}

#[test]
fn the_shipped_profiles_are_sound() {
    for name in shipped_names() {
        let source = shipped_source(name).expect(name);
        let (profile, warnings) = parse(&source).expect(name);
        assert!(warnings.is_empty(), "{name}: {warnings:?}");
        assert_eq!(profile.role.word(), name);
        assert!(shipped(name).is_some());
        for need in needs(profile.role).commands {
            assert!(profile.command(need.name).is_some(), "{name} {}", need.name);
        }
    }
    assert!(shipped("nothing").is_none());
}

#[test]
fn what_a_person_does_has_a_sound_profile() {
    let roles = Role::ALL.into_iter();
    let mut names: Vec<(Role, &str)> = roles
        .filter_map(|role| Some((role, by_hand(role)?)))
        .collect();
    names.push((Role::Drive, EXTERNAL));
    assert_eq!(names.len(), 5);
    for (role, name) in names {
        let source = shipped_source(name).expect(name);
        let (profile, warnings) = parse(&source).expect(name);
        assert!(warnings.is_empty(), "{name}: {warnings:?}");
        assert_eq!(profile.role, role);
        // A person is asked in sentences; only readings end as questions do.
        for (command, template) in &profile.commands {
            let reading = ["measure", "sense"]
                .iter()
                .any(|one| command.starts_with(one));
            assert_eq!(
                template.source().ends_with('?'),
                reading,
                "{name} {command}"
            );
        }
    }
}

#[test]
fn a_profile_says_what_its_text_says() {
    let load = shipped("load").expect("shipped");
    assert_eq!(load.line.speed, 115_200);
    assert_eq!(load.line.ending, "\n");
    assert_eq!(load.line.processing.picoseconds(), 1_000_000_000);
    assert!(load.line.dtr);
    assert_eq!(load.safety.make_safe, ["ABOR", "INP OFF"]);
    assert_eq!(load.condition["over_power"], 8);
    assert_eq!(load.operation["running"], 8);
    let range = load.load_range().expect("a load's");
    assert_eq!(range.current, Amperes::new(30.0));
    let meter = load.accuracy["measure_voltage"];
    assert_eq!((meter.reading, meter.fixed), (Ratio::new(0.0005), 0.010));
    assert!(load.identifies_as.is_match("BUFFERSTOP MODEL,LOAD,7,1.0"));
    let capture = shipped("capture").expect("shipped");
    assert_eq!(
        capture.accuracy["channel"].fixed_of_range,
        Ratio::new(0.0025)
    );
    assert_eq!(capture.accuracy["channel"].time_base, Ratio::new(50e-6));
    assert_eq!(capture.capture_range().map(|r| r.samples), Some(2_000_000));
}

#[test]
fn deadlines_and_quiet_time_are_the_profiles() {
    let usual = shipped("console").expect("shipped").line;
    assert_eq!((usual.reply, usual.quiet), (None, None));
    let stated = text("console").replacen(
        "dtr = false",
        "dtr = false\nreply = \"8 s\"\nquiet = \"400 ms\"",
        1,
    );
    let (profile, _) = parse(&Source::new("p.toml", stated)).expect("sound");
    assert_eq!(profile.line.reply, Some(Seconds::new(8.0)));
    assert_eq!(profile.line.quiet, Some(Seconds::new(0.4)));
    for wrong in ["reply = \"2 min\"", "quiet = \"0 s\"", "quiet = \"3 V\""] {
        let faults = spoiled("console", "dtr = false", &format!("dtr = false\n{wrong}"));
        assert_eq!(faults.len(), 1, "{wrong}: {faults:?}");
    }
}

#[test]
fn each_spoiled_profile_is_faulted_at_its_place() {
    for (name, old, new, at, message) in [
        (
            "supply",
            "{volts}",
            "{volt}",
            "\"VOLT",
            "`set_voltage` offers no {volt}",
        ),
        (
            "supply",
            "VOLT {volts}",
            "VOLT 5",
            "\"VOLT",
            "would never be sent",
        ),
        (
            "supply",
            "VOLT {volts}",
            "VOLT {volts",
            "\"VOLT",
            "has no partner",
        ),
        (
            "supply",
            "output_off = \"OUTP OFF\"\n",
            "",
            "[commands]",
            "`output_off` is missing",
        ),
        (
            "supply",
            "output_off =",
            "output_of =",
            "[commands]",
            "`output_off` is missing",
        ),
        (
            "supply",
            "role = \"supply\"",
            "role = \"suply\"",
            "\"suply\"",
            "'suply' is not known",
        ),
        (
            "supply",
            "'^BUFFERSTOP MODEL,SUPPLY,'",
            "'(['",
            "'(['",
            "not a pattern",
        ),
        ("supply", "speed = 115200", "speed = 7", "7", "out of range"),
        (
            "supply",
            "ending = \"\\n\"",
            "ending = \"x\"",
            "\"x\"",
            "cannot end a line",
        ),
        (
            "supply",
            "processing = \"1 ms\"",
            "processing = \"1 mV\"",
            "\"1 mV\"",
            "'mV' is a voltage",
        ),
        ("supply", "dtr = true\n", "", "[line]", "`dtr` is missing"),
        (
            "supply",
            "make_safe = [\"OUTP OFF\"]",
            "make_safe = []",
            "[]",
            "nothing makes it safe",
        ),
        (
            "supply",
            "over_voltage = 1\n",
            "over_voltage = 3\n",
            "3",
            "not the weight of one bit",
        ),
        (
            "supply",
            "current = \"40 A\"",
            "current = \"-1 A\"",
            "\"-1 A\"",
            "out of range",
        ),
        (
            "supply",
            "reading = \"0.05 %\"",
            "reading = \"100 %\"",
            "\"100 %\"",
            "out of range",
        ),
        (
            "supply",
            "reading = \"0.05 %\"",
            "reading = \"5 V\"",
            "\"5 V\"",
            "'V' is a voltage",
        ),
        (
            "supply",
            "fixed = \"5 mV\"",
            "fixed = \"5 mA\"",
            "\"5 mA\"",
            "'mA' is a current",
        ),
        (
            "switch",
            "shortest_pulse = \"1 ms\"",
            "shortest_pulse = \"11 s\"",
            "\"10 s\"",
            "shorter than",
        ),
        (
            "console",
            "<revision>",
            "<revison>",
            "'^booster",
            "a group called `revison` means nothing here",
        ),
        (
            "supply",
            "'^BUFFERSTOP MODEL,SUPPLY,'",
            "'^BUFFERSTOP (?<revision>.*)'",
            "'^BUFFERSTOP",
            "the revision of a supply is not asked for",
        ),
        (
            "thermometer",
            "fixed = \"0.5 K\"",
            "fixed_of_range = \"1 %\"",
            "\"1 %\"",
            "states no range",
        ),
        (
            "load",
            "shorted = \"INP:SHOR?\"\n",
            "",
            "[commands]",
            "`shorted` is missing",
        ),
        (
            "load",
            "short_resistance = \"100 mohm\"\n",
            "",
            "[range]",
            "`short_resistance` is missing",
        ),
        (
            "load",
            "make_safe = [\"ABOR\", \"INP OFF\"]",
            "make_safe = [\"INP:SHOR:PULS 1\"]",
            "INP:SHOR:PULS 1",
            "this does what `short_pulse` does",
        ),
        (
            "load",
            "[accuracy.set_current]",
            "[accuracy.set_curent]",
            "[accuracy.measure_voltage]",
            "`set_current` is missing",
        ),
    ] {
        let faults = spoiled(name, old, new);
        let fault = faults
            .iter()
            .find(|fault| fault.message.contains(message))
            .unwrap_or_else(|| panic!("{new:?}: {faults:#?}"));
        if at != "[accuracy.measure_voltage]" {
            let text = text(name).replacen(old, new, 1);
            let wanted = if at == "7" || at == "3" {
                position(&text, new.trim()).0
            } else {
                position(&text, at).0
            };
            assert_eq!(fault.line, wanted, "{new:?}: {fault:?}");
        }
    }
}

#[test]
fn a_console_tells_its_boards_revision_or_does_not() {
    let console = shipped("console").expect("shipped");
    for (identity, revision) in [
        ("booster GR3 rev 2 firmware 1.4", Some("2")),
        ("booster GR3 rev 2.1", Some("2.1")),
        ("booster model board", None),
        ("another thing rev 2", None),
    ] {
        assert_eq!(console.revision_in(identity), revision, "{identity}");
    }
    assert!(console.identifies_as.is_match("booster model board"));
    let supply = shipped("supply").expect("shipped");
    assert_eq!(supply.full_scale("measure_current"), Some(40.0));
    assert_eq!(supply.full_scale("identify"), None);
}

#[test]
fn a_misspelt_command_is_both_missing_and_hinted() {
    let faults = spoiled("supply", "output_off =", "output_of =");
    let unknown = faults.iter().find(|f| f.message.contains("`output_of`"));
    let hint = unknown.and_then(|f| f.hint.clone());
    assert_eq!(hint.as_deref(), Some("did you mean `output_off`?"));
    assert_eq!(faults.len(), 2, "{faults:#?}");
}

/// Instruments of other dialects, each with what the shipped profiles do not need.
const STRANGERS: [&str; 5] = [
    include_str!("../../fixtures/strangers/load.toml"),
    include_str!("../../fixtures/strangers/list-scope.toml"),
    include_str!("../../fixtures/strangers/byte-scope.toml"),
    include_str!("../../fixtures/strangers/relay-card.toml"),
    include_str!("../../fixtures/strangers/strict-supply.toml"),
];

fn stranger(index: usize) -> Profile {
    let parsed = parse(&Source::new("p.toml", STRANGERS[index]));
    let (profile, warnings) = parsed.unwrap_or_else(|faults| panic!("{index}: {faults:#?}"));
    assert!(warnings.is_empty(), "{warnings:?}");
    profile
}

#[test]
fn lines_are_filled_as_other_dialects_write_them() {
    let line = |index: usize, command: &str, arguments: &[(&str, Argument<'_>)]| {
        let filled = stranger(index).line(command, arguments);
        filled.expect("it has it").expect("it fits")
    };
    let number = Argument::Number;
    let supply = |volts| line(4, "set_voltage", &[("volts", number(volts))]);
    assert_eq!(supply(4.5), "U=04.50");
    let limit = line(4, "set_current_limit", &[("amperes", number(3.05))]);
    assert_eq!(limit, "L=03050");
    let channel = ("channel", Argument::Integer(2));
    let pulse = line(3, "pulse", &[channel, ("seconds", number(0.3))]);
    assert_eq!(crate::template::bytes(&pulse), [b'P', 2, 1, 44]);
    // Which channel is asked after is the answer's matter.
    assert_eq!(line(3, "closed", &[channel]), "S");
    let part = [
        ("start", Argument::Integer(0)),
        ("count", Argument::Integer(10)),
        ("last", Argument::Integer(9)),
        channel,
    ];
    assert_eq!(line(1, "read_channel", &part), "TRACE 2 1-10");
    assert_eq!(line(2, "read_channel", &part), "CH:DATA? 0,10");
    let slope = [
        ("line", Argument::Integer(3)),
        ("slope", Argument::Text("NEG")),
    ];
    assert_eq!(line(1, "trigger_line", &slope), "EDGE line 3 fall");
    assert_eq!(
        line(1, "set_range", &[channel, ("volts", number(3.0))]),
        "DIV 2 1.25"
    );
    assert_eq!(stranger(3).bytes_of("A"), b"A");
    // By hand with a CRC of the published check value 0x29B1, see `checksum`.
    let sent = stranger(4).bytes_of("123456789");
    assert_eq!(sent, b"123456789*29B1\r");
}

#[test]
fn each_spoiled_dialect_is_faulted_at_its_place() {
    for (index, old, new, message) in [
        (
            3,
            "identify = { bytes = 3 }\n",
            "",
            "nothing says where the answer to `identify` ends",
        ),
        (3, "operation = \"B\"\n", "", "`operation` is missing"),
        (
            3,
            "lowest_channel = 1 }\n\n",
            "lowest_channel = -1 }\n\n",
            "out of range",
        ),
        (
            3,
            "scale = 1000,",
            "scale = 0,",
            "every value would be sent as nought",
        ),
        (
            3,
            "spelling = \"high first\", width",
            "spelling = \"upwards\", width",
            "not known",
        ),
        (
            4,
            "kind = \"crc-16-1021\"",
            "kind = \"crc\"",
            "'crc' is not known",
        ),
        (
            4,
            "volts = { decimals",
            "volt = { decimals",
            "`volt` is not a key here",
        ),
        (4, "gap = \"8 ms\"", "gap = \"8 s\"", "out of range"),
        (
            4,
            "[completion]\n",
            "[completion]\nanswer = \"1\"\n",
            "nothing asks whether",
        ),
        (
            4,
            "output_on = \"50 ms\"",
            "output_up = \"50 ms\"",
            "`output_up` is not a key here",
        ),
        (
            2,
            "sample_bits = 8",
            "sample_bits = 12",
            "a sample has whole bytes",
        ),
        (
            2,
            "volts_per_code = { query = \"CH:SCALE?\" }\n",
            "",
            "`volts_per_code` is missing",
        ),
        (
            2,
            "query = \"CH:SCALE?\"",
            "query = \"{volts}?\"",
            "offers {channel} alone",
        ),
        (
            2,
            "{ value = 128 }",
            "{ value = 128, field = 2 }",
            "more than once",
        ),
        (
            2,
            "{ value = 128 }",
            "{ field = 2 }",
            "`preamble` is missing",
        ),
        (
            1,
            "steps = [0.125, 0.25",
            "steps = [0.25, 0.25",
            "do not rise",
        ),
        (
            1,
            "data = \"volts\"",
            "data = \"volts\"\nsigned = true",
            "has no such thing",
        ),
        (
            1,
            "{start}-{last}",
            "{start}-{end}",
            "`read_channel` offers no {end}",
        ),
    ] {
        let text = STRANGERS[index];
        assert!(text.contains(old), "{index} says {old:?}");
        let spoiled = text.replacen(old, new, 1);
        let faults = parse(&Source::new("p.toml", spoiled)).expect_err("spoiled");
        let found = faults.iter().any(|fault| fault.message.contains(message));
        assert!(found, "{new:?}: {faults:#?}");
    }
}

proptest! {
    #[test]
    fn a_damaged_profile_never_panics(which in 0_usize..12, at in 0_usize..2000, with: String) {
        let texts: Vec<String> = shipped_names().iter().map(|name| text(name)).collect();
        let mut text = match texts.get(which) {
            Some(text) => text.clone(),
            None => STRANGERS[which - shipped_names().len()].to_owned(),
        };
        let at = (0..=at.min(text.len())).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0);
        text.insert_str(at, &with);
        if let Err(faults) = parse(&Source::new("p.toml", text)) {
            prop_assert!(!faults.is_empty());
        }
    }
}
