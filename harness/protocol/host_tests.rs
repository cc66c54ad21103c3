//! Replies written and read back, whole and in pieces (IEEE 488.2 clause 8,
//! SCPI-1999 volume 1, clause 7.2.1; from memory).

use super::device_tests::near_messages;
use super::*;
use proptest::prelude::*;

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
    let stream = b"-1.5E+00\r\n#15A\r\nBC\r\n0,\"No error\"\r\nt;u\r\n1;2\r\n\r\nlast\r\n";
    let wanted = [
        (Expect::Line, Reply::Line(b"-1.5E+00".to_vec())),
        (Expect::Block, Reply::Block(b"A\r\nBC".to_vec())),
        (Expect::Line, Reply::Line(b"0,\"No error\"".to_vec())),
        (Expect::Lines(3), Reply::Lines(b"t;u\r\n1;2\r\n".to_vec())),
        (Expect::Line, Reply::Line(b"last".to_vec())),
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
fn a_checksum_behind_a_block_comes_with_its_data() {
    let mut framer = Framer::new(b"\n", 100).with_tail(2);
    framer.expect(Expect::Block);
    for byte in b"#13abc\n\x1F" {
        framer.push(&[*byte]).expect("room");
        assert_eq!(framer.poll(), Ok(None));
    }
    framer.push(b"\n").expect("room");
    let block = Reply::Block(b"abc\n\x1F".to_vec());
    assert_eq!(framer.poll(), Ok(Some(block)));
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

proptest! {
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
    fn numbers_go_there_and_back(
        negative: bool,
        // Below 2^126, which no reading reaches that stands for none.
        exponent in 0_u64..1023 + 126,
        fraction in 0_u64..1 << 52,
    ) {
        let sign = u64::from(negative) << 63;
        let value = f64::from_bits(sign | exponent << 52 | fraction);
        prop_assert!(value.abs() < 9.9e37);
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
