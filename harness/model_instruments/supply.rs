//! The model supply: open voltage, current limit, output and two meters. It
//! answers no command: see `supply_panel`.

use super::meter::Meter;
use super::ratings::OVER_RANGE;
use super::settings::WorldSettings;
use crate::protocol::{Bounds, UnitOf};

/// The current limit after a reset, in amperes, where its range allows it.
const AT_FIRST: f64 = 1.0;

/// The supply's settings.
#[derive(Clone, Debug)]
pub(super) struct Supply {
    pub(super) voltage: Bounds,
    pub(super) current: Bounds,
    pub(super) volts: f64,
    pub(super) amperes: f64,
    pub(super) output: bool,
    pub(super) voltmeter: Meter,
    pub(super) ammeter: Meter,
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
