//! The thermometer. Where its probe is, and what its reading means there, is not
//! known here.

use super::fault::InstrumentError;
use super::session::{Measured, Session};

/// A thermometer.
#[derive(Clone, Copy, Debug)]
pub struct Thermometer<'a> {
    session: &'a Session,
}

impl<'a> Thermometer<'a> {
    /// The thermometer behind `session`.
    pub const fn new(session: &'a Session) -> Self {
        Self { session }
    }

    /// Temperature at its probe, in degrees Celsius.
    pub async fn temperature(&self) -> Result<Measured, InstrumentError> {
        self.session.measure("measure_temperature").await
    }
}
