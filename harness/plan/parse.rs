//! A plan's text to a checked plan, over the plans that it extends. How its
//! numbers must fit together is checked in `check`.

use super::limits::{Defaults, read_defaults, read_limits};
use super::settings::{Direction, Load, Overload, Polarity, Reversal, Settings, Short, ShortPlace};
use super::{
    Comparison, Configuration, OnSignalLoss, Plan, Ratings, Scenario, check, comparison, idle,
    inrush, loss, sense, signal, soak, supply,
};
use crate::catalogue::ScenarioKind;
use crate::document::{Demand, Fault, Faults, Reader, Source, Table, Tree};
use crate::units::{Amperes, Farads, Ohms, Quantity, Ratio, Seconds, Volts};

/// Lists whose tables are matched by name when one plan extends another.
const LISTS: &[&str] = &["scenario"];

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
    root.format();
    // The caller followed it already.
    root.take("extends");
    let head = root.table("plan").map(|head| {
        let texts = (
            head.string("name"),
            head.string("family"),
            head.string("revision"),
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
    let read: Vec<Option<Scenario>> = tables
        .iter()
        .map(|table| {
            let scenario = scenario(table, ratings.as_ref(), &defaults);
            table.finish();
            scenario
        })
        .collect();
    unique_names(&tables, &read);
    let comparison = compared.map_or_else(Comparison::default, |t| comparison::read(&t, &read));
    let (name, family, revision) = head?;
    Some(Plan {
        name: name?,
        family: family?,
        revision: revision?,
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

fn scenario(table: &Table<'_>, ratings: Option<&Ratings>, defaults: &Defaults) -> Option<Scenario> {
    let words = ScenarioKind::ALL.map(|kind| (kind.word(), kind));
    let kind = table.word("kind", &words);
    let name = table.optional_string("name");
    let Some(kind) = kind else {
        // Nothing is known of its keys, so none of them can be called wrong.
        table.rest();
        return None;
    };
    let limits = table
        .optional_table("limits")
        .map_or_else(|| Some(Vec::new()), |t| read_limits(&t, kind, defaults));
    let ratings = ratings.copied().unwrap_or(STAND_IN);
    let settings = match kind {
        ScenarioKind::Idle => Settings::Idle(idle::read(table, &ratings)),
        ScenarioKind::Load => Settings::Load(load(table, &ratings)),
        ScenarioKind::Sense => Settings::Sense(sense::read(table, &ratings)),
        ScenarioKind::Overload => Settings::Overload(overload(table, &ratings)),
        ScenarioKind::Short => Settings::Short(short(table, &ratings)),
        ScenarioKind::Reversal => Settings::Reversal(reversal(table, &ratings)),
        ScenarioKind::Signal => Settings::Signal(signal::read(table)),
        ScenarioKind::Loss => Settings::Loss(loss::read(table)),
        ScenarioKind::Inrush => Settings::Inrush(inrush::read(table)),
        ScenarioKind::Soak => Settings::Soak(soak::read(table, &ratings)),
        ScenarioKind::Supply => Settings::Supply(supply::read(table, &ratings)),
    };
    Some(Scenario {
        name: name.unwrap_or_else(|| kind.word().to_owned()),
        kind,
        settings,
        limits: limits?,
    })
}

/// Lets the settings be read to the end where the ratings are faulty; no plan
/// comes of it.
const STAND_IN: Ratings = Ratings {
    rated_current: Amperes::new(1.0),
    trip_current: Amperes::new(1.0),
    supply_voltage: Volts::new(1.0),
    lowest_supply: Volts::new(1.0),
    highest_supply: Volts::new(1.0),
    bulk_capacitance: Farads::ZERO,
    source_resistance: Ohms::ZERO,
};

pub(super) fn time(table: &Table<'_>, key: &str, default: f64) -> Seconds {
    table.quantity_or(key, Demand::Within(0.0, 86_400.0), Seconds::new(default))
}

/// A sampling period: never zero, and below a nanosecond nobody samples.
pub(super) fn period(table: &Table<'_>, key: &str, default: f64) -> Seconds {
    table.quantity_or(key, Demand::Within(1e-9, 1.0), Seconds::new(default))
}

fn current(table: &Table<'_>, key: &str, default: Amperes) -> Amperes {
    table.quantity_or(key, Demand::NotNegative, default)
}

fn load(table: &Table<'_>, ratings: &Ratings) -> Load {
    let quarters = [0.0, 0.25, 0.5, 0.75, 1.0];
    Load {
        steps: not_empty(
            table,
            "steps",
            table.quantities("steps", Demand::NotNegative),
        )
        .unwrap_or_else(|| quarters.map(|part| ratings.rated_current * part).to_vec()),
        settle: time(table, "settle", 0.050),
        hold: time(table, "hold", 0.200),
        polarities: table
            .words("polarities", Polarity::WORDS)
            .unwrap_or_else(|| vec![Polarity::Positive, Polarity::Negative]),
    }
}

fn overload(table: &Table<'_>, ratings: &Ratings) -> Overload {
    let trip = ratings.trip_current;
    let multiples: Option<Vec<Ratio>> = table.quantities("multiples", Demand::Within(1.0, 50.0));
    Overload {
        ramp_from: current(table, "ramp_from", trip * 0.8),
        ramp_to: current(table, "ramp_to", trip * 1.5),
        ramp_time: time(table, "ramp_time", 2.0),
        multiples: not_empty(table, "multiples", multiples).map_or_else(
            || vec![1.5, 2.0, 3.0],
            |multiples| multiples.into_iter().map(Quantity::si).collect(),
        ),
        pulse: time(table, "pulse", 0.100),
        hold_current: current(table, "hold_current", trip * 0.9),
        hold_time: time(table, "hold_time", 5.0),
        onset_level: current(table, "onset_level", trip),
        off_level: current(table, "off_level", ratings.rated_current * 0.05),
        sampling_period: period(table, "sampling_period", 2e-6),
    }
}

fn short(table: &Table<'_>, ratings: &Ratings) -> Short {
    Short {
        places: table
            .words("places", ShortPlace::WORDS)
            .unwrap_or_else(|| vec![ShortPlace::Near, ShortPlace::Far]),
        pulse: time(table, "pulse", 0.040),
        sampling_period: period(table, "sampling_period", 2e-6),
        coarse_period: period(table, "coarse_period", 20e-6),
        recovery_pulse: time(table, "recovery_pulse", 2.0),
        onset_level: current(table, "onset_level", ratings.trip_current),
        repeats: table
            .optional_integer("repeats", 1..=1000)
            .and_then(|repeats| u32::try_from(repeats).ok())
            .unwrap_or(5),
    }
}

fn reversal(table: &Table<'_>, ratings: &Ratings) -> Reversal {
    Reversal {
        directions: table
            .words("directions", Direction::WORDS)
            .unwrap_or_else(|| vec![Direction::Forward, Direction::Back]),
        pulse: time(table, "pulse", 0.100),
        gap_pulse: time(table, "gap_pulse", 0.060),
        short_pulse: time(table, "short_pulse", 0.100),
        sampling_period: period(table, "sampling_period", 2e-6),
        onset_level: current(table, "onset_level", ratings.trip_current),
    }
}

pub(super) fn not_empty<T>(table: &Table<'_>, key: &str, list: Option<Vec<T>>) -> Option<Vec<T>> {
    if list.as_ref().is_some_and(Vec::is_empty) {
        let place = table.place_of(key);
        table.fault(Fault::error(&place, "the list is empty").expected("at least one value"));
        return None;
    }
    // A list of a thousand steps is a slip, and every step costs bench time.
    if list.as_ref().is_some_and(|list| list.len() > 1000) {
        let place = table.place_of(key);
        table.fault(Fault::error(&place, "the list is too long").expected("1000 values or fewer"));
        return None;
    }
    list
}
