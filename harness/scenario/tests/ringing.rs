//! Levels of an alternating output that rings after each edge, sampled at every
//! phase. It knows no board.

use super::made::{Flaws, HALF, VOLTAGE, VOLTS, chance};
use crate::scenario::levels::{level_samples, magnitude};
use crate::scenario::terms::Polarity;
use crate::waveform::synthetic::Sampling;
use crate::waveform::{Signal, Trace};

/// A square wave of `VOLTS` whose edges ring by 3 V at 700 kHz and settle with 6 us,
/// as a snubbed bridge does (invented figures); half-bits are 29 samples each.
fn ringing(t: f64) -> f64 {
    let turn = libm::floor(t / HALF);
    let since = t - turn * HALF;
    let sign = if turn % 2.0 == 0.0 { 1.0 } else { -1.0 };
    let ring = 3.0 * libm::exp(-since / 6e-6);
    let angle = 2.0 * std::f64::consts::PI * 700e3 * since;
    sign * (VOLTS + ring * libm::cos(angle))
}

#[test]
fn no_phase_of_the_sampling_moves_a_level_that_rings() {
    let flaws = Flaws {
        noise: 0.02,
        gain_u: 0.0,
        offset_u: 0.0,
        ..VOLTAGE
    };
    for phase in 0_u32..40 {
        let sampling = Sampling {
            first: f64::from(phase) * 50e-9,
            period: 2e-6,
            count: 10_000,
        };
        let mut capture = sampling.capture();
        let mut noise = chance(&[51, u64::from(phase)]);
        let channel = sampling.channel(Signal::NodeVoltage, flaws, &mut noise, ringing);
        capture.channels.push(channel);
        let trace = Trace::of(&capture, Signal::NodeVoltage).expect("the channel");
        let samples = level_samples(&trace, &trace, Polarity::Alternating, 4e-6);
        let level = magnitude(&trace, &samples).expect("a level");
        // Closed form: after half of a half-bit 3 V exp(-29/6) = 24 mV of ringing
        // are left and die away; three deviations of the mean beside them.
        let room = 1e-3 + 3.0 * level.own_u;
        let error = level.all.value - VOLTS;
        assert!(
            error.abs() < room,
            "{phase}: {error} V, {} kept",
            samples.len()
        );
    }
}
