//! What an evaluation must know of plan and bench. Facts only: the one place
//! where settings, wiring and ratings are brought together for it.

use crate::bench_file::{Bench, Closes};
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
        gap_spike: gap_spike(bench).unwrap_or(ordinary.gap_spike),
        lead_resistance: bench.wiring.lead_resistance,
        // A measured lead is good to a tenth; taken as a rectangle.
        lead_resistance_u: Ohms::new(crate::measurement::rectangular(
            bench.wiring.lead_resistance.si() / 10.0,
        )),
        bleeder: Some(bench.wiring.bleeder),
        ..ordinary
    }
}

/// Spikes at the edges last as long as the two boosters' delays differ and
/// three time constants of the loop between them.
fn gap_spike(bench: &Bench) -> Option<Seconds> {
    /// Two boosters of one kind differ by less than this (common practice, no
    /// source).
    const DELAY_DIFFERENCE: f64 = 2e-6;
    let upstream = bench.upstream.as_ref()?;
    let branch = bench
        .branch(Closes::GapCrossed)
        .or_else(|| bench.branch(Closes::GapStraight))?;
    let inductance =
        upstream.inductance.si() + branch.inductance.si() + bench.wiring.lead_inductance.si();
    let resistance =
        upstream.resistance.si() + branch.resistance.si() + bench.wiring.lead_resistance.si();
    Seconds::from_si(DELAY_DIFFERENCE + 3.0 * inductance / resistance)
}
