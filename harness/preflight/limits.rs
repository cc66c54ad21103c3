//! Limits that no measurement on this bench could ever decide one way: a slip in a
//! prefix makes them a thousandfold too large. What a limit means is judgement's.

use crate::bench_file::{Bench, CaptureWiring, Closes};
use crate::document::{Fault, Faults};
use crate::ident::Role;
use crate::plan::Plan;
use crate::profile::Profile;
use crate::scenario::Settings;
use crate::units::{Dimension, Quantity as _, show};
use std::collections::BTreeMap;

/// An output that drives less than this part of the rated current is measured as no
/// resistance (a house value).
const LEAST_PART: f64 = 0.1;
/// A part on a board that is hotter than its surroundings by this is no part any more
/// (a house value: silicon ends at some 450 K).
const HOTTEST: f64 = 500.0;
/// A bank is given this much more than it holds, for what its bleeder takes and for
/// starts over again; a converter so much more than whatever can flow (house values).
const ROOM: f64 = 10.0;

/// Notes every bound that lies beyond what the bench lets happen or sees.
pub(super) fn check(
    plan: &Plan,
    bench: &Bench,
    profiles: &BTreeMap<Role, Profile>,
    faults: &mut Faults,
) {
    for (index, scenario) in plan.run() {
        for written in &scenario.limits {
            let Some(metric) = scenario.kind.metric(written.metric) else {
                continue;
            };
            let around = (plan, bench, profiles);
            let Some((most, why)) = largest(around, &scenario.settings, metric.dimension) else {
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

/// The largest magnitude that can come of a quantity, and what sets it; `None` where
/// nothing does.
fn largest(
    (plan, bench, profiles): (&Plan, &Bench, &BTreeMap<Role, Profile>),
    settings: &Settings,
    dimension: Dimension,
) -> Option<(f64, &'static str)> {
    let envelope = &bench.envelope;
    let seen = |dimension| {
        let wiring = CaptureWiring::of(bench);
        let channels = wiring.channels.iter();
        let seen = channels.filter(|channel| channel.signal.dimension() == dimension);
        seen.map(|channel| channel.range).fold(0.0, f64::max)
    };
    let current = envelope.current.si().max(seen(Dimension::Current));
    let voltage = 2.0 * envelope.voltage.si().max(seen(Dimension::Voltage));
    let (most, why) = match dimension {
        Dimension::Voltage => (
            voltage,
            "between two rails its envelope and channels end at",
        ),
        Dimension::Current => (current, "its envelope and its channels end at"),
        Dimension::LetThrough => (envelope.let_through.si(), "its envelope ends at"),
        Dimension::Energy => (envelope.energy.si(), "its envelope ends at"),
        Dimension::Charge => match bench.branch(Closes::CapacitorBank).and_then(|b| b.bank) {
            Some(bank) => (
                ROOM * bank.capacitance.si() * envelope.voltage.si(),
                "ten times what its capacitor bank holds at its envelope's voltage is",
            ),
            None => (
                envelope.current.si() * envelope.seconds.si(),
                "its envelope's current and time end at",
            ),
        },
        // A time constant is longer than the time it is told from.
        Dimension::Time => (
            10.0 * envelope.seconds.si(),
            "ten times its envelope's time are",
        ),
        Dimension::Resistance => (
            envelope.voltage.si() / (LEAST_PART * plan.ratings.rated_current.si()),
            "its envelope's voltage at a tenth of the rated current makes",
        ),
        Dimension::TemperatureDifference => (HOTTEST, "no part of a board stands more than"),
        Dimension::VoltageSlew => {
            let range = profiles.get(&Role::Capture)?.capture_range()?;
            (
                voltage / range.period.si(),
                "its envelope's voltage and its capture's shortest period end at",
            )
        }
        Dimension::CountScale => {
            let Settings::Sense(sense) = settings else {
                return None;
            };
            (
                ROOM * current / f64::from(sense.last_count),
                "ten times its largest current over the last count is",
            )
        }
        Dimension::Ratio => (
            voltage / plan.ratings.lowest_supply.si(),
            "against the lowest supply its voltages end at",
        ),
        _ => return None,
    };
    // Wild numbers set no bound.
    most.is_finite().then_some((most, why))
}
