//! Six instruments that answer lines over one shared circuit, each with its
//! resolution, noise and errors within the shipped profiles. They know no
//! port, no task and no wall clock, and nothing of what a host wants to prove.

mod acquisition;
mod capture;
mod capture_panel;
mod console;
mod drive;
mod load;
mod meter;
mod noise;
mod scene;
mod settings;
mod supply;
mod switch;
mod thermometer;
mod world;

#[cfg(test)]
mod capture_tests;
#[cfg(test)]
mod tests;

pub use settings::{Accuracy, ChannelWiring, LineCost, WorldSettings};
pub use world::World;
