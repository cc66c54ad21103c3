//! What noise and the converter's step do to readings of a waveform, from the
//! capture itself. It times no edge.

use crate::measurement::resolution;

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
///
/// Of a level that is read as two neighbouring codes, the share `p` of the upper
/// one deviates by `q sqrt(p (1 - p))`. It lies at their border or anywhere up to
/// `p q` above the middle of the lower: a rectangle `|p - 1/2| q` wide either
/// way, which for a single code is the resolution.
pub(super) fn level(quantum: f64, noise: f64) -> f64 {
    if quantum <= 0.0 {
        return 0.0;
    }
    let squares = noise * noise / (quantum * quantum);
    let two = libm::sqrt((0.25 - squares).max(0.0) / 3.0);
    quantum * two.max(resolution(1.0) * damped(squares - 1.0 / 12.0))
}

/// The same of samples that move through codes, on an edge: those of one code
/// err alike on every edge, unless noise dithers them. What a resting level
/// shows, two codes by turns, may be no noise.
pub(super) fn stairs(quantum: f64, noise: f64) -> f64 {
    if quantum <= 0.0 {
        return 0.0;
    }
    let squares = noise * noise / (quantum * quantum);
    resolution(quantum) * damped(squares - 0.2)
}

/// What dither whose variance is so many squares of a step leaves of the first
/// harmonic.
fn damped(squares: f64) -> f64 {
    let pi = std::f64::consts::PI;
    libm::exp(-2.0 * pi * pi * squares.max(0.0))
}

#[cfg(test)]
mod tests {
    //! Closed forms: a rectangle's deviation is its half width over the root of
    //! three (GUM 4.3.7), two codes deviate as a Bernoulli variable does.

    use super::*;

    #[test]
    fn a_level_is_known_by_how_often_either_code_is_read() {
        for upper in [0.0_f64, 0.15, 0.2, 0.8, 1.0] {
            let read = libm::sqrt(upper * (1.0 - upper));
            let expected = (upper - 0.5).abs() / libm::sqrt(3.0);
            let found = level(1.0, read);
            assert!((found - expected).abs() < 1e-9, "{upper}: {found}");
        }
    }

    #[test]
    fn noise_of_a_step_and_more_leaves_nothing_of_it() {
        for noise in [0.8, 1.0, 3.0] {
            assert!(level(1.0, noise) < 1e-4 && stairs(1.0, noise) < 1e-3);
        }
        // What rests between two codes is no dither.
        assert!((stairs(1.0, 0.4) - resolution(1.0)).abs() < 1e-12);
    }
}
