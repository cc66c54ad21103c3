//! What a bench is made of: instruments and ports, wiring, channels, branches,
//! calibration and the envelope nothing may leave. It opens no port.

mod bench;
mod calibration;
mod capture_wiring;
mod conductor;
mod instruments;
mod loops;
mod parse;
mod parts;
mod sound;
mod stated;
mod wiring;

pub use bench::{Bench, ModelBench};
pub use calibration::Standing;
pub use capture_wiring::{CaptureWiring, WiredChannel, WiredLine};
pub use conductor::{Conductor, ConductorFault};
pub use loops::{DELAY_DIFFERENCE, Loop};
pub use parse::parse;
pub use parts::*;

#[cfg(test)]
mod tests;
