//! Numbers and bytes of format 1, written out: what a store holds today is
//! read by them for ever, so none of these lines is ever changed, only added to.

use super::form::{Format1, WireFault, numbered};
use crate::measurement::Estimate;
use crate::scenario::Place;
use crate::scenario::idle::OutputState;
use crate::scenario::inrush::Bank;
use crate::scenario::list::Observation;
use crate::scenario::load::LoadStep;
use crate::scenario::loss::LossCause;
use crate::scenario::reversal::Direction;
use crate::scenario::signal::Loading;
use crate::scenario::take::{Proof, Take};
use crate::scenario::terms::Polarity;
use crate::track::PacketBytes;
use crate::units::{Amperes, Farads, Seconds, Volts};
use crate::waveform::{Capture, Channel, ChannelAccuracy, LogicLine, LogicTrack, Signal};
use std::fmt::Debug;

fn bytes_of(thing: &impl Format1) -> Vec<u8> {
    let mut bytes = Vec::new();
    thing.put(&mut bytes);
    bytes
}

/// Holds a kind of words to their numbers; the next number is nobody's.
fn pinned<T: Format1 + PartialEq + Debug>(numbers: &[(u8, T)]) {
    for (number, variant) in numbers {
        assert_eq!(bytes_of(variant), [*number], "{variant:?}");
        assert_eq!(T::take(&mut [*number].as_slice()).as_ref(), Ok(variant));
    }
    let next = u8::try_from(numbers.len()).expect("a few variants");
    let unknown = T::take(&mut [next].as_slice());
    assert!(
        matches!(unknown, Err(WireFault::Number { number, .. }) if number == u32::from(next)),
        "{unknown:?}"
    );
}

#[test]
fn every_variant_has_the_number_it_always_had() {
    pinned(&[
        (0, Polarity::Positive),
        (1, Polarity::Negative),
        (2, Polarity::Alternating),
    ]);
    pinned(&[(0, Place::Near), (1, Place::Far)]);
    pinned(&[(0, Direction::Forward), (1, Direction::Back)]);
    pinned(&[
        (0, OutputState::Off),
        (1, OutputState::Braked),
        (2, OutputState::On),
    ]);
    pinned(&[
        (0, LossCause::SignalStops),
        (1, LossCause::LineA),
        (2, LossCause::LineB),
    ]);
    pinned(&[
        (0, Loading::None),
        (1, Loading::Resistors),
        (2, Loading::Electronic),
    ]);
    pinned(&[
        (0, Proof::None),
        (1, Proof::Marker),
        (2, Proof::SecondPole),
        (3, Proof::PilotCurrent),
        (4, Proof::Load),
    ]);
    pinned(&[
        (0, Signal::NodeVoltage),
        (1, Signal::OutputCurrent),
        (2, Signal::BoardSupply),
        (3, Signal::GapCurrent),
        (4, Signal::UpstreamVoltage),
    ]);
    pinned(&[
        (0, LogicLine::SignalA),
        (1, LogicLine::SignalB),
        (2, LogicLine::Fault),
        (3, LogicLine::NearMarker),
        (4, LogicLine::FarMarker),
        (5, LogicLine::GapMarker),
        (6, LogicLine::NearPilot),
        (7, LogicLine::FarPilot),
    ]);
}

/// The emptiest observation of each scenario: its number, then no steps.
#[test]
fn every_scenario_has_the_number_it_always_had() {
    let zeroes = |count| vec![0_u8; count];
    let with = |number: u8, rest: Vec<u8>| [vec![number], rest].concat();
    for (observation, bytes) in [
        (
            Observation::Load(crate::scenario::load::Seen { steps: Vec::new() }),
            vec![0, 0],
        ),
        (
            Observation::Overload(crate::scenario::overload::Seen {
                ramp: None,
                steps: Vec::new(),
                hold: None,
            }),
            vec![1, 0, 0, 0],
        ),
        (
            Observation::Short(crate::scenario::short::Seen { pulses: Vec::new() }),
            vec![2, 0],
        ),
        (
            Observation::Reversal(crate::scenario::reversal::Seen {
                closings: Vec::new(),
                upstream_trip: Seconds::ZERO,
                upstream_trip_u: Seconds::ZERO,
                short: None,
            }),
            with(3, zeroes(1 + 8 + 8 + 1)),
        ),
        (
            Observation::Sense(crate::scenario::sense::Seen {
                last_count: 300,
                steps: Vec::new(),
            }),
            vec![4, 0xAC, 0x02, 0],
        ),
        (
            Observation::Signal(crate::scenario::signal::Seen {
                sent: None,
                takes: Vec::new(),
            }),
            vec![5, 0, 0],
        ),
        (
            Observation::Idle(crate::scenario::idle::Seen { steps: Vec::new() }),
            vec![6, 0],
        ),
        (
            Observation::Loss(crate::scenario::loss::Seen { losses: Vec::new() }),
            vec![7, 0],
        ),
        (
            Observation::Inrush(crate::scenario::inrush::Seen {
                bank: Bank {
                    capacitance: Farads::ZERO,
                    drop: Volts::ZERO,
                },
                starts: Vec::new(),
            }),
            with(8, zeroes(8 + 8 + 1)),
        ),
        (
            Observation::Soak(crate::scenario::soak::Seen { soaks: Vec::new() }),
            vec![9, 0],
        ),
        (
            Observation::Supply(crate::scenario::supply::Seen { steps: Vec::new() }),
            vec![10, 0],
        ),
    ] {
        let mut stored = Vec::new();
        observation.put(&mut stored);
        assert_eq!(stored, bytes, "{observation:?}");
        assert_eq!(Observation::take(&mut bytes.as_slice()), Ok(observation));
    }
    assert!(matches!(
        Observation::take(&mut [11, 0].as_slice()),
        Err(WireFault::Number { number: 11, .. })
    ));
}

/// Two declarations of the same words are stored alike: only the list counts.
#[test]
fn the_order_of_a_declaration_says_nothing() {
    #[derive(Clone, Copy, Debug, PartialEq)]
    enum Early {
        Near,
        Far,
        Between,
    }
    #[derive(Clone, Copy, Debug, PartialEq)]
    enum Sorted {
        Between,
        Far,
        Near,
    }
    numbered! { Early, "place" { 0 = Near, 1 = Far, 2 = Between, } }
    numbered! { Sorted, "place" { 0 = Near, 1 = Far, 2 = Between, } }
    for (early, sorted) in [
        (Early::Near, Sorted::Near),
        (Early::Far, Sorted::Far),
        (Early::Between, Sorted::Between),
    ] {
        assert_eq!(bytes_of(&early), bytes_of(&sorted));
        assert_eq!(Sorted::take(&mut bytes_of(&early).as_slice()), Ok(sorted));
    }
}

/// A step with all that a capture may hold, byte by byte. Groups of seven bits,
/// zigzag and order of bytes are those of postcard's published wire format
/// (https://postcard.jamesmunns.com/wire-format), the numbers' bytes those of
/// IEEE 754 binary64: 1.0 is 3FF0000000000000, 0.5 is 3FE0..., -2.0 is C000....
#[test]
fn a_step_is_stored_field_by_field() {
    let one = [0, 0, 0, 0, 0, 0, 0xF0, 0x3F];
    let half = [0, 0, 0, 0, 0, 0, 0xE0, 0x3F];
    let minus_two = [0, 0, 0, 0, 0, 0, 0x00, 0xC0];
    let bytes: Vec<u8> = [
        &[0x02][..],                     // drive: alternating
        &one,                            // current
        &[0x03, b'o', 0xC2, 0xB5],       // label: "oµ"
        &half,                           // period
        &minus_two,                      // first
        &one,                            // time_base_u
        &[0x01],                         // one channel
        &[0x01],                         // signal: output current
        &[0x03, 0x01, 0x80, 0x01],       // codes: three, -1, 64, ...
        &[0xFF, 0xFF, 0x03],             // ... -32768
        &half,                           // scale
        &minus_two,                      // offset
        &[0x01],                         // clipped
        &one,                            // gain_u
        &half,                           // offset_u
        &[0x01],                         // one line
        &[0x06, 0x00, 0x02, 0x01, 0x02], // near pilot, low, changes: two, at 1 and 2
        &half,                           // pulse
        &[0x01],                         // load_protected
        &[0x00],                         // supply_protected
        &[0x01, 0x00],                   // fuse_intact: known, false
        &[0x03],                         // proof: pilot current
    ]
    .concat();
    let step = LoadStep {
        drive: Polarity::Alternating,
        current: Amperes::new(1.0),
        take: Take {
            capture: Capture {
                label: "oµ".into(),
                period: Seconds::new(0.5),
                first: Seconds::new(-2.0),
                time_base_u: 1.0,
                channels: vec![Channel {
                    signal: Signal::OutputCurrent,
                    codes: vec![-1, 64, -32_768],
                    scale: 0.5,
                    offset: -2.0,
                    clipped: true,
                    accuracy: ChannelAccuracy {
                        gain_u: 1.0,
                        offset_u: 0.5,
                    },
                }],
                lines: vec![LogicTrack {
                    line: LogicLine::NearPilot,
                    initial: false,
                    changes: vec![1, 2],
                }],
            },
            pulse: Seconds::new(0.5),
            load_protected: true,
            supply_protected: false,
            fuse_intact: Some(false),
            proof: Proof::PilotCurrent,
        },
    };
    assert_eq!(bytes_of(&step), bytes);
    let mut rest = bytes.as_slice();
    assert_eq!(LoadStep::take(&mut rest), Ok(step));
    assert!(rest.is_empty());
}

/// The bytes of lists of codes are those that postcard itself gives them.
#[test]
fn codes_are_stored_as_postcard_stores_them() {
    let every: Vec<i16> = (i16::MIN..=i16::MAX).collect();
    for codes in [&[][..], &[-1], &every[..257], &every] {
        let stored = bytes_of(&codes.to_vec());
        let known = postcard::to_allocvec(codes).expect("plain data");
        assert!(stored == known, "{} codes", codes.len());
        let mut rest = stored.as_slice();
        assert_eq!(Vec::take(&mut rest).as_deref(), Ok(codes));
        assert!(rest.is_empty());
    }
}

#[test]
fn what_format_1_never_wrote_is_refused() {
    let packet = |text: &str| {
        let stored = bytes_of(&text.to_owned());
        PacketBytes::take(&mut stored.as_slice())
    };
    let idle = PacketBytes::new(&[0xFF, 0x00, 0xFF]).expect("a short packet");
    assert_eq!(packet("FF 00 FF"), Ok(idle));
    for text in ["ff 00 ff", "FF  00", "FF 0", "+F", "FF 100", " "] {
        assert_eq!(packet(text), Err(WireFault::Packet), "{text:?}");
    }
    assert_eq!(packet(&["AA"; 17].join(" ")), Err(WireFault::Packet));
    for number in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let stored = number.to_le_bytes();
        assert_eq!(f64::take(&mut stored.as_slice()), Err(WireFault::NotFinite));
        assert_eq!(
            Amperes::take(&mut stored.as_slice()),
            Err(WireFault::NotFinite)
        );
        let estimate = [1.0_f64.to_le_bytes(), stored].concat();
        let read = Estimate::take(&mut estimate.as_slice());
        assert_eq!(read, Err(WireFault::NotFinite));
    }
    assert!(bool::take(&mut [2].as_slice()).is_err());
    assert!(<Option<bool> as Format1>::take(&mut [2, 0].as_slice()).is_err());
}
