//! The embedded model bench's circuit: supply, board, leads, load, shorts and
//! the second booster, advanced exactly between switching instants. It knows
//! no instrument, no noise and no wire; those stand on top of it.
//!
//! Between two switching instants the circuit is linear, x' = A x + b, and its
//! solution is the matrix exponential (`propagator`). Which linear circuit is
//! in force (`mode`) follows from the switches and from what the diodes, the
//! supply and the load do at the present state (`observed`); the instant at
//! which that changes is found by bisection to one picosecond.

mod action;
mod affine;
mod board_logic;
mod bridge;
mod circuit;
mod electrics;
mod energy;
mod fault;
mod fixture_logic;
mod history;
mod key;
mod mean;
mod mode;
mod observed;
mod one_gap;
mod periodic;
mod propagator;
mod rise;
mod sampling;
mod signal;
mod states;
mod step;
mod stepping;
mod strides;
mod thermal;
mod timers;
mod trajectory;
mod warming;

pub use action::{Action, LoadMode, Probe, SwitchBranch};
pub use circuit::Circuit;
pub use energy::Energy;
pub use fault::PhysicsFault;
pub use sampling::Look;
pub use signal::{DriveSignal, InputLine, Pattern, Phase, Polarity, Stretch};

#[cfg(test)]
mod tests;
