//! Parameters that describe no circuit. It judges numbers one by one and never
//! whether a board is good: a bad board is a verdict.

use crate::model_board::{BoardParameters, FixtureParameters};
use crate::units::Quantity;

/// Why a circuit cannot be built: the author of the model board or fixture
/// wrote a number that means nothing.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PhysicsFault {
    /// A parameter is out of its meaningful range.
    #[error("{parameter} is {value} in SI units, but must be {expected}")]
    Parameter {
        /// Its name in the parameter tables.
        parameter: &'static str,
        /// What it must be.
        expected: &'static str,
        /// What it is.
        value: f64,
    },
}

fn require(
    sound: bool,
    parameter: &'static str,
    expected: &'static str,
    value: f64,
) -> Result<(), PhysicsFault> {
    if sound {
        Ok(())
    } else {
        Err(PhysicsFault::Parameter {
            parameter,
            expected,
            value,
        })
    }
}

fn positive(parameter: &'static str, value: impl Quantity) -> Result<(), PhysicsFault> {
    require(value.si() > 0.0, parameter, "above zero", value.si())
}

fn not_negative(parameter: &'static str, value: impl Quantity) -> Result<(), PhysicsFault> {
    require(value.si() >= 0.0, parameter, "zero or more", value.si())
}

/// Refuses a board that no equation can describe.
pub(super) fn check_board(board: &BoardParameters) -> Result<(), PhysicsFault> {
    positive("bulk_capacitance", board.bulk_capacitance)?;
    not_negative("bulk_resistance", board.bulk_resistance)?;
    not_negative("switch_resistance", board.switch_resistance)?;
    if let Some(leakage) = board.leakage_resistance {
        positive("leakage_resistance", leakage)?;
    }
    not_negative("diode_drop", board.diode_drop)?;
    not_negative("diode_resistance", board.diode_resistance)?;
    for (name, time) in [
        ("dead_time", board.dead_time),
        ("delay_rising", board.delay_rising),
        ("delay_falling", board.delay_falling),
        ("trip_debounce", board.trip_debounce),
    ] {
        not_negative(name, time)?;
        require(time.si() <= 10.0, name, "at most 10 s", time.si())?;
    }
    not_negative("output_resistance", board.output_resistance)?;
    not_negative("output_inductance", board.output_inductance)?;
    not_negative("quiescent_current", board.quiescent_current)?;
    positive("sense_gain", board.sense_gain)?;
    positive("sense_filter", board.sense_filter)?;
    positive("converter_reference", board.converter_reference)?;
    require(
        (1..=24).contains(&board.converter_bits),
        "converter_bits",
        "from 1 to 24",
        f64::from(board.converter_bits),
    )?;
    positive("trip_current", board.trip_current)?;
    positive("retry_interval", board.retry_interval)?;
    not_negative("under_voltage", board.under_voltage)?;
    not_negative("thermal_rise_per_watt", board.thermal_rise_per_watt)?;
    positive("thermal_time_constant", board.thermal_time_constant)?;
    positive("junction_rise_per_watt", board.junction_rise_per_watt)?;
    positive("junction_time_constant", board.junction_time_constant)?;
    not_negative("trip_polled_period", board.trip_polled_period)?;
    not_negative("converter_noise", board.converter_noise)?;
    let backoff = board.retry_backoff.si();
    require(
        (1.0..=10.0).contains(&backoff),
        "retry_backoff",
        "from 1 to 10",
        backoff,
    )?;
    if let Some(reversing) = board.reversing {
        positive("reversing.current", reversing.current)?;
        not_negative("reversing.debounce", reversing.debounce)?;
        not_negative("reversing.hold_off", reversing.hold_off)?;
    }
    Ok(())
}

/// The node must be slower than the picoseconds in which a rectifier on it can
/// open and close: L G of every loop there against the node's conductance.
fn not_too_stiff(fixture: &FixtureParameters, board: &BoardParameters) -> Result<(), PhysicsFault> {
    /// A rectifier with more drop than this never conducts.
    const NEVER: f64 = 1e3;
    const SHORTEST: f64 = 100e-12;
    if fixture.rectifier_drop.si() >= NEVER {
        return Ok(());
    }
    let conductance = 1.0 / fixture.bleeder.si() + 1.0 / fixture.snubber_resistance.si();
    let output = board.output_inductance + fixture.lead_inductance;
    for (parameter, inductance) in [
        ("output_inductance + lead_inductance", output),
        ("near.inductance", fixture.near.inductance),
        ("far.inductance", fixture.far.inductance),
        (
            "upstream.branch.inductance",
            fixture.upstream.branch.inductance,
        ),
    ] {
        let time = inductance.si() * conductance;
        let expected = "enough for 100 ps with the node's conductance (bleeder and snubber)";
        require(time >= SHORTEST, parameter, expected, inductance.si())?;
    }
    Ok(())
}

/// Refuses a fixture that no equation can describe.
pub(super) fn check_fixture(
    fixture: &FixtureParameters,
    board: &BoardParameters,
) -> Result<(), PhysicsFault> {
    positive("supply_resistance", fixture.supply_resistance)?;
    not_negative("lead_resistance", fixture.lead_resistance)?;
    not_negative("lead_inductance", fixture.lead_inductance)?;
    positive(
        "output_inductance + lead_inductance",
        board.output_inductance + fixture.lead_inductance,
    )?;
    positive("bleeder", fixture.bleeder)?;
    positive("snubber_resistance", fixture.snubber_resistance)?;
    positive("snubber_capacitance", fixture.snubber_capacitance)?;
    not_negative("rectifier_drop", fixture.rectifier_drop)?;
    positive("rectifier_resistance", fixture.rectifier_resistance)?;
    positive("load_capacitance", fixture.load_capacitance)?;
    positive("load_saturation", fixture.load_saturation)?;
    positive("load_response", fixture.load_response)?;
    positive("load_ceiling", fixture.load_ceiling)?;
    positive("supply_own_limit", fixture.supply.own_limit)?;
    positive("foldback_current", fixture.supply.foldback_current)?;
    positive("hiccup_on", fixture.supply.hiccup_on)?;
    positive("hiccup_off", fixture.supply.hiccup_off)?;
    positive("bank_capacitance", fixture.bank.capacitance)?;
    positive("bank_resistance", fixture.bank.resistance)?;
    positive("bank_bleeder", fixture.bank.bleeder)?;
    not_negative("bank_drop", fixture.bank.drop)?;
    positive("resistor_bank", fixture.resistor)?;
    positive("load_slew", fixture.load_slew)?;
    for (resistance, inductance, branch) in [
        ("near.resistance", "near.inductance", fixture.near),
        ("far.resistance", "far.inductance", fixture.far),
        (
            "upstream.branch.resistance",
            "upstream.branch.inductance",
            fixture.upstream.branch,
        ),
    ] {
        not_negative(resistance, branch.resistance)?;
        positive(inductance, branch.inductance)?;
    }
    not_too_stiff(fixture, board)?;
    not_negative("upstream.voltage", fixture.upstream.voltage)?;
    positive("upstream.trip_current", fixture.upstream.trip_current)?;
    not_negative("upstream.trip_time", fixture.upstream.trip_time)?;
    not_negative("bounce_at", fixture.bounce_at)?;
    not_negative("bounce_for", fixture.bounce_for)?;
    Ok(())
}
