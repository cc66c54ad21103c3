//! The model load: constant current and resistance, pulses and ramps that end
//! by themselves, two meters, and its own protection. It answers no command, and
//! how fast it follows a setting is the circuit's matter.

use super::meter::{Meter, drawn_errors, rounded};
use super::ratings::{LoadRating, OVER_RANGE};
use super::settings::WorldSettings;
use crate::clock::{BenchInstant, BenchSpan};
use crate::physics::{Action, Circuit, LoadMode, Probe};
use crate::protocol::{Bounds, UnitOf};
use crate::units::{Amperes, Ohms};

pub(super) const RESISTANCE: Bounds = Bounds::new(UnitOf::Ohm, 0.1, 10_000.0, 10_000.0);
pub(super) const WIDTH: Bounds = Bounds::new(UnitOf::Second, 1e-4, 1000.0, 0.1);

/// Questionable bits.
const OVER_VOLTAGE: u16 = 1;
const OVER_CURRENT: u16 = 2;
const OVER_POWER: u16 = 8;

/// How often the protection looks.
const LOOK: BenchSpan = BenchSpan::from_microseconds(1000);

/// How long it must have seen too much, so that the overshoot of the load's
/// own loop does not count.
const PATIENCE: BenchSpan = BenchSpan::from_microseconds(500);

/// The load's settings and what its protection has latched.
#[derive(Clone, Debug)]
pub(super) struct Load {
    pub(super) current: Bounds,
    /// Where the protection acts, in volts, amperes and watts.
    pub(super) limits: [(f64, u16); 3],
    /// No source on the bench goes beyond, in volts.
    pub(super) highest_voltage: f64,
    pub(super) resistive: bool,
    pub(super) amperes: f64,
    pub(super) ohms: f64,
    pub(super) input: bool,
    pub(super) pulse_amperes: f64,
    pub(super) pulse_seconds: f64,
    pub(super) ramp_from: f64,
    pub(super) ramp_to: f64,
    pub(super) ramp_seconds: f64,
    /// A pulse or ramp switches the input off or leaves it on when it ends.
    pub(super) pulse: bool,
    /// The pulse is a short of the input, and what that has then.
    pub(super) shorts: bool,
    pub(super) short_ohms: f64,
    pub(super) tripped: u16,
    /// Since when the protection has seen too much.
    pub(super) over_since: Option<BenchInstant>,
    pub(super) setting_gain: f64,
    pub(super) setting_offset: f64,
    pub(super) setting_step: f64,
    pub(super) voltmeter: Meter,
    pub(super) ammeter: Meter,
}

impl Load {
    pub(super) fn new(settings: &WorldSettings) -> Self {
        let rating = settings.ratings.load;
        let meter =
            |key, accuracy, full_scale| Meter::new(key, settings, accuracy, (full_scale, 3));
        let (setting_gain, setting_offset) = drawn_errors(settings, 0x1003, rating.setting);
        let limits = limits(&rating);
        Self {
            current: Bounds::new(UnitOf::Ampere, 0.0, rating.current, 0.0),
            limits,
            highest_voltage: settings.highest_voltage,
            resistive: false,
            amperes: 0.0,
            ohms: RESISTANCE.default,
            input: false,
            pulse_amperes: 0.0,
            pulse_seconds: WIDTH.default,
            ramp_from: 0.0,
            ramp_to: 0.0,
            ramp_seconds: WIDTH.default,
            pulse: false,
            shorts: false,
            short_ohms: settings.short_resistance,
            tripped: 0,
            over_since: None,
            setting_gain,
            setting_offset,
            setting_step: rating.setting.resolution,
            voltmeter: meter(0x1001, rating.voltmeter, limits[0].0),
            ammeter: meter(0x1002, rating.ammeter, limits[1].0),
        }
    }

    /// What really flows for a setting; nothing for nothing.
    pub(super) fn actual(&self, amperes: f64) -> Amperes {
        if amperes <= 0.0 {
            return Amperes::ZERO;
        }
        let stepped = rounded(amperes, self.setting_step);
        Amperes::new((stepped * self.setting_gain + self.setting_offset).max(0.0))
    }

    pub(super) fn mode(&self) -> LoadMode {
        match (self.input, self.resistive) {
            (false, _) => LoadMode::Off,
            (true, true) => LoadMode::Resistance(Ohms::new(self.ohms)),
            (true, false) => LoadMode::Current(self.actual(self.amperes)),
        }
    }

    /// When the protection must look next, if it could have to act at all.
    pub(super) fn next_look(&self, now: BenchInstant) -> Option<BenchInstant> {
        let amperes = [
            self.amperes,
            self.pulse_amperes,
            self.ramp_from,
            self.ramp_to,
        ];
        let volts = self.highest_voltage;
        let ohms = if self.shorts {
            self.short_ohms
        } else {
            self.ohms
        };
        let most = amperes.into_iter().fold(volts / ohms, f64::max);
        let [most_volts, most_amperes, most_watts] = self.limits.map(|(limit, _)| limit);
        let worth = most * volts > most_watts
            || most > most_amperes
            || volts > most_volts
            || self.over_since.is_some();
        (self.input && worth).then_some(now + LOOK)
    }

    /// Follows the end of a pulse, and protects.
    pub(super) fn look(&mut self, circuit: &mut Circuit) {
        if self.pulse && !circuit.load_is_running() {
            self.pulse = false;
            self.shorts = false;
            self.input = false;
        }
        if !self.input {
            return;
        }
        let volts = circuit.probe(Probe::LoadVoltage).abs();
        let amperes = circuit.probe(Probe::LoadCurrent).abs();
        let over = [volts, amperes, volts * amperes]
            .into_iter()
            .zip(self.limits)
            .filter(|(value, (limit, _))| value > limit)
            .fold(0, |bits, (_, (_, bit))| bits | bit);
        if over == 0 {
            self.over_since = None;
            return;
        }
        let since = *self.over_since.get_or_insert(circuit.now());
        if circuit.now() - since >= PATIENCE {
            self.over_since = None;
            self.tripped |= over;
            self.pulse = false;
            self.shorts = false;
            self.input = false;
            circuit.apply(Action::Load(LoadMode::Off));
        }
    }
}

/// The rating and a twentieth.
fn limits(rating: &LoadRating) -> [(f64, u16); 3] {
    [
        (rating.voltage * OVER_RANGE, OVER_VOLTAGE),
        (rating.current * OVER_RANGE, OVER_CURRENT),
        (rating.power * OVER_RANGE, OVER_POWER),
    ]
}
