//! A digital meter: an integrating reading with its own gain and offset error,
//! noise and resolution. It does not wait by itself: the scene moves time.

use super::ratings::Accuracy;
use super::scene::Scene;
use super::settings::WorldSettings;
use crate::clock::BenchSpan;
use crate::physics::Probe;
use crate::protocol::Response;

/// Standard deviation of one reading's noise, in steps of the resolution ...
const NOISE: f64 = 0.3;

/// ... and at most this part of the fixed accuracy: what a profile states of a
/// reading covers its noise.
const NOISE_SHARE: f64 = 0.25;

/// A meter, whatever it is connected to.
#[derive(Clone, Debug)]
pub(super) struct Meter {
    /// Tells this meter's noise from every other's.
    key: u64,
    gain: f64,
    offset: f64,
    resolution: f64,
    integration: BenchSpan,
    decimals: usize,
    /// Standard deviation of one reading.
    noise: f64,
    /// Beyond this magnitude it shows an overflow.
    full_scale: f64,
    readings: u64,
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
            readings: 0,
        }
    }

    /// What the meter shows for a true `mean` at the bench's present.
    fn shown(&mut self, scene: &Scene, mean: f64) -> f64 {
        self.readings += 1;
        let instant = scene.circuit.now().picoseconds() as u64;
        let key = [self.key, instant, self.readings];
        let noise = scene.seed.stream(&key).normal() * self.noise;
        let value = mean * self.gain + self.offset + noise;
        if value.abs() > self.full_scale {
            return value.signum() * f64::INFINITY;
        }
        rounded(value, self.resolution)
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

/// Integrates `probe` over the meter's time, which passes on the bench, and
/// reads; the meter is the one that `pick` finds in the scene.
pub(super) fn read(
    scene: &mut Scene,
    probe: Probe,
    pick: fn(&mut Scene) -> &mut Meter,
) -> Response {
    let from = scene.circuit.now();
    let integration = pick(scene).integration;
    scene.hold_meter_history(integration + BenchSpan::from_microseconds(1000));
    scene.advance_to(from + integration);
    let mean = scene.circuit.mean(probe, from, scene.circuit.now());
    scene.hold_meter_history(BenchSpan::ZERO);
    // The history was kept for longer than the integration.
    let mean = mean.unwrap_or_else(|| scene.circuit.probe(probe));
    show(scene, pick, mean)
}

/// Reads what `value` finds when the meter's integration time has passed.
pub(super) fn read_at_end(
    scene: &mut Scene,
    pick: fn(&mut Scene) -> &mut Meter,
    value: fn(&Scene) -> f64,
) -> Response {
    let until = scene.circuit.now() + pick(scene).integration;
    scene.advance_to(until);
    let value = value(scene);
    show(scene, pick, value)
}

/// What the meter that `pick` finds answers for a true `mean` now.
fn show(scene: &mut Scene, pick: fn(&mut Scene) -> &mut Meter, mean: f64) -> Response {
    let mut meter = pick(scene).clone();
    let shown = meter.shown(scene, mean);
    let decimals = meter.decimals;
    *pick(scene) = meter;
    Response::new().fixed(shown, decimals)
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
