//! What noise and the converter's step do to readings of a waveform, from the
//! capture itself. It times no edge.

use super::windows::Window;
use crate::measurement::resolution;

/// The mean of all windows about their crossings, `reach` samples either side
/// of the sample before it.
pub(super) fn averaged(windows: &[&Window], reach: usize) -> Vec<f64> {
    let mut sum = vec![0.0; 2 * reach + 1];
    for window in windows {
        let from = libm::floor(window.crossing) as usize - reach;
        for (total, value) in sum.iter_mut().zip(&window.samples[from..]) {
            *total += value;
        }
    }
    let share = (windows.len().max(1) as f64).recip();
    sum.iter().map(|total| total * share).collect()
}

/// Standard uncertainty that the step of the converter leaves in a sample, be
/// it noisy or not (GUM F.2.2.1).
///
/// In a mean over many samples of a level that does not move, noise dithers the
/// step away: of the sawtooth of quantisation errors its first harmonic is
/// left, damped by `exp(-2 pi^2 s^2 / q^2)` (Fourier series of the sawtooth and
/// characteristic function of the normal law, by arithmetic); see [`level`].
pub(super) fn quantised(quantum: f64, noise: f64) -> f64 {
    let own = resolution(quantum);
    // Noise that was seen through the converter holds its step already.
    if noise * noise > 2.0 * own * own {
        0.0
    } else {
        own
    }
}

/// Standard uncertainty that the step of the converter leaves in the mean of
/// samples at rest on a level whose deviation as read is `noise`.
pub(super) fn level(quantum: f64, noise: f64) -> f64 {
    if quantum <= 0.0 {
        return 0.0;
    }
    let own = resolution(quantum);
    let clean = (noise * noise - own * own).max(0.0);
    let turns = clean / (quantum * quantum);
    let pi = std::f64::consts::PI;
    own * libm::exp(-2.0 * pi * pi * turns)
}
