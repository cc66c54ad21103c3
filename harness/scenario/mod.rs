//! Scenarios: a room each, with everything about one procedure in it. A room
//! holds its metrics and their definitions, its settings, what it sees, how it
//! is driven and how that is evaluated. No limit is judged here, and no
//! instrument is known: a drive asks a [`BenchSession`].
//!
//! A scenario is added by its room, its `mod` line here and its line in `list`.

pub mod acquisition;
mod ammeters;
mod board;
mod connection;
mod context;
pub mod curve;
mod demands;
mod fault;
mod figure;
mod influence;
pub mod intent;
mod levels;
mod list;
mod loops;
mod phase;
mod requirements;
mod room;
mod routine;
pub mod session;
mod sheet;
mod still_loaded;
mod stimulus;
mod take;
mod terms;
mod wire;
mod witness;

pub mod idle;
pub mod inrush;
pub mod load;
pub mod loss;
pub mod overload;
pub mod reversal;
pub mod sense;
pub mod short;
pub mod signal;
pub mod soak;
pub mod supply;

pub use ammeters::GIVEN_BACK;
pub use board::{Configuration, OnSignalLoss, Ratings};
pub use connection::connected;
pub use context::Context;
pub use demands::{Demands, MetricLimit};
pub(crate) use figure::Judged;
pub use influence::{Choice, INFLUENCES, Influence, Moved, Way, influences_on};
pub use list::{Observation, ScenarioKind, Settings, evaluate};
pub use requirements::Requirements;
pub use room::ReadContext;
pub use routine::quiet;
pub use session::{BenchSession, Halt};
pub use take::{Proof, Take, Trouble};
pub use terms::{Censoring, Entry, Form, Metric, Need, Per, Place, Polarity, Setting, Worse};
pub(crate) use wire::WireFault;
pub use witness::witnessed;

#[cfg(test)]
mod tests;
