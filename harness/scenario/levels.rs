//! Levels of a driven output: which samples belong to one, and its magnitude with
//! the part of its uncertainty that no other level shares. It finds no fault.

use super::terms::Polarity;
use crate::measurement::{COVERAGE, Estimate, combined};
use crate::statistics::distribution::student_t_critical;
use crate::waveform::{Trace, top_state};

/// A level with the part of its uncertainty that no other level shares, and the
/// part that the bench puts on every board alike: gain, zero, leads.
#[derive(Clone, Copy)]
pub(super) struct Level {
    pub(super) all: Estimate,
    pub(super) own_u: f64,
    pub(super) common_u: f64,
}

/// The samples of `trace` that belong to a level of the output `voltage`, all
/// of them for a held one. Those of an alternating one are turned to the
/// positive polarity, so that noise about a small current does not add up.
pub(super) fn level_samples(
    trace: &Trace,
    voltage: &Trace,
    drive: Polarity,
    crossing: f64,
) -> Vec<f64> {
    if drive != Polarity::Alternating {
        return trace.values().to_vec();
    }
    let turned = trace.values().iter().zip(voltage.values());
    let kept = turned
        .zip(on_level(voltage, crossing))
        .filter(|(_, keep)| *keep);
    kept.map(|((value, output), _)| value * output.signum())
        .collect()
}

/// Which samples of an alternating output `voltage` belong to a level: those of the
/// second half of each stretch between two changes of sign, up to `crossing` before
/// its end, and none of a cutout. What rings after an edge has died away by then.
/// Where half-bits are whole multiples of the sample interval, every one would show
/// the ring at the same phase, and no number of them would take it out of a mean.
pub(super) fn on_level(voltage: &Trace, crossing: f64) -> Vec<bool> {
    let output = voltage.values();
    let high = top_state(voltage, voltage.first(), f64::INFINITY).map_or(0.0, |top| top.value);
    let reach = libm::ceil(crossing.max(0.0) / voltage.period()) as usize;
    let mut keep = vec![false; output.len()];
    let mut start = 0;
    for stretch in output.chunk_by(|a, b| (*a < 0.0) == (*b < 0.0)) {
        let settled = (stretch.len() / 2).max(reach);
        for offset in settled..stretch.len().saturating_sub(reach) {
            keep[start + offset] = stretch[offset].abs() >= high / 2.0;
        }
        start += stretch.len();
    }
    keep
}

/// Mean magnitude of samples with its standard uncertainty (GUM 5.1.2): gain
/// and zero as a whole, and what is its own: grain over sqrt n (GUM 4.2.3) and
/// resolution, which the noise need not dither.
pub(super) fn magnitude(trace: &Trace, samples: &[f64]) -> Option<Level> {
    if samples.is_empty() {
        return None;
    }
    let count = samples.len() as f64;
    let value = (samples.iter().sum::<f64>() / count).abs();
    let own_u = own_u(trace, samples.len());
    let common_u = trace.scale_u(value);
    Some(Level {
        all: Estimate::new(value, combined([common_u, own_u])),
        own_u,
        common_u,
    })
}

/// What a mean of `count` samples owns: grain over sqrt n where that dithers the
/// code, else a sample's whole (GUM 4.2.3, F.2.2.1).
pub(super) fn own_u(trace: &Trace, count: usize) -> f64 {
    let dithered = trace.grain() > 0.5 * trace.step();
    let shrink = if dithered {
        libm::sqrt(count.max(1) as f64)
    } else {
        1.0
    };
    trace.sample_u() / shrink
}

/// What a normal distribution leaves above two standard deviations.
const ABOVE_TWO: f64 = 0.022_750_131_948_179_21;

/// The factor of Student's t for the 95.45 % of two standard deviations and so
/// many degrees of freedom (GUM G.3.2).
pub(super) fn student(freedom: usize) -> f64 {
    match freedom {
        // Two points leave no residual at all.
        0 => COVERAGE,
        _ => student_t_critical(ABOVE_TWO, freedom as f64),
    }
}
