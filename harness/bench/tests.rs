//! Checks of interlock, make-safe and captures over the embedded model bench:
//! refusals with their numbers, and safety whatever fails.

mod safe;

use super::*;
use crate::bench_file::{self, Closes};
use crate::clock::BenchInstant;
use crate::envelope::{BoardFacts, Refusal, Surroundings};
use crate::model_bench::{Transport, world};
use crate::model_board::BoardParameters;
use crate::plan::demo;
use crate::profile::{self, Profile};
use crate::scenario::acquisition::{ChannelRequest, Trigger};
use crate::scenario::intent::{Intent, LoadSetting};
use crate::scenario::{Place, Polarity};
use crate::seed::Seed;
use crate::units::{Amperes, Farads, Ohms, Quantity, Volts};
use crate::waveform::{Capture, LogicLine, Signal};
use std::collections::BTreeMap;

const BOARD: BoardFacts = BoardFacts {
    bulk_capacitance: Farads::new(1e-3),
    source_resistance: Ohms::new(0.1),
    rated_current: Amperes::new(3.0),
};

const SUPPLY: Intent = Intent::SupplyOn {
    voltage: Volts::new(18.0),
    current_limit: Amperes::new(6.0),
};

fn file() -> bench_file::Bench {
    bench_file::parse(&demo::bench())
        .expect("the demo's bench is sound")
        .0
}

fn profiles() -> BTreeMap<Role, Profile> {
    Role::ALL
        .into_iter()
        .filter_map(|role| Some((role, profile::shipped(role.word())?)))
        .collect()
}

async fn opened(file: &bench_file::Bench, transport: Transport) -> Bench {
    opened_with(file, transport, BoardParameters::default()).await
}

async fn opened_with(
    file: &bench_file::Bench,
    transport: Transport,
    board: BoardParameters,
) -> Bench {
    let profiles = profiles();
    let world = world(file, &profiles, &board, None, Seed(1)).expect("a circuit");
    let world = Box::new(world);
    let connection = Connection::Model { world, transport };
    Bench::open(file, &profiles, BOARD, connection)
        .await
        .expect("the model bench opens")
}

async fn powered(file: &bench_file::Bench) -> Bench {
    let mut bench = opened(file, Transport::Memory).await;
    energise(&mut bench, SUPPLY).await;
    bench
}

async fn energise(bench: &mut Bench, intent: Intent) {
    let permit = bench.permit(&intent).expect("within the envelope");
    bench.energise(permit).await.expect("it is done");
}

fn short(milliseconds: f64) -> Intent {
    Intent::ShortPulse {
        place: Place::Near,
        duration: Seconds::new(milliseconds * 1e-3),
    }
}

fn refusal(bench: &Bench, intent: Intent) -> Refusal {
    bench.permit(&intent).expect_err("beyond the envelope")
}

#[tokio::test]
async fn every_instrument_is_identified_on_opening() {
    let bench = opened(&file(), Transport::Memory).await;
    let roles: Vec<Role> = bench.identified().iter().map(|i| i.role).collect();
    assert_eq!(roles, Role::ALL);
    assert!(bench.identified()[5].identity.starts_with("booster "));
}

#[tokio::test]
async fn banks_and_the_loads_place_go_through_the_interlock() {
    let mut bench = opened(&file(), Transport::Memory).await;
    let connect = |closes| Intent::Connect {
        closes,
        duration: Seconds::new(0.5),
    };
    // A short has an intent of its own.
    let error = refusal(&bench, connect(Closes::NearShort));
    assert!(matches!(error, Refusal::NotPositive { .. }), "{error}");
    // The load is moved only while it draws nothing.
    bench.set_drive(Polarity::Positive).await.expect("held");
    energise(&mut bench, SUPPLY).await;
    let load = Intent::LoadOn(LoadSetting::Current(Amperes::new(1.0)));
    energise(&mut bench, load).await;
    let error = refusal(&bench, connect(Closes::SupplyLoad));
    assert!(matches!(error, Refusal::LoadDraws { .. }), "{error}");
    bench.load_off().await.expect("off");
    for closes in [
        Closes::CapacitorBank,
        Closes::ResistorBank,
        Closes::SupplyLoad,
    ] {
        energise(&mut bench, connect(closes)).await;
    }
    assert!(bench.temperature().await.expect("read").is_some());
    bench
        .switch_finished(Seconds::new(1.0))
        .await
        .expect("ends");
}

#[tokio::test]
async fn a_short_is_refused_with_the_current_that_could_flow() {
    let mut file = file();
    file.envelope.current = Amperes::new(40.0);
    let bench = powered(&file).await;
    // Ohm's law by hand: 18 V / (100 + 20 + 300) mohm.
    let refused = refusal(&bench, short(40.0));
    let Refusal::Current {
        prospective, most, ..
    } = &refused
    else {
        panic!("{refused}");
    };
    assert!(
        (prospective.si() - 18.0 / 0.42).abs() < 1e-9,
        "{prospective}"
    );
    assert_eq!(most.si(), 40.0);
    assert!(refused.to_string().contains("42.86 A"), "{refused}");
}

#[tokio::test]
async fn a_short_is_refused_with_the_let_through_of_capacitors_and_supply() {
    let mut file = file();
    file.envelope.let_through = crate::units::AmpereSquareSeconds::new(2.0);
    let bench = powered(&file).await;
    // By hand: half C V^2 over R is 0.162 J / 420 mohm, 2 I C V is 0.216, and
    // I^2 t is 36 A^2 x 40 ms: 0.3857 + 0.216 + 1.44 A2s.
    let refused = refusal(&bench, short(40.0));
    let Refusal::LetThrough { prospective, .. } = &refused else {
        panic!("{refused}");
    };
    assert!(
        (prospective.si() - (0.162 / 0.42 + 1.656)).abs() < 1e-9,
        "{prospective}"
    );
    bench.permit(&short(10.0)).expect("shorter is permitted");
}

#[tokio::test]
async fn energy_voltage_and_time_have_their_ends() {
    let mut tight = file();
    tight.envelope.energy = crate::units::Joules::new(5.0);
    let bench = powered(&tight).await;
    // By hand: 0.162 J + 6 A x 18 V x 50 ms = 5.562 J.
    let refused = refusal(&bench, short(50.0));
    assert!(matches!(refused, Refusal::Energy { .. }), "{refused}");

    let mut low = file();
    low.envelope.voltage = Volts::new(17.5);
    let bench = opened(&low, Transport::Memory).await;
    let refused = refusal(&bench, SUPPLY);
    assert!(matches!(refused, Refusal::Voltage { .. }), "{refused}");

    let mut short_of_time = file();
    short_of_time.envelope.seconds = Seconds::new(30.0);
    let mut bench = powered(&short_of_time).await;
    bench.wait(Seconds::new(29.0)).await.expect("waited");
    let refused = refusal(&bench, short(1500.0));
    assert!(matches!(refused, Refusal::Time { .. }), "{refused}");
    bench.supply_off().await.expect("off");
    energise(&mut bench, SUPPLY).await;
    bench.permit(&short(1500.0)).expect("after a pause");
}

/// What an intent began goes on until it is ended, so the interlock is asked
/// again by every wait.
#[tokio::test]
async fn a_hold_is_neither_begun_nor_waited_for_beyond_the_envelope() {
    let mut file = file();
    file.envelope.seconds = Seconds::new(30.0);
    let mut bench = powered(&file).await;
    bench.wait(Seconds::new(0.05)).await.expect("waited");
    let hold = |seconds| Intent::LoadHold {
        current: Amperes::new(1.0),
        duration: Seconds::new(seconds),
    };
    let refused = refusal(&bench, hold(30.0));
    let Refusal::Time { would, most, .. } = &refused else {
        panic!("{refused}");
    };
    // The supply has been on for a moment already.
    assert!(
        would.si() > 30.0 && would.si() < 30.1 && most.si() == 30.0,
        "{refused}"
    );
    energise(&mut bench, hold(29.0)).await;
    bench.wait(Seconds::new(29.0)).await.expect("as was meant");
    let before = bench.now();
    for (refused, time) in [
        (bench.wait(Seconds::new(1.0)).await, 1.0),
        (bench.may_go_on(Seconds::new(1.0)), 1.0),
    ] {
        let error = refused.expect_err("beyond the envelope");
        let BenchError::Refused(Refusal::Time { would, .. }) = &error else {
            panic!("{error}");
        };
        assert!(would.si() > 29.0 + time, "{error}");
        assert_eq!(error.blame(), crate::measurement::Blame::Plan);
    }
    assert_eq!(bench.now(), before, "it was not waited for");
    bench.supply_off().await.expect("off");
    bench.wait(Seconds::new(60.0)).await.expect("without power");
}

#[tokio::test]
async fn a_gap_is_held_against_both_sources() {
    let mut file = file();
    file.envelope.current = Amperes::new(35.0);
    let bench = powered(&file).await;
    let gap = Intent::GapPulse {
        crossed: true,
        duration: Seconds::new(0.05),
    };
    // By hand: (18 + 17) V / (300 + 500 + 20 + 100) mohm = 38.04 A.
    let refused = refusal(&bench, gap);
    assert!(refused.to_string().contains("38.04"), "{refused}");
}

#[tokio::test]
async fn a_short_that_the_switch_does_not_end_is_refused() {
    let bench = powered(&file()).await;
    let refused = refusal(&bench, short(11_000.0));
    assert!(matches!(refused, Refusal::NotTimed { .. }), "{refused}");

    let mut without = profiles();
    let switch = without.get_mut(&Role::Switch).expect("a switch");
    switch.commands.remove("pulse");
    let surroundings = Surroundings::new(&file(), &without, BOARD);
    let mut interlock = Interlock::new(surroundings);
    interlock.learn(|state| state.after(&SUPPLY, BenchInstant::ZERO));
    let refused = interlock.permit(&short(10.0), BenchInstant::ZERO);
    let refused = refused.expect_err("no pulse");
    assert!(matches!(refused, Refusal::NotTimed { .. }), "{refused}");
}

#[tokio::test]
async fn an_unknown_bench_permits_nothing() {
    let interlock = Interlock::new(Surroundings::new(&file(), &profiles(), BOARD));
    for intent in [SUPPLY, short(10.0)] {
        let refused = interlock.permit(&intent, BenchInstant::ZERO);
        let refused = refused.expect_err("nothing is known");
        assert!(matches!(refused, Refusal::Unknown { .. }), "{refused}");
    }
}

#[tokio::test]
async fn a_permit_holds_only_for_the_state_it_was_given_in() {
    let mut bench = powered(&file()).await;
    let permit = bench.permit(&short(10.0)).expect("permitted");
    bench.supply_off().await.expect("off");
    let error = bench.energise(permit).await.expect_err("stale");
    assert!(matches!(error, BenchError::Refused(Refusal::Stale { .. })));
}

#[tokio::test]
async fn without_a_rectifier_the_load_bears_one_polarity() {
    let mut file = file();
    file.wiring.rectifier_drop = Volts::ZERO;
    let mut bench = powered(&file).await;
    let load = Intent::LoadOn(LoadSetting::Current(Amperes::new(1.0)));
    for drive in [Polarity::Negative, Polarity::Alternating] {
        bench.set_drive(drive).await.expect("the load is off");
        let refused = refusal(&bench, load);
        assert!(matches!(refused, Refusal::LoadWiring { .. }), "{refused}");
    }
    bench.set_drive(Polarity::Positive).await.expect("held");
    energise(&mut bench, load).await;
    let error = bench
        .set_drive(Polarity::Negative)
        .await
        .expect_err("refused");
    assert!(matches!(
        error,
        BenchError::Refused(Refusal::LoadWiring { .. })
    ));
    bench.load_off().await.expect("off");
    bench
        .set_drive(Polarity::Negative)
        .await
        .expect("off by now");
}

#[tokio::test]
async fn senseless_amounts_and_waits_are_refused() {
    let bench = powered(&file()).await;
    let refused = refusal(&bench, short(-1.0));
    assert!(matches!(refused, Refusal::NotPositive { .. }), "{refused}");
    let error = bench.wait(Seconds::new(-1.0)).await.expect_err("refused");
    assert!(matches!(error, BenchError::Wait(_)));
}

/// The output held positive and loaded with a step of 2 A.
async fn step(transport: Transport) -> (Capture, BenchInstant) {
    let mut bench = opened(&file(), transport).await;
    energise(&mut bench, SUPPLY).await;
    bench.set_drive(Polarity::Positive).await.expect("held");
    bench.signal(true).await.expect("on");
    bench.enable(true).await.expect("enabled");
    bench.wait(Seconds::new(0.1)).await.expect("settled");
    let request = CaptureRequest {
        period: Seconds::new(10e-6),
        length: 2000,
        before_trigger: 200,
        trigger: Trigger::Channel {
            signal: Signal::OutputCurrent,
            level: 1.0,
            rising: true,
        },
        channels: [(Signal::NodeVoltage, 30.0), (Signal::OutputCurrent, 10.0)]
            .map(|(signal, range)| ChannelRequest { signal, range })
            .to_vec(),
        lines: true,
    };
    bench.arm(&request).await.expect("it waits");
    assert!(!bench.triggered().await.expect("it says so"));
    let pulse = Intent::LoadPulse {
        current: Amperes::new(2.0),
        duration: Seconds::new(0.015),
    };
    energise(&mut bench, pulse).await;
    let capture = bench.fetch("step").await.expect("triggered");
    let outcome = bench.make_safe().await;
    assert!(outcome.safe, "{outcome:?}");
    (capture, bench.now())
}

#[tokio::test]
async fn a_step_of_current_is_seen_as_it_was_asked_for() {
    let (capture, _) = step(Transport::Memory).await;
    let current = capture.channel(Signal::OutputCurrent).expect("measured");
    let value = |range: std::ops::Range<usize>| {
        let count = range.len() as f64;
        let codes: f64 = current.codes[range].iter().map(|&c| f64::from(c)).sum();
        codes / count * current.scale + current.offset
    };
    let u = current.accuracy;
    let spread = |i: f64| 4.0 * (u.offset_u + u.gain_u * i) + 0.02;
    // The bleeder of 1 kohm draws its 18 mA beside.
    assert!(
        (value(0..150) - 0.018).abs() < spread(0.0),
        "{}",
        value(0..150)
    );
    assert!((value(400..1500) - 2.018).abs() < spread(2.0));
    assert!(value(1900..2000).abs() < spread(0.0), "the pulse has ended");
    assert!(capture.line(LogicLine::SignalA).expect("seen").initial);
}

#[tokio::test]
async fn both_transports_measure_the_same_to_the_bit() {
    let memory = step(Transport::Memory).await;
    let pty = step(Transport::Pty).await;
    assert!(memory == pty, "captures or bench times differ");
}
