//! Observations as an earlier version stored them: bytes kept as files, each
//! read back and compared with what is written out here. The files are never
//! written by a test; bytes that a store holds today must be read for ever.

use crate::measurement::Estimate;
use crate::record::{from_bytes, observation_bytes};
use crate::scenario::idle::{IdleStep, OutputState};
use crate::scenario::inrush::{Bank, InrushStart};
use crate::scenario::load::LoadStep;
use crate::scenario::loss::{LossCause, SignalLost};
use crate::scenario::overload::{OverloadRamp, OverloadStep};
use crate::scenario::reversal::{Direction, GapClosing};
use crate::scenario::sense::SenseStep;
use crate::scenario::short::ShortPulse;
use crate::scenario::signal::{Loading, SignalTake, Stream};
use crate::scenario::soak::{CaseReading, SoakLook, Soaked};
use crate::scenario::supply::SupplyStep;
use crate::scenario::{Observation, Place, Polarity, Proof, Take};
use crate::track::PacketBytes;
use crate::units::{Amperes, Farads, Seconds, Volts};
use crate::waveform::{Capture, Channel, ChannelAccuracy, LogicLine, LogicTrack, Signal};

/// The files with the observations that they hold.
fn kept() -> [(&'static str, &'static [u8], Observation); 15] {
    macro_rules! kept {
        ($($name:literal: $seen:expr,)*) => {
            [$((
                $name,
                include_bytes!(concat!("../../../fixtures/observations/", $name)).as_slice(),
                $seen,
            ),)*]
        };
    }
    kept! {
        "idle.bin": idle(),
        "load.bin": load(),
        "sense.bin": sense(),
        "overload.bin": overload(),
        "overload-cut-short.bin": overload_cut_short(),
        "short.bin": short(),
        "reversal.bin": reversal(),
        "reversal-alone.bin": reversal_alone(),
        "signal.bin": signal(),
        "signal-not-sent.bin": signal_not_sent(),
        "loss.bin": loss(),
        "inrush.bin": inrush(),
        "soak.bin": soak(),
        "supply.bin": supply(),
        "nothing-seen.bin": Observation::Load(crate::scenario::load::Seen { steps: Vec::new() }),
    }
}

#[test]
fn bytes_of_an_earlier_version_say_what_they_said() {
    for (name, bytes, seen) in kept() {
        assert_eq!(from_bytes(bytes), Ok(seen), "{name}");
    }
}

#[test]
fn what_was_seen_is_stored_as_the_same_bytes() {
    for (name, bytes, seen) in kept() {
        assert_eq!(observation_bytes(&seen), bytes, "{name}");
    }
}

/// A take of one sample on one channel.
fn brief(label: &str, code: i16, proof: Proof) -> Take {
    Take {
        capture: Capture {
            label: label.into(),
            period: Seconds::new(2e-6),
            first: Seconds::new(0.0),
            time_base_u: 2.5e-5,
            channels: vec![Channel {
                signal: Signal::NodeVoltage,
                codes: vec![code],
                scale: 0.0125,
                offset: 0.5,
                clipped: false,
                accuracy: ChannelAccuracy {
                    gain_u: 0.005,
                    offset_u: 0.04,
                },
            }],
            lines: Vec::new(),
        },
        pulse: Seconds::new(0.05),
        load_protected: false,
        supply_protected: false,
        fuse_intact: None,
        proof,
    }
}

fn channel(signal: Signal, codes: [i16; 5], clipped: bool) -> Channel {
    Channel {
        signal,
        codes: codes.to_vec(),
        scale: 0.001953125,
        offset: -0.75,
        clipped,
        accuracy: ChannelAccuracy {
            gain_u: 0.0029,
            offset_u: 0.012,
        },
    }
}

fn line(line: LogicLine, initial: bool, changes: &[u32]) -> LogicTrack {
    LogicTrack {
        line,
        initial,
        changes: changes.to_vec(),
    }
}

/// Every signal and every line, codes to both ends of their range.
fn wide() -> Take {
    Take {
        capture: Capture {
            label: "positive at 3.000 A, held 10.00 ms · µ".into(),
            period: Seconds::new(1e-6),
            first: Seconds::new(-2e-6),
            time_base_u: 5e-5,
            channels: vec![
                channel(Signal::NodeVoltage, [0, 1, -1, 2, -2], false),
                channel(Signal::OutputCurrent, [63, -64, 64, -65, 127], false),
                channel(
                    Signal::BoardSupply,
                    [8191, -8192, 8192, -8193, 12_345],
                    false,
                ),
                channel(
                    Signal::GapCurrent,
                    [32_767, -32_768, 32_766, -32_767, 0],
                    true,
                ),
                channel(Signal::UpstreamVoltage, [100, 200, 300, 400, 500], false),
            ],
            lines: vec![
                line(LogicLine::SignalA, true, &[1, 2, 3, 4]),
                line(LogicLine::SignalB, false, &[1, 3]),
                line(LogicLine::Fault, true, &[]),
                line(LogicLine::NearMarker, false, &[2]),
                line(LogicLine::FarMarker, false, &[]),
                line(LogicLine::GapMarker, true, &[4]),
                line(LogicLine::NearPilot, false, &[3]),
                line(LogicLine::FarPilot, true, &[1]),
            ],
        },
        pulse: Seconds::new(0.01),
        load_protected: true,
        supply_protected: true,
        fuse_intact: Some(true),
        proof: Proof::None,
    }
}

fn idle() -> Observation {
    let step = |supply, state, drive, input_current, code| IdleStep {
        supply: Volts::new(supply),
        state,
        drive,
        input_current,
        take: brief("output", code, Proof::None),
    };
    let current = Some(Estimate {
        value: 0.041,
        u: 0.0029,
    });
    Observation::Idle(crate::scenario::idle::Seen {
        steps: vec![
            step(12.0, OutputState::Off, Polarity::Alternating, current, 6),
            step(18.0, OutputState::Braked, Polarity::Positive, None, -7),
            step(18.0, OutputState::On, Polarity::Negative, current, 1440),
        ],
    })
}

fn load() -> Observation {
    Observation::Load(crate::scenario::load::Seen {
        steps: vec![
            LoadStep {
                drive: Polarity::Positive,
                current: Amperes::new(3.0),
                take: wide(),
            },
            LoadStep {
                drive: Polarity::Negative,
                current: Amperes::new(1.5),
                take: brief("negative", -1440, Proof::Marker),
            },
            LoadStep {
                drive: Polarity::Alternating,
                current: Amperes::new(0.0),
                take: brief("alternating", 1440, Proof::SecondPole),
            },
        ],
    })
}

fn sense() -> Observation {
    Observation::Sense(crate::scenario::sense::Seen {
        last_count: 1023,
        steps: vec![
            SenseStep {
                drive: Polarity::Positive,
                current: Amperes::new(0.75),
                counts: vec![61.0, 62.0, 61.5],
                take: brief("the board asked", 60, Proof::None),
            },
            SenseStep {
                drive: Polarity::Negative,
                current: Amperes::new(3.0),
                counts: Vec::new(),
                take: brief("the board asked", -240, Proof::None),
            },
        ],
    })
}

fn overload() -> Observation {
    Observation::Overload(crate::scenario::overload::Seen {
        ramp: Some(OverloadRamp {
            from: Amperes::new(3.0),
            to: Amperes::new(6.0),
            duration: Seconds::new(2.0),
            take: brief("ramp", 320, Proof::None),
        }),
        steps: vec![
            OverloadStep {
                multiple: 1.5,
                current: Amperes::new(6.0),
                take: brief("step to 1.5", 480, Proof::None),
            },
            OverloadStep {
                multiple: 3.0,
                current: Amperes::new(12.0),
                take: brief("step to 3", 960, Proof::None),
            },
        ],
        hold: Some(OverloadRamp {
            from: Amperes::new(3.3),
            to: Amperes::new(3.3),
            duration: Seconds::new(3.0),
            take: brief("hold", 264, Proof::None),
        }),
    })
}

fn overload_cut_short() -> Observation {
    Observation::Overload(crate::scenario::overload::Seen {
        ramp: None,
        steps: Vec::new(),
        hold: None,
    })
}

fn short() -> Observation {
    let mut blown = brief("short far", 3000, Proof::PilotCurrent);
    blown.fuse_intact = Some(false);
    let mut whole = brief("short near", 3100, Proof::PilotCurrent);
    whole.fuse_intact = Some(true);
    Observation::Short(crate::scenario::short::Seen {
        pulses: vec![
            ShortPulse {
                place: Place::Near,
                repeat: 1,
                before: brief("before the short", 1440, Proof::None),
                fast: whole.clone(),
                slow: Some(whole),
                after: brief("after the short", 1439, Proof::None),
            },
            ShortPulse {
                place: Place::Far,
                repeat: 300,
                before: brief("before the short", 1441, Proof::None),
                fast: blown,
                slow: None,
                after: brief("after the short", 0, Proof::None),
            },
        ],
    })
}

fn reversal() -> Observation {
    Observation::Reversal(crate::scenario::reversal::Seen {
        closings: vec![
            GapClosing {
                direction: Direction::Forward,
                upstream_voltage: Volts::new(17.9),
                take: brief("gap crossed", 1432, Proof::Marker),
            },
            GapClosing {
                direction: Direction::Back,
                upstream_voltage: Volts::new(18.1),
                take: brief("gap straight", -1432, Proof::SecondPole),
            },
        ],
        upstream_trip: Seconds::new(0.04),
        upstream_trip_u: Seconds::new(0.0005),
        short: Some(brief("short near", 3000, Proof::PilotCurrent)),
    })
}

fn reversal_alone() -> Observation {
    Observation::Reversal(crate::scenario::reversal::Seen {
        closings: Vec::new(),
        upstream_trip: Seconds::new(0.03),
        upstream_trip_u: Seconds::new(0.0),
        short: None,
    })
}

fn signal() -> Observation {
    let packet = |bytes: &[u8]| PacketBytes::new(bytes).expect("it is short enough");
    let taken = |loading, current, code| SignalTake {
        loading,
        current: Amperes::new(current),
        take: brief("packet stream", code, Proof::None),
    };
    Observation::Signal(crate::scenario::signal::Seen {
        sent: Some(Stream {
            packets: vec![
                packet(&[0xFF, 0x00, 0xFF]),
                packet(&[0x37, 0x74, 0x43]),
                packet(&[]),
            ],
            cutouts: true,
            signal_lines: 2,
        }),
        takes: vec![
            taken(Loading::None, 0.0, 1440),
            taken(Loading::Resistors, 3.0, 1400),
            taken(Loading::Electronic, 2.5, 1410),
        ],
    })
}

fn signal_not_sent() -> Observation {
    Observation::Signal(crate::scenario::signal::Seen {
        sent: None,
        takes: Vec::new(),
    })
}

fn loss() -> Observation {
    let lost = |cause, code| SignalLost {
        cause,
        take: brief("output watched", code, Proof::None),
    };
    Observation::Loss(crate::scenario::loss::Seen {
        losses: vec![
            lost(LossCause::SignalStops, 1440),
            lost(LossCause::LineA, 12),
            lost(LossCause::LineB, -12),
        ],
    })
}

fn inrush() -> Observation {
    Observation::Inrush(crate::scenario::inrush::Seen {
        bank: Bank {
            capacitance: Farads::new(0.0088),
            drop: Volts::new(1.4),
        },
        starts: vec![InrushStart {
            repeat: 1,
            fine: brief("watched closely", 1200, Proof::Marker),
            coarse: brief("watched for retries", 1300, Proof::Marker),
        }],
    })
}

fn soak() -> Observation {
    let case = |at, temperature| CaseReading {
        at: Seconds::new(at),
        temperature,
    };
    let reading = |value| Some(Estimate { value, u: 0.25 });
    Observation::Soak(crate::scenario::soak::Seen {
        soaks: vec![Soaked {
            drive: Polarity::Alternating,
            current: Amperes::new(3.0),
            rest: vec![case(-30.0, reading(24.5)), case(-15.0, None)],
            looks: vec![
                SoakLook {
                    case: case(15.0, reading(26.25)),
                    take: brief("soak", 1390, Proof::None),
                },
                SoakLook {
                    case: case(30.0, None),
                    take: brief("soak", 1389, Proof::None),
                },
            ],
        }],
    })
}

fn supply() -> Observation {
    Observation::Supply(crate::scenario::supply::Seen {
        steps: vec![
            SupplyStep {
                current: Amperes::new(0.0),
                resistive: false,
                drawn: None,
                take: brief("bare", 1440, Proof::None),
            },
            SupplyStep {
                current: Amperes::new(4.2),
                resistive: true,
                drawn: Some(Estimate {
                    value: 4.197,
                    u: 0.004,
                }),
                take: brief("the supply at 4.200 A", 1423, Proof::None),
            },
        ],
    })
}
