//! The model supply: open voltage, current limit, output and two meters. The
//! limiting itself happens in the circuit.

use super::meter::{self, Meter};
use super::scene::Scene;
use super::settings::WorldSettings;
use crate::physics::{Action, Probe};
use crate::protocol::{
    Bounds, CommandTree, Conditions, Device, ErrorCode, Match, Parameters, Response, UnitOf,
};
use crate::units::{Amperes, Volts};

const VOLTAGE: Bounds = Bounds::new(UnitOf::Volt, 0.0, 32.0, 0.0);
const CURRENT: Bounds = Bounds::new(UnitOf::Ampere, 0.0, 40.0, 1.0);

/// Questionable bit: the output is at its current limit.
const LIMITING: u16 = 2;

/// Meters show a little more than the range.
const OVER_RANGE: f64 = 1.05;

/// The supply's settings.
#[derive(Clone, Debug)]
pub(super) struct Supply {
    volts: f64,
    amperes: f64,
    output: bool,
    voltmeter: Meter,
    ammeter: Meter,
}

impl Supply {
    pub(super) fn new(settings: &WorldSettings) -> Self {
        let [volts, amperes] = settings.supply_meters;
        let meter =
            |key, accuracy, range: f64| Meter::new(key, settings, accuracy, range * OVER_RANGE);
        Self {
            volts: VOLTAGE.default,
            amperes: CURRENT.default,
            output: false,
            voltmeter: meter(0x5501, volts, VOLTAGE.maximum),
            ammeter: meter(0x5502, amperes, CURRENT.maximum),
        }
    }
}

/// The supply's own commands.
#[derive(Clone, Copy, Debug)]
pub(super) enum Command {
    Voltage,
    Current,
    Output,
    MeasureVoltage,
    MeasureCurrent,
}

pub(super) fn tree() -> CommandTree<Command> {
    CommandTree::new(&[
        (
            "[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude][?]",
            Command::Voltage,
        ),
        (
            "[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude][?]",
            Command::Current,
        ),
        ("OUTPut[:STATe][?]", Command::Output),
        ("MEASure[:SCALar]:VOLTage[:DC]?", Command::MeasureVoltage),
        ("MEASure[:SCALar]:CURRent[:DC]?", Command::MeasureCurrent),
    ])
}

/// The supply with its hands on the scene.
pub(super) struct Panel<'a>(pub(super) &'a mut Scene);

impl Panel<'_> {
    fn settle(&mut self) {
        let supply = &self.0.supply;
        self.0.circuit.apply(Action::SupplySetting {
            voltage: Volts::new(supply.volts),
            current_limit: Amperes::new(supply.amperes),
        });
    }

    fn output(&mut self, on: bool) {
        self.0.supply.output = on;
        self.settle();
        self.0.circuit.apply(Action::SupplyOutput(on));
    }
}

/// Answers a query of a setting: its value, or the bound asked for by name.
pub(super) fn setting(
    value: f64,
    bounds: Bounds,
    parameters: &mut Parameters<'_>,
) -> Result<Option<Response>, ErrorCode> {
    let value = match parameters.optional() {
        None => value,
        Some(word) => word.number(bounds)?,
    };
    parameters.end()?;
    Ok(Some(Response::new().scientific(value)))
}

/// Takes the one number of a setting.
pub(super) fn only(bounds: Bounds, parameters: &mut Parameters<'_>) -> Result<f64, ErrorCode> {
    let value = parameters.required()?.number(bounds)?;
    parameters.end()?;
    Ok(value)
}

impl Device for Panel<'_> {
    type Command = Command;

    fn execute(
        &mut self,
        command: Match<Command>,
        mut parameters: Parameters<'_>,
    ) -> Result<Option<Response>, ErrorCode> {
        let parameters = &mut parameters;
        match command.value {
            Command::Voltage if command.query => setting(self.0.supply.volts, VOLTAGE, parameters),
            Command::Current if command.query => {
                setting(self.0.supply.amperes, CURRENT, parameters)
            }
            Command::Voltage => {
                self.0.supply.volts = only(VOLTAGE, parameters)?;
                self.settle();
                Ok(None)
            }
            Command::Current => {
                self.0.supply.amperes = only(CURRENT, parameters)?;
                self.settle();
                Ok(None)
            }
            Command::Output if command.query => {
                parameters.end()?;
                Ok(Some(Response::new().boolean(self.0.supply.output)))
            }
            Command::Output => {
                let on = parameters.required()?.boolean()?;
                parameters.end()?;
                self.output(on);
                Ok(None)
            }
            Command::MeasureVoltage => {
                parameters.end()?;
                let volts = meter::read(self.0, Probe::SupplyVoltage, |scene| {
                    &mut scene.supply.voltmeter
                });
                Ok(Some(Response::new().fixed(volts, 3)))
            }
            Command::MeasureCurrent => {
                parameters.end()?;
                let amperes = meter::read(self.0, Probe::SupplyCurrent, |scene| {
                    &mut scene.supply.ammeter
                });
                Ok(Some(Response::new().fixed(amperes, 3)))
            }
        }
    }

    fn reset(&mut self) {
        self.0.supply.volts = VOLTAGE.default;
        self.0.supply.amperes = CURRENT.default;
        self.output(false);
    }

    fn conditions(&mut self) -> Conditions {
        let limiting = self.0.supply.output && self.0.circuit.supply_is_limiting();
        Conditions {
            operation: 0,
            questionable: if limiting { LIMITING } else { 0 },
        }
    }
}
