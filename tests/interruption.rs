//! Trip time, peak, let-through, retry interval and reversal time in noise: of
//! captures that a Python program makes, whose truth is analytic and which
//! shares no code with this one. It also judges what comes out.
//!
//! `BUFFERSTOP_INTERRUPTION_CAPTURES=2000` makes so many of each kind, and
//! `BUFFERSTOP_INTERRUPTION_SEED` other ones.

use crate::python::{interpreter, script};
use bufferstop::measurement::{Finding, Landmark, Metric};
use bufferstop::scenario::reversal::{Direction, GapClosing};
use bufferstop::scenario::short::ShortPulse;
use bufferstop::scenario::{Context, Observation, Place, Proof, Take, evaluate};
use bufferstop::units::{Amperes, Seconds, Volts};
use bufferstop::waveform::{Capture, Channel, ChannelAccuracy, LogicLine, LogicTrack, Signal};
use serde_json::{Map, Value, json};
use std::path::Path;
use std::process::Command;

/// The longest half-bit that is made.
const HALF: f64 = 100e-6;

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

/// The codes of a .npy file of 16-bit integers, version 1.0 of the format.
fn codes(folder: &Path, case: &Value, name: &str) -> Vec<i16> {
    let file = format!("{}-{name}.npy", case["number"]);
    let bytes = std::fs::read(folder.join(file)).expect("the codes");
    let header = usize::from(u16::from_le_bytes([bytes[8], bytes[9]]));
    let codes = bytes[10 + header..].chunks_exact(2);
    codes
        .map(|code| i16::from_le_bytes([code[0], code[1]]))
        .collect()
}

fn channel(signal: Signal, codes: Vec<i16>, scale: f64) -> Channel {
    Channel {
        signal,
        codes,
        scale,
        offset: 0.0,
        clipped: false,
        accuracy: ChannelAccuracy {
            gain_u: 0.0,
            offset_u: 0.0,
        },
    }
}

fn take(case: &Value, channels: Vec<Channel>, lines: Vec<LogicTrack>) -> Take {
    let seconds = |key: &str| Seconds::new(number(&case[key]));
    let capture = Capture {
        label: "made".into(),
        period: seconds("period"),
        first: seconds("first"),
        time_base_u: 0.0,
        channels,
        lines,
    };
    Take {
        capture: capture.checked().expect("a sound capture"),
        pulse: Seconds::new(1.0),
        load_protected: false,
        supply_protected: false,
        fuse_intact: Some(true),
        proof: Proof::PilotCurrent,
    }
}

fn context(volts: f64) -> Context {
    let plain = Context::new(Amperes::new(3.0), Amperes::new(4.0), Volts::new(volts));
    Context {
        // What is drawn may have far larger currents than 3 A has noise.
        half_bit: Seconds::new(HALF),
        ..plain
    }
}

/// A short that its pilot line shows closed to the end, but where it bounces.
fn shorted(folder: &Path, case: &Value) -> Take {
    let current = codes(folder, case, "current");
    let time = |index: usize| number(&case["first"]) + index as f64 * number(&case["period"]);
    let bounces = case["apart"].as_array().expect("pairs");
    let apart = |at: f64| {
        let mut pairs = bounces.iter();
        pairs.any(|pair| (number(&pair[0])..number(&pair[1])).contains(&at))
    };
    let closed = (0..current.len()).map(time);
    let closed = closed.map(|at| at >= number(&case["closed"]) && !apart(at));
    let line = LogicTrack::from_levels(LogicLine::NearPilot, closed);
    let channel = channel(Signal::OutputCurrent, current, number(&case["step"]));
    take(case, vec![channel], vec![line])
}

fn places(list: &Value) -> Vec<u32> {
    let list = list.as_array().expect("a list");
    let place = |value: &Value| value.as_u64().and_then(|place| u32::try_from(place).ok());
    list.iter()
        .map(|value| place(value).expect("a place"))
        .collect()
}

fn closing(folder: &Path, case: &Value) -> Take {
    let channels = vec![
        channel(
            Signal::NodeVoltage,
            codes(folder, case, "node"),
            number(&case["node_step"]),
        ),
        channel(
            Signal::GapCurrent,
            codes(folder, case, "current"),
            number(&case["step"]),
        ),
    ];
    let line = |line, initial, changes| LogicTrack {
        line,
        initial,
        changes,
    };
    let begins = case["signal_first"].as_bool().expect("a level");
    let lines = vec![
        line(LogicLine::SignalA, begins, places(&case["signal"])),
        line(LogicLine::GapMarker, false, places(&case["gap"])),
    ];
    take(case, channels, lines)
}

fn told(finding: &Finding) -> Value {
    match finding {
        Finding::Value(e) => json!({"is": "value", "value": e.value, "u": e.u}),
        Finding::Above(e) => json!({"is": "above", "value": e.value, "u": e.u}),
        Finding::Below(e) => json!({"is": "below", "value": e.value, "u": e.u}),
        Finding::Unknown { .. } => Value::Null,
    }
}

/// What the evaluation finds in a case.
fn found(folder: &Path, case: &Value) -> Value {
    let kind = case["kind"].as_str().expect("a kind");
    let mut found = Map::new();
    let mut add = |metrics: &[Metric], key: &str, name: &str| {
        let metric = metrics.iter().find(|metric| metric.key == key);
        found.insert(name.into(), told(&metric.expect("every key").finding));
    };
    if kind == "reversal" {
        let volts = number(&case["volts"]);
        let seen = Observation::Reversal(bufferstop::scenario::reversal::Seen {
            closings: vec![GapClosing {
                direction: Direction::Forward,
                upstream_voltage: Volts::new(volts),
                take: closing(folder, case),
            }],
            upstream_trip: Seconds::new(0.06),
            upstream_trip_u: Seconds::ZERO,
            short: None,
        });
        let metrics = evaluate("reversal", &context(volts), &seen);
        add(&metrics, "reversal_time", "reversal time");
        return json!({ "found": found });
    }
    let take = shorted(folder, case);
    let period = number(&case["period"]);
    let pulse = ShortPulse {
        place: Place::Near,
        repeat: 1,
        before: take.clone(),
        slow: (kind == "retry").then(|| take.clone()),
        after: take.clone(),
        fast: take,
    };
    let seen = Observation::Short(bufferstop::scenario::short::Seen {
        pulses: vec![pulse],
    });
    let metrics = evaluate("short", &context(18.0), &seen);
    if kind == "retry" {
        add(&metrics, "retry_interval", "retry interval");
    } else {
        add(&metrics, "trip_time", "trip time");
        add(&metrics, "peak_current", "peak");
        add(&metrics, "let_through", "let-through");
    }
    let trip = metrics.iter().find(|metric| metric.key == "trip_time");
    let evidence = trip.and_then(|metric| metric.evidence.as_ref());
    let off = evidence.and_then(|evidence| evidence.mark(Landmark::OffLevel));
    json!({ "found": found, "off_level": off.map(|off| off.value), "quiet": HALF + period })
}

#[test]
fn every_u_holds_in_noise() {
    let Some(python) = interpreter() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let setting =
        |name: &str, ordinary: &str| std::env::var(name).unwrap_or_else(|_| ordinary.to_owned());
    let count = setting("BUFFERSTOP_INTERRUPTION_CAPTURES", "200");
    let seed = setting("BUFFERSTOP_INTERRUPTION_SEED", "1");
    let run = |words: &[&str]| {
        let done = Command::new(&python)
            .arg(script("interruption_check.py"))
            .arg(words[0])
            .arg(folder.path())
            .args(&words[1..])
            .output()
            .expect("Python starts");
        let said = String::from_utf8_lossy(&done.stdout).into_owned();
        let complained = String::from_utf8_lossy(&done.stderr).into_owned();
        (done.status.success(), said + &complained)
    };
    let (made, said) = run(&["generate", &seed, &count]);
    assert!(made, "{said}");
    let cases = std::fs::read_to_string(folder.path().join("cases.json")).expect("cases");
    let cases: Vec<Value> = serde_json::from_str(&cases).expect("JSON");
    let results = cases.iter().map(|case| found(folder.path(), case));
    let results = serde_json::to_string(&results.collect::<Vec<_>>()).expect("JSON");
    std::fs::write(folder.path().join("results.json"), results).expect("room");
    let (held, said) = run(&["judge"]);
    println!("{said}");
    assert!(held, "{said}");
}
