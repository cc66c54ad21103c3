//! Both ends of the language against facts of IEEE 488.2-1992 and SCPI-1999.0
//! (volume 1 syntax, volume 2 clause 21.8 error numbers; lists copied by hand,
//! from memory of the standards).

use super::*;
use proptest::prelude::*;

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

#[derive(Default)]
struct Lamp {
    level: f64,
}

const LEVEL: Bounds = Bounds::new(UnitOf::Volt, 0.0, 12.0, 0.0);

impl Device for Lamp {
    type Command = ();

    fn execute(
        &mut self,
        command: Match<()>,
        mut parameters: Parameters<'_>,
    ) -> Result<Option<Response>, ErrorCode> {
        if command.query {
            parameters.end()?;
            return Ok(Some(Response::new().scientific(self.level)));
        }
        let level = parameters.required()?.number(LEVEL)?;
        parameters.end()?;
        self.level = level;
        Ok(None)
    }

    fn reset(&mut self) {
        self.level = 0.0;
    }

    fn conditions(&mut self) -> Conditions {
        Conditions {
            operation: 0,
            questionable: u16::from(self.level > 10.0),
        }
    }
}

fn lamp() -> (Interpreter<()>, Lamp) {
    let tree = CommandTree::new(&[("VOLTage[:LEVel][?]", ())]);
    (
        Interpreter::new("BUFFERSTOP MODEL,LAMP,0,0", tree),
        Lamp::default(),
    )
}

/// Sends lines one after the other and compares what comes back.
fn check(conversation: &[(&str, &str)]) {
    let (mut interpreter, mut lamp) = lamp();
    for (line, expected) in conversation {
        let reply = interpreter.obey(line.as_bytes(), &mut lamp);
        assert_eq!(String::from_utf8_lossy(&reply), *expected, "{line}");
    }
}

#[test]
fn mandatory_commands() {
    check(&[
        ("*ESR?", "128"),
        ("*ESR?", "0"),
        ("*IDN?", "BUFFERSTOP MODEL,LAMP,0,0"),
        ("*OPC?", "1"),
        ("*TST?", "0"),
        ("*WAI", ""),
        ("SYST:VERS?", "1999.0"),
        ("SYST:ERR?", "0,\"No error\""),
        ("volt 5;volt?", "5.0E+00"),
        ("*RST;VOLT?;*OPC?", "0.0E+00;1"),
        ("*OPC;*ESR?", "1"),
        ("*ESE 300", ""),
        ("syst:err:next?", "-222,\"Data out of range\""),
        ("*ESE 48;*ESE?", "48"),
        ("*SRE 255;*SRE?", "191"),
        ("*IDN? 5", ""),
        ("SYST:ERR?", "-108,\"Parameter not allowed\""),
    ]);
}

#[test]
fn errors_reach_the_status_byte() {
    check(&[
        ("*CLS;*ESE 48;*SRE 32;*STB?", "0"),
        ("NONSENSE", ""),
        // Error queue (4), event summary (32), master summary (64).
        ("*STB?", "100"),
        ("*ESR?", "32"),
        ("*STB?", "4"),
        ("SYST:ERR:COUN?", "1"),
        ("*CLS;SYST:ERR?", "0,\"No error\""),
        // A reply waiting in the same message sets bit 4.
        ("*OPC?;*STB?", "1;16"),
    ]);
}

#[test]
fn conditions_latch_events() {
    check(&[
        ("STAT:QUES:ENAB 1;ENAB?", "1"),
        ("VOLT 11", ""),
        ("STAT:QUES:COND?", "1"),
        ("*STB?", "8"),
        ("VOLT 1;:STAT:QUES:COND?", "0"),
        ("STAT:QUES:EVEN?;EVEN?", "1;0"),
        ("STAT:PRES;:STAT:QUES:ENAB?", "0"),
        ("STAT:OPER:ENAB 65535;ENAB?", "32767"),
    ]);
}

#[test]
fn a_command_error_spoils_the_rest_and_an_execution_error_does_not() {
    check(&[
        ("VOLT 2;VOLT 99;VOLT?", "2.0E+00"),
        ("SYST:ERR?", "-222,\"Data out of range\""),
        ("VOLT 3;WRONG;VOLT 4", ""),
        ("VOLT?", "3.0E+00"),
        ("SYST:ERR?", "-113,\"Undefined header\""),
        ("VOLT 4;VOLT 5 6", ""),
        ("VOLT?;:SYST:ERR?", "4.0E+00;-103,\"Invalid separator\""),
        ("VOLT", ""),
        ("SYST:ERR?", "-109,\"Missing parameter\""),
    ]);
}

#[test]
fn replies_as_the_standard_writes_them() {
    // IEEE 488.2 clauses 8.7.2 to 8.7.4; special numbers SCPI-1999 7.2.1.
    for (value, text) in [
        (12_300.0, "1.23E+04"),
        (-1e-9, "-1.0E-09"),
        (0.0, "0.0E+00"),
        (1e300, "1.0E+300"),
        (f64::INFINITY, "9.9E+37"),
        (f64::NEG_INFINITY, "-9.9E+37"),
        (f64::NAN, "9.91E+37"),
    ] {
        assert_eq!(nr3(value), text);
    }
    let reply = Response::new()
        .integer(-273)
        .fixed(-1.25, 3)
        .fixed(-0.0001, 2)
        .boolean(true);
    assert_eq!(reply.into_bytes(), b"-273,-1.250,0.00,1");
    let reply = Response::new().quoted("a \"b\"").block(b"HELLO");
    assert_eq!(reply.into_bytes(), b"\"a \"\"b\"\"\",#15HELLO");
}

#[test]
fn replies_as_a_host_reads_them() {
    assert_eq!(number(b" +5\r"), Ok(Reading::Number(5.0)));
    assert_eq!(number(b"9.9E+37"), Ok(Reading::Overflow(Sign::Positive)));
    assert_eq!(number(b"-9.9E37"), Ok(Reading::Overflow(Sign::Negative)));
    assert_eq!(number(b"9.91E+37"), Ok(Reading::NotANumber));
    assert_eq!(number(b" "), Err(ReplyFault::Empty));
    assert!(number(b"5 V").is_err());
    assert_eq!(boolean(b"1"), Ok(true));
    assert!(boolean(b"2").is_err());
    let entry = error_entry(b"-113,\"Undefined header;near \"\"X\"\"\"").expect("an entry");
    assert_eq!(
        (entry.code, entry.text.as_str()),
        (-113, "Undefined header;near \"X\"")
    );
    assert!(error_entry(b"0,\"No error\"").expect("an entry").is_none());
    assert!(error_entry(b"0").is_err());
    assert!(error_entry(b"0,\"a\" \"b\"").is_err());
    assert_eq!(
        text_items(b"1,\"a,b\",3"),
        Ok(vec![&b"1"[..], b"\"a,b\"", b"3"])
    );
    assert_eq!(
        list(b"1,9.91E+37"),
        Ok(vec![Reading::Number(1.0), Reading::NotANumber])
    );
}

#[test]
fn frames_split_anywhere() {
    let stream = b"-1.5E+00\r\n#15A\r\nBC\r\n0,\"No error\"\r\n";
    let wanted = [
        (Expect::Line, Reply::Line(b"-1.5E+00".to_vec())),
        (Expect::Block, Reply::Block(b"A\r\nBC".to_vec())),
        (Expect::Line, Reply::Line(b"0,\"No error\"".to_vec())),
    ];
    for step in 1..stream.len() {
        let mut framer = Framer::new(b"\r\n", 100);
        let mut pieces = stream.chunks(step);
        for (expect, reply) in &wanted {
            framer.expect(*expect);
            let found = loop {
                match framer.poll().expect("no fault") {
                    Some(reply) => break reply,
                    None => framer.push(pieces.next().expect("more")).expect("room"),
                }
            };
            assert_eq!(found, *reply, "in pieces of {step}");
        }
        assert_eq!(framer.pending(), 0);
    }
}

#[test]
fn frames_out_of_step_stay_so_until_the_reset() {
    let mut framer = Framer::new(b"\n", 20);
    framer.expect(Expect::Block);
    for (bytes, fault) in [
        (
            &b"OOPS\n"[..],
            FrameFault::NotABlock {
                shown: "OOPS\\n".into(),
            },
        ),
        (
            b"#1xA\n",
            FrameFault::NotABlock {
                shown: "#1xA\\n".into(),
            },
        ),
        (b"#900", FrameFault::TooLong { limit: 20 }),
        (b"#11AB\n", FrameFault::NoEnding),
    ] {
        framer.push(bytes).expect("room");
        if bytes == b"#900" {
            framer.push(b"9999999").expect("room");
        }
        assert_eq!(framer.poll(), Err(fault.clone()));
        assert_eq!(framer.push(b"x"), Err(fault.clone()));
        assert_eq!(framer.poll(), Err(fault));
        framer.reset();
    }
    framer.expect(Expect::Line);
    assert_eq!(
        framer.push(&[b'x'; 21]),
        Err(FrameFault::TooLong { limit: 20 })
    );
    framer.reset();
    framer.push(b"1\n").expect("room");
    assert_eq!(framer.poll(), Ok(Some(Reply::Line(b"1".to_vec()))));
}

/// Bytes that look like messages more often than plain noise would.
fn near_messages() -> impl Strategy<Value = Vec<u8>> {
    let alphabet: Vec<u8> = b"VOLT:*?;,#159H(@)'\"eE+-. \nMA\xff\x00".to_vec();
    prop::collection::vec(
        prop_oneof![4 => prop::sample::select(alphabet), 1 => any::<u8>()],
        0..80,
    )
}

proptest! {
    #[test]
    fn no_bytes_panic_a_device(bytes in near_messages()) {
        let (mut interpreter, mut lamp) = lamp();
        let _ = interpreter.obey(&bytes, &mut lamp);
        prop_assert!((0.0..=12.0).contains(&lamp.level));
        prop_assert!(units(&bytes).len() <= MOST_UNITS + 1);
    }

    #[test]
    fn no_bytes_panic_a_host(bytes in near_messages(), split in 0_usize..80, block: bool) {
        let _ = (number(&bytes), boolean(&bytes), quoted(&bytes), error_entry(&bytes));
        let _ = (block_data(&bytes), list(&bytes));
        let mut framer = Framer::new(b"\n", 64);
        framer.expect(if block { Expect::Block } else { Expect::Line });
        let (first, second) = bytes.split_at(split.min(bytes.len()));
        let _ = (framer.push(first), framer.poll(), framer.push(second), framer.poll());
        prop_assert!(framer.pending() <= 64);
    }

    #[test]
    fn numbers_go_there_and_back(bits: u64) {
        let value = f64::from_bits(bits);
        prop_assume!(value.is_finite() && value.abs() < 9.9e37);
        prop_assert_eq!(number(nr3(value).as_bytes()), Ok(Reading::Number(value)));
    }

    #[test]
    fn blocks_go_there_and_back(data: Vec<u8>) {
        let bytes = Response::new().block(&data).into_bytes();
        prop_assert_eq!(block_data(&bytes), Ok(data.as_slice()));
    }

    #[test]
    fn strings_go_there_and_back(text in "[ -~]{0,60}") {
        let bytes = Response::new().quoted(&text).into_bytes();
        prop_assert_eq!(quoted(&bytes), Ok(text));
    }
}
