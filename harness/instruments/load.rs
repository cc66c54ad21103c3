//! The electronic load: held settings, timed pulses and timed ramps that it
//! ends by itself.

use super::fault::InstrumentError;
use super::session::has_bit;
use super::session::{Measured, Session};
use crate::scenario::intent::LoadSetting;
use crate::template::Argument;
use crate::units::{Amperes, Quantity, Seconds};

/// What a load says of itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LoadCondition {
    /// It saw too high a voltage.
    pub over_voltage: bool,
    /// It saw too high a current.
    pub over_current: bool,
    /// It saw too much power.
    pub over_power: bool,
    /// It is too hot.
    pub over_temperature: bool,
}

impl LoadCondition {
    /// Whether it protected itself.
    pub fn protected(self) -> bool {
        self.over_voltage || self.over_current || self.over_power || self.over_temperature
    }
}

/// An electronic load.
#[derive(Clone, Copy, Debug)]
pub struct Load<'a> {
    session: &'a Session,
}

impl<'a> Load<'a> {
    /// The load behind `session`.
    pub const fn new(session: &'a Session) -> Self {
        Self { session }
    }

    /// Sets value and mode, in this order: where the input is on already, the
    /// mode must not find an old value.
    pub(crate) async fn set(&self, setting: LoadSetting) -> Result<(), InstrumentError> {
        match setting {
            LoadSetting::Current(current) => {
                let amperes = [("amperes", Argument::Number(current.si()))];
                self.session.act("set_current", &amperes).await?;
                // A load that knows no other mode has no word for this one.
                match self.session.profile().command("constant_current") {
                    Some(_) => self.session.act("constant_current", &[]).await,
                    None => Ok(()),
                }
            }
            LoadSetting::Resistance(resistance) => {
                let ohms = [("ohms", Argument::Number(resistance.si()))];
                self.session.act("set_resistance", &ohms).await?;
                self.session.act("constant_resistance", &[]).await
            }
        }
    }

    /// Whether it still says that it is set to `setting`, where its profile can ask.
    ///
    /// # Errors
    /// [`InstrumentError::ReadsBack`] when it is not, or any other of a question.
    pub(crate) async fn keeps(&self, setting: LoadSetting) -> Result<(), InstrumentError> {
        let (command, argument) = match setting {
            LoadSetting::Current(current) => ("set_current", ("amperes", current.si())),
            LoadSetting::Resistance(resistance) => ("set_resistance", ("ohms", resistance.si())),
        };
        let arguments = [(argument.0, Argument::Number(argument.1))];
        self.session.keeps(command, &arguments).await
    }

    /// Switches the input on. Called by the bench on a permit only.
    pub(crate) async fn input_on(&self) -> Result<(), InstrumentError> {
        self.session.act("input_on", &[]).await
    }

    /// Switches the input off.
    pub async fn input_off(&self) -> Result<(), InstrumentError> {
        self.session.act("input_off", &[]).await
    }

    /// Starts a timed pulse. Called by the bench on a permit only.
    pub(crate) async fn pulse(
        &self,
        current: Amperes,
        duration: Seconds,
    ) -> Result<(), InstrumentError> {
        let arguments = [
            ("amperes", Argument::Number(current.si())),
            ("seconds", Argument::Number(duration.si())),
        ];
        self.session.start("pulse", &arguments).await
    }

    /// Starts a timed ramp. Called by the bench on a permit only.
    pub(crate) async fn ramp(
        &self,
        from: Amperes,
        to: Amperes,
        duration: Seconds,
    ) -> Result<(), InstrumentError> {
        let arguments = [
            ("from_amperes", Argument::Number(from.si())),
            ("to_amperes", Argument::Number(to.si())),
            ("seconds", Argument::Number(duration.si())),
        ];
        self.session.start("ramp", &arguments).await
    }

    /// Shorts its input for `duration`. Called by the bench on a permit only.
    pub(crate) async fn short(&self, duration: Seconds) -> Result<(), InstrumentError> {
        let seconds = [("seconds", Argument::Number(duration.si()))];
        self.session.start("short_pulse", &seconds).await
    }

    /// Whether it says that it shorts its input; false where it cannot do that.
    pub async fn shorted(&self) -> Result<bool, InstrumentError> {
        match self.session.profile().command("shorted") {
            Some(_) => self.session.truth("shorted", 0).await,
            None => Ok(false),
        }
    }

    /// Stops a pulse, a ramp or a short; where the instrument has no word for that, switching
    /// its input off is all there is.
    pub async fn stop(&self) -> Result<(), InstrumentError> {
        match self.session.profile().command("stop") {
            Some(_) => self.session.act("stop", &[]).await,
            None => Ok(()),
        }
    }

    /// Whether a pulse, a ramp or a short is running.
    pub async fn running(&self) -> Result<bool, InstrumentError> {
        self.session.running().await
    }

    /// Voltage at its terminals.
    pub async fn measure_voltage(&self) -> Result<Measured, InstrumentError> {
        self.session.measure("measure_voltage").await
    }

    /// Current it draws.
    pub async fn measure_current(&self) -> Result<Measured, InstrumentError> {
        self.session.measure("measure_current").await
    }

    /// What it says of itself.
    pub async fn condition(&self) -> Result<LoadCondition, InstrumentError> {
        if self.session.profile().command("condition").is_none() {
            return Ok(Default::default());
        }
        let bits = self.session.bits("condition").await?;
        let has = |name| has_bit(&self.session.profile().condition, name, bits);
        Ok(LoadCondition {
            over_voltage: has("over_voltage"),
            over_current: has("over_current"),
            over_power: has("over_power"),
            over_temperature: has("over_temperature"),
        })
    }
}
