//! The model thermometer, its probe on the case of the board's bridge. How the
//! case warms up is the circuit's matter.

use super::meter::{self, Meter};
use super::scene::Scene;
use super::settings::WorldSettings;
use crate::protocol::{CommandTree, Conditions, Device, ErrorCode, Match, Parameters, Response};
use crate::units::Quantity;

/// The end of its range in degrees Celsius; a thermometer's profile states none.
const FULL_SCALE: f64 = 300.0;

/// The thermometer.
#[derive(Clone, Debug)]
pub(super) struct Thermometer {
    meter: Meter,
}

impl Thermometer {
    pub(super) fn new(settings: &WorldSettings) -> Self {
        Self {
            meter: Meter::new(
                0x5b01,
                settings,
                settings.ratings.thermometer,
                (FULL_SCALE, 2),
            ),
        }
    }
}

/// Its own commands.
#[derive(Clone, Copy, Debug)]
pub(super) enum Command {
    Temperature,
}

pub(super) fn tree() -> CommandTree<Command> {
    CommandTree::new(&[("MEASure[:SCALar]:TEMPerature?", Command::Temperature)])
}

/// The thermometer with its hands on the scene.
pub(super) struct Panel<'a>(pub(super) &'a mut Scene);

impl Device for Panel<'_> {
    type Command = Command;

    fn execute(
        &mut self,
        _: Match<Command>,
        mut parameters: Parameters<'_>,
    ) -> Result<Option<Response>, ErrorCode> {
        parameters.end()?;
        let celsius = meter::read_at_end(
            self.0,
            |scene| &mut scene.thermometer.meter,
            |scene| scene.circuit.case_temperature().si(),
        );
        Ok(Some(celsius))
    }

    fn reset(&mut self) {}

    fn conditions(&mut self) -> Conditions {
        Conditions {
            operation: 0,
            questionable: 0,
        }
    }
}
