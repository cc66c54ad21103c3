//! The model load: constant current and resistance, pulses and ramps that end
//! by themselves, two meters, and its own protection. How fast it follows a
//! setting is the circuit's matter.

use super::meter::{self, Meter, drawn_errors, rounded};
use super::ratings::{LoadRating, OVER_RANGE};
use super::scene::Scene;
use super::settings::WorldSettings;
use super::supply::{only, setting};
use crate::clock::{BenchInstant, BenchSpan};
use crate::physics::{Action, Circuit, LoadMode, Probe};
use crate::protocol::{
    Bounds, CommandTree, Conditions, Device, ErrorCode, Match, Parameters, Response, UnitOf,
};
use crate::units::{Amperes, Ohms, Seconds};

const RESISTANCE: Bounds = Bounds::new(UnitOf::Ohm, 0.1, 10_000.0, 10_000.0);
const WIDTH: Bounds = Bounds::new(UnitOf::Second, 1e-4, 1000.0, 0.1);

/// Questionable bits.
const OVER_VOLTAGE: u16 = 1;
const OVER_CURRENT: u16 = 2;
const OVER_POWER: u16 = 8;

/// Operation bit: a pulse or a ramp is under way.
const RUNNING: u16 = 8;

/// How often the protection looks.
const LOOK: BenchSpan = BenchSpan::from_microseconds(1000);

/// How long it must have seen too much, so that the overshoot of the load's
/// own loop does not count.
const PATIENCE: BenchSpan = BenchSpan::from_microseconds(500);

/// The load's settings and what its protection has latched.
#[derive(Clone, Debug)]
pub(super) struct Load {
    current: Bounds,
    /// Where the protection acts, in volts, amperes and watts.
    limits: [(f64, u16); 3],
    /// No source on the bench goes beyond, in volts.
    highest_voltage: f64,
    resistive: bool,
    amperes: f64,
    ohms: f64,
    input: bool,
    pulse_amperes: f64,
    pulse_seconds: f64,
    ramp_from: f64,
    ramp_to: f64,
    ramp_seconds: f64,
    /// A pulse or ramp switches the input off or leaves it on when it ends.
    pulse: bool,
    tripped: u16,
    /// Since when the protection has seen too much.
    over_since: Option<BenchInstant>,
    setting_gain: f64,
    setting_offset: f64,
    setting_step: f64,
    voltmeter: Meter,
    ammeter: Meter,
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
    fn actual(&self, amperes: f64) -> Amperes {
        if amperes <= 0.0 {
            return Amperes::ZERO;
        }
        let stepped = rounded(amperes, self.setting_step);
        Amperes::new((stepped * self.setting_gain + self.setting_offset).max(0.0))
    }

    fn mode(&self) -> LoadMode {
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
        let most = amperes.into_iter().fold(volts / self.ohms, f64::max);
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

/// The load's own commands.
#[derive(Clone, Copy, Debug)]
pub(super) enum Command {
    Mode,
    Current,
    Resistance,
    Input,
    PulseCurrent,
    PulseWidth,
    Pulse,
    RampStart,
    RampStop,
    RampTime,
    Ramp,
    Abort,
    ClearProtection,
    MeasureVoltage,
    MeasureCurrent,
}

pub(super) fn tree() -> CommandTree<Command> {
    CommandTree::new(&[
        ("[SOURce]:FUNCtion:MODE[?]", Command::Mode),
        (
            "[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude][?]",
            Command::Current,
        ),
        (
            "[SOURce]:RESistance[:LEVel][:IMMediate][:AMPLitude][?]",
            Command::Resistance,
        ),
        ("INPut[:STATe][?]", Command::Input),
        (
            "[SOURce]:CURRent[:LEVel]:TRIGgered[:AMPLitude][?]",
            Command::PulseCurrent,
        ),
        ("[SOURce]:PULSe:WIDTh[?]", Command::PulseWidth),
        ("INITiate[:IMMediate]", Command::Pulse),
        ("[SOURce]:CURRent:STARt[?]", Command::RampStart),
        ("[SOURce]:CURRent:STOP[?]", Command::RampStop),
        ("[SOURce]:SWEep:TIME[?]", Command::RampTime),
        ("INITiate:SWEep", Command::Ramp),
        ("ABORt", Command::Abort),
        ("INPut:PROTection:CLEar", Command::ClearProtection),
        ("MEASure[:SCALar]:VOLTage[:DC]?", Command::MeasureVoltage),
        ("MEASure[:SCALar]:CURRent[:DC]?", Command::MeasureCurrent),
    ])
}

/// The load with its hands on the scene.
pub(super) struct Panel<'a>(pub(super) &'a mut Scene);

impl Panel<'_> {
    /// Puts the present settings into the circuit.
    fn settle(&mut self) {
        let mode = self.0.load.mode();
        self.0.circuit.apply(Action::Load(mode));
    }

    fn input(&mut self, on: bool) {
        // Switching on anew is what clears a trip on the front panel too.
        if on {
            self.0.load.tripped = 0;
        }
        self.0.load.input = on;
        self.0.load.pulse = false;
        self.settle();
    }

    /// Refuses a start while something runs or the protection has acted.
    fn may_start(&self) -> Result<(), ErrorCode> {
        if self.0.circuit.load_is_running() {
            return Err(ErrorCode::InitIgnored);
        }
        if self.0.load.tripped != 0 {
            return Err(ErrorCode::SettingsConflict);
        }
        Ok(())
    }

    fn start_pulse(&mut self) -> Result<(), ErrorCode> {
        self.may_start()?;
        let load = &mut self.0.load;
        load.input = true;
        load.pulse = true;
        let mode = LoadMode::Current(load.actual(load.pulse_amperes));
        let duration = BenchSpan::from_seconds(Seconds::new(load.pulse_seconds));
        self.0.circuit.apply(Action::LoadPulse { mode, duration });
        Ok(())
    }

    fn start_ramp(&mut self) -> Result<(), ErrorCode> {
        self.may_start()?;
        let load = &mut self.0.load;
        load.input = true;
        load.resistive = false;
        load.amperes = load.ramp_to;
        let action = Action::LoadRamp {
            from: load.actual(load.ramp_from),
            to: load.actual(load.ramp_to),
            duration: BenchSpan::from_seconds(Seconds::new(load.ramp_seconds)),
        };
        self.0.circuit.apply(action);
        Ok(())
    }

    fn abort(&mut self) {
        if self.0.circuit.load_is_running() {
            self.0.load.pulse = false;
            self.0.load.input = false;
            self.settle();
        }
    }

    fn mode(
        &mut self,
        query: bool,
        parameters: &mut Parameters<'_>,
    ) -> Result<Option<Response>, ErrorCode> {
        if query {
            parameters.end()?;
            let word = if self.0.load.resistive { "RES" } else { "CURR" };
            return Ok(Some(Response::new().word(word)));
        }
        let (index, suffix) = parameters.required()?.choice(&["CURRent", "RESistance"])?;
        parameters.end()?;
        if suffix.is_some() {
            return Err(ErrorCode::InvalidCharacterData);
        }
        if self.0.circuit.load_is_running() {
            return Err(ErrorCode::SettingsConflict);
        }
        self.0.load.resistive = index == 1;
        self.settle();
        Ok(None)
    }

    /// The number a command sets, its bounds, and whether it acts at once.
    fn number(&mut self, command: Command) -> Option<(&mut f64, Bounds, bool)> {
        let load = &mut self.0.load;
        let current = load.current;
        Some(match command {
            Command::Current => (&mut load.amperes, current, true),
            Command::Resistance => (&mut load.ohms, RESISTANCE, true),
            Command::PulseCurrent => (&mut load.pulse_amperes, current, false),
            Command::PulseWidth => (&mut load.pulse_seconds, WIDTH, false),
            Command::RampStart => (&mut load.ramp_from, current, false),
            Command::RampStop => (&mut load.ramp_to, current, false),
            Command::RampTime => (&mut load.ramp_seconds, WIDTH, false),
            _ => return None,
        })
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
        // A setting does not cut into a pulse or a ramp.
        let running = self.0.circuit.load_is_running();
        if let Some((value, bounds, at_once)) = self.number(command.value) {
            if command.query {
                return setting(*value, bounds, parameters);
            }
            let wanted = only(bounds, parameters)?;
            if at_once && running {
                return Err(ErrorCode::SettingsConflict);
            }
            *value = wanted;
            if at_once {
                self.settle();
            }
            return Ok(None);
        }
        match command.value {
            Command::Mode => return self.mode(command.query, parameters),
            Command::Input if !command.query => {
                let on = parameters.required()?.boolean()?;
                parameters.end()?;
                self.input(on);
                return Ok(None);
            }
            _ => parameters.end()?,
        }
        match command.value {
            Command::Input => return Ok(Some(Response::new().boolean(self.0.load.input))),
            Command::MeasureVoltage => {
                let volts = meter::read(self.0, Probe::LoadVoltage, |scene| {
                    &mut scene.load.voltmeter
                });
                return Ok(Some(volts));
            }
            Command::MeasureCurrent => {
                let amperes =
                    meter::read(self.0, Probe::LoadCurrent, |scene| &mut scene.load.ammeter);
                return Ok(Some(amperes));
            }
            Command::Pulse => self.start_pulse()?,
            Command::Ramp => self.start_ramp()?,
            Command::ClearProtection => self.0.load.tripped = 0,
            _ => self.abort(),
        }
        Ok(None)
    }

    fn reset(&mut self) {
        let load = &mut self.0.load;
        load.resistive = false;
        load.amperes = load.current.default;
        load.ohms = RESISTANCE.default;
        load.pulse_amperes = 0.0;
        load.pulse_seconds = WIDTH.default;
        (load.ramp_from, load.ramp_to) = (0.0, 0.0);
        load.ramp_seconds = WIDTH.default;
        load.tripped = 0;
        self.input(false);
    }

    fn conditions(&mut self) -> Conditions {
        let running = self.0.circuit.load_is_running();
        Conditions {
            operation: if running { RUNNING } else { 0 },
            questionable: self.0.load.tripped,
        }
    }
}
