//! How each scenario of the catalogue is driven: what is provoked, in which
//! order, and what is captured of it. Nothing here sees a limit or judges.

mod context;
mod hands;
mod idle;
mod inrush;
mod journal;
mod load;
mod loss;
mod overload;
mod reversal;
mod sense;
mod short;
mod signal;
mod soak;
mod supply;

pub use context::context;
pub use hands::{Halt, Hands};
pub use journal::{Ended, Journal, Said, journal};

use crate::observation::Observation;
use crate::plan::{Scenario, Settings};

/// Drives `scenario`.
///
/// # Errors
/// A [`Halt`] when the bench, the interlock or the person stopped it.
pub async fn drive(scenario: &Scenario, hands: &mut Hands<'_>) -> Result<Observation, Halt> {
    match &scenario.settings {
        Settings::Idle(settings) => idle::drive(settings, hands).await,
        Settings::Load(settings) => load::drive(settings, hands).await,
        Settings::Sense(settings) => sense::drive(settings, hands).await,
        Settings::Overload(settings) => overload::drive(settings, hands).await,
        Settings::Short(settings) => short::drive(settings, hands).await,
        Settings::Reversal(settings) => reversal::drive(settings, hands).await,
        Settings::Signal(settings) => signal::drive(settings, hands).await,
        Settings::Loss(settings) => loss::drive(settings, hands).await,
        Settings::Inrush(settings) => inrush::drive(settings, hands).await,
        Settings::Soak(settings) => soak::drive(settings, hands).await,
        Settings::Supply(settings) => supply::drive(settings, hands).await,
    }
}
