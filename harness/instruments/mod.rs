//! Instruments with types: each action fills the profile's template, sends it
//! and confirms it; each question gives a number or says why not. They know no
//! limit, no interlock and not whether the far end is real.

mod answer;
mod capture;
mod confirmation;
mod console;
mod drive;
mod fault;
mod load;
mod session;
mod supply;
mod switch;
mod table;
mod thermometer;
mod tries;
mod walk;
mod waveform;

#[cfg(test)]
mod tests;

pub use capture::{CaptureDevice, CaptureStatus};
pub use console::Console;
pub use drive::Drive;
pub use fault::InstrumentError;
pub use load::{Load, LoadCondition};
pub use session::{Measured, Session};
pub use supply::{Supply, SupplyCondition};
pub use switch::Switch;
pub use thermometer::Thermometer;
pub use tries::{FIRST_CONTACT, SENT_ALONG, Try, tries};
pub use walk::attempt;
