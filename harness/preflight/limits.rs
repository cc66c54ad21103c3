//! Limits that no measurement on this bench could ever decide one way: a slip in a
//! prefix makes them a thousandfold too large. What a limit means is judgement's.

use crate::bench_file::{Bench, CaptureWiring};
use crate::document::{Fault, Faults};
use crate::plan::Plan;
use crate::units::{Dimension, Quantity as _, show};

/// Notes every bound that lies beyond what the bench lets happen or sees.
pub(super) fn check(plan: &Plan, bench: &Bench, faults: &mut Faults) {
    for (index, scenario) in plan.run() {
        for written in &scenario.limits {
            let Some(metric) = scenario.kind.metric(written.metric) else {
                continue;
            };
            let Some((most, why)) = largest(bench, metric.dimension) else {
                continue;
            };
            let bounds = [written.limit.lower, written.limit.upper];
            let beyond = bounds
                .into_iter()
                .flatten()
                .find(|bound| bound.abs() > most);
            let path = format!("scenario.{index}.limits.{}", written.metric);
            let (Some(bound), Some(place)) = (beyond, plan.places.find(&path)) else {
                continue;
            };
            let bound = show(bound, metric.dimension);
            let most = show(most, metric.dimension);
            let message = format!("{bound} can never be reached on this bench: {why} {most}");
            faults.push(
                Fault::error(place, message)
                    .expected(format!("{most} or less"))
                    .hint("look at the prefix of the unit"),
            );
        }
    }
}

/// The largest magnitude that can come of a quantity, and what sets it.
fn largest(bench: &Bench, dimension: Dimension) -> Option<(f64, &'static str)> {
    let envelope = &bench.envelope;
    let seen = |dimension| {
        let wiring = CaptureWiring::of(bench);
        let channels = wiring.channels.iter();
        let seen = channels.filter(|channel| channel.signal.dimension() == dimension);
        seen.map(|channel| channel.range).fold(0.0, f64::max)
    };
    let allowed = "its envelope and its channels end at";
    Some(match dimension {
        Dimension::Voltage => {
            let both = envelope.voltage.si().max(seen(dimension));
            (
                2.0 * both,
                "between two rails its envelope and channels end at",
            )
        }
        Dimension::Current => (envelope.current.si().max(seen(dimension)), allowed),
        Dimension::LetThrough => (envelope.let_through.si(), "its envelope ends at"),
        Dimension::Energy => (envelope.energy.si(), "its envelope ends at"),
        Dimension::Charge => {
            let charge = envelope.current.si() * envelope.seconds.si();
            (charge, "its envelope's current and time end at")
        }
        // A time constant is longer than the time it is told from.
        Dimension::Time => (
            10.0 * envelope.seconds.si(),
            "ten times its envelope's time are",
        ),
        _ => return None,
    })
}
