//! The model thermometer, its probe on the case of the board's bridge. How the
//! case warms up is the circuit's matter.

use super::meter::Meter;
use super::scene::Scene;
use super::settings::WorldSettings;
use crate::clock::BenchSpan;
use crate::physics::Probe;
use crate::protocol::{CommandTree, Conditions, Device, ErrorCode, Match, Parameters, Response};
use crate::units::Quantity;

/// How long a reading takes.
const READING: BenchSpan = BenchSpan::from_microseconds(20_000);
/// The end of its range in degrees Celsius.
const FULL_SCALE: f64 = 300.0;

/// The thermometer.
#[derive(Clone, Debug)]
pub(super) struct Thermometer {
    meter: Meter,
}

impl Thermometer {
    pub(super) fn new(settings: &WorldSettings) -> Self {
        // The meter's own probe is not used: it is handed the temperature.
        let probe = Probe::BoardRail;
        let meter = Meter::new(probe, 0x5b01, settings, settings.thermometer, FULL_SCALE);
        Self { meter }
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
        let scene = &mut *self.0;
        let until = scene.circuit.now() + READING;
        scene.advance_to(until);
        let mut meter = scene.thermometer.meter.clone();
        let celsius = meter.shown(scene, scene.circuit.case_temperature().si());
        scene.thermometer.meter = meter;
        Ok(Some(Response::new().fixed(celsius, 2)))
    }

    fn reset(&mut self) {}

    fn conditions(&mut self) -> Conditions {
        Conditions {
            operation: 0,
            questionable: 0,
        }
    }
}
