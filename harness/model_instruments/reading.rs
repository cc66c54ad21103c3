//! What a meter shows of the scene after it has integrated. It does not wait by
//! itself: the scene moves time.

use super::meter::{Meter, rounded};
use super::scene::Scene;
use crate::clock::BenchSpan;
use crate::physics::Probe;
use crate::protocol::Response;

impl Meter {
    /// What the meter shows for a true `mean` at the bench's present.
    fn shown(&self, scene: &Scene, mean: f64) -> f64 {
        let instant = scene.circuit.now().picoseconds() as u64;
        let key = [self.key, instant];
        let noise = scene.seed.stream(&key).normal() * self.noise;
        let value = mean * self.gain + self.offset + noise;
        if value.abs() > self.full_scale {
            return value.signum() * f64::INFINITY;
        }
        rounded(value, self.resolution)
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
    let meter = pick(scene).clone();
    let shown = meter.shown(scene, mean);
    let decimals = meter.decimals;
    Response::new().fixed(shown, decimals)
}
