//! How well an instrument does what it does: the tables of a profile's `[accuracy]`.
//! What follows for a reading is composed elsewhere.

use super::Accuracy;
use crate::document::{Demand, Fault, Table};
use crate::units::{Dimension, Quantity as _, Ratio, Seconds};
use std::collections::BTreeMap;

/// No instrument errs by more than a fifth, as no channel of a bench file does (a house
/// value): 0.5 for 0.5 % is a slip.
const WORST_PART: f64 = 0.2;

pub(super) fn accuracies(
    root: &Table<'_>,
    table: Option<Table<'_>>,
    needed: &[(&'static str, Dimension)],
    measures: impl Fn(&str) -> bool,
) -> BTreeMap<String, Accuracy> {
    let mut accuracies = BTreeMap::new();
    let Some(table) = table else {
        if let Some((name, _)) = needed.first()
            && !root.has("accuracy")
        {
            root.missing("accuracy", &format!("a table `[accuracy.{name}]`"));
        }
        return accuracies;
    };
    for &(name, dimension) in needed {
        let one = if measures(name) {
            table.table(name)
        } else {
            table.optional_table(name)
        };
        if let Some(one) = one {
            if dimension == Dimension::TemperatureDifference && one.has("fixed_of_range") {
                one.fault(
                    Fault::error(
                        &one.place_of("fixed_of_range"),
                        "a thermometer's profile states no range",
                    )
                    .expected("`fixed`, in kelvins"),
                );
            }
            accuracies.insert(name.to_owned(), accuracy(&one, dimension));
            one.finish();
        }
    }
    table.finish();
    accuracies
}

fn accuracy(table: &Table<'_>, dimension: Dimension) -> Accuracy {
    let part = |key| table.quantity_or(key, Demand::Within(0.0, WORST_PART), Ratio::ZERO);
    let amount = |key| {
        // A temperature's spread is a difference, written in kelvins.
        let dimension = match dimension {
            Dimension::Temperature => Dimension::TemperatureDifference,
            other => other,
        };
        table
            .optional_si(key, dimension, Demand::NotNegative)
            .unwrap_or(0.0)
    };
    let accuracy = Accuracy {
        dimension,
        reading: part("reading"),
        fixed: amount("fixed"),
        fixed_of_range: part("fixed_of_range"),
        resolution: amount("resolution"),
        integration: table.quantity_or("integration", Demand::Within(0.0, 3600.0), Seconds::ZERO),
        time_base: part("time_base"),
    };
    let written = ["reading", "fixed", "fixed_of_range"];
    let errs = accuracy.reading.si() + accuracy.fixed + accuracy.fixed_of_range.si();
    if written.iter().any(|key| table.has(key)) && errs <= 0.0 {
        table.fault(
            Fault::error(table.place(), "no instrument errs by nothing")
                .expected("what its data sheet or its calibration states"),
        );
    }
    if !written.iter().any(|key| table.has(key)) {
        table.fault(
            Fault::error(table.place(), "this states no accuracy")
                .expected("`reading`, `fixed` or `fixed_of_range`"),
        );
    }
    accuracy
}
