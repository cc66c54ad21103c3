//! A whole device in conversation: mandatory commands, status and errors (IEEE
//! 488.2 clauses 10 and 11, SCPI-1999 volume 2, clause 21.8; from memory).

use super::*;
use proptest::prelude::*;

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

/// Bytes that look like messages more often than plain noise would.
pub(super) fn near_messages() -> impl Strategy<Value = Vec<u8>> {
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
}
