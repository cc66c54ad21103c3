//! A bench file's text to a checked bench. How its parts must fit together is
//! checked in `sound`.

use super::bench::{Bench, ModelBench};
use super::instruments::instrument;
use super::parts::*;
use super::sound;
use super::stated::stated_fixture;
use super::wiring::{channel, logic_line, wiring};
use crate::document::{Demand, Fault, Faults, Reader, Source, Table, Tree};
use crate::model_board::{FIXTURE, SupplyKind};
use crate::units::{Henries, Ohms, Seconds, Volts};

/// Reads a bench file.
///
/// # Errors
/// Every fault in the text.
pub fn parse(source: &Source) -> Result<(Bench, Vec<Fault>), Vec<Fault>> {
    let mut faults = Faults::new();
    let Some(tree) = Tree::read(source, &mut faults) else {
        return Err(faults.into_list());
    };
    let reader = Reader::new(faults);
    let bench = bench(&Table::of(&tree, &reader));
    reader.conclude(bench)
}

fn bench(root: &Table<'_>) -> Option<Bench> {
    root.format();
    let name = root.table("bench").and_then(|head| {
        let name = head.string("name");
        head.finish();
        name
    });
    let instruments = listed(root, "instrument", instrument);
    let wiring = root.table("wiring").and_then(|t| wiring(&t));
    let sensor = wiring.map(|wiring| wiring.sensor);
    let channels = listed(root, "channel", |t| channel(t, sensor));
    let lines = listed(root, "line", logic_line);
    let bus = wiring.map(|wiring| (wiring.bus_resistance, wiring.bus_inductance));
    let branches = listed(root, "branch", |t| branch(t, bus));
    let upstream_written = root.has("upstream");
    let upstream = root.optional_table("upstream").and_then(|t| upstream(&t));
    let envelope = root.table("envelope").and_then(|t| envelope(&t));
    let model_table = root.optional_table("model");
    let models = |list: &[Instrument]| list.iter().any(|i| i.port == Port::Model);
    let on_models = model_table.is_some() || instruments.as_deref().is_none_or(models);
    let safety = safety(root, on_models);
    root.finish();
    if upstream_written && upstream.is_none() {
        return None;
    }
    let mut bench = Bench {
        name: name?,
        model: None,
        instruments: instruments?,
        wiring: wiring?,
        channels: channels?,
        lines: lines?,
        branches: branches?,
        upstream,
        envelope: envelope?,
        safety,
        places: root.reader().places(),
    };
    if let Some(table) = model_table {
        bench.model = Some(model(&table, &bench));
    } else if bench.instruments.iter().any(|i| i.port == Port::Model) {
        bench.model = Some(ModelBench {
            fixture: stated_fixture(&bench),
            board: None,
        });
    }
    bench.places = root.reader().places();
    note_by_role(&mut bench);
    sound::check(&bench, root);
    bench.instruments.sort_by_key(|instrument| instrument.role);
    Some(bench)
}

/// Notes the places of instruments by role too, since their order changes.
fn note_by_role(bench: &mut Bench) {
    for (index, instrument) in bench.instruments.iter().enumerate() {
        for key in [
            "role", "profile", "net", "model", "path", "tcp", "usbtmc", "usb", "person",
            "external", "at", "due",
        ] {
            let written = format!("instrument.{index}.{key}");
            if let Some(place) = bench.places.find(&written).cloned() {
                let by_role = format!("instrument.{}.{key}", instrument.role);
                bench.places.note(by_role, place);
            }
        }
    }
}

/// Every table of a list, or nothing when one of them is faulty; every one is
/// read to its end either way.
fn listed<T>(root: &Table<'_>, key: &str, one: impl Fn(&Table<'_>) -> Option<T>) -> Option<Vec<T>> {
    let read: Vec<Option<T>> = root
        .tables(key)
        .iter()
        .map(|table| {
            let value = one(table);
            table.finish();
            value
        })
        .collect();
    read.into_iter().collect()
}

fn branch(table: &Table<'_>, bus: Option<(Ohms, Henries)>) -> Option<BranchEntry> {
    if table.has("closed_by") {
        return closed_by_load(table);
    }
    let number = table.integer("number", 1..=256);
    let closes = table.word("closes", Closes::WORDS);
    let own_resistance: Option<Ohms> = table.quantity("resistance", Demand::Positive);
    let fault = closes.is_none_or(Closes::is_fault);
    // Of a bank or a load the inductance is nothing beside its resistance.
    let own_inductance: Option<Henries> = if fault || table.has("inductance") {
        table.quantity("inductance", Demand::Positive)
    } else {
        Some(Henries::ZERO)
    };
    // What is written is the contact's own; the far short has the bus before it.
    let (bus_resistance, bus_inductance) = match closes {
        Some(Closes::FarShort) => bus?,
        _ => (Ohms::ZERO, Henries::ZERO),
    };
    let proof = if fault || table.has("proof") {
        table.word("proof", Proof::WORDS)
    } else {
        Some(Proof::None)
    };
    let bank = if closes == Some(Closes::CapacitorBank) {
        Some(bank(table)?)
    } else {
        None
    };
    let line = |key| {
        table
            .optional_integer(key, 0..=63)
            .and_then(|number| u32::try_from(number).ok())
    };
    let marker_line = line("marker_line");
    let pilot_line = line("pilot_line");
    let bounce = table.quantity_or("bounce", Demand::Within(0.0, 1.0), Seconds::ZERO);
    Some(BranchEntry {
        closer: Closer::Switch(u32::try_from(number?).ok()?),
        closes: closes?,
        resistance: own_resistance? + bus_resistance,
        inductance: own_inductance? + bus_inductance,
        proof: proof?,
        marker_line,
        pilot_line,
        bounce,
        bank,
    })
}

/// The load's own short: no contact that could bounce, and no line of its own.
fn closed_by_load(table: &Table<'_>) -> Option<BranchEntry> {
    const LOAD: &[(&str, Closer)] = &[("load", Closer::Load)];
    let closer = table.word("closed_by", LOAD);
    if table.has("number") {
        table.fault(
            Fault::error(&table.place_of("number"), "the load's short has no number")
                .expected("either `number` or `closed_by`"),
        );
        // It was read, so that it is called unknown no second time.
        table.optional_integer("number", 1..=256);
    }
    let closes = table.word("closes", Closes::WORDS);
    if closes.is_some_and(|closes| closes != Closes::NearShort) {
        table.fault(
            Fault::error(
                &table.place_of("closes"),
                "the load hangs on the node and can short nothing else",
            )
            .expected("\"near short\", or a `number` of the switch"),
        );
    }
    let resistance = table.quantity("resistance", Demand::NotNegative);
    let inductance = table.quantity("inductance", Demand::Positive);
    Some(BranchEntry {
        closer: closer?,
        closes: closes?,
        resistance: resistance?,
        inductance: inductance?,
        proof: Proof::Load,
        marker_line: None,
        pilot_line: None,
        bounce: Seconds::ZERO,
        bank: None,
    })
}

fn bank(table: &Table<'_>) -> Option<BankEntry> {
    let capacitance = table.quantity("capacitance", Demand::Positive);
    let bleeder = table.quantity("bleeder", Demand::Positive);
    let drop = table.quantity_or("drop", Demand::NotNegative, Volts::ZERO);
    Some(BankEntry {
        capacitance: capacitance?,
        bleeder: bleeder?,
        drop,
    })
}

fn upstream(table: &Table<'_>) -> Option<UpstreamEntry> {
    let voltage = table.quantity("voltage", Demand::Positive);
    let resistance = table.quantity("resistance", Demand::Positive);
    let inductance = table.quantity("inductance", Demand::Positive);
    let isolation = table.word("isolation", Isolation::WORDS);
    let trip_current = table.quantity("trip_current", Demand::Positive);
    let trip_time = table.quantity("trip_time", Demand::Positive);
    table.finish();
    Some(UpstreamEntry {
        voltage: voltage?,
        resistance: resistance?,
        inductance: inductance?,
        isolation: isolation?,
        trip_current: trip_current?,
        trip_time: trip_time?,
    })
}

fn envelope(table: &Table<'_>) -> Option<Envelope> {
    let current = table.quantity("current", Demand::Positive);
    let let_through = table.quantity("let_through", Demand::Positive);
    let voltage = table.quantity("voltage", Demand::Positive);
    let energy = table.quantity("energy", Demand::Positive);
    let seconds = table.quantity("seconds", Demand::Positive);
    table.finish();
    Some(Envelope {
        current: current?,
        let_through: let_through?,
        voltage: voltage?,
        energy: energy?,
        seconds: seconds?,
    })
}

/// On the model bench nobody is hurt; on a real one what is missing needs a
/// reason, which each record keeps.
fn safety(root: &Table<'_>, model: bool) -> Safety {
    let table = root.optional_table("safety");
    let safety = table.as_ref().map_or_else(Safety::default, |table| {
        let safety = Safety {
            emergency_stop: table.optional_string("emergency_stop"),
            supply_fuse: table.optional_string("supply_fuse"),
            no_emergency_stop_because: table.optional_string("no_emergency_stop_because"),
            no_supply_fuse_because: table.optional_string("no_supply_fuse_because"),
        };
        table.finish();
        safety
    });
    let place = table.as_ref().map_or(root.place(), Table::place);
    for (key, what, named, reason) in [
        (
            "emergency_stop",
            "emergency stop",
            &safety.emergency_stop,
            &safety.no_emergency_stop_because,
        ),
        (
            "supply_fuse",
            "fuse in the board's supply",
            &safety.supply_fuse,
            &safety.no_supply_fuse_because,
        ),
    ] {
        if model || named.is_some() || reason.is_some() {
            continue;
        }
        root.fault(
            Fault::error(place, format!("no {what} is named on a real bench"))
                .expected(format!(
                    "`{key}` in `[safety]`, saying what it is and what it cuts"
                ))
                .hint(format!(
                    "this program is not a safety device: follow local codes and licensed \
                     practice; `no_{key}_because` with a reason runs without, and each record \
                     keeps the reason"
                )),
        );
    }
    safety
}

/// The model's fixture is what the file states; `[model.fixture]` says where
/// the truth departs from it.
fn model(table: &Table<'_>, bench: &Bench) -> ModelBench {
    let board = table.optional_string("board");
    let mut fixture = stated_fixture(bench);
    if let Some(overrides) = table.optional_table("fixture") {
        for parameter in FIXTURE {
            if parameter.name == "supply_kind" {
                let kind = overrides.optional_word("supply_kind", SupplyKind::WORDS);
                fixture.supply.kind = kind.unwrap_or(fixture.supply.kind);
            } else if let Some(si) =
                overrides.optional_si(parameter.name, parameter.dimension, parameter.demand)
            {
                (parameter.set)(&mut fixture, si);
            }
        }
        overrides.finish();
    }
    table.finish();
    ModelBench { fixture, board }
}
