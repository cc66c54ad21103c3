//! Faults made from closed forms. What scenarios make of them is tried there.

use super::{Before, Current, Examined, Fault, Noise, Terms, Witnesses, episodes, examine};
use crate::measurement::{Finding, Landmark};
use crate::seed::Seed;
use crate::waveform::Trace;
use crate::waveform::synthetic::AlternatingShort;

fn sampled(first: f64, period: f64, count: usize, truth: impl Fn(f64) -> f64) -> Trace {
    let values = (0..count).map(|k| truth(first + k as f64 * period));
    Trace::from_values(first, period, values.collect()).expect("samples")
}

#[test]
fn an_alternating_current_is_not_interrupted_by_its_own_zeros() {
    let short = AlternatingShort {
        prospective: 20.0,
        tau: 10e-6,
        inception: 13e-6,
        phase: 0.0,
        half: 58e-6,
        trip: 2.0e-3,
        decay: 3e-6,
    };
    let trace = sampled(-100e-6, 1e-6, 4000, |t| short.current(t));
    let found = episodes(&trace, Noise::white(0.0), (4.0, 0.15), 60e-6, 0);
    assert_eq!(found.len(), 1, "{found:?}");
    let end = found[0].interruption.expect("it trips");
    let truth = short.falls_under(0.15);
    assert!((end.value - truth).abs() <= 2.0 * end.u, "{end:?} {truth}");
    assert!((found[0].onset.value - short.reaches(4.0)).abs() <= 2.0 * found[0].onset.u);
    // A quiet span shorter than the zeros would chop it up.
    assert!(episodes(&trace, Noise::white(0.0), (4.0, 3.0), 2e-6, 0).len() > 10);
}

const TERMS: Terms = Terms {
    onset: 4.0,
    off: 0.15,
    calm: 0.3,
    quiet: 58e-6,
    bounce: 0.0,
};

/// 22 A, tripped 9 ms after inception, at 10 MS/s.
const SHORT: AlternatingShort = AlternatingShort {
    prospective: 22.0,
    tau: 10e-6,
    inception: 0.0,
    phase: 21e-6,
    half: 58e-6,
    trip: 9.0e-3,
    decay: 5e-6,
};

fn fault(trace: Trace) -> Fault {
    let current = Current::of(trace, Before::Provoked(0.0), &TERMS);
    match examine(current, &TERMS, &Witnesses::NONE) {
        Examined::Fault(fault) => *fault,
        other => panic!("{other:?}"),
    }
}

/// Noise that passes the off level by chance again and again restarts nothing:
/// of some thousand samples after the trip one or the other lies beyond four
/// standard deviations.
#[test]
fn noise_restarts_no_interruption() {
    for key in 0..4 {
        let mut chance = Seed(20_261).stream(&[key]);
        let values = (-20_000..110_000_i64).map(|k| {
            let noise = 0.05 * chance.normal();
            SHORT.current(k as f64 * 1e-7) + noise
        });
        let trace = Trace::from_values(-2e-3, 1e-7, values.collect()).expect("samples");
        let fault = fault(trace);
        let end = fault.ending.until();
        let truth = SHORT.falls_under(fault.current.off);
        assert!((end.value - truth).abs() <= 4.0 * end.u, "{end:?} {truth}");
        assert!(end.u < 2e-6, "{end:?}");
    }
}

/// A current that falls by a fifth while it alternates: let go, it dies away from
/// 22 A to the off level of 0.15 A in ln (22 / 0.15) time constants of 10 us; the
/// peak is reached within the half-bit of 58 us, and peaks fall by what the sag of
/// 4.4 A in 9 ms takes in a half-bit; a change of sign in the rise costs 2 ln 2 time
/// constants. A held current has no phase.
#[test]
fn another_phase_costs_a_decay_and_a_rise_of_sag() {
    let sagging = |t: f64| SHORT.current(t) * (1.0 - 0.2 * (t / 9e-3).clamp(0.0, 1.0));
    for period in [0.5e-6, 2e-6] {
        let count = (11e-3 / period) as usize;
        let found = fault(sampled(-1e-3, period, count, sagging)).phase_cost();
        let root = libm::sqrt(3.0);
        let decay = 10e-6 * libm::log(0.8 * 22.0 / TERMS.off);
        assert!((found.time * root / decay - 1.0).abs() < 0.1, "{found:?}");
        let lost = 10e-6 * std::f64::consts::LN_2;
        assert!((found.count * root / lost - 1.0).abs() < 0.1, "{found:?}");
        let sag = 4.4 * 58e-6 / 9e-3 / 2.0;
        assert!(
            found.peak > 0.0 && found.peak * root < 1.5 * sag,
            "{found:?}"
        );
    }
    let held = |t: f64| if (0.0..3e-3).contains(&t) { 20.0 } else { 0.0 };
    let held = fault(sampled(-1e-3, 1e-6, 5_000, held)).phase_cost();
    assert_eq!((held.time, held.count, held.peak), (0.0, 0.0, 0.0));
}

/// A capture that begins while the short lasts: what was before it is not in
/// the numbers, and they say so.
#[test]
fn a_capture_that_begins_within_the_fault_gives_bounds() {
    let trace = sampled(1.007e-3, 1e-6, 10_000, |t| SHORT.current(t));
    let fault = fault(trace);
    let readings = fault.readings();
    for reading in [
        &readings.trip_time,
        &readings.peak_current,
        &readings.let_through,
    ] {
        assert!(matches!(reading.finding, Finding::Above(_)), "{reading:?}");
    }
    let marks = &readings.trip_time.marks;
    assert_eq!(marks[0].what, Landmark::WatchedFrom);
    assert_eq!(marks[0].at.value, 1.007e-3);
    let notes = &readings.notes;
    assert!(
        notes.iter().any(|note| note.contains("begins within")),
        "{notes:?}"
    );
}

/// The largest of n standard normal numbers: tables of order statistics (Harter
/// 1961; from memory) for their means, and who lies near it.
#[test]
fn largest_of_normal_numbers() {
    for (count, mean) in [(2.0, 0.564), (10.0, 1.539), (100.0, 2.508), (1000.0, 3.241)] {
        let found = super::noise::largest_of(count);
        assert!((found - mean).abs() < 0.1, "{count}: {found}");
        let beyond = 0.5 * libm::erfc((found - 2.0) / std::f64::consts::SQRT_2);
        let all = super::noise::all_of(count * beyond, 2.0);
        assert!((all / count - 1.0).abs() < 0.05, "{count}: {all}");
    }
}
