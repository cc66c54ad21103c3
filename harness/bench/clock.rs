//! Waiting for the bench: on a real bench it sleeps, on the model bench it lets
//! bench time pass, exactly and at once. Deadlines for bytes are not here.

use super::fault::BenchError;
use crate::clock::{BenchInstant, BenchSpan};
use crate::model_bench::ModelTime;
use crate::units::{Quantity, Seconds};
use std::time::Duration;
use tokio::time::Instant;

pub use crate::scenario::session::LONGEST_WAIT;

/// The bench clock.
pub struct BenchClock {
    time: Time,
}

enum Time {
    Model(ModelTime),
    Real { started: Instant },
}

impl BenchClock {
    /// The clock of a model bench.
    pub fn model(time: ModelTime) -> Self {
        Self {
            time: Time::Model(time),
        }
    }

    /// The clock of a real bench, which starts now.
    pub fn real() -> Self {
        Self {
            time: Time::Real {
                started: Instant::now(),
            },
        }
    }

    /// The present bench time.
    pub fn now(&self) -> BenchInstant {
        match &self.time {
            Time::Model(time) => time.now(),
            Time::Real { started } => {
                let elapsed = Seconds::new(started.elapsed().as_secs_f64());
                BenchInstant::ZERO + BenchSpan::from_seconds(elapsed)
            }
        }
    }

    /// Waits for `time`.
    ///
    /// # Errors
    /// [`BenchError::Wait`] when it is negative or beyond [`LONGEST_WAIT`].
    pub async fn wait(&self, time: Seconds) -> Result<(), BenchError> {
        if time < Seconds::ZERO || time > LONGEST_WAIT {
            return Err(BenchError::Wait(time));
        }
        match &self.time {
            Time::Model(model) => model.advance(BenchSpan::from_seconds(time)),
            Time::Real { .. } => tokio::time::sleep(Duration::from_secs_f64(time.si())).await,
        }
        Ok(())
    }
}
