//! The load's commands, and what each does to settings, circuit and meters. The
//! protection acts by itself, without a command.

use super::entry::{only, setting};
use super::load::{RESISTANCE, WIDTH};
use super::reading;
use super::scene::Scene;
use crate::clock::BenchSpan;
use crate::physics::{Action, LoadMode, Probe};
use crate::protocol::{
    Bounds, CommandTree, Conditions, Device, ErrorCode, Match, Parameters, Response,
};
use crate::units::{Ohms, Seconds};

/// Operation bit: a pulse or a ramp is under way.
const RUNNING: u16 = 8;

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
    Short,
    Shorted,
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
        ("INPut:SHORt:PULSe", Command::Short),
        ("INPut:SHORt?", Command::Shorted),
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
        self.0.load.shorts = false;
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

    fn start_short(&mut self, seconds: f64) -> Result<(), ErrorCode> {
        self.may_start()?;
        let load = &mut self.0.load;
        (load.input, load.pulse, load.shorts) = (true, true, true);
        let mode = LoadMode::Resistance(Ohms::new(load.short_ohms));
        let duration = BenchSpan::from_seconds(Seconds::new(seconds));
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
            self.0.load.shorts = false;
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
            Command::Short => {
                let seconds = only(WIDTH, parameters)?;
                self.start_short(seconds)?;
                return Ok(None);
            }
            _ => parameters.end()?,
        }
        match command.value {
            Command::Input => return Ok(Some(Response::new().boolean(self.0.load.input))),
            Command::Shorted => {
                let shorts = running && self.0.load.shorts;
                return Ok(Some(Response::new().boolean(shorts)));
            }
            Command::MeasureVoltage => {
                let volts = reading::read(self.0, Probe::LoadVoltage, |scene| {
                    &mut scene.load.voltmeter
                });
                return Ok(Some(volts));
            }
            Command::MeasureCurrent => {
                let amperes =
                    reading::read(self.0, Probe::LoadCurrent, |scene| &mut scene.load.ammeter);
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
