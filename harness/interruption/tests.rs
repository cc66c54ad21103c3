//! Faults made from closed forms. What scenarios make of them is tried there.

use super::episodes;
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
    let found = episodes(&trace, 4.0, 0.15, 60e-6, 0);
    assert_eq!(found.len(), 1, "{found:?}");
    let end = found[0].interruption.expect("it trips");
    let truth = short.falls_under(0.15);
    assert!((end.value - truth).abs() <= 2.0 * end.u, "{end:?} {truth}");
    assert!((found[0].onset.value - short.reaches(4.0)).abs() <= 2.0 * found[0].onset.u);
    // A quiet span shorter than the zeros would chop it up.
    assert!(episodes(&trace, 4.0, 3.0, 2e-6, 0).len() > 10);
}
