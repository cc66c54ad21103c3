//! Sampled waveforms and what can be read off them. It knows samples, levels
//! and instants; no instrument, board or limit.

mod capture;
pub mod crossing;
mod freshness;
mod half_bits;
mod instant;
pub mod levels;
pub mod local_fit;
pub mod rest;
mod trace;
mod window;

pub use capture::{Capture, CaptureFault, Channel, ChannelAccuracy, LogicLine, LogicTrack, Signal};
pub use freshness::{Freshness, Stale, shows_one_code};
pub use half_bits::{Edge, HalfBit, HalfBits, edges};
pub use instant::{Crossing, between_samples, departure, falls_for_good, first_beyond};
pub use trace::{Baseline, Trace};
pub use window::{
    Extreme, SquareParts, least, mean, peak, peak_sustained, ripple, square_parts, top_state,
};

#[cfg(test)]
pub(crate) mod synthetic;
#[cfg(test)]
mod tests;
