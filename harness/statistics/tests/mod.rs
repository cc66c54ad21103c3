//! Tests of the statistics against published cases, other libraries and
//! properties. Nothing here is built into the program.

// Published digits are kept as their source prints them, 17 where it does, and
// may look like a constant.
#![allow(clippy::excessive_precision, clippy::approx_constant)]

mod claims;
mod data;
mod distributions;
mod exchange;
mod one_lot;
mod properties;
mod resolution;
mod studies;
mod two_lots;

use super::{Moments, Sample};

fn sample(values: &[f64]) -> Sample {
    Sample::new(values).expect("the test's readings are sound")
}

fn moments(count: usize, mean: f64, sd: f64) -> Moments {
    Moments::new(count, mean, sd).expect("the test's moments are sound")
}

/// Fails unless `got` is `want` to a relative `tolerance`.
#[track_caller]
fn close(got: f64, want: f64, tolerance: f64) {
    let error = (got - want).abs() / want.abs().max(f64::MIN_POSITIVE);
    assert!(
        error <= tolerance,
        "{got:e}, not {want:e}: off by {error:e}"
    );
}

/// Fails unless `got` is `want` to half a unit of its `decimals`-th place, as a
/// printed number is.
#[track_caller]
fn printed(got: f64, want: f64, decimals: i32) {
    let half_unit = 0.5 * 10_f64.powi(-decimals) * (1.0 + 1e-6);
    assert!(
        (got - want).abs() <= half_unit,
        "{got} is not printed as {want}"
    );
}
