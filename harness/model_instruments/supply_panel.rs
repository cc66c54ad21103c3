//! The supply's commands, and what each does to settings, circuit and meters. The
//! limiting itself happens in the circuit.

use super::entry::{only, setting};
use super::reading;
use super::scene::Scene;
use crate::physics::{Action, Probe};
use crate::protocol::{CommandTree, Conditions, Device, ErrorCode, Match, Parameters, Response};
use crate::units::{Amperes, Volts};

/// Questionable bit: the output is at its current limit.
const LIMITING: u16 = 2;

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
                let volts = reading::read(self.0, Probe::SupplyVoltage, |scene| {
                    &mut scene.supply.voltmeter
                });
                Ok(Some(volts))
            }
            Command::MeasureCurrent => {
                parameters.end()?;
                let amperes = reading::read(self.0, Probe::SupplyCurrent, |scene| {
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
