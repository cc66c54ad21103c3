//! The thermometer's one command. How the case warms up is the circuit's matter.

use super::reading;
use super::scene::Scene;
use crate::protocol::{CommandTree, Conditions, Device, ErrorCode, Match, Parameters, Response};

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
        let celsius = reading::read_at_end(
            self.0,
            |scene| &mut scene.thermometer.meter,
            |scene| scene.thermometer.probe(&scene.circuit),
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
