//! The `signal` scenario: a known packet stream at no load and at the rated current.
//! What it measures, how it is set, driven and evaluated stands in this room
//! and nowhere else.

#[cfg(test)]
mod coverage;
mod drive;
mod evaluate;
mod input;
mod listen;
mod metrics;
mod plot;
mod seen;
mod settings;
#[cfg(test)]
mod tests;
mod wire;

pub(super) use drive::drive;
pub(super) use evaluate::evaluate;
pub use evaluate::half_bit_histogram;
pub(super) use metrics::ENTRY;
pub(super) use plot::figures;
pub use seen::*;
pub use settings::*;
