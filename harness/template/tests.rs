//! Templates against every shipped profile's spelling and hostile input.

use super::*;

#[test]
fn fills_the_lines_the_shipped_profiles_use() {
    let ramp =
        Template::parse("CURR:STAR {from_amperes};STOP {to_amperes};:SWE:TIME {seconds};:INIT:SWE")
            .expect("a sound template");
    let line = ramp.fill(&[
        ("from_amperes", Argument::Number(0.0)),
        ("to_amperes", Argument::Number(5.5)),
        ("seconds", Argument::Number(0.1 + 0.2)),
    ]);
    let expected = "CURR:STAR 0;STOP 5.5;:SWE:TIME 0.30000000000000004;:INIT:SWE";
    assert_eq!(line.as_deref(), Ok(expected));

    let offset = Template::parse("SWE:OFFS:POIN -{count}").expect("a sound template");
    let line = offset.fill(&[("count", Argument::Integer(1000))]);
    assert_eq!(line.as_deref(), Ok("SWE:OFFS:POIN -1000"));

    let trigger = Template::parse("TRIG:SOUR DIG{line};SLOP {slope}").expect("a sound template");
    assert_eq!(
        trigger.placeholders().collect::<Vec<_>>(),
        ["line", "slope"]
    );
    let line = trigger.fill(&[
        ("slope", Argument::Text("POS")),
        ("line", Argument::Integer(3)),
    ]);
    assert_eq!(line.as_deref(), Ok("TRIG:SOUR DIG3;SLOP POS"));
}

#[test]
fn faults_name_the_place() {
    for (text, fault) in [
        ("", TemplateFault::Empty),
        ("  ", TemplateFault::Empty),
        ("VOLT {volts", TemplateFault::Brace { position: 5 }),
        ("VOLT volts}", TemplateFault::Brace { position: 10 }),
        ("V {a{b}}", TemplateFault::Brace { position: 2 }),
        (
            "V {}",
            TemplateFault::Name {
                position: 3,
                name: String::new(),
            },
        ),
        (
            "V {Volts}",
            TemplateFault::Name {
                position: 3,
                name: "Volts".into(),
            },
        ),
        (
            "V\n1",
            TemplateFault::Character {
                position: 1,
                shown: "'\\n'".into(),
            },
        ),
    ] {
        assert_eq!(Template::parse(text), Err(fault), "{text:?}");
    }
    let long = "x".repeat(LONGEST_TEMPLATE + 1);
    assert_eq!(
        Template::parse(&long),
        Err(TemplateFault::TooLong(LONGEST_TEMPLATE + 1))
    );
}

#[test]
fn filling_refuses_what_does_not_fit() {
    let template = Template::parse("VOLT {volts}").expect("a sound template");
    let fault = |arguments: &[(&str, Argument<'_>)]| {
        template
            .fill(arguments)
            .expect_err("must be refused")
            .to_string()
    };
    assert!(fault(&[]).contains("{volts}' got no value"));
    assert!(fault(&[("amperes", Argument::Integer(1))]).contains("no '{amperes}'"));
    assert!(fault(&[("volts", Argument::Number(f64::NAN))]).contains("finite"));
    assert!(fault(&[("volts", Argument::Text("5;OUTP ON"))]).contains("';'"));
    assert!(fault(&[("volts", Argument::Text("5\nOUTP ON"))]).contains("\\n"));
    let twice = [
        ("volts", Argument::Integer(1)),
        ("volts", Argument::Integer(2)),
    ];
    assert!(fault(&twice).contains("twice"));
    let long = "1".repeat(LONGEST_LINE);
    assert!(fault(&[("volts", Argument::Text(&long))]).contains("longer"));
}

#[test]
fn bytes_that_are_no_letters_can_be_named() {
    let close = Template::parse(r"\xFF\x01{channel}\x0A").expect("a sound template");
    let line = close.fill(&[("channel", Argument::Bytes("\u{80}"))]);
    let line = line.expect("filled");
    assert_eq!(bytes(&line), [0xFF, 1, 0x80, b'\n']);
    assert_eq!(line_of(&bytes(&line)), line);
    let plain = Template::parse("\u{1}\u{ff}").expect("a sound template");
    assert_eq!(bytes(&plain.fill(&[]).expect("filled")), [1, 0xFF]);
    // What names no byte stays as it is.
    assert_eq!(unescaped(r"a\b\x4\xg1"), r"a\b\x4\xg1");
    assert_eq!(unescaped(r"\x41\x"), r"A\x");
    assert!(Template::parse("VOLT {volts} \u{2126}").is_err());
}

proptest::proptest! {
    #[test]
    fn no_text_panics(text: String) {
        let _ = Template::parse(&text);
    }

    #[test]
    fn every_finite_number_reads_back(bits: u64) {
        let value = f64::from_bits(bits);
        if let Some(text) = decimal(value) {
            proptest::prop_assert_eq!(text.parse::<f64>(), Ok(value));
            proptest::prop_assert!(text.len() < 30, "{}", text);
        }
    }
}
