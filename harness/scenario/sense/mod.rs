//! The `sense` scenario: the same steps against the board's own reading.
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
pub use evaluate::{SenseLine, SensePoint, sense_line, sense_points};
pub(super) use metrics::ENTRY;
pub(super) use plot::figures;
pub use seen::*;
pub use settings::*;
