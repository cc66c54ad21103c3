//! Sampled waveforms and what can be read off them. It knows samples, levels
//! and instants; no instrument, board or limit.

mod capture;
pub mod crossing;
mod episode;
mod half_bits;
mod instant;
pub mod levels;
pub mod local_fit;
pub mod rest;
mod trace;
mod window;

pub use capture::{Capture, CaptureFault, Channel, ChannelAccuracy, LogicLine, LogicTrack, Signal};
pub use episode::{Episode, episodes, merge_bounce};
pub use half_bits::{Edge, HalfBit, HalfBits, edges};
pub use instant::{Crossing, departure, falls_for_good, first_beyond, zero_crossing};
pub use trace::{Baseline, Trace};
pub use window::{Extreme, least, mean, peak, peak_sustained, ripple, square_integral, top_state};

#[cfg(test)]
pub(crate) mod synthetic;
#[cfg(test)]
mod tests;
