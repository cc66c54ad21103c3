//! Hundreds of seeded draws of noise, phase and channel errors: the error must
//! stay within the stated U in at least 93 % of them, and U must stay small.

use crate::measurement::Estimate;
use crate::scenario::list::{Observation, evaluate};
use crate::scenario::load::LoadStep;
use crate::scenario::overload::{OverloadRamp, OverloadStep};
use crate::scenario::take::{Proof, Take};
use crate::scenario::terms::Polarity;
use crate::scenario::tests::made::{
    CURRENT, HALF, OFF, Shorted, VOLTAGE, VOLTS, chance, context, pulse, take,
};
use crate::scenario::tests::value;
use crate::seed::Stream;
use crate::units::{Amperes, Seconds};
use crate::waveform::synthetic::{Sampling, ones};
use crate::waveform::{LogicLine, Signal};

const DRAWS: u64 = 300;

struct Tally {
    name: &'static str,
    within: u64,
    draws: u64,
    mean_u: f64,
}

impl Tally {
    fn new(name: &'static str) -> Self {
        Self {
            name,
            within: 0,
            draws: 0,
            mean_u: 0.0,
        }
    }

    fn add(&mut self, found: Estimate, truth: f64) {
        self.draws += 1;
        self.within += u64::from((found.value - truth).abs() <= found.expanded());
        self.mean_u += (found.u - self.mean_u) / self.draws as f64;
    }

    #[track_caller]
    fn check(&self, sane_u: f64) {
        let share = self.within as f64 / self.draws as f64;
        assert!(share >= 0.93, "{}: {share}", self.name);
        assert!(self.mean_u <= sane_u, "{}: u {}", self.name, self.mean_u);
    }
}

/// Integral of the exact squared current by the midpoint rule on a grid forty
/// times finer than the samples.
fn fine_integral(made: &Shorted, until: f64) -> f64 {
    let step = made.sampling.period / 40.0;
    let count = ((until - made.short.inception) / step) as usize;
    let one = |k: usize| {
        made.short
            .current(made.short.inception + (k as f64 + 0.5) * step)
    };
    (0..count).map(|k| one(k) * one(k) * step).sum()
}

#[test]
fn alternating_shorts() {
    let mut time = Tally::new("trip time");
    let mut peak = Tally::new("peak");
    let mut integral = Tally::new("let-through");
    let mut dip = Tally::new("supply dip");
    for draw in 0..DRAWS {
        let mut chance = chance(&[1, draw]);
        let mut made = Shorted::new(1.5e-3 + 0.5e-3 * chance.uniform());
        made.sampling.count = 1400;
        made.opened = 2.4e-3;
        made.short.inception += 2e-6 * chance.uniform();
        made.short.phase = HALF * chance.uniform();
        let fast = made.take(&mut chance);
        let pulses = vec![pulse(1, fast, None, &mut chance)];
        let metrics = evaluate(
            "short",
            &context(),
            &Observation::Short(crate::scenario::short::Seen { pulses }),
        );
        let end = made.short.falls_under(OFF);
        let onset = made.short.reaches(4.0);
        time.add(value(&metrics, "trip_time", "near"), end - onset);
        // The current swings to 25 A within each half-bit, less what the last
        // exponential leaves.
        peak.add(
            value(&metrics, "peak_current", "near"),
            25.0 * (1.0 - 2.0 * libm::exp(-5.8)),
        );
        integral.add(
            value(&metrics, "let_through", "near"),
            fine_integral(&made, end),
        );
        let fallen = made.sag * (made.short.trip - made.short.inception);
        dip.add(value(&metrics, "supply_dip", "near"), fallen);
    }
    time.check(2e-6);
    peak.check(0.4);
    integral.check(0.03);
    dip.check(0.08);
}

/// A load step: held current of `size` from zero to the trip, with sharp edges.
fn step_take(size: f64, trip: f64, shift: f64, chance: &mut Stream) -> Take {
    let sampling = Sampling {
        first: -400e-6,
        period: 2e-6,
        count: 8000,
    };
    let mut capture = sampling.capture();
    let on = |t: f64| t >= shift && t < shift + trip;
    capture.channels = vec![
        sampling.channel(Signal::NodeVoltage, VOLTAGE, chance, |t| {
            if t < shift + trip { VOLTS } else { 0.0 }
        }),
        sampling.channel(Signal::OutputCurrent, CURRENT, chance, |t| {
            if on(t) { size } else { 0.0 }
        }),
    ];
    take(capture, 15e-3, Proof::None)
}

/// A ramp from 3.2 A to 6 A in 280 ms with a board that counts 8 ms from 4 A.
fn ramp_take(trip_level: f64, delay: f64, chance: &mut Stream) -> OverloadRamp {
    let sampling = Sampling {
        first: -10e-3,
        period: 10e-6,
        count: 30_000,
    };
    let phase = HALF * chance.uniform();
    let rate = 10.0;
    let trip = (trip_level - 3.2) / rate + delay;
    let mut capture = sampling.capture();
    capture.channels = vec![
        sampling.channel(Signal::NodeVoltage, VOLTAGE, chance, |t| {
            if t < trip {
                VOLTS * ones(t, phase, HALF)
            } else {
                0.0
            }
        }),
        sampling.channel(Signal::OutputCurrent, CURRENT, chance, |t| {
            let size = if t < 0.0 || t >= trip {
                0.0
            } else {
                3.2 + rate * t
            };
            size * ones(t, phase, HALF)
        }),
    ];
    capture.lines = vec![sampling.line(LogicLine::SignalA, |t| ones(t, phase, HALF) > 0.0)];
    OverloadRamp {
        from: Amperes::new(3.2),
        to: Amperes::new(6.0),
        duration: Seconds::new(0.28),
        take: take(capture, 0.28, Proof::None),
    }
}

#[test]
fn overloads() {
    let mut current = Tally::new("trip current");
    let mut time = Tally::new("trip time at 1.5 x");
    for draw in 0..DRAWS {
        let mut chance = chance(&[2, draw]);
        let delay = 8e-3 + 1e-3 * chance.uniform();
        let level = 4.0 + 0.2 * chance.uniform();
        let shift = 2e-6 * chance.uniform();
        let steps = vec![OverloadStep {
            multiple: 1.5,
            current: Amperes::new(6.0),
            take: step_take(6.0, delay, shift, &mut chance),
        }];
        let ramp = Some(ramp_take(level, delay, &mut chance));
        let seen = Observation::Overload(crate::scenario::overload::Seen {
            ramp,
            steps,
            hold: None,
        });
        let metrics = evaluate("overload", &context(), &seen);
        time.add(value(&metrics, "trip_time", "1.5 x"), delay);
        current.add(value(&metrics, "trip_current", ""), level);
    }
    time.check(1e-6);
    current.check(0.06);
}

#[test]
fn loads() {
    let (open, resistance) = (17.6, 0.21);
    let mut slope = Tally::new("output resistance");
    let mut level = Tally::new("output voltage");
    let mut droop = Tally::new("supply droop");
    for draw in 0..3 * DRAWS {
        let mut chance = chance(&[3, draw]);
        // One channel has one gain and one offset through all steps.
        let gain = (1.0 + 0.005 * chance.normal(), 1.0 + 0.01 * chance.normal());
        let offset = (0.02 * chance.normal(), 0.01 * chance.normal());
        let sampling = Sampling {
            first: 0.0,
            period: 2e-6,
            count: 500,
        };
        let steps = [0.0, 0.75, 1.5, 2.25, 3.0].map(|amperes| {
            let mut capture = sampling.capture();
            let still = |flaws: super::made::Flaws| super::made::Flaws {
                gain_u: 0.0,
                offset_u: 0.0,
                ..flaws
            };
            let volts = open - resistance * amperes;
            let mut channels = vec![
                sampling.channel(Signal::NodeVoltage, still(VOLTAGE), &mut chance, |_| {
                    gain.0 * volts + offset.0
                }),
                sampling.channel(Signal::OutputCurrent, still(CURRENT), &mut chance, |_| {
                    gain.1 * amperes + offset.1
                }),
                sampling.channel(Signal::BoardSupply, still(VOLTAGE), &mut chance, |_| {
                    gain.0 * (18.0 - 0.05 * amperes) + offset.0
                }),
            ];
            channels[0].accuracy.gain_u = 0.005;
            channels[0].accuracy.offset_u = 0.02;
            channels[1].accuracy.gain_u = 0.01;
            channels[1].accuracy.offset_u = 0.01;
            channels[2].accuracy = channels[0].accuracy;
            capture.channels = channels;
            LoadStep {
                drive: Polarity::Positive,
                current: Amperes::new(amperes),
                take: take(capture, 0.0, Proof::None),
            }
        });
        let seen = Observation::Load(crate::scenario::load::Seen {
            steps: steps.into(),
        });
        let metrics = evaluate("load", &context(), &seen);
        slope.add(value(&metrics, "output_resistance", "positive"), resistance);
        level.add(
            value(&metrics, "output_voltage", "positive 1.5 A"),
            open - 1.5 * resistance,
        );
        droop.add(value(&metrics, "supply_droop", ""), 0.15);
    }
    slope.check(0.008);
    level.check(0.15);
    // Both levels carry the whole offset and gain though they share them.
    droop.check(0.2);
}
