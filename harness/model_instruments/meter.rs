//! A digital meter: an integrating reading with its own gain and offset error,
//! noise and resolution. It does not wait by itself: the scene moves time.

use super::scene::Scene;
use super::settings::{Accuracy, WorldSettings};
use crate::clock::BenchSpan;
use crate::physics::Probe;

/// One period of 50 Hz mains, the profiles' integration time.
const INTEGRATION: BenchSpan = BenchSpan::from_microseconds(20_000);

/// The part of the stated accuracy that the drawn errors use at most; the rest
/// is left to noise and rounding, so that a reading stays within the profile.
const SHARE: f64 = 0.7;

/// Standard deviation of one reading's noise, in steps of the resolution.
const NOISE: f64 = 0.3;

/// A meter, whatever it is connected to.
#[derive(Clone, Debug)]
pub(super) struct Meter {
    /// Tells this meter's noise from every other's.
    key: u64,
    gain: f64,
    offset: f64,
    resolution: f64,
    /// Standard deviation of one reading.
    noise: f64,
    /// Beyond this magnitude it shows an overflow.
    full_scale: f64,
    readings: u64,
}

impl Meter {
    pub(super) fn new(
        key: u64,
        settings: &WorldSettings,
        accuracy: Accuracy,
        full_scale: f64,
    ) -> Self {
        let (gain, offset) = drawn_errors(settings, key, accuracy);
        Self {
            key,
            gain,
            offset,
            resolution: accuracy.resolution,
            noise: settings.noise * NOISE * accuracy.resolution,
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
        libm::round(value / self.resolution) * self.resolution
    }
}

/// Integrates `probe` over the meter's time, which passes on the bench, and
/// reads; the meter is the one that `pick` finds in the scene.
pub(super) fn read(scene: &mut Scene, probe: Probe, pick: fn(&mut Scene) -> &mut Meter) -> f64 {
    let from = scene.circuit.now();
    scene.hold_meter_history(INTEGRATION + BenchSpan::from_microseconds(1000));
    scene.advance_to(from + INTEGRATION);
    let mean = scene.circuit.mean(probe, from, scene.circuit.now());
    scene.hold_meter_history(BenchSpan::ZERO);
    // The history was kept for longer than the integration.
    let mean = mean.unwrap_or_else(|| scene.circuit.probe(probe));
    show(scene, pick, mean)
}

/// What the meter that `pick` finds shows for a true `mean` now.
pub(super) fn show(scene: &mut Scene, pick: fn(&mut Scene) -> &mut Meter, mean: f64) -> f64 {
    let mut meter = pick(scene).clone();
    let shown = meter.shown(scene, mean);
    *pick(scene) = meter;
    shown
}

/// Gain (near one) and offset drawn within the stated accuracy.
pub(super) fn drawn_errors(settings: &WorldSettings, key: u64, accuracy: Accuracy) -> (f64, f64) {
    let accuracy = accuracy.scaled(settings.errors);
    let mut stream = settings.seed.stream(&[key]);
    let mut within = |bound: f64| (2.0 * stream.uniform() - 1.0) * bound * SHARE;
    (1.0 + within(accuracy.reading), within(accuracy.fixed))
}
