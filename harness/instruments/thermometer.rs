//! The thermometer at the board's heat sink. What its reading means for the
//! junction is not known here.

use super::fault::InstrumentError;
use super::session::{Measured, Session};

/// A thermometer.
#[derive(Clone, Debug)]
pub struct Thermometer {
    pub(crate) session: Session,
}

impl Thermometer {
    /// The thermometer behind `session`.
    pub fn new(session: Session) -> Self {
        Self { session }
    }

    /// Temperature at its probe, in degrees Celsius.
    pub async fn temperature(&self) -> Result<Measured, InstrumentError> {
        self.session.measure("measure_temperature").await
    }
}
