//! The `reversal` scenario: a section boundary bridged against the polarity, then a true short.
//! What it measures, how it is set, driven and evaluated stands in this room
//! and nowhere else.

mod drive;
mod evaluate;
mod metrics;
mod plot;
mod seen;
mod settings;
#[cfg(test)]
mod tests;
mod wire;

pub(super) use drive::drive;
pub(super) use evaluate::evaluate;
pub(super) use metrics::ENTRY;
pub(super) use plot::figures;
pub use seen::*;
pub use settings::*;
