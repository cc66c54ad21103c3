//! Instruments that answer lines over one shared circuit, each with the ranges,
//! resolution and errors that its profile states. They know no port, no task and
//! no wall clock, and nothing of what a host wants to prove.

mod acquisition;
mod capture;
mod capture_panel;
mod console;
mod console_panel;
mod drive;
mod drive_panel;
mod entry;
mod load;
mod load_panel;
mod meter;
mod noise;
mod ratings;
mod reading;
mod scene;
mod settings;
mod supply;
mod supply_panel;
mod switch;
mod switch_panel;
mod thermometer;
mod thermometer_panel;
mod world;

#[cfg(test)]
mod capture_tests;
#[cfg(test)]
mod present_tests;
#[cfg(test)]
mod tests;

pub use ratings::{Accuracy, CaptureRating, LoadRating, Ratings, SupplyRating, SwitchRating};
pub use settings::{ChannelWiring, LineCost, UNNAMED, WorldSettings};
pub use world::World;

/// What every model instrument says of itself, so that nobody takes what it
/// measures for a measurement.
pub const MODEL_MARK: &str = "BUFFERSTOP MODEL";
