//! What an evaluation must know of plan and bench. Facts only: the one place
//! where settings, wiring and ratings are brought together for it.

use crate::bench_file::Bench;
use crate::envelope::{BoardFacts, Loops};
use crate::evaluate::Context;
use crate::plan::{Plan, Scenario, Settings};
use crate::units::{Ohms, Quantity, Seconds};

/// The context of `scenario` in `plan` on `bench`.
pub fn context(plan: &Plan, scenario: &Scenario, bench: &Bench) -> Context {
    let ratings = &plan.ratings;
    let ordinary = Context::new(
        ratings.rated_current,
        ratings.trip_current,
        ratings.supply_voltage,
    );
    let (onset_level, off_level) = match &scenario.settings {
        Settings::Idle(_)
        | Settings::Load(_)
        | Settings::Sense(_)
        | Settings::Signal(_)
        | Settings::Loss(_)
        | Settings::Inrush(_)
        | Settings::Soak(_)
        | Settings::Supply(_) => (ordinary.onset_level, None),
        Settings::Overload(overload) => (overload.onset_level, Some(overload.off_level)),
        Settings::Short(short) => (short.onset_level, None),
        Settings::Reversal(reversal) => (reversal.onset_level, None),
    };
    let loops = Loops::new(bench, BoardFacts::from(ratings));
    let bounce = bench
        .branches
        .iter()
        .map(|branch| branch.bounce)
        .fold(Seconds::ZERO, Seconds::max);
    Context {
        onset_level,
        off_level,
        lowest_supply: ratings.lowest_supply,
        bounce,
        gap_spike: loops
            .edge_spike(ratings.supply_voltage)
            .unwrap_or(ordinary.gap_spike),
        lead_resistance: bench.wiring.lead_resistance,
        // A measured lead is good to a tenth; taken as a rectangle.
        lead_resistance_u: Ohms::new(crate::measurement::rectangular(
            bench.wiring.lead_resistance.si() / 10.0,
        )),
        bleeder: Some(bench.wiring.bleeder),
        ..ordinary
    }
}
