//! What is told of samples that are none and of ends of the range. It reads no
//! file.

use crate::capture_file::{NpyType, SampleFacts, Samples, Survey};
use crate::waveform::crossing::Sample;

fn surveyed(samples: &[f64]) -> SampleFacts {
    let mut survey = Survey::new(0.0, 1e-6);
    for piece in samples.chunks(97) {
        survey.push(Samples::F64(piece), f64::extremes(piece));
    }
    survey.finish(samples.len() as f64 * 1e-6)
}

/// Noise of a few hundredths of a volt by a linear congruence (constants of
/// Numerical Recipes, from memory).
fn noisy(level: impl Fn(usize) -> f64, most: f64) -> Vec<f64> {
    let mut state = 1_u32;
    let mut sample = |n: usize| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let noise = f64::from(state >> 8) / f64::from(1 << 24) - 0.5;
        // Steps of 10 mV.
        let value = (level(n) + 0.2 * noise) * 100.0;
        (value.round() / 100.0).clamp(-most, most)
    };
    (0..20_000).map(&mut sample).collect()
}

#[test]
fn gaps_and_clipped_ends_are_counted_and_placed() {
    let square = |n: usize| {
        if (n / 58).is_multiple_of(2) {
            15.0
        } else {
            -15.0
        }
    };
    let sound = surveyed(&noisy(square, 20.0));
    assert!(
        sound.missing.is_empty() && sound.high.is_none() && sound.low.is_none(),
        "{sound:?}"
    );
    // Cut off in the middle of the noise, at a voltage that is no last code.
    let clipped = surveyed(&noisy(square, 15.0));
    let high = clipped.high.expect("cut off");
    assert!(
        (high.level - 15.0).abs() < 1e-9 && !high.last_code,
        "{high:?}"
    );
    assert!((clipped.low.expect("cut off").level + 15.0).abs() < 1e-9);
    // At rest without noise nothing says that it was cut off.
    let ideal: Vec<f64> = (0..20_000).map(square).collect();
    assert!(surveyed(&ideal).high.is_none());
    let mut gaps = noisy(square, 20.0);
    gaps[100..300].fill(f64::NAN);
    gaps[400] = f64::INFINITY;
    gaps[19_990..].fill(f64::NAN);
    let facts = surveyed(&gaps);
    assert_eq!((facts.missing.samples, facts.missing.count), (210, 2));
    let first = facts.missing.first[0];
    assert!((first.from - 100e-6).abs() < 1e-12 && (first.to - 300e-6).abs() < 1e-12);
    assert_eq!((facts.infinite.samples, facts.infinite.count), (1, 1));
    // The last code of eight bits.
    let codes: Vec<i8> = (0..5000)
        .map(|n| if n / 58 % 2 == 0 { 127 } else { -90 })
        .collect();
    let mut survey = Survey::new(0.0, 1e-6).coded(NpyType::I8.codes());
    for piece in codes.chunks(64) {
        survey.push(Samples::I8(piece), i8::extremes(piece));
    }
    let facts = survey.finish(5e-3);
    let high = facts.high.expect("the last code");
    assert!(high.last_code && high.spans.count == 44, "{high:?}");
    assert!(facts.low.is_none());
}

/// A ringing 15 V step, V, so long after the crossing, s: 2 V at 1 MHz, dying
/// away in 3 us.
fn ringing(since: f64) -> f64 {
    15.0 - 2.0 * (-since / 3e-6).exp() * (std::f64::consts::TAU * 1e6 * since).cos()
}

/// In eight bits at 100 MS/s the peak of a ringing is some samples long in its
/// last step, and the next peak is lower: nothing is cut off there, unless it is.
#[test]
fn the_rounded_peak_of_a_ringing_is_not_cut_off() {
    let wave = |most: f64| -> Vec<f64> {
        let sample = |n: usize| {
            let sign = if (n / 5800).is_multiple_of(2) {
                1.0
            } else {
                -1.0
            };
            let volts = sign * ringing((n % 5800) as f64 * 1e-8);
            (volts / 0.16).round().clamp(-most, most) * 0.16
        };
        (0..100_000).map(sample).collect()
    };
    for phase in 0..16 {
        let moved: Vec<f64> = wave(127.0)
            .iter()
            .map(|v| v + f64::from(phase) * 0.01)
            .collect();
        let facts = surveyed(&moved);
        assert!(facts.high.is_none() && facts.low.is_none(), "{facts:?}");
    }
    let facts = surveyed(&wave(97.0));
    let high = facts.high.expect("cut off");
    assert!((high.level - 15.52).abs() < 1e-9, "{high:?}");
    assert!(facts.low.is_some());
}
