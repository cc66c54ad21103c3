//! A digital meter: its own gain and offset error, noise and resolution. It
//! reads nothing: see `reading`.

use super::ratings::Accuracy;
use super::settings::WorldSettings;
use crate::clock::BenchSpan;

/// Standard deviation of one reading's noise, in steps of the resolution ...
const NOISE: f64 = 0.3;

/// ... and at most this part of the fixed accuracy: what a profile states of a
/// reading covers its noise.
const NOISE_SHARE: f64 = 0.25;

/// A meter, whatever it is connected to.
#[derive(Clone, Debug)]
pub(super) struct Meter {
    /// Tells this meter's noise from every other's.
    pub(super) key: u64,
    pub(super) gain: f64,
    pub(super) offset: f64,
    pub(super) resolution: f64,
    pub(super) integration: BenchSpan,
    pub(super) decimals: usize,
    /// Standard deviation of one reading.
    pub(super) noise: f64,
    /// Beyond this magnitude it shows an overflow.
    pub(super) full_scale: f64,
}

impl Meter {
    /// A meter that shows `decimals` digits behind the point or more, and
    /// nothing beyond `full_scale`.
    pub(super) fn new(
        key: u64,
        settings: &WorldSettings,
        accuracy: Accuracy,
        (full_scale, decimals): (f64, usize),
    ) -> Self {
        let (gain, offset) = drawn_errors(settings, key, accuracy);
        Self {
            key,
            gain,
            offset,
            resolution: accuracy.resolution,
            integration: accuracy.integration,
            decimals: accuracy.decimals(decimals),
            noise: settings.noise * (NOISE * accuracy.resolution).min(NOISE_SHARE * accuracy.fixed),
            full_scale,
        }
    }
}

/// `value` in whole steps of `resolution`; as it is where that is zero.
pub(super) fn rounded(value: f64, resolution: f64) -> f64 {
    if resolution > 0.0 {
        libm::round(value / resolution) * resolution
    } else {
        value
    }
}

/// Gain (near one) and offset drawn within the stated accuracy.
///
/// A profile states bounds and nothing else, so the evaluation takes a
/// rectangle for its uncertainty (GUM 4.3.7). The draws are uniform from bound
/// to bound, then, and an instrument errs as its uncertainty says: no less, or
/// good boards would be refused more often in the workshop than on the model.
pub(super) fn drawn_errors(settings: &WorldSettings, key: u64, accuracy: Accuracy) -> (f64, f64) {
    let (gain, offset) = drawn_places(settings, key);
    let errors = settings.errors;
    let (reading, fixed) = (accuracy.reading * errors, accuracy.fixed * errors);
    (1.0 + gain * reading, offset * fixed)
}

/// Where between its bounds, minus one to one, an instrument's gain and its
/// offset lie.
pub(super) fn drawn_places(settings: &WorldSettings, key: u64) -> (f64, f64) {
    let mut stream = settings.seed.stream(&[key]);
    let mut place = || 2.0 * stream.uniform() - 1.0;
    (place(), place())
}
