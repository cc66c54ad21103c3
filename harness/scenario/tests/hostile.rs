//! Captures that make no sense: every one gives findings, none a panic, and
//! none a value that could pass.

use crate::measurement::{Estimate, Finding};
use crate::scenario::idle::{IdleStep, OutputState};
use crate::scenario::inrush::{Bank, InrushStart};
use crate::scenario::list::{Observation, evaluate};
use crate::scenario::load::LoadStep;
use crate::scenario::loss::{LossCause, SignalLost};
use crate::scenario::overload::{OverloadRamp, OverloadStep};
use crate::scenario::reversal::{Direction, GapClosing};
use crate::scenario::sense::SenseStep;
use crate::scenario::short::ShortPulse;
use crate::scenario::signal::{Loading, SignalTake, Stream, StreamPacket};
use crate::scenario::soak::{CaseReading, SoakLook, Soaked};
use crate::scenario::supply::SupplyStep;
use crate::scenario::take::{Proof, Take};
use crate::scenario::terms::{Place, Polarity};
use crate::scenario::tests::made::{Shorted, chance, context, pulse};
use crate::units::{Amperes, Farads, Seconds, Volts};
use crate::waveform::{Capture, Channel, ChannelAccuracy, LogicLine, LogicTrack, Signal};

/// All channels and lines with these codes.
fn captured(codes: &[i16], lines: bool, scale: f64) -> Capture {
    let channel = |signal| Channel {
        signal,
        codes: codes.to_vec(),
        scale,
        offset: 0.0,
        clipped: codes.iter().any(|code| code.unsigned_abs() >= 2047),
        accuracy: ChannelAccuracy {
            gain_u: 0.01,
            offset_u: 0.01,
        },
    };
    let tracks = LogicLine::ALL.map(|line| LogicTrack {
        line,
        initial: false,
        changes: (1..codes.len() as u32).step_by(3).collect(),
    });
    Capture {
        label: "hostile".into(),
        period: Seconds::new(2e-6),
        first: Seconds::new(-20e-6),
        time_base_u: 1e-5,
        channels: Signal::ALL.map(channel).into(),
        lines: if lines { tracks.into() } else { Vec::new() },
    }
}

pub(in crate::scenario) fn everything(take: &Take) -> [Observation; 11] {
    let ramp = OverloadRamp {
        from: Amperes::new(3.0),
        to: Amperes::new(6.0),
        duration: Seconds::new(0.0),
        take: take.clone(),
    };
    let step = OverloadStep {
        multiple: 2.0,
        current: Amperes::new(8.0),
        take: take.clone(),
    };
    let load = |drive| LoadStep {
        drive,
        current: Amperes::new(1.0),
        take: take.clone(),
    };
    let closing = |direction| GapClosing {
        direction,
        upstream_voltage: Volts::new(17.0),
        take: take.clone(),
    };
    [
        Observation::Load(crate::scenario::load::Seen {
            steps: vec![
                load(Polarity::Positive),
                load(Polarity::Negative),
                load(Polarity::Alternating),
            ],
        }),
        Observation::Overload(crate::scenario::overload::Seen {
            ramp: Some(ramp.clone()),
            steps: vec![step],
            hold: Some(ramp),
        }),
        Observation::Short(crate::scenario::short::Seen {
            pulses: [Place::Near, Place::Far]
                .map(|place| ShortPulse {
                    place,
                    repeat: 1,
                    before: take.clone(),
                    fast: take.clone(),
                    slow: Some(take.clone()),
                    after: take.clone(),
                })
                .into(),
        }),
        Observation::Reversal(crate::scenario::reversal::Seen {
            closings: vec![closing(Direction::Forward), closing(Direction::Back)],
            upstream_trip: Seconds::new(0.06),
            upstream_trip_u: Seconds::new(0.001),
            short: Some(take.clone()),
        }),
        Observation::Sense(crate::scenario::sense::Seen {
            last_count: 1023,
            steps: [
                Polarity::Positive,
                Polarity::Negative,
                Polarity::Alternating,
            ]
            .into_iter()
            .flat_map(|drive| [f64::NAN, 1.0, 1e300, -40.0].map(|counts| (drive, counts)))
            .map(|(drive, counts)| SenseStep {
                drive,
                current: Amperes::new(1.0),
                counts: vec![counts, 3.0],
                take: take.clone(),
            })
            .collect(),
        }),
        Observation::Signal(crate::scenario::signal::Seen {
            sent: Some(Stream {
                packets: vec![StreamPacket::Idle.bytes()],
                cutouts: true,
                signal_lines: 2,
            }),
            takes: [Loading::None, Loading::Electronic]
                .map(|loading| SignalTake {
                    loading,
                    current: Amperes::new(3.0),
                    take: take.clone(),
                })
                .into(),
        }),
        Observation::Idle(crate::scenario::idle::Seen {
            steps: [OutputState::Off, OutputState::Braked, OutputState::On]
                .into_iter()
                .flat_map(|state| {
                    [Polarity::Positive, Polarity::Alternating].map(|drive| (state, drive))
                })
                .map(|(state, drive)| IdleStep {
                    supply: Volts::new(18.0),
                    state,
                    drive,
                    input_current: None,
                    take: take.clone(),
                })
                .collect(),
        }),
        Observation::Loss(crate::scenario::loss::Seen {
            losses: LossCause::WORDS
                .iter()
                .map(|&(_, cause)| SignalLost {
                    cause,
                    take: take.clone(),
                })
                .collect(),
        }),
        Observation::Inrush(crate::scenario::inrush::Seen {
            bank: Bank {
                capacitance: Farads::new(9.4e-3),
                drop: Volts::new(1.4),
            },
            starts: vec![InrushStart {
                repeat: 1,
                fine: take.clone(),
                coarse: take.clone(),
            }],
        }),
        Observation::Soak(crate::scenario::soak::Seen {
            soaks: [Polarity::Positive, Polarity::Alternating]
                .map(|drive| soaked(drive, take))
                .into(),
        }),
        Observation::Supply(crate::scenario::supply::Seen {
            steps: [0.0, 1.0, 2.0, f64::MAX]
                .map(|amperes| SupplyStep {
                    current: Amperes::new(amperes),
                    resistive: amperes > 1.0,
                    drawn: Some(Estimate {
                        value: amperes,
                        u: -1.0,
                    }),
                    take: take.clone(),
                })
                .into(),
        }),
    ]
}

/// Temperatures that no thermometer shows.
fn soaked(drive: Polarity, take: &Take) -> Soaked {
    let case = |at: f64, value: f64| CaseReading {
        at: Seconds::new(at),
        temperature: Some(Estimate { value, u: -0.1 }),
    };
    let values = [1e300, -1e300, 20.0, 20.0, 1e5, 21.0, 23.0, 22.0, 9e3];
    Soaked {
        drive,
        current: Amperes::new(3.0),
        rest: values.map(|value| case(0.0, value)).into(),
        looks: values
            .into_iter()
            .enumerate()
            .map(|(index, value)| SoakLook {
                case: case(index as f64 - 1.0, value),
                take: take.clone(),
            })
            .collect(),
    }
}

#[test]
fn no_capture_panics() {
    let noise: Vec<i16> = (0..400)
        .map(|k: i64| ((k * 7919 * 104_729) % 4096 - 2048) as i16)
        .collect();
    let step: Vec<i16> = (0..400).map(|k| if k < 200 { 0 } else { 900 }).collect();
    let codes: [&[i16]; 7] = [
        &[],
        &[0],
        &[2047; 3],
        &[2047; 400],
        &[0; 400],
        &noise,
        &step,
    ];
    for codes in codes {
        for (lines, scale) in [(true, 0.02), (false, 0.02), (true, f64::NAN), (true, 0.0)] {
            for proof in [Proof::None, Proof::Marker, Proof::PilotCurrent] {
                let hostile = Take {
                    proof,
                    ..super::made::loose(captured(codes, lines, scale))
                };
                for seen in everything(&hostile) {
                    let metrics = evaluate("x", &context(), &seen);
                    assert!(!metrics.is_empty());
                }
            }
        }
    }
}

/// Captures without a channel: everything is missing, and the bench is to
/// blame.
#[test]
fn no_channel_is_never_a_value() {
    let empty = super::made::loose(Capture {
        channels: Vec::new(),
        ..captured(&[], true, 1.0)
    });
    for seen in everything(&empty) {
        for metric in evaluate("x", &context(), &seen) {
            assert!(
                matches!(metric.finding, Finding::Unknown { .. }),
                "{metric:?}"
            );
        }
    }
}

#[test]
fn an_observation_of_nothing_names_every_metric() {
    let nothing = [
        (
            Observation::Load(crate::scenario::load::Seen { steps: vec![] }),
            5,
        ),
        (
            Observation::Overload(crate::scenario::overload::Seen {
                ramp: None,
                steps: vec![],
                hold: None,
            }),
            3,
        ),
        (
            Observation::Short(crate::scenario::short::Seen { pulses: vec![] }),
            8,
        ),
        (
            Observation::Reversal(crate::scenario::reversal::Seen {
                closings: vec![],
                upstream_trip: Seconds::new(0.06),
                upstream_trip_u: Seconds::ZERO,
                short: None,
            }),
            5,
        ),
        (
            Observation::Signal(crate::scenario::signal::Seen {
                sent: None,
                takes: vec![],
            }),
            15,
        ),
        (
            Observation::Idle(crate::scenario::idle::Seen { steps: vec![] }),
            8,
        ),
        (
            Observation::Loss(crate::scenario::loss::Seen { losses: vec![] }),
            2,
        ),
    ];
    let nothing = nothing.into_iter().chain([(
        Observation::Sense(crate::scenario::sense::Seen {
            last_count: 1023,
            steps: vec![],
        }),
        4,
    )]);
    let bank = Bank {
        capacitance: Farads::ZERO,
        drop: Volts::ZERO,
    };
    let nothing = nothing.chain([
        (
            Observation::Inrush(crate::scenario::inrush::Seen {
                bank,
                starts: vec![],
            }),
            5,
        ),
        (
            Observation::Soak(crate::scenario::soak::Seen { soaks: vec![] }),
            3,
        ),
        (
            Observation::Supply(crate::scenario::supply::Seen { steps: vec![] }),
            4,
        ),
    ]);
    for (seen, count) in nothing {
        let metrics = evaluate("x", &context(), &seen);
        assert_eq!(metrics.len(), count);
        assert!(
            metrics
                .iter()
                .all(|m| matches!(m.finding, Finding::Unknown { .. }))
        );
    }
}

/// A current that leaves the range bounds peak and let-through from below.
#[test]
fn a_clipped_peak_is_a_bound() {
    let mut chance = chance(&[40]);
    let mut made = Shorted::new(2e-3);
    made.current.range = 20.0;
    let fast = made.take(&mut chance);
    let pulses = vec![pulse(1, fast, None, &mut chance)];
    let metrics = evaluate(
        "short",
        &context(),
        &Observation::Short(crate::scenario::short::Seen { pulses }),
    );
    let peak = super::metric(&metrics, "peak_current", "near");
    assert!(
        matches!(&peak.finding, Finding::Above(e) if (e.value - 20.0).abs() < 0.5),
        "{peak:?}"
    );
}
