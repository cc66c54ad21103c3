//! Invented runs for the tests of record, report and store. Nothing here is
//! used outside tests.

use crate::clock::BenchInstant;
use crate::digest::Digest;
use crate::event::{Abort, Entry, Event, FileFacts, RunStarted, SafetyAction, SafetyOutcome};
use crate::ident::Role;
use crate::judgement::{DecisionRule, Limit, Verdict, decide};
use crate::measurement::{Blame, Estimate, Finding, Metric};
use crate::scenario::load::LoadStep;
use crate::scenario::{Observation, Polarity, Proof, Take, Trouble};
use crate::seed::Seed;
use crate::units::{Amperes, Celsius, Dimension, Seconds};
use crate::waveform::{Capture, Channel, ChannelAccuracy, LogicLine, LogicTrack, Signal};

/// The start of a run.
pub(crate) fn started(run: &str, serial: &str, model: bool) -> RunStarted {
    RunStarted {
        run: run.parse().expect("a plain name"),
        serial: serial.parse().expect("a plain name"),
        lot: Some("autumn".parse().expect("a plain name")),
        plan: "garden booster".into(),
        family: "garden booster".into(),
        revision: "C".into(),
        scenarios: vec!["load".into(), "short".into()],
        files: vec![FileFacts {
            name: "plan.toml".into(),
            digest: Digest::of(b"format = 1\n"),
            text: "format = 1\n".into(),
        }],
        model,
        seed: model.then_some(Seed(7)),
        operator: Some("bench hand".into()),
        ambient: Some(Celsius::new(21.5)),
        ambient_u: None,
        retest: None,
        overdue_calibration: None,
        missing_safety: Vec::new(),
        only: None,
        without: Vec::new(),
        planted: Vec::new(),
        version: "0.1.0".into(),
    }
}

/// Events to entries, numbered from one, a second apart.
pub(crate) fn numbered(events: impl IntoIterator<Item = Event>) -> Vec<Entry> {
    let noon: jiff::Timestamp = "2026-11-25T12:00:00Z".parse().expect("a timestamp");
    (1_u64..)
        .zip(events)
        .map(|(sequence, event)| Entry {
            sequence,
            at: noon + jiff::SignedDuration::from_millis(1000 * sequence as i64),
            bench: BenchInstant::from_picoseconds(250_000_000_000 * sequence as i64),
            event,
        })
        .collect()
}

/// A judged metric; the limit is an upper one.
pub(crate) fn measured(scenario: &str, key: &str, finding: Finding, upper: Option<f64>) -> Event {
    let limit = upper.map(|upper| Limit {
        lower: None,
        upper: Some(upper),
        rule: DecisionRule::GuardedAcceptance { guard: 1.0 },
        source: "data sheet, page 4".into(),
    });
    Event::Measured {
        decision: limit.as_ref().map(|limit| decide(&finding, limit)),
        metric: Metric {
            scenario: scenario.into(),
            key: key.into(),
            at: "near".into(),
            dimension: Dimension::Time,
            finding,
            common: 0.0,
            notes: vec!["contact bounced".into()],
            evidence: None,
        },
        limit,
    }
}

/// How making safe went.
pub(crate) fn made_safe(safe: bool) -> Event {
    Event::MadeSafe {
        outcome: SafetyOutcome {
            actions: vec![SafetyAction {
                role: Role::Supply,
                action: "output off".into(),
                trouble: (!safe).then(|| "no answer within 1 s".into()),
            }],
            safe,
        },
    }
}

/// The end of a run.
pub(crate) fn finished(verdict: Verdict, abort: Option<Abort>) -> Event {
    Event::RunFinished {
        verdict,
        abort,
        measurement: Digest::of(b"measurement"),
    }
}

/// A value with its standard uncertainty.
pub(crate) fn value(value: f64, u: f64) -> Finding {
    Finding::Value(Estimate::new(value, u))
}

/// A whole run: `load` passes, `short` trips in `trip` seconds against a limit
/// of 10 ms.
pub(crate) fn events(started: RunStarted, trip: Finding) -> Vec<Event> {
    let short = measured("short", "trip_time", trip, Some(0.010));
    let Event::Measured {
        decision: Some(decision),
        ..
    } = &short
    else {
        unreachable!("it was given a limit")
    };
    let verdict = decision.verdict;
    let begin = |name: &str| Event::ScenarioStarted {
        scenario: name.into(),
        kind: name.into(),
    };
    let end = |name: &str, verdict| Event::ScenarioFinished {
        scenario: name.into(),
        verdict,
        took: Seconds::new(0.75),
    };
    vec![
        Event::RunStarted(Box::new(started)),
        Event::Identified {
            role: Role::Supply,
            identity: "WORKSHOP,SUPPLY,1,2".into(),
            profile: "scpi supply".into(),
            port: "port-1".into(),
            calibrated: Some("2026-03-01".into()),
            due: None,
            certificate: None,
        },
        begin("load"),
        Event::Step {
            scenario: "load".into(),
            text: "hold 4 A".into(),
            energises: true,
        },
        Event::Observed {
            scenario: "load".into(),
            digest: super::observation_digest(&observation(5)),
        },
        measured("load", "settling", value(0.002, 1e-5), Some(0.010)),
        measured("load", "droop_time", value(0.003, 1e-5), None),
        end("load", Verdict::Pass),
        begin("short"),
        short,
        end("short", verdict),
        made_safe(true),
        finished(verdict, None),
    ]
}

/// A trouble of the bench.
pub(crate) fn trouble(scenario: Option<&str>, what: &str) -> Event {
    Event::Trouble {
        scenario: scenario.map(str::to_owned),
        trouble: Trouble {
            what: what.into(),
            blame: Blame::Bench,
        },
    }
}

/// A small observation of `samples` samples.
pub(crate) fn observation(samples: i16) -> Observation {
    let capture = Capture {
        label: "load, step 1".into(),
        period: Seconds::new(1e-6),
        first: Seconds::new(-1e-3),
        time_base_u: 1e-6,
        channels: vec![Channel {
            signal: Signal::OutputCurrent,
            codes: (0..samples).map(|n| n.wrapping_mul(997)).collect(),
            scale: 1e-3,
            offset: -0.25,
            clipped: false,
            accuracy: ChannelAccuracy {
                gain_u: 1e-3,
                offset_u: 2e-3,
            },
        }],
        lines: vec![LogicTrack::from_levels(
            LogicLine::Fault,
            (0..samples).map(|n| n > samples / 2),
        )],
    };
    Observation::Load(crate::scenario::load::Seen {
        steps: vec![LoadStep {
            drive: Polarity::Alternating,
            current: Amperes::new(4.0),
            take: Take {
                capture,
                pulse: Seconds::new(0.5),
                load_protected: false,
                supply_protected: false,
                fuse_intact: Some(true),
                proof: Proof::PilotCurrent,
            },
        }],
    })
}
