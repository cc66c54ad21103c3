//! A plan's text to a checked plan, over the plans that it extends. How its
//! numbers must fit together is checked in `check`.

use super::limits::{Defaults, read_defaults, read_limits};
use super::{Comparison, Plan, Scenario, check, comparison};
use crate::document::{Demand, Fault, Faults, Reader, Source, Table, Tree};
use crate::scenario::{Configuration, OnSignalLoss, Ratings, ReadContext, ScenarioKind};
use crate::units::{Amperes, Farads, Ohms, Volts};

/// The newest format of a plan. Format 1, in which stored runs keep theirs, goes
/// on being read.
const FORMAT: i64 = 2;

/// Lists whose tables are matched by name when one plan extends another.
const LISTS: &[&str] = &["scenario"];

/// A day at the bench has no room for more.
const MOST_SCENARIOS: usize = 1000;

/// What `source` extends, as written.
///
/// # Errors
/// The syntax faults of a text that cannot be read at all.
pub fn extends(source: &Source) -> Result<Option<String>, Vec<Fault>> {
    let mut faults = Faults::new();
    let Some(tree) = Tree::read(source, &mut faults) else {
        return Err(faults.into_list());
    };
    let reader = Reader::default();
    Ok(Table::of(&tree, &reader).optional_string("extends"))
}

/// Reads a plan. `chain` holds its text last and before it the plans that it
/// extends, the base first.
///
/// # Errors
/// Every fault in every text of the chain.
pub fn parse(chain: &[Source]) -> Result<(Plan, Vec<Fault>), Vec<Fault>> {
    let mut faults = Faults::new();
    let trees: Vec<Option<Tree>> = chain
        .iter()
        .map(|source| Tree::read(source, &mut faults))
        .collect();
    let trees: Option<Vec<Tree>> = trees.into_iter().collect();
    let laid = trees.and_then(|trees| {
        trees
            .into_iter()
            .reduce(|base, over| base.overlaid(over, LISTS))
    });
    let Some(tree) = laid else {
        return Err(faults.into_list());
    };
    let reader = Reader::new(faults);
    let plan = plan(&Table::of(&tree, &reader));
    if let Some(plan) = &plan {
        for fault in check::check(plan) {
            reader.fault(fault);
        }
    }
    reader.conclude(plan)
}

fn plan(root: &Table<'_>) -> Option<Plan> {
    let format = root.format_up_to(FORMAT);
    // The caller followed it already.
    root.take("extends");
    let head = root.table("plan").map(|head| {
        let texts = (
            head.string("name"),
            head.string("family"),
            head.string("revision"),
            head.optional_string("overdue_calibration"),
        );
        head.finish();
        texts
    });
    let ratings = root.table("ratings").and_then(|t| ratings(&t));
    let configuration = root.table("configuration").and_then(|t| configuration(&t));
    let defaults = root
        .optional_table("defaults")
        .map_or_else(Defaults::default, |t| read_defaults(&t));
    let tables = root.tables("scenario");
    let compared = root.optional_table("comparison");
    root.finish();
    if tables.is_empty() && !root.has("scenario") {
        root.missing("scenario", "at least one `[[scenario]]` table");
    }
    if let Some(one) = tables.get(MOST_SCENARIOS) {
        one.fault(
            Fault::error(one.place(), "no plan has as many scenarios as this")
                .expected(format!("{MOST_SCENARIOS} or less")),
        );
        return None;
    }
    let read: Vec<Option<Scenario>> = tables
        .iter()
        .map(|table| {
            let context = ReadContext {
                ratings: ratings.as_ref().unwrap_or(&STAND_IN.0),
                configuration: configuration.as_ref().unwrap_or(&STAND_IN.1),
                format,
            };
            let scenario = scenario(table, &context, &defaults);
            table.finish();
            scenario
        })
        .collect();
    unique_names(&tables, &read);
    let comparison =
        compared.map_or_else(Comparison::default, |t| comparison::read(&t, &read, format));
    let (name, family, revision, overdue_calibration) = head?;
    Some(Plan {
        name: name?,
        family: family?,
        revision: revision?,
        overdue_calibration,
        ratings: ratings?,
        configuration: configuration?,
        scenarios: read.into_iter().collect::<Option<_>>()?,
        comparison,
        places: root.reader().places(),
    })
}

fn unique_names(tables: &[Table<'_>], read: &[Option<Scenario>]) {
    for (index, scenario) in read.iter().enumerate() {
        let Some(scenario) = scenario else { continue };
        let taken = read[..index]
            .iter()
            .flatten()
            .any(|s| s.name == scenario.name);
        if taken {
            let table = &tables[index];
            let key = if table.has("name") { "name" } else { "kind" };
            table.fault(
                Fault::error(
                    &table.place_of(key),
                    format!("another scenario is called \"{}\"", scenario.name),
                )
                .expected("a `name` of its own"),
            );
        }
    }
}

fn ratings(table: &Table<'_>) -> Option<Ratings> {
    let rated_current = table.quantity("rated_current", Demand::Positive);
    let trip_current = table.quantity("trip_current", Demand::Positive);
    let supply_voltage: Option<Volts> = table.quantity("supply_voltage", Demand::Positive);
    let lowest: Option<Volts> = table.optional_quantity("lowest_supply", Demand::Positive);
    let highest: Option<Volts> = table.optional_quantity("highest_supply", Demand::Positive);
    let bulk_capacitance = table.quantity("bulk_capacitance", Demand::NotNegative);
    let source_resistance = table.quantity_or("source_resistance", Demand::NotNegative, Ohms::ZERO);
    table.finish();
    Some(Ratings {
        rated_current: rated_current?,
        trip_current: trip_current?,
        supply_voltage: supply_voltage?,
        lowest_supply: lowest.or(supply_voltage)?,
        highest_supply: highest.or(supply_voltage)?,
        bulk_capacitance: bulk_capacitance?,
        source_resistance,
    })
}

fn configuration(table: &Table<'_>) -> Option<Configuration> {
    let signal_lines = table.integer("signal_lines", 1..=2);
    let reversing = table.boolean_or("reversing", false);
    let on_signal_loss = table.word("on_signal_loss", OnSignalLoss::WORDS);
    let longest_hold = table.optional_quantity("longest_hold", Demand::Positive);
    table.finish();
    Some(Configuration {
        signal_lines: u8::try_from(signal_lines?).ok()?,
        reversing,
        on_signal_loss: on_signal_loss?,
        longest_hold,
    })
}

fn scenario(table: &Table<'_>, plan: &ReadContext<'_>, defaults: &Defaults) -> Option<Scenario> {
    let words = ScenarioKind::ALL.map(|kind| (kind.word(), kind));
    let kind = table.word("kind", &words);
    let name = table.optional_string("name");
    let required = table.boolean_or("required", true);
    let Some(kind) = kind else {
        // Nothing is known of its keys, so none of them can be called wrong.
        table.rest();
        return None;
    };
    let limits = table.optional_table("limits").map_or_else(
        || Some(Vec::new()),
        |t| read_limits(&t, kind, defaults, plan.format),
    );
    let settings = kind.read(table, plan);
    Some(Scenario {
        name: name.unwrap_or_else(|| kind.word().to_owned()),
        kind,
        required,
        left_out: false,
        settings,
        limits: limits?,
    })
}

/// Lets the settings be read to the end where ratings or configuration are
/// faulty; no plan comes of it.
const STAND_IN: (Ratings, Configuration) = (
    Ratings {
        rated_current: Amperes::new(1.0),
        trip_current: Amperes::new(1.0),
        supply_voltage: Volts::new(1.0),
        lowest_supply: Volts::new(1.0),
        highest_supply: Volts::new(1.0),
        bulk_capacitance: Farads::ZERO,
        source_resistance: Ohms::ZERO,
    },
    Configuration {
        signal_lines: 2,
        reversing: false,
        on_signal_loss: OnSignalLoss::Hold,
        longest_hold: None,
    },
);
