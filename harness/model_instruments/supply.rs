//! The model supply: open voltage, current limit, output and two meters. The
//! limiting itself happens in the circuit.

use super::meter::{self, Meter};
use super::ratings::OVER_RANGE;
use super::scene::Scene;
use super::settings::WorldSettings;
use crate::physics::{Action, Probe};
use crate::protocol::{
    Bounds, CommandTree, Conditions, Device, ErrorCode, Match, Parameters, Response, UnitOf,
};
use crate::units::{Amperes, Volts};

/// The current limit after a reset, in amperes, where its range allows it.
const AT_FIRST: f64 = 1.0;

/// Questionable bit: the output is at its current limit.
const LIMITING: u16 = 2;

/// The supply's settings.
#[derive(Clone, Debug)]
pub(super) struct Supply {
    voltage: Bounds,
    current: Bounds,
    volts: f64,
    amperes: f64,
    output: bool,
    voltmeter: Meter,
    ammeter: Meter,
}

impl Supply {
    pub(super) fn new(settings: &WorldSettings) -> Self {
        let rating = settings.ratings.supply;
        let meter = |key, accuracy, range: f64| {
            Meter::new(key, settings, accuracy, (range * OVER_RANGE, 3))
        };
        let at_first = AT_FIRST.min(rating.current);
        let voltage = Bounds::new(UnitOf::Volt, 0.0, rating.voltage, 0.0);
        let current = Bounds::new(UnitOf::Ampere, 0.0, rating.current, at_first);
        Self {
            volts: voltage.default,
            amperes: current.default,
            output: false,
            voltmeter: meter(0x5501, rating.voltmeter, rating.voltage),
            ammeter: meter(0x5502, rating.ammeter, rating.current),
            voltage,
            current,
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
        let supply = &mut self.0.supply;
        match command.value {
            Command::Voltage if command.query => setting(supply.volts, supply.voltage, parameters),
            Command::Current if command.query => {
                setting(supply.amperes, supply.current, parameters)
            }
            Command::Voltage => {
                supply.volts = only(supply.voltage, parameters)?;
                self.settle();
                Ok(None)
            }
            Command::Current => {
                supply.amperes = only(supply.current, parameters)?;
                self.settle();
                Ok(None)
            }
            Command::Output if command.query => {
                parameters.end()?;
                Ok(Some(Response::new().boolean(supply.output)))
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
                Ok(Some(volts))
            }
            Command::MeasureCurrent => {
                parameters.end()?;
                let amperes = meter::read(self.0, Probe::SupplyCurrent, |scene| {
                    &mut scene.supply.ammeter
                });
                Ok(Some(amperes))
            }
        }
    }

    fn reset(&mut self) {
        let supply = &mut self.0.supply;
        supply.volts = supply.voltage.default;
        supply.amperes = supply.current.default;
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
