//! The supply that feeds the board. What it may be set to is the interlock's
//! business.

use super::fault::InstrumentError;
use super::session::{Measured, Session};
use crate::template::Argument;
use crate::units::{Amperes, Quantity, Volts};

/// What a supply says of itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SupplyCondition {
    /// It limits its current.
    pub current_limiting: bool,
    /// It saw too high a voltage.
    pub over_voltage: bool,
    /// It is too hot.
    pub over_temperature: bool,
}

impl SupplyCondition {
    /// Whether it protects itself or limits, so that what the board does is
    /// not the board's own.
    pub fn protected(self) -> bool {
        self.current_limiting || self.over_voltage || self.over_temperature
    }
}

/// A programmable supply.
#[derive(Clone, Copy, Debug)]
pub struct Supply<'a> {
    session: &'a Session,
}

impl<'a> Supply<'a> {
    /// The supply behind `session`.
    pub const fn new(session: &'a Session) -> Self {
        Self { session }
    }

    /// Sets the voltage.
    pub(crate) async fn set_voltage(&self, volts: Volts) -> Result<(), InstrumentError> {
        let volts = [("volts", Argument::Number(volts.si()))];
        self.session.act("set_voltage", &volts).await
    }

    /// Sets the current limit.
    pub(crate) async fn set_current_limit(&self, limit: Amperes) -> Result<(), InstrumentError> {
        let amperes = [("amperes", Argument::Number(limit.si()))];
        self.session.act("set_current_limit", &amperes).await
    }

    /// Switches the output on. Called by the bench on a permit only.
    pub(crate) async fn output_on(&self) -> Result<(), InstrumentError> {
        self.session.act("output_on", &[]).await
    }

    /// Switches the output off.
    pub async fn output_off(&self) -> Result<(), InstrumentError> {
        self.session.act("output_off", &[]).await
    }

    /// Voltage at its terminals.
    pub async fn measure_voltage(&self) -> Result<Measured, InstrumentError> {
        self.session.measure("measure_voltage").await
    }

    /// Current it delivers.
    pub async fn measure_current(&self) -> Result<Measured, InstrumentError> {
        self.session.measure("measure_current").await
    }

    /// The voltage that it says it is set to, where its profile can ask and it says
    /// a number.
    pub async fn voltage_setting(&self) -> Result<Option<Volts>, InstrumentError> {
        Ok(self
            .setting("voltage_setting")
            .await?
            .and_then(Volts::from_si))
    }

    /// The current that it says it is limited to, likewise.
    pub async fn limit_setting(&self) -> Result<Option<Amperes>, InstrumentError> {
        Ok(self
            .setting("limit_setting")
            .await?
            .and_then(Amperes::from_si))
    }

    async fn setting(&self, command: &'static str) -> Result<Option<f64>, InstrumentError> {
        if self.session.profile().command(command).is_none() {
            return Ok(None);
        }
        Ok(self.session.number(command, &[]).await?.value())
    }

    /// What it says of itself.
    pub async fn condition(&self) -> Result<SupplyCondition, InstrumentError> {
        if self.session.profile().command("condition").is_none() {
            return Ok(Default::default());
        }
        let bits = self.session.bits("condition").await?;
        let has = |name| super::session::has_bit(&self.session.profile().condition, name, bits);
        Ok(SupplyCondition {
            current_limiting: has("current_limiting"),
            over_voltage: has("over_voltage"),
            over_temperature: has("over_temperature"),
        })
    }
}
