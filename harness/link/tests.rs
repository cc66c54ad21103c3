//! Checks of ports over wires in memory and over pseudo-terminals: every kind
//! of trouble on order, and never an answer to another question.

mod attended;
mod messages;

use super::*;
use crate::checksum::{Checksum, LineCheck, Written};
use crate::measurement::Blame;
use crate::protocol::Expect;
use crate::seed::Seed;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, DuplexStream};

const REPLY: Duration = Duration::from_millis(60);

fn settings() -> PortSettings {
    PortSettings {
        name: "test port".to_owned(),
        speed: 115_200,
        message_size: 64,
        block_tail: 0,
        ending: "\n".to_owned(),
        habits: Habits::default(),
        traffic: Traffic::default(),
        dtr: true,
        deadlines: Deadlines {
            write: Duration::from_millis(200),
            reply: REPLY,
            quiet: Duration::from_millis(5),
        },
        abandon: "\n".to_owned(),
        probe: Some(Probe::ErrorQueue {
            line: "ERR?".to_owned(),
        }),
    }
}

type Heard = Arc<Mutex<Vec<String>>>;

/// An instrument that echoes every question, and what it heard.
fn instrument() -> (DuplexStream, Heard) {
    let (host, mut device) = tokio::io::duplex(65_536);
    let heard = Heard::default();
    let notes = Arc::clone(&heard);
    tokio::spawn(async move {
        let mut bytes = Vec::new();
        while device
            .read_buf(&mut bytes)
            .await
            .is_ok_and(|count| count > 0)
        {
            while let Some(end) = bytes.iter().position(|&byte| byte == b'\n') {
                let line: Vec<u8> = bytes.drain(..=end).collect();
                let line = String::from_utf8_lossy(&line[..end]).into_owned();
                let reply = match line.as_str() {
                    "WHO" => "booster, rev B\n".to_owned(),
                    "ERR?" => "0,\"No error\"\n".to_owned(),
                    "BLOCK?" => "#14abc\n\n".to_owned(),
                    _ if line.ends_with('?') => format!("answer to {line}\n"),
                    _ => String::new(),
                };
                notes.lock().expect("no panic").push(line);
                if device.write_all(reply.as_bytes()).await.is_err() {
                    return;
                }
            }
        }
    });
    (host, heard)
}

fn times(heard: &Heard, line: &str) -> usize {
    let heard = heard.lock().expect("no panic");
    heard.iter().filter(|h| *h == line).count()
}

fn faulty(list: impl IntoIterator<Item = Option<Mishap>>) -> (Port, Heard) {
    let (wire, heard) = instrument();
    let wire = Faulty::new(wire, Mishaps::listed(list));
    (Port::over(wire, settings()), heard)
}

async fn asks(port: &Port, line: &str) -> Result<String, LinkError> {
    port.query(line, Effect::Asks).await
}

fn cause(error: LinkError) -> Cause {
    match error {
        LinkError::Failed { cause, .. } | LinkError::Uncertain { cause, .. } => cause,
        other => panic!("{other}"),
    }
}

#[tokio::test]
async fn questions_get_their_answers_and_blocks_their_bytes() {
    let (wire, heard) = instrument();
    let port = Port::over(
        Tap::new(wire, "tapped".to_owned(), Traffic::default()),
        settings(),
    );
    assert_eq!(asks(&port, "A?").await, Ok("answer to A?".to_owned()));
    port.send("DO", Effect::Acts).await.expect("it is taken");
    // The block holds the ending as data.
    assert_eq!(port.query_block("BLOCK?", 4).await, Ok(b"abc\n".to_vec()));
    assert_eq!(asks(&port, "B?").await, Ok("answer to B?".to_owned()));
    assert_eq!(times(&heard, "DO"), 1);
}

#[tokio::test]
async fn a_dropped_caller_cuts_no_frame_and_shifts_no_answer() {
    let stall = Some(Mishap::Stall(Duration::from_millis(20)));
    let (port, heard) = faulty([stall]);
    let dropped = tokio::time::timeout(Duration::from_millis(2), asks(&port, "FIRST?")).await;
    assert!(dropped.is_err(), "the caller went away in the middle");
    assert_eq!(
        asks(&port, "SECOND?").await,
        Ok("answer to SECOND?".to_owned())
    );
    assert_eq!(times(&heard, "FIRST?"), 1);
}

#[tokio::test]
async fn a_late_answer_is_thrown_away_before_the_next_question() {
    // So late that a busy machine does not make it come in time.
    let late = Duration::from_millis(300);
    let (port, _) = faulty([Some(Mishap::Stall(REPLY + late))]);
    let error = asks(&port, "LATE?").await.expect_err("too late");
    assert!(error.retry_is_safe());
    assert_eq!(error.blame(), Blame::Bench);
    assert_eq!(cause(error), Cause::Silent(REPLY));
    tokio::time::sleep(late + Duration::from_millis(10)).await;
    assert_eq!(asks(&port, "NEXT?").await, Ok("answer to NEXT?".to_owned()));
}

#[tokio::test]
async fn an_action_without_confirmation_is_uncertain_and_sent_once() {
    for mishap in [Mishap::Drop, Mishap::Cut, Mishap::Garble] {
        let (port, heard) = faulty([Some(mishap)]);
        let error = port.query("ACT;OPC?", Effect::Acts).await;
        let error = error.expect_err("its confirmation was spoiled");
        assert!(matches!(error, LinkError::Uncertain { .. }), "{error}");
        assert!(!error.retry_is_safe(), "{mishap:?}");
        assert_eq!(asks(&port, "NEXT?").await, Ok("answer to NEXT?".to_owned()));
        assert_eq!(times(&heard, "ACT;OPC?"), 1, "{mishap:?}");
    }
}

#[tokio::test]
async fn a_hang_up_is_told_once_and_the_port_stays_gone() {
    let (port, _) = faulty([Some(Mishap::HangUp)]);
    let error = port.query("ACT?", Effect::Acts).await.expect_err("gone");
    assert!(error.is_gone() && !error.retry_is_safe(), "{error}");
    let error = asks(&port, "NEXT?").await.expect_err("still gone");
    assert!(error.is_gone(), "{error}");
    assert!(!port.is_open());
}

#[tokio::test]
async fn a_line_where_a_block_was_due_is_garbled() {
    let (wire, _) = instrument();
    let port = Port::over(wire, settings());
    let error = port.query_block("LINE?", 4).await.expect_err("no block");
    let shown = "answer to LINE?\\n".to_owned();
    assert_eq!(cause(error), Cause::Unfit { shown });
    assert_eq!(asks(&port, "NEXT?").await, Ok("answer to NEXT?".to_owned()));
}

#[tokio::test]
async fn making_safe_does_not_wait_for_a_silent_instrument() {
    let (wire, heard) = instrument();
    let mut slow = settings();
    slow.deadlines.reply = Duration::from_secs(60);
    let port = Port::over(wire, slow);
    let stuck = port.clone();
    let waiting = tokio::spawn(async move { stuck.query("NO ANSWER", Effect::Acts).await });
    tokio::time::sleep(Duration::from_millis(10)).await;
    let started = Instant::now();
    port.interrupt(b"\nOFF\n".to_vec()).await.expect("taken");
    assert!(started.elapsed() < Duration::from_secs(5));
    let error = waiting.await.expect("no panic").expect_err("cut short");
    assert_eq!(cause(error), Cause::Interrupted);
    assert_eq!(asks(&port, "NEXT?").await, Ok("answer to NEXT?".to_owned()));
    assert_eq!(times(&heard, "OFF"), 1);
}

/// Whatever is spoiled, an answer is the right one or none.
#[tokio::test]
async fn no_answer_ever_belongs_to_another_question() {
    let (wire, _) = instrument();
    let mut quick = settings();
    quick.deadlines.reply = Duration::from_millis(8);
    quick.deadlines.quiet = Duration::from_millis(2);
    let wire = Faulty::new(wire, Mishaps::seeded(Seed(11), 0.25));
    let port = Port::over(wire, quick);
    let (mut good, mut spoiled) = (0, 0);
    for number in 0..80 {
        let line = format!("Q{number}?");
        match asks(&port, &line).await {
            Ok(answer) => {
                assert_eq!(answer, format!("answer to {line}"));
                good += 1;
            }
            Err(error) => {
                assert!(error.retry_is_safe(), "{error}");
                spoiled += 1;
            }
        }
    }
    assert!(good > 20 && spoiled > 10, "{good} good, {spoiled} spoiled");
}

/// A port that can only be asked who is there.
fn without_error_queue() -> PortSettings {
    PortSettings {
        probe: Some(Probe::Identity {
            line: "WHO".to_owned(),
            pattern: regex_lite::Regex::new("^booster").expect("a pattern"),
            expect: Expect::Line,
        }),
        ..settings()
    }
}

#[tokio::test]
async fn without_an_error_queue_a_late_answer_shifts_no_other() {
    // Late by more than the quiet time after the deadline: silence proves nothing.
    for late in [20, 40, 55] {
        let stall = Mishap::Stall(REPLY + Duration::from_millis(late));
        let (wire, _) = instrument();
        let wire = Faulty::new(wire, Mishaps::listed([None, Some(stall)]));
        let port = Port::over(wire, without_error_queue());
        assert_eq!(asks(&port, "A?").await, Ok("answer to A?".to_owned()));
        assert!(asks(&port, "LATE?").await.is_err());
        for next in ["B?", "C?", "D?"] {
            let answer = asks(&port, next).await;
            assert_eq!(answer, Ok(format!("answer to {next}")), "{late} ms late");
        }
    }
}

/// What the probe is for: without one, an answer that is late enough is taken
/// for that to another question.
#[tokio::test]
async fn silence_alone_proves_nothing() {
    let stall = Mishap::Stall(REPLY + Duration::from_millis(40));
    let (wire, _) = instrument();
    let wire = Faulty::new(wire, Mishaps::listed([Some(stall)]));
    let bare = PortSettings {
        probe: None,
        ..settings()
    };
    let port = Port::over(wire, bare);
    assert!(asks(&port, "LATE?").await.is_err());
    assert_eq!(asks(&port, "B?").await, Ok("answer to LATE?".to_owned()));
}

#[tokio::test]
async fn a_late_answer_to_the_probe_itself_is_counted() {
    let stall = Mishap::Stall(REPLY + Duration::from_millis(30));
    let (wire, heard) = instrument();
    // The caller's own question who is there is the late one.
    let wire = Faulty::new(wire, Mishaps::listed([Some(stall)]));
    let port = Port::over(wire, without_error_queue());
    assert!(asks(&port, "WHO").await.is_err());
    assert_eq!(asks(&port, "B?").await, Ok("answer to B?".to_owned()));
    assert_eq!(asks(&port, "C?").await, Ok("answer to C?".to_owned()));
    assert_eq!(times(&heard, "WHO"), 2);
}

/// An answer said twice, as a buffer that was sent again does.
#[tokio::test]
async fn an_answer_said_twice_is_nobodys() {
    for error_queue in [true, false] {
        let (host, mut device) = tokio::io::duplex(1024);
        tokio::spawn(async move {
            let mut bytes = vec![0; 64];
            while let Ok(count) = device.read(&mut bytes).await {
                for line in String::from_utf8_lossy(&bytes[..count]).lines() {
                    let reply = match line {
                        "" => continue,
                        "WHO" => "booster\n".to_owned(),
                        "ERR?" => "0,\"No error\"\n".to_owned(),
                        _ => format!("answer to {line}\n"),
                    };
                    device.write_all(reply.as_bytes()).await.expect("room");
                    if line == "TWICE?" {
                        tokio::time::sleep(Duration::from_millis(10)).await;
                        device.write_all(reply.as_bytes()).await.expect("room");
                    }
                }
            }
        });
        let settings = if error_queue {
            settings()
        } else {
            without_error_queue()
        };
        let port = Port::over(host, settings);
        assert!(asks(&port, "TWICE?").await.is_ok());
        tokio::time::sleep(Duration::from_millis(20)).await;
        for next in ["B?", "C?"] {
            assert_eq!(asks(&port, next).await, Ok(format!("answer to {next}")));
        }
    }
}

/// What a caller finds wrong with an answer is looked into before the next.
#[tokio::test]
async fn a_doubted_port_is_asked_who_is_there() {
    let (wire, heard) = instrument();
    let port = Port::over(wire, without_error_queue());
    assert!(asks(&port, "A?").await.is_ok());
    assert_eq!(times(&heard, "WHO"), 0);
    port.doubt();
    assert_eq!(asks(&port, "B?").await, Ok("answer to B?".to_owned()));
    assert_eq!(times(&heard, "WHO"), 1);
}

#[tokio::test]
async fn an_absent_port_is_not_a_busy_one() {
    let absent = Port::open("/dev/there-is-no-such-port", settings());
    let error = absent.expect_err("there is none");
    assert!(matches!(error, LinkError::Absent { .. }), "{error}");
    assert_eq!(error.blame(), Blame::Operator);
}

/// A pseudo-terminal's master end and the path of the other.
fn master() -> (rustix::fd::OwnedFd, String) {
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
    let master = openpt(flags).expect("a pseudo-terminal");
    grantpt(&master).expect("granted");
    unlockpt(&master).expect("unlocked");
    let path = ptsname(&master, Vec::new()).expect("a path");
    (master, path.into_string().expect("an ASCII path"))
}

#[tokio::test]
async fn a_port_has_one_owner_and_is_free_again_afterwards() {
    let (_master, path) = master();
    let first = Port::open(&path, settings()).expect("it opens");
    let error = Port::open(&path, settings()).expect_err("it is held");
    assert!(matches!(error, LinkError::Busy { .. }), "{error}");
    drop(first);
    tokio::task::yield_now().await;
    Port::open(&path, settings()).expect("it opens again");
}

#[tokio::test]
async fn an_unplugged_port_is_gone() {
    let (master, path) = master();
    let port = Port::open(&path, settings()).expect("it opens");
    drop(master);
    let error = asks(&port, "A?").await.expect_err("nobody is there");
    assert!(error.is_gone(), "{error}");
}

/// An instrument with habits: it echoes, checks, prompts, and hears nothing that
/// comes too soon.
fn habitual(habits: Habits, replies: &'static [(&str, &[u8])]) -> (Port, Heard) {
    let (host, mut device) = tokio::io::duplex(65_536);
    let heard = Heard::default();
    let notes = Arc::clone(&heard);
    let settings = PortSettings {
        ending: "\r\n".to_owned(),
        habits,
        probe: None,
        ..settings()
    };
    let own = settings.clone();
    tokio::spawn(async move {
        let mut bytes = Vec::new();
        let mut last: Option<Instant> = None;
        while device
            .read_buf(&mut bytes)
            .await
            .is_ok_and(|count| count > 0)
        {
            while let Some(end) = bytes.windows(2).position(|pair| pair == b"\r\n") {
                let mut line: Vec<u8> = bytes.drain(..end + 2).collect();
                let sent = line.clone();
                line.truncate(end);
                if last.is_some_and(|last| last.elapsed() < own.habits.gap) {
                    continue;
                }
                let mut reply = if own.habits.echo { sent } else { Vec::new() };
                if let Some(check) = &own.habits.check {
                    let Some(plain) = check.strip(line) else {
                        continue;
                    };
                    line = plain;
                }
                let line = String::from_utf8_lossy(&line).into_owned();
                if let Some((_, own_reply)) = replies.iter().find(|(asked, _)| *asked == line) {
                    reply.extend_from_slice(own_reply);
                } else if line.ends_with('?') {
                    reply.extend(own.bytes_of(&format!("answer to {line}")));
                }
                reply.extend_from_slice(&own.habits.prompt);
                notes.lock().expect("no panic").push(line);
                last = Some(Instant::now());
                if device.write_all(&reply).await.is_err() {
                    return;
                }
            }
        }
    });
    (Port::over(host, settings), heard)
}

fn checked() -> LineCheck {
    LineCheck {
        checksum: Checksum::Crc1021,
        written: Written::Hexadecimal,
        mark: "*".to_owned(),
        skip: 0,
    }
}

#[tokio::test]
async fn echo_prompt_checksum_and_gap_are_kept() {
    let habits = Habits {
        echo: true,
        prompt: b"> ".to_vec(),
        check: Some(checked()),
        gap: Duration::from_millis(8),
    };
    let (port, heard) = habitual(habits, &[("TWO?", b"1234")]);
    for number in 0..4 {
        let line = format!("Q{number}?");
        assert_eq!(asks(&port, &line).await, Ok(format!("answer to {line}")));
        port.send("DO", Effect::Acts).await.expect("taken");
    }
    assert_eq!(times(&heard, "DO"), 4);
}

/// What makes an instrument safe is lost on one that hears nothing so soon, unless
/// its gap is kept there as well; and so is the question that gets back in step.
#[tokio::test]
async fn urgent_lines_and_probes_keep_the_gap_too() {
    let habits = Habits {
        gap: Duration::from_millis(30),
        ..Habits::default()
    };
    let (port, heard) = habitual(habits, &[]);
    port.send("DO", Effect::Acts).await.expect("taken");
    for _ in 0..2 {
        let off = port.interrupt(b"OFF\r\n".to_vec()).await;
        off.expect("written");
    }
    // The byte that abandons a half line stands before it.
    let answer = asks(&port, "A?").await.expect("it is heard");
    assert!(answer.ends_with("A?"), "{answer:?}");
    assert_eq!(times(&heard, "OFF"), 2);
}

#[tokio::test]
async fn bytes_by_number_need_no_ending() {
    let (wire, mut device) = tokio::io::duplex(64);
    tokio::spawn(async move {
        let mut bytes = [0; 1];
        while device.read_exact(&mut bytes).await.is_ok() {
            if bytes[0] == 0xFE {
                device.write_all(&[0xFE, b'\n', 3]).await.expect("room");
            }
        }
    });
    let bare = PortSettings {
        ending: String::new(),
        abandon: String::new(),
        probe: Some(Probe::Identity {
            line: "\u{fe}".to_owned(),
            pattern: regex_lite::Regex::new("^\u{fe}").expect("a pattern"),
            expect: Expect::Bytes(3),
        }),
        ..settings()
    };
    let port = Port::over(wire, bare);
    let three = Expect::Bytes(3);
    let answer = port.ask("\u{fe}", Effect::Asks, three, 3).await;
    assert_eq!(answer, Ok(vec![0xFE, b'\n', 3]));
    let silent = port.ask("\u{1}", Effect::Acts, Expect::Bytes(1), 1).await;
    let error = silent.expect_err("it is not answered");
    assert!(error.to_string().contains("\\x01"), "{error}");
    // Back in step by its identity.
    let answer = port.ask("\u{fe}", Effect::Asks, three, 3).await;
    assert!(answer.is_ok(), "{answer:?}");
}

/// What fits no form is named by its bytes.
#[tokio::test]
async fn what_fits_no_form_is_shown_escaped() {
    let check = Habits {
        check: Some(checked()),
        ..Habits::default()
    };
    let (port, _) = habitual(check, &[("WRONG?", b"4.5\x07*0000\r\n")]);
    let error = asks(&port, "WRONG?").await.expect_err("a wrong checksum");
    let shown = "4.5\\x07*0000".to_owned();
    assert_eq!(cause(error), Cause::Checksum { shown });
    let echo = Habits {
        echo: true,
        ..Habits::default()
    };
    let (host, mut device) = tokio::io::duplex(64);
    tokio::spawn(async move {
        let mut bytes = [0; 64];
        while device.read(&mut bytes).await.is_ok_and(|count| count > 0) {
            device.write_all(b"B?\nx").await.expect("room");
        }
    });
    let deaf = PortSettings {
        habits: echo,
        probe: None,
        ..settings()
    };
    let error = asks(&Port::over(host, deaf), "A?").await;
    let shown = "B?\\n".to_owned();
    assert_eq!(cause(error.expect_err("no echo")), Cause::Echo { shown });
}

/// What passed is heard whole, kept as a trace, and answers again from there.
#[tokio::test]
async fn a_trace_answers_as_the_instrument_did() {
    let passed: Arc<Mutex<Vec<Passed>>> = Arc::default();
    let notes = Arc::clone(&passed);
    let listener = Listener::new(move |way, bytes| {
        let mut notes = notes.lock().expect("no panic");
        let at = 0.1 * notes.len() as f64;
        notes.push(Passed::new(at, "load", "test port", way, bytes));
    });
    let heard = PortSettings {
        traffic: Traffic {
            role: "load".to_owned(),
            listener: Some(listener),
        },
        ..settings()
    };
    let (wire, _) = instrument();
    let talk = async |port: Port| {
        let block = port.query_block("BLOCK?", 4).await;
        port.send("DO \\x5C", Effect::Acts).await.expect("taken");
        (block, asks(&port, "A?").await)
    };
    let said = talk(Port::over(wire, heard)).await;
    assert_eq!(said.0, Ok(b"abc\n".to_vec()));
    let lines: Vec<String> = {
        let passed = passed.lock().expect("no panic");
        let line = |passed: &Passed| serde_json::to_string(passed).expect("JSON");
        passed.iter().map(line).collect()
    };
    let trace = Trace::parse(&lines.join("\n")).expect("a trace");
    assert_eq!(trace.roles(), ["load"]);
    assert_eq!(
        talk(Port::over(trace.replay("load"), settings())).await,
        said
    );
    // Another line than the trace has is an error of the wire.
    let other = Port::over(trace.replay("load"), settings());
    assert!(
        asks(&other, "OTHER?")
            .await
            .expect_err("not in it")
            .is_gone()
    );
    let fault = Trace::parse("{}").expect_err("no line of a trace");
    assert_eq!(fault.line, 1);
}
