//! Checks of the served model bench with a world of canned lines: both
//! transports, big answers, time, and a clean stop.

use super::*;
use crate::link::{Deadlines, Effect, Habits, Port, PortSettings, Traffic};
use std::time::{Duration, Instant};

/// Answers with role, line and bench time; each exchange takes a microsecond.
#[derive(Default)]
struct Parrot {
    now: BenchInstant,
}

impl Answering for Parrot {
    fn now(&self) -> BenchInstant {
        self.now
    }

    fn advance(&mut self, span: BenchSpan) {
        self.now += span;
    }

    fn exchange(&mut self, role: Role, line: &[u8]) -> Vec<u8> {
        self.now += BenchSpan::from_microseconds(1);
        let line = String::from_utf8_lossy(line);
        if let Some(count) = line.strip_prefix("BLOCK? ") {
            let count: usize = count.parse().expect("a count");
            let mut reply = format!("#8{count:08}").into_bytes();
            reply.extend((0..count).map(|index| (index % 251) as u8));
            reply.push(b'\n');
            return reply;
        }
        if !line.contains('?') {
            return Vec::new();
        }
        format!("{role} {line} {}\n", self.now.picoseconds()).into_bytes()
    }
}

fn settings(name: &str) -> PortSettings {
    PortSettings {
        name: name.to_owned(),
        speed: 4_000_000,
        message_size: 1 << 16,
        block_tail: 0,
        ending: "\n".to_owned(),
        habits: Habits::default(),
        traffic: Traffic::default(),
        dtr: true,
        deadlines: Deadlines::MODEL,
        abandon: "\n".to_owned(),
        probe: None,
    }
}

fn start(transport: Transport) -> ModelBench {
    let roles = [Role::Supply, Role::Load];
    ModelBench::start(Box::<Parrot>::default(), &roles, transport, Pace::Bench).expect("it starts")
}

fn port(bench: &ModelBench, role: Role) -> Port {
    match bench.path(role) {
        Some(path) => Port::open(path, settings(path)).expect("it opens"),
        None => Port::over(bench.wire(role).expect("it is there"), settings("memory")),
    }
}

const BOTH: [Transport; 2] = [Transport::Memory, Transport::Pty];

/// The same questions give the same bytes over either transport.
#[tokio::test]
async fn both_transports_answer_alike() {
    let mut answers = Vec::new();
    for transport in BOTH {
        let bench = start(transport);
        let (supply, load) = (port(&bench, Role::Supply), port(&bench, Role::Load));
        let mut heard = Vec::new();
        for port in [&supply, &load, &supply] {
            heard.push(port.query("WHO?", Effect::Asks).await.expect("an answer"));
        }
        bench.advance(BenchSpan::from_microseconds(5));
        heard.push(load.query("WHO?", Effect::Asks).await.expect("an answer"));
        assert_eq!(bench.now(), BenchInstant::from_picoseconds(9_000_000));
        assert_eq!(heard[3], "load WHO? 9000000");
        answers.push(heard);
    }
    assert_eq!(answers[0], answers[1]);
}

#[tokio::test]
async fn a_big_block_comes_whole() {
    for transport in BOTH {
        let bench = start(transport);
        let port = port(&bench, Role::Supply);
        let block = port.query_block("BLOCK? 1000000", 1_000_000).await;
        let block = block.expect("a block");
        assert_eq!(block.len(), 1_000_000);
        let right = |(index, &byte): (usize, &u8)| byte == (index % 251) as u8;
        assert!(block.iter().enumerate().all(right), "{transport:?}");
    }
}

#[tokio::test]
async fn a_port_may_be_closed_and_opened_again() {
    for transport in BOTH {
        let bench = start(transport);
        for _ in 0..3 {
            let port = port(&bench, Role::Load);
            let answer = port.query("WHO?", Effect::Asks).await.expect("an answer");
            assert!(answer.starts_with("load WHO?"), "{answer}");
            drop(port);
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    }
}

#[tokio::test]
async fn dropping_the_bench_hangs_up() {
    for transport in BOTH {
        let bench = start(transport);
        let port = port(&bench, Role::Supply);
        port.query("WHO?", Effect::Asks).await.expect("an answer");
        if transport == Transport::Memory {
            // Its tasks live as long as their wires.
            continue;
        }
        drop(bench);
        let error = port.query("WHO?", Effect::Asks).await.expect_err("gone");
        assert!(error.is_gone(), "{error}");
    }
}

#[tokio::test]
async fn at_the_walls_pace_bench_time_follows() {
    let roles = [Role::Supply];
    let bench = ModelBench::start(Box::<Parrot>::default(), &roles, Transport::Pty, Pace::Wall)
        .expect("it starts");
    let port = port(&bench, Role::Supply);
    tokio::time::sleep(Duration::from_millis(30)).await;
    port.query("WHO?", Effect::Asks).await.expect("an answer");
    assert!(bench.now() >= BenchInstant::from_picoseconds(30_000_000_000));
}

#[test]
fn lines_are_cut_at_their_endings_and_bounded() {
    let mut lines = lines::Lines::default();
    lines.push(b"AB\r\nC");
    assert_eq!(lines.next(), Some(b"AB".as_slice()));
    assert_eq!(lines.next(), None);
    lines.push(b"D\n\n");
    assert_eq!(lines.next(), Some(b"CD".as_slice()));
    assert_eq!(lines.next(), Some(b"".as_slice()));
    lines.push(&[b'x'; 70_000]);
    assert_eq!(lines.next(), None);
    lines.push(b"xx\nNEXT\n");
    assert_eq!(lines.next(), Some(b"NEXT".as_slice()));
}

/// Not a limit, since machines differ: at documented speed a question over a
/// pseudo-terminal takes some tens of microseconds, never milliseconds.
#[tokio::test]
async fn small_questions_are_quick() {
    let bench = start(Transport::Pty);
    let port = port(&bench, Role::Supply);
    let started = Instant::now();
    for _ in 0..200 {
        port.query("WHO?", Effect::Asks).await.expect("an answer");
    }
    let each = started.elapsed() / 200;
    assert!(each < Duration::from_millis(5), "{each:?}");
}
