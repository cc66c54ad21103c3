//! Wiring and channels of a bench file: resistances, the sensor, and what the
//! capture device sees. How they must fit together is checked in `sound`.

use super::Conductor;
use super::parts::*;
use crate::document::{Demand, Fault, Kind, Table};
use crate::units::{Dimension, Henries, Ohms, Quantity, Ratio, Volts, parse_si};

pub(super) fn wiring(table: &Table<'_>) -> Option<Wiring> {
    let supply_resistance = table.quantity("supply_resistance", Demand::NotNegative);
    let lead_resistance = table.quantity("lead_resistance", Demand::Positive);
    let lead_inductance = table.quantity("lead_inductance", Demand::Positive);
    let bus_resistance = bus_resistance(table);
    let bus_inductance = table.quantity_or("bus_inductance", Demand::NotNegative, Henries::ZERO);
    let rectifier_drop = table.quantity_or("rectifier_drop", Demand::NotNegative, Volts::ZERO);
    let bleeder = table.quantity("bleeder", Demand::Positive);
    let sensor = table.table("sensor").and_then(|t| sensor(&t));
    table.finish();
    let (lead, sensor) = (lead_resistance?, sensor?);
    if sensor.resistance > lead {
        table.fault(
            Fault::error(
                &table.place_of("lead_resistance"),
                "the leads with the sensor have less resistance than the sensor alone",
            )
            .expected(format!("{} or more", sensor.resistance)),
        );
    }
    Some(Wiring {
        supply_resistance: supply_resistance?,
        lead_resistance: lead,
        lead_inductance: lead_inductance?,
        bus_resistance: bus_resistance?,
        bus_inductance,
        sensor,
        rectifier_drop,
        bleeder: bleeder?,
    })
}

/// The bus's loop resistance: stated, or from its length and conductor, or
/// zero where there is no bus.
fn bus_resistance(table: &Table<'_>) -> Option<Ohms> {
    let stated: Option<Ohms> = table.optional_quantity("bus_resistance", Demand::NotNegative);
    let stated_written = table.has("bus_resistance");
    let Some(bus) = table.optional_table("bus") else {
        return match (stated_written, table.has("bus")) {
            (true, _) => stated,
            (false, false) => Some(Ohms::ZERO),
            (false, true) => None,
        };
    };
    let metres = bus
        .take("metres")
        .and_then(|node| bus.si_in(node, Dimension::Ratio, Demand::Within(0.01, 1000.0)));
    if !bus.has("metres") {
        bus.missing("metres", "the length of the bus in metres, a number");
    }
    let conductor: Option<Conductor> = bus.parsed(
        "conductor",
        "\"AWG 14\" or \"1.5 mm2\" (IEC 60228, class 5)",
    );
    bus.finish();
    if stated_written {
        bus.fault(
            Fault::error(
                bus.place(),
                "the bus resistance is stated and follows from the length as well",
            )
            .expected("either `bus_resistance` or `bus`"),
        );
        return None;
    }
    Some(conductor?.loop_resistance(metres?))
}

fn sensor(table: &Table<'_>) -> Option<CurrentSensor> {
    let scale: Option<Ohms> = table.quantity("scale", Demand::Positive);
    let uncertainty = table.quantity("uncertainty", Demand::Within(0.0, 0.2));
    let resistance: Option<Ohms> = table.optional_quantity("resistance", Demand::NotNegative);
    table.finish();
    let scale = scale?;
    Some(CurrentSensor {
        scale,
        uncertainty: uncertainty?,
        resistance: resistance.unwrap_or(scale),
    })
}

pub(super) fn channel(table: &Table<'_>, sensor: Option<CurrentSensor>) -> Option<Channel> {
    let number = table.integer("number", 1..=64);
    let measures = table.word("measures", Measures::WORDS);
    let reference = table.word("reference", Reference::WORDS);
    let current = measures.is_some_and(Measures::is_current);
    let scale = scale(table, measures, sensor);
    let own = measures == Some(Measures::OutputCurrent);
    let uncertainty: Option<Ratio> =
        table.optional_quantity("uncertainty", Demand::Within(0.0, 0.2));
    if !table.has("uncertainty") && !own {
        table.missing(
            "uncertainty",
            "the scale's relative standard uncertainty, such as \"0.5 %\"",
        );
    }
    let dimension = if current {
        Dimension::Current
    } else {
        Dimension::Voltage
    };
    let range = table.optional_si("range", dimension, Demand::Positive);
    if !table.has("range") {
        table.missing(
            "range",
            &format!(
                "the largest {} it shows",
                if current { "current" } else { "voltage" }
            ),
        );
    }
    Some(Channel {
        number: u32::try_from(number?).ok()?,
        measures: measures?,
        reference: reference?,
        scale: scale?,
        uncertainty: match uncertainty {
            Some(uncertainty) => uncertainty,
            None if own => sensor?.uncertainty,
            None => return None,
        },
        range: range?,
    })
}

/// Volts at the input for one unit of what is measured: `"0.1 V/V"` for a
/// voltage, a resistance (volts per ampere) for a current.
fn scale(
    table: &Table<'_>,
    measures: Option<Measures>,
    sensor: Option<CurrentSensor>,
) -> Option<f64> {
    let measures = measures.or_else(|| {
        table.take("scale");
        None
    })?;
    let expected = if measures.is_current() {
        "volts per ampere such as \"0.05 ohm\""
    } else {
        "volts per volt such as \"0.1 V/V\""
    };
    let Some(node) = table.take("scale") else {
        if measures == Measures::OutputCurrent {
            return Some(sensor?.scale.si());
        }
        table.missing("scale", expected);
        return None;
    };
    let refuse = |message: String| {
        table.fault(Fault::error(&node.place, message).expected(expected));
        None
    };
    let Kind::String(text) = &node.kind else {
        return refuse(format!("this is {}", node.kind.noun()));
    };
    let parsed = if measures.is_current() {
        let plain = text
            .strip_suffix("V/A")
            .map(|number| format!("{number}ohm"));
        parse_si(plain.as_deref().unwrap_or(text), Dimension::Resistance)
    } else {
        match text.strip_suffix("V/V") {
            Some(number) => parse_si(number, Dimension::Ratio),
            None => return refuse("this is not a ratio of voltages".to_owned()),
        }
    };
    match parsed {
        Ok(scale) if scale > 0.0 => Some(scale),
        Ok(_) => refuse("a scale is more than zero".to_owned()),
        Err(unit) => refuse(unit.to_string()),
    }
}

pub(super) fn logic_line(table: &Table<'_>) -> Option<LogicLine> {
    let number = table.integer("number", 0..=63);
    let carries = table.word("carries", Carries::WORDS);
    Some(LogicLine {
        number: u32::try_from(number?).ok()?,
        carries: carries?,
    })
}
