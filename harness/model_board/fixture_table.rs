//! The numeric parameters of the fixture by name, so that text reaches them as
//! data. It reads no text.

use super::fixture::{FixtureParameters, SupplyKind};
use super::table::{Parameter, field, word};
use crate::document::Demand::{self, NotNegative, Positive, Within};
use crate::units::{Dimension, Quantity};

/// The parameters of the fixture.
pub static FIXTURE: &[Parameter<FixtureParameters>] = &[
    field!("supply_resistance", Resistance, Positive, supply_resistance),
    field!("lead_resistance", Resistance, Positive, lead_resistance),
    field!("lead_inductance", Inductance, Positive, lead_inductance),
    field!("bleeder", Resistance, Positive, bleeder),
    field!(
        "snubber_resistance",
        Resistance,
        Positive,
        snubber_resistance
    ),
    field!(
        "snubber_capacitance",
        Capacitance,
        Positive,
        snubber_capacitance
    ),
    word!("supply_kind", SupplyKind, supply.kind),
    field!("supply_own_limit", Current, Positive, supply.own_limit),
    field!(
        "foldback_current",
        Current,
        Positive,
        supply.foldback_current
    ),
    field!("hiccup_on", Time, Positive, supply.hiccup_on),
    field!("hiccup_off", Time, Positive, supply.hiccup_off),
    field!("ambient", Temperature, Within(-40.0, 85.0), ambient),
    field!("rectifier_drop", Voltage, NotNegative, rectifier_drop),
    field!(
        "rectifier_resistance",
        Resistance,
        Positive,
        rectifier_resistance
    ),
    field!("load_capacitance", Capacitance, Positive, load_capacitance),
    field!("load_saturation", Resistance, Positive, load_saturation),
    field!("load_response", Time, Positive, load_response),
    field!("load_ceiling", Current, Positive, load_ceiling),
    field!("load_slew", CurrentSlew, Positive, load_slew),
    field!("bank_capacitance", Capacitance, Positive, bank.capacitance),
    field!("bank_resistance", Resistance, Positive, bank.resistance),
    field!("bank_bleeder", Resistance, Positive, bank.bleeder),
    field!("bank_drop", Voltage, NotNegative, bank.drop),
    field!("resistor_bank", Resistance, Positive, resistor),
    field!("near_resistance", Resistance, Positive, near.resistance),
    field!("near_inductance", Inductance, Positive, near.inductance),
    field!("far_resistance", Resistance, Positive, far.resistance),
    field!("far_inductance", Inductance, Positive, far.inductance),
    field!("upstream_voltage", Voltage, Positive, upstream.voltage),
    field!(
        "upstream_resistance",
        Resistance,
        Positive,
        upstream.branch.resistance
    ),
    field!(
        "upstream_inductance",
        Inductance,
        Positive,
        upstream.branch.inductance
    ),
    field!(
        "upstream_trip_current",
        Current,
        Positive,
        upstream.trip_current
    ),
    field!("upstream_trip_time", Time, Positive, upstream.trip_time),
    field!("bounce_at", Time, NotNegative, bounce_at),
    field!("bounce_for", Time, NotNegative, bounce_for),
    field!(
        "instrument_errors",
        Ratio,
        Within(0.0, 1.0),
        instrument_errors
    ),
    field!(
        "instrument_noise",
        Ratio,
        Within(0.0, 100.0),
        instrument_noise
    ),
];
