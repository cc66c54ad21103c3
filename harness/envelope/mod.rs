//! What may be done to a board: the one place that knows what could flow. It
//! does nothing and asks no instrument; the interlock of a bench and a run
//! without one ask it alike, and move its state by the same code.
//!
//! An [`Intent`](crate::scenario::intent::Intent) is looked at in a [`State`] of the bench, prospectively, as if
//! the board never tripped; what would leave the bench file's envelope is a
//! [`Refusal`] with its numbers.

mod account;
mod prospect;
mod refusal;
mod state;
mod surroundings;
mod worst;

#[cfg(test)]
mod tests;

pub use account::{Account, Look, Overrun};
pub use prospect::Prospect;
pub use refusal::{Refusal, RefusalKind};
pub use state::{Known, State, SupplyState};
pub use surroundings::{BoardFacts, Surroundings};
