//! Both ends of the language against facts of IEEE 488.2-1992 and SCPI-1999.0
//! (volume 1 syntax, volume 2 clause 21.8 error numbers; lists copied by hand,
//! from memory of the standards).

use super::*;

fn one(line: &str) -> Result<Unit, ErrorCode> {
    units(line.as_bytes()).remove(0)
}

fn first_parameter(text: &str) -> Result<Parameter, ErrorCode> {
    one(&format!("X {text}")).map(|mut unit| unit.parameters.remove(0))
}

fn paths(line: &str) -> Vec<String> {
    units(line.as_bytes())
        .into_iter()
        .map(|unit| {
            let header = unit.expect("a sound unit").header;
            let words: Vec<_> = header.nodes.iter().map(|n| n.word.as_str()).collect();
            let star = if header.starred { "*" } else { "" };
            format!("{star}{}", words.join(":"))
        })
        .collect()
}

#[test]
fn numbers_of_the_flexible_form() {
    // IEEE 488.2 clause 7.7.2.
    for (text, value) in [
        ("1", 1.0),
        ("1.", 1.0),
        (".5", 0.5),
        ("-.5E3", -500.0),
        ("+1.e-2", 0.01),
        ("12E+3", 12_000.0),
    ] {
        assert_eq!(parse_nrf(text.as_bytes()), Ok(value), "{text}");
    }
    for text in [".", "E5", "1E", "--1", "", "+", "1 2", "0x1", "1..2"] {
        assert!(parse_nrf(text.as_bytes()).is_err(), "{text}");
    }
    assert_eq!(parse_nrf(b"1E32001"), Err(ErrorCode::ExponentTooLarge));
    assert_eq!(
        parse_nrf(b"1E99999999999"),
        Err(ErrorCode::ExponentTooLarge)
    );
    let digits = |count| "7".repeat(count).into_bytes();
    assert_eq!(parse_nrf(&digits(256)), Err(ErrorCode::TooManyDigits));
    assert!(parse_nrf(&digits(255)).is_ok());
    let zeros = format!("{}1", "0".repeat(400));
    assert_eq!(
        parse_nrf(zeros.as_bytes()),
        Ok(1.0),
        "leading zeros do not count"
    );
}

#[test]
fn numbers_in_other_bases() {
    for (text, value) in [
        ("#H1F", 31),
        ("#HFF00", 65_280),
        ("#Q17", 15),
        ("#B1010", 10),
    ] {
        assert_eq!(first_parameter(text), Ok(Parameter::Whole(value)), "{text}");
    }
    for text in ["#HG", "#Q8", "#B2", "#H"] {
        let fault = first_parameter(text);
        assert_eq!(fault, Err(ErrorCode::InvalidCharacterInNumber), "{text}");
    }
}

#[test]
fn units_with_multipliers() {
    // IEEE 488.2 clause 7.7.3: MOHM and MHZ are mega, MA as ampere is milli.
    for (text, unit, value) in [
        ("5V", UnitOf::Volt, 5.0),
        ("4.7 mV", UnitOf::Volt, 4.7e-3),
        ("250MA", UnitOf::Ampere, 0.25),
        ("2 A", UnitOf::Ampere, 2.0),
        ("58US", UnitOf::Second, 58e-6),
        ("1ms", UnitOf::Second, 1e-3),
        ("3 OHM", UnitOf::Ohm, 3.0),
        ("3MOHM", UnitOf::Ohm, 3e6),
        ("2MAOHM", UnitOf::Ohm, 2e6),
        ("5KHZ", UnitOf::Hertz, 5e3),
        ("5MHZ", UnitOf::Hertz, 5e6),
        ("5MA", UnitOf::None, 5e6),
        ("1EXV", UnitOf::Volt, 1e18),
        ("#H10", UnitOf::Volt, 16.0),
    ] {
        let bounds = Bounds::new(unit, -1e20, 1e20, 0.0);
        let read = first_parameter(text).and_then(|p| p.number(bounds));
        assert_eq!(read, Ok(value), "{text}");
    }
    let volts = Bounds::new(UnitOf::Volt, 0.0, 32.0, 1.0);
    for (text, code) in [
        ("5A", ErrorCode::InvalidSuffix),
        ("5 ABCDEFGHIJKLM", ErrorCode::SuffixTooLong),
        ("33", ErrorCode::OutOfRange),
        ("1E400", ErrorCode::OutOfRange),
        ("INF", ErrorCode::OutOfRange),
        ("MEDIUM", ErrorCode::InvalidCharacterData),
        ("'5'", ErrorCode::DataType),
        ("(@1)", ErrorCode::ExpressionNotAllowed),
        ("#15HELLO", ErrorCode::BlockNotAllowed),
        ("5-3", ErrorCode::InvalidCharacterInNumber),
        ("1E", ErrorCode::InvalidSuffix),
    ] {
        let read = first_parameter(text).and_then(|p| p.number(volts));
        assert_eq!(read, Err(code), "{text}");
    }
    for (text, value) in [("MIN", 0.0), ("MAXimum", 32.0), ("def", 1.0)] {
        let read = first_parameter(text).and_then(|p| p.number(volts));
        assert_eq!(read, Ok(value), "{text}");
    }
    let plain = first_parameter("5V").and_then(|p| p.whole(0, 9));
    assert_eq!(plain, Err(ErrorCode::SuffixNotAllowed));
}

#[test]
fn blocks_of_definite_length() {
    // IEEE 488.2 clause 7.7.6.
    for (text, length) in [
        ("#15HELLO", 5),
        ("#205HELLO", 5),
        ("#3005HELLO", 5),
        ("#10", 0),
    ] {
        let Ok(Parameter::Block(data)) = first_parameter(text) else {
            panic!("{text} is a block")
        };
        assert_eq!(data.len(), length, "{text}");
        assert_eq!(block_data(text.as_bytes()), Ok(data.as_slice()), "{text}");
    }
    for text in ["#", "#A5HELLO", "#15HELL", "#2ABHELLO", "#0HELLO"] {
        assert_eq!(
            first_parameter(text),
            Err(ErrorCode::InvalidBlock),
            "{text}"
        );
        assert!(block_data(text.as_bytes()).is_err(), "{text}");
    }
    assert!(block_data(b"#14HELLO").is_err(), "longer than it says");
    assert_eq!(ErrorCode::InvalidBlock.number(), -161);
}

#[test]
fn strings_words_booleans_and_channels() {
    let text = |t: &str| Ok(Parameter::Text(t.as_bytes().to_vec()));
    assert_eq!(
        first_parameter("\"say \"\"hi\"\"; now\""),
        text("say \"hi\"; now")
    );
    assert_eq!(first_parameter("'it''s'"), text("it's"));
    assert_eq!(first_parameter("\"open"), Err(ErrorCode::StringData));
    for (word, on) in [
        ("ON", true),
        ("off", false),
        ("1", true),
        ("0", false),
        ("0.4", false),
        ("-2", true),
    ] {
        assert_eq!(
            first_parameter(word).and_then(|p| p.boolean()),
            Ok(on),
            "{word}"
        );
    }
    let slopes = ["POSitive", "NEGative"];
    let slope = |t| first_parameter(t).and_then(|p| p.choice(&slopes));
    assert_eq!(slope("neg"), Ok((1, None)));
    assert_eq!(slope("POSITIVE"), Ok((0, None)));
    assert_eq!(slope("POSI"), Err(ErrorCode::InvalidCharacterData));
    let source = first_parameter("CHAN2").and_then(|p| p.choice(&["DIGital", "CHANnel"]));
    assert_eq!(source, Ok((1, Some(2))));
    let channels = |t| first_parameter(t).and_then(|p| p.channels().map(<[u32]>::to_vec));
    assert_eq!(channels("(@1,3:5)"), Ok(vec![1, 3, 4, 5]));
    assert_eq!(channels("( @ 5:3 )"), Ok(vec![5, 4, 3]));
    assert_eq!(channels("(@1:4294967295)"), Err(ErrorCode::TooMuchData));
    for wrong in ["(1)", "(@)", "(@1", "(@1:2:3)", "(@1!2)", "(@+1)"] {
        assert_eq!(
            channels(wrong),
            Err(ErrorCode::InvalidExpression),
            "{wrong}"
        );
    }
}

#[test]
fn short_forms_follow_the_rule() {
    // SCPI-1999 volume 1, clause 6.2.1; words of its own command reference.
    for (long, short) in [
        ("MEASURE", "MEAS"),
        ("VOLTAGE", "VOLT"),
        ("CURRENT", "CURR"),
        ("TRIGGER", "TRIG"),
        ("INPUT", "INP"),
        ("OUTPUT", "OUTP"),
        ("SYSTEM", "SYST"),
        ("RESISTANCE", "RES"),
        ("FREQUENCY", "FREQ"),
        ("SOURCE", "SOUR"),
        ("STATUS", "STAT"),
        ("FETCH", "FETC"),
        ("INITIATE", "INIT"),
        ("POWER", "POW"),
        ("SLEW", "SLEW"),
        ("MODE", "MODE"),
        ("LIMIT", "LIM"),
        ("ERROR", "ERR"),
        ("RANGE", "RANG"),
        ("CALIBRATION", "CAL"),
        ("UNIT", "UNIT"),
        ("ABORT", "ABOR"),
    ] {
        assert_eq!(short_form(long), short);
    }
    let tree = CommandTree::new(&[
        ("MEASure", 0),
        ("VOLTage", 1),
        ("TRIGger", 2),
        ("OUTPut", 3),
        ("SYSTem", 4),
    ]);
    for word in ["MEASU", "VOL", "VOLTA", "TRIGG", "OUT", "SYS"] {
        let header = one(word).expect("a sound unit").header;
        assert_eq!(
            tree.find(&header),
            Err(ErrorCode::UndefinedHeader),
            "{word}"
        );
    }
    for (word, value) in [("meas", 0), ("Voltage", 1), ("TRIG", 2), ("outp1", 3)] {
        let header = one(word).expect("a sound unit").header;
        assert_eq!(tree.find(&header).map(|m| m.value), Ok(value), "{word}");
    }
}

#[test]
#[should_panic(expected = "short form")]
fn a_wrong_notation_is_a_bug() {
    let _ = Mnemonic::declare("VOLtage");
}

#[test]
fn the_path_rule() {
    // SCPI-1999 volume 1, clause 6.2.4: this very example.
    assert_eq!(
        paths("VOLT:RANG 10;LEV 5;*CLS;PROT 6"),
        ["VOLT:RANG", "VOLT:LEV", "*CLS", "VOLT:PROT"]
    );
    assert_eq!(
        paths("CURR:STAR 1;STOP 2;:SWE:TIME 3;:INIT:SWE"),
        ["CURR:STAR", "CURR:STOP", "SWE:TIME", "INIT:SWE"]
    );
    assert_eq!(paths("  ;;A;  B ;\r\n"), ["A", "B"]);
}

#[test]
fn optional_nodes_and_instances() {
    let tree = CommandTree::new(&[
        ("[SOURce]:VOLTage[:LEVel][:IMMediate][?]", 'v'),
        ("VOLTage#:RANGe[:UPPer]", 'r'),
        ("MEASure[:SCALar]:VOLTage[:DC]?", 'm'),
    ]);
    let find = |line| {
        one(line)
            .and_then(|unit| tree.find(&unit.header))
            .map(|m| (m.value, m.instance))
    };
    for line in [
        "VOLT 1",
        "SOUR:VOLT 1",
        "VOLT:LEV 1",
        "sour:voltage:lev:imm?",
        "VOLT:IMM 1",
    ] {
        assert_eq!(find(line), Ok(('v', 1)), "{line}");
    }
    assert_eq!(find("VOLT3:RANG 5"), Ok(('r', 3)));
    assert_eq!(find("VOLT:RANG:UPP 5"), Ok(('r', 1)));
    assert_eq!(find("MEAS:VOLT:DC?"), Ok(('m', 1)));
    assert_eq!(
        find("MEAS:VOLT"),
        Err(ErrorCode::UndefinedHeader),
        "a query alone"
    );
    assert_eq!(find("VOLT3 1"), Err(ErrorCode::HeaderSuffix));
    assert_eq!(find("VOLT0:RANG 1"), Err(ErrorCode::HeaderSuffix));
    assert_eq!(find("VOLT:LEV:IMM:MORE 1"), Err(ErrorCode::UndefinedHeader));
    assert_eq!(find("*VOLT 1"), Err(ErrorCode::UndefinedHeader));
}

#[test]
fn messages_that_are_none() {
    for (line, code) in [
        ("VOLT\u{e9} 5", ErrorCode::InvalidCharacter),
        ("VOLT\n5", ErrorCode::InvalidCharacter),
        ("5", ErrorCode::CommandHeader),
        (":", ErrorCode::CommandHeader),
        ("VOLT:;", ErrorCode::CommandHeader),
        ("VOLT,5", ErrorCode::HeaderSeparator),
        ("VOLT??", ErrorCode::HeaderSeparator),
        ("ABCDEFGHIJKLM", ErrorCode::MnemonicTooLong),
        ("VOLT 5 6", ErrorCode::InvalidSeparator),
        ("VOLT 5,", ErrorCode::MissingParameter),
        ("VOLT ,5", ErrorCode::MissingParameter),
        ("VOLT %", ErrorCode::SyntaxError),
    ] {
        assert_eq!(one(line), Err(code), "{line:?}");
    }
    let flood = "A;".repeat(MOST_UNITS + 1);
    let found = units(flood.as_bytes());
    assert_eq!(found.last(), Some(&Err(ErrorCode::TooMuchData)));
    assert_eq!(found.len(), MOST_UNITS + 1);
}

#[test]
fn error_numbers_texts_and_classes() {
    // SCPI-1999 volume 2, clause 21.8.
    for (code, number, text, bit) in [
        (
            ErrorCode::InvalidCharacter,
            -101,
            "Invalid character",
            EsrBit::Command,
        ),
        (
            ErrorCode::UndefinedHeader,
            -113,
            "Undefined header",
            EsrBit::Command,
        ),
        (
            ErrorCode::SuffixNotAllowed,
            -138,
            "Suffix not allowed",
            EsrBit::Command,
        ),
        (
            ErrorCode::OutOfRange,
            -222,
            "Data out of range",
            EsrBit::Execution,
        ),
        (
            ErrorCode::Stale,
            -230,
            "Data corrupt or stale",
            EsrBit::Execution,
        ),
        (
            ErrorCode::QueueOverflow,
            -350,
            "Queue overflow",
            EsrBit::Device,
        ),
    ] {
        assert_eq!(
            (code.number(), code.text(), code.esr_bit()),
            (number, text, bit)
        );
    }
    let falling = ErrorCode::ALL
        .windows(2)
        .all(|w| w[0].number() > w[1].number());
    assert!(falling, "each number once, in order");
}

#[test]
fn a_full_queue_keeps_the_oldest_and_says_so() {
    let mut queue = ErrorQueue::default();
    for _ in 0..3 * QUEUE_LENGTH {
        queue.push(ErrorCode::OutOfRange, "");
    }
    assert_eq!(queue.len(), QUEUE_LENGTH);
    let codes: Vec<_> = std::iter::from_fn(|| queue.pop()).map(|e| e.code).collect();
    let (last, earlier) = codes.split_last().expect("a full queue");
    assert_eq!(*last, ErrorCode::QueueOverflow);
    assert!(earlier.iter().all(|&code| code == ErrorCode::OutOfRange));
}
