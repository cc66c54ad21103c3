//! Waveform functions against closed forms and published conventions.

use super::synthetic::{Flaws, Sampling, ones};
use super::*;
use crate::measurement::Estimate;
use crate::seed::Seed;

fn sampled(first: f64, period: f64, count: usize, truth: impl Fn(f64) -> f64) -> Trace {
    let values = (0..count)
        .map(|index| truth(first + index as f64 * period))
        .collect();
    Trace::from_values(first, period, values).expect("finite samples")
}

/// The squared integral of exact samples from zero on.
fn squared(trace: &Trace, to: f64) -> Estimate {
    let parts = square_parts(trace, 0.0, to, 0.0);
    Estimate::new(parts.whole, parts.rule)
}

/// 18 V that a crossing leaves 3 V low, back with 5 us: from the end of the crossing
/// on, captures at 2 us that begin at another phase agree within both U.
#[test]
fn a_ripple_beside_crossings_agrees_at_every_phase() {
    let read = |phase: f64| {
        let volts = |t: f64| 18.0 - 3.0 * libm::exp(-t / 5e-6);
        let trace = sampled(phase * 2e-6, 2e-6, 29, volts);
        ripple(trace.values(), &trace).expect("samples").0
    };
    let all: Vec<Estimate> = (0..10).map(|n| read(f64::from(n) / 10.0)).collect();
    for (a, b) in all.iter().flat_map(|a| all.iter().map(move |b| (a, b))) {
        let apart = (a.value - b.value).abs();
        assert!(apart <= a.expanded() + b.expanded(), "{a:?} {b:?}");
        assert!(a.u < 0.8, "{a:?}");
    }
}

/// An exponential step sampled N times a time constant, interpolated linearly
/// at one half: y = 1 - exp(-t/tau), closed form, its crossing computed with a
/// root finder. That also gives the error's bound, which u must not fall under
/// by much and must not exceed wildly.
#[test]
fn interpolates_as_the_reference_does() {
    for (samples_a_tau, by_interpolation, bound) in [
        (10.0, 0.693_461_734_611_566, 0.001_313_541_493_096_88),
        (20.0, 0.693_294_122_594_134_7, 0.000_320_377_601_454_153_35),
        (50.0, 0.693_192_180_591_850_8, 5.050_166_665_555_247_6e-5),
        (100.0, 0.693_157_970_730_585_5, 1.256_260_416_649_301_1e-5),
    ] {
        let trace = sampled(0.0, 1.0 / samples_a_tau, 400, |t| 1.0 - libm::exp(-t));
        let found = first_beyond(&trace, 0.5, 0).expect("it reaches one half");
        assert!(
            (found.at.value - by_interpolation).abs() < 1e-9,
            "{samples_a_tau}: {}",
            found.at.value
        );
        assert!(found.at.u * 2.0 >= bound, "{} {bound}", found.at.u);
        assert!(found.at.u <= 4.0 * bound, "{} {bound}", found.at.u);
    }
}

/// Time to the trip level and integral up to it of an RL fault, i = V/R (1 -
/// exp(-tR/L)): closed form, computed against quadrature.
#[test]
fn rl_faults_of_the_reference() {
    for (v, r, l, level, t_trip, i2t) in [
        (
            48.0,
            0.05,
            1.0e-5,
            200.0,
            4.672_297_023_630_105e-5,
            0.659_889_369_775_033_4,
        ),
        (
            24.0,
            0.5,
            2.2e-5,
            30.0,
            4.315_648_713_251_595e-5,
            0.016_272_546_353_316_757,
        ),
        (
            12.0,
            0.02,
            5.0e-6,
            100.0,
            4.558_038_919_848_865e-5,
            0.158_940_111_455_917_4,
        ),
        (
            56.0,
            0.12,
            4.7e-6,
            60.0,
            5.390_170_633_478_536e-6,
            0.006_692_715_735_325_753,
        ),
    ] {
        let period = t_trip / 60.3;
        let trace = sampled(-20.0 * period, period, 200, |t| {
            if t < 0.0 {
                0.0
            } else {
                v / r * (1.0 - libm::exp(-t * r / l))
            }
        });
        let found = first_beyond(&trace, level, 0).expect("it trips").at;
        assert!(
            (found.value - t_trip).abs() <= 2.0 * found.u,
            "{found:?} {t_trip}"
        );
        assert!(found.u < period / 10.0);
        let integral = squared(&trace, t_trip);
        assert!(
            (integral.value - i2t).abs() <= 2.0 * integral.u,
            "{integral:?} {i2t}"
        );
        assert!(integral.u < 2e-3 * i2t, "{integral:?}");
    }
}

/// Integrals of i^2 of a constant, a ramp, a sine and an exponential: closed forms.
#[test]
fn joule_integrals_of_the_reference() {
    let pi = std::f64::consts::PI;
    type Form = Box<dyn Fn(f64) -> f64>;
    let cases: [(Form, f64, f64); 5] = [
        (Box::new(|_| 100.0), 0.002, 20.0),
        (
            Box::new(move |t| 100.0 * libm::sin(pi * t / 0.01)),
            0.01,
            50.0,
        ),
        // Thirty time constants stand for ever.
        (Box::new(|t| 100.0 * libm::exp(-t / 0.001)), 0.030, 5.0),
        (Box::new(|t| 1e6 * t), 1e-4, 0.333_333_333_333_333_3),
        (
            Box::new(|t| 200.0 * (1.0 - t / 5e-5)),
            5e-5,
            0.666_666_666_666_666_6,
        ),
    ];
    for (form, duration, i2t) in cases {
        let trace = sampled(-duration / 3000.0, duration / 2000.3, 2100, form);
        let found = squared(&trace, duration);
        assert!((found.value / i2t - 1.0).abs() < 1e-4, "{found:?} {i2t}");
        assert!(
            (found.value - i2t).abs() <= 2.0 * found.u + 1e-12,
            "{found:?}"
        );
    }
}

/// Width at half height of a trapezoid pulse, 1 ms up, 5 ms flat, 2 ms down:
/// 6.5 ms (IEEE Std 181-2011, pulse duration at the 50 % reference level; by hand).
#[test]
fn width_of_a_trapezoid_in_both_directions() {
    let trace = sampled(-1e-3, 17e-6, 800, |t| {
        (t / 0.001).min((0.008 - t) / 0.002).clamp(0.0, 1.0)
    });
    let up = first_beyond(&trace, 0.5, 0).expect("it rises");
    let down = falls_for_good(&trace, 0.5, 1e-3, up.index).expect("it falls");
    assert!((down.at.value - up.at.value - 0.0065).abs() < 1e-9);
}

/// A jump between two samples tells no more than the period: its middle with
/// period / sqrt 12 (GUM F.2.2.1).
#[test]
fn a_jump_is_known_to_a_period() {
    let trace = sampled(0.0, 1.0, 20, |t| if t < 7.3 { 0.0 } else { 8.0 });
    let found = first_beyond(&trace, 0.1, 0).expect("it jumps").at;
    assert_eq!(found.value, 7.5);
    assert!((found.u - 0.288_675_134_594_812_9).abs() < 1e-12);
}

#[test]
fn an_end_that_was_not_seen_is_none() {
    let trace = sampled(0.0, 1e-6, 100, |t| if t < 90e-6 { 5.0 } else { 0.0 });
    assert_eq!(falls_for_good(&trace, 1.0, 20e-6, 0), None);
    assert!(falls_for_good(&trace, 1.0, 5e-6, 0).is_some());
}

/// Levels of a square wave with 5 % overshoot and slow edges, against the
/// level that it was made with.
#[test]
fn top_state_does_not_see_edges_and_overshoot() {
    let trace = sampled(0.0, 1e-6, 2000, |t| {
        let into = t.rem_euclid(58e-6);
        let size = match into {
            i if i < 3e-6 => 14.0 * i / 3e-6,
            i if i < 5e-6 => 14.7,
            _ => 14.0,
        };
        size * ones(t, 0.0, 58e-6)
    });
    let top = top_state(&trace, 0.0, 2e-3).expect("samples");
    assert!((top.value - 14.0).abs() < 1e-9, "{top:?}");
    let held = sampled(0.0, 1e-6, 100, |_| -9.0);
    assert_eq!(top_state(&held, 0.0, 1.0).expect("samples").value, 9.0);
}

#[test]
fn spikes_as_short_as_the_span_leave_no_trace() {
    let trace = sampled(0.0, 1e-6, 1000, |t| {
        let spike = (t * 1e6).rem_euclid(58.0) < 8.5;
        if spike { 30.0 } else { 6.0 }
    });
    assert_eq!(peak(&trace, 0.0, 1.0).expect("samples").value.value, 30.0);
    let rest = peak_sustained(&trace, 0.0, 1.0, 10e-6).expect("samples");
    assert_eq!(rest.value.value, 6.0);
    let kept = peak_sustained(&trace, 0.0, 1.0, 5e-6).expect("samples");
    assert_eq!(kept.value.value, 30.0);
}

#[test]
fn half_bits_between_edges() {
    let sampling = Sampling {
        first: -10e-6,
        period: 1e-6,
        count: 1000,
    };
    let mut capture = sampling.capture();
    capture
        .lines
        .push(sampling.line(LogicLine::SignalA, |t| ones(t, 0.3e-6, 58e-6) > 0.0));
    let half_bits = HalfBits::of(&capture);
    assert_eq!(half_bits.all().len(), 17);
    assert!(half_bits.all()[0].high);
    for half in half_bits.all() {
        assert!((half.to - half.from - 58e-6).abs() < 1e-9);
    }
    let (from, to) = half_bits.last_before(700e-6, 10).expect("ten of them");
    assert!((to - 696.5e-6).abs() < 1e-9 && (to - from - 580e-6).abs() < 1e-9);
    assert_eq!(half_bits.last_before(700e-6, 13), None);
}

/// Noise of a known standard deviation, read back from quantised samples; and
/// a baseline's mean within its uncertainty.
#[test]
fn noise_is_read_back() {
    let sampling = Sampling {
        first: 0.0,
        period: 1e-6,
        count: 20_000,
    };
    let flaws = Flaws {
        range: 50.0,
        noise: 0.05,
        gain_u: 0.0,
        offset_u: 0.0,
    };
    let mut chance = Seed(11).stream(&[1]);
    let mut capture = sampling.capture();
    capture
        .channels
        .push(sampling.channel(Signal::OutputCurrent, flaws, &mut chance, |_| 0.3));
    let trace = Trace::of(&capture, Signal::OutputCurrent).expect("a channel");
    let base = Baseline::of(&trace, 0.0, 1.0).expect("samples");
    assert!((base.noise - 0.05).abs() < 0.002, "{base:?}");
    assert!((base.mean - 0.3).abs() < 4.0 * base.mean_u(), "{base:?}");
    assert!((trace.grain() - 0.05).abs() < 0.015, "{}", trace.grain());
}

#[test]
fn nothing_usable_is_no_trace() {
    assert_eq!(Trace::from_values(0.0, 1e-6, vec![]), None);
    assert_eq!(Trace::from_values(0.0, 0.0, vec![1.0]), None);
    assert_eq!(Trace::from_values(0.0, 1e-6, vec![f64::NAN]), None);
    let one = Trace::from_values(0.0, 1e-6, vec![5.0]).expect("one sample");
    assert_eq!(one.at(1.0), 5.0);
    assert_eq!(top_state(&one, 1.0, 2.0), None);
    assert!(first_beyond(&one, 1.0, 0).is_some());
    assert!(departure(&one, 1.0, 0).is_none());
    assert!(peak_sustained(&one, 0.0, 1.0, 1.0).is_some());
}

#[test]
fn tracks_out_of_words_are_those_of_each_bit_by_itself() {
    // Bits that change often, seldom, never, and one that no word has.
    let words: Vec<u16> = (0..2_000_u32)
        .map(|index| (index.wrapping_mul(2_654_435_761) >> 16) as u16 & !0x20 | 0x40)
        .collect();
    let lines = [
        (LogicLine::Fault, 0x01),
        (LogicLine::NearMarker, 0x20),
        (LogicLine::FarMarker, 0x40),
        (LogicLine::GapMarker, 0x00),
    ];
    for words in [&words[..], &words[..1], &[]] {
        let each = lines.map(|(line, bit)| {
            LogicTrack::from_levels(line, words.iter().map(|word| word & bit != 0))
        });
        assert_eq!(LogicTrack::from_words(&lines, words), each);
    }
}
