//! The model thermometer, its probe on the case of the board's bridge. It
//! answers no command: see `thermometer_panel`.

use super::meter::Meter;
use super::settings::WorldSettings;

/// The end of its range in degrees Celsius; a thermometer's profile states none.
const FULL_SCALE: f64 = 300.0;

/// The thermometer.
#[derive(Clone, Debug)]
pub(super) struct Thermometer {
    pub(super) meter: Meter,
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
