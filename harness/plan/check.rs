//! How the numbers of a plan must fit together, whatever the bench. Each
//! scenario's own rules stand in its room.

use super::Plan;
use crate::document::Fault;
use crate::scenario::Demands;

/// Every fault of `plan` as a whole.
pub(super) fn check(plan: &Plan) -> Vec<Fault> {
    let mut faults = Vec::new();
    ratings(plan, &mut faults);
    for (index, scenario) in plan.scenarios.iter().enumerate() {
        let path = format!("scenario.{index}");
        if scenario.limits.is_empty()
            && let Some(place) = plan.places.find(&path)
        {
            faults.push(
                Fault::warning(place, format!("\"{}\" has no limits", scenario.name))
                    .expected("a `[scenario.limits]` table")
                    .hint("it is measured and recorded, but nothing is judged"),
            );
        }
        scenario.settings.check(&mut Demands {
            ratings: &plan.ratings,
            configuration: &plan.configuration,
            limits: &scenario.limits,
            places: &plan.places,
            path,
            entry: scenario.kind.entry(),
            faults: &mut faults,
        });
    }
    faults
}

fn ratings(plan: &Plan, faults: &mut Vec<Fault>) {
    let mut fault = |path: &str, message: &str, expected: String| {
        if let Some(place) = plan.places.find(path) {
            faults.push(Fault::error(place, message).expected(expected));
        }
    };
    let ratings = plan.ratings;
    if ratings.trip_current <= ratings.rated_current {
        fault(
            "ratings.trip_current",
            "the board would trip at its rated current",
            format!("more than {}", ratings.rated_current),
        );
    }
    if ratings.lowest_supply > ratings.supply_voltage {
        fault(
            "ratings.supply_voltage",
            "this is below the lowest supply voltage the board works at",
            format!("{} or more", ratings.lowest_supply),
        );
    }
    if ratings.highest_supply < ratings.supply_voltage {
        fault(
            "ratings.supply_voltage",
            "this is above the highest supply voltage the board withstands",
            format!("{} or less", ratings.highest_supply),
        );
    }
}
