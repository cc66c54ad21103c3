//! The model thermometer, its probe on the case of the board's bridge or in the air
//! around it. It answers no command: see `thermometer_panel`.

use super::meter::Meter;
use super::settings::WorldSettings;
use crate::bench_file::Probed;
use crate::physics::Circuit;
use crate::units::Quantity as _;

/// The end of its range in degrees Celsius; a thermometer's profile states none.
const FULL_SCALE: f64 = 300.0;

/// The thermometer.
#[derive(Clone, Debug)]
pub(super) struct Thermometer {
    pub(super) meter: Meter,
    probed: Probed,
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
            probed: settings.probed,
        }
    }

    /// What its probe has, in degrees Celsius.
    pub(super) fn probe(&self, circuit: &Circuit) -> f64 {
        match self.probed {
            Probed::HeatSink => circuit.case_temperature().si(),
            Probed::Ambient => circuit.ambient().si(),
        }
    }
}
