//! Takes and observations made from closed forms. No truth is taken from the
//! evaluation.

use crate::scenario::context::Context;
use crate::scenario::short::ShortPulse;
use crate::scenario::take::{Proof, Take};
use crate::scenario::terms::Place;
use crate::seed::{Seed, Stream};
use crate::units::{Amperes, Seconds, Volts};
pub(in crate::scenario) use crate::waveform::synthetic::Flaws;
use crate::waveform::synthetic::{AlternatingShort, Sampling, ones};
use crate::waveform::{Capture, LogicLine, Signal};

pub(in crate::scenario) const HALF: f64 = 58e-6;
pub(in crate::scenario) const VOLTS: f64 = 18.0;

/// 3 A rated, 4 A trip, 18 V: the invented garden-railway booster.
pub(in crate::scenario) fn context() -> Context {
    Context::new(Amperes::new(3.0), Amperes::new(4.0), Volts::new(VOLTS))
}

/// The off level of that board: 5 % of the rated current.
pub(in crate::scenario) const OFF: f64 = 0.15;

pub(in crate::scenario) fn chance(key: &[u64]) -> Stream {
    Seed(20_261).stream(key)
}

pub(in crate::scenario) const CURRENT: Flaws = Flaws {
    range: 50.0,
    noise: 0.02,
    gain_u: 0.01,
    offset_u: 0.01,
};

pub(in crate::scenario) const VOLTAGE: Flaws = Flaws {
    range: 40.0,
    noise: 0.02,
    gain_u: 0.005,
    offset_u: 0.02,
};

pub(in crate::scenario) fn take(capture: Capture, pulse: f64, proof: Proof) -> Take {
    Take {
        pulse: Seconds::new(pulse),
        proof,
        ..loose(capture.checked().expect("a sound capture"))
    }
}

/// A take of any capture, sound or not.
pub(in crate::scenario) fn loose(capture: Capture) -> Take {
    Take {
        capture,
        pulse: Seconds::new(1e-3),
        load_protected: false,
        supply_protected: false,
        fuse_intact: Some(true),
        proof: Proof::None,
    }
}

/// A short seen by all channels: alternating current, pilot and marker.
pub(in crate::scenario) struct Shorted {
    pub(in crate::scenario) short: AlternatingShort,
    pub(in crate::scenario) sampling: Sampling,
    pub(in crate::scenario) opened: f64,
    pub(in crate::scenario) current: Flaws,
    /// The supply rail falls from `VOLTS` at this rate, in V/s, while the short
    /// draws current.
    pub(in crate::scenario) sag: f64,
}

impl Shorted {
    /// A near short that trips `trip` after its inception.
    pub(in crate::scenario) fn new(trip: f64) -> Self {
        Self {
            short: AlternatingShort {
                prospective: 25.0,
                tau: 10e-6,
                inception: 3e-6,
                phase: 21e-6,
                half: HALF,
                trip: 3e-6 + trip,
                decay: 3e-6,
            },
            sampling: Sampling {
                first: -300e-6,
                period: 2e-6,
                count: 6000,
            },
            opened: 10e-3,
            current: CURRENT,
            sag: 400.0,
        }
    }

    pub(in crate::scenario) fn take(&self, chance: &mut Stream) -> Take {
        let (short, sampling) = (self.short, self.sampling);
        let alive = |t: f64| t < short.trip;
        let mut capture = sampling.capture();
        capture.channels = vec![
            sampling.channel(Signal::NodeVoltage, VOLTAGE, chance, |t| {
                let level = if t < short.inception { VOLTS } else { 1.5 };
                if alive(t) {
                    level * ones(t, short.phase, HALF)
                } else {
                    0.0
                }
            }),
            sampling.channel(Signal::OutputCurrent, self.current, chance, |t| {
                if t < self.opened {
                    short.current(t)
                } else {
                    0.0
                }
            }),
            sampling.channel(Signal::BoardSupply, VOLTAGE, chance, |t| {
                VOLTS - self.sag * (t.min(short.trip) - short.inception).max(0.0)
            }),
        ];
        let closed = |t: f64| t >= short.inception && t < self.opened;
        capture.lines = vec![
            sampling.line(LogicLine::SignalA, |t| ones(t, short.phase, HALF) > 0.0),
            sampling.line(LogicLine::NearMarker, closed),
            sampling.line(LogicLine::NearPilot, closed),
        ];
        take(capture, self.opened, Proof::PilotCurrent)
    }
}

/// An unloaded alternating output of `level` volts, seen by a channel without
/// errors of its own, as two takes of one channel share them.
pub(in crate::scenario) fn unloaded(level: f64, chance: &mut Stream) -> Take {
    let sampling = Sampling {
        first: -100e-6,
        period: 1e-6,
        count: 1160,
    };
    let mut capture = sampling.capture();
    let same = Flaws {
        gain_u: 0.0,
        offset_u: 0.0,
        ..VOLTAGE
    };
    capture.channels = vec![sampling.channel(Signal::NodeVoltage, same, chance, |t| {
        level * ones(t, 0.0, HALF)
    })];
    take(capture, 0.0, Proof::None)
}

pub(in crate::scenario) fn pulse(
    repeat: u32,
    fast: Take,
    slow: Option<Take>,
    chance: &mut Stream,
) -> ShortPulse {
    ShortPulse {
        place: Place::Near,
        repeat,
        before: unloaded(VOLTS, chance),
        fast,
        slow,
        after: unloaded(VOLTS, chance),
    }
}

/// A long short with retries: bursts of 8 ms every `interval`, the first at
/// zero; opened at `opened`; the output is back `recovery` later.
pub(in crate::scenario) fn retrying(
    interval: f64,
    opened: f64,
    recovery: f64,
    chance: &mut Stream,
) -> Take {
    let sampling = Sampling {
        first: -20e-3,
        period: 20e-6,
        count: 125_000,
    };
    let bursting = |t: f64| t >= 0.0 && t < opened && t.rem_euclid(interval) < 8e-3;
    let mut capture = sampling.capture();
    capture.channels = vec![
        sampling.channel(Signal::NodeVoltage, VOLTAGE, chance, |t| {
            let level = if t < 0.0 || t >= opened + recovery {
                VOLTS
            } else if bursting(t) {
                1.0
            } else {
                0.0
            };
            level * ones(t, 0.0, HALF)
        }),
        sampling.channel(Signal::OutputCurrent, CURRENT, chance, |t| {
            if bursting(t) {
                25.0 * ones(t, 0.0, HALF)
            } else {
                0.0
            }
        }),
    ];
    let closed = |t: f64| t >= 0.0 && t < opened;
    capture.lines = vec![
        sampling.line(LogicLine::NearMarker, closed),
        sampling.line(LogicLine::NearPilot, closed),
    ];
    take(capture, opened, Proof::PilotCurrent)
}
