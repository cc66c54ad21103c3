//! Sampled waveforms and what can be read off them. It knows samples, levels
//! and instants; no instrument, board or limit.

mod capture;
pub mod crossing;
pub mod levels;

pub use capture::{Capture, CaptureFault, Channel, ChannelAccuracy, LogicLine, LogicTrack, Signal};
