//! One examination of a fault current: when it began, reached the onset level
//! and was interrupted, by whom, and the trip time, peak and let-through that
//! follow, each with the marks it was read at. It knows traces, edges of logic
//! lines, levels and times; no scenario, plan or limit.

mod closure;
mod counting;
mod current;
mod ending;
mod episode;
mod fault;
mod noise;
mod parabola;
mod passing;
mod phase;
mod reading;
mod size;

pub use closure::{Closure, Line, opened_for_good};
pub use current::{Before, Current, Terms};
pub use ending::{Ending, output_stays, rail_failed};
pub use episode::{Episode, episodes, merge_bounce};
pub use fault::{Examined, FEWEST_SAMPLES, Fault, Reading, Readings, examine};
pub use noise::Noise;
pub use passing::turn;
pub use phase::PhaseCost;
pub use size::Largest;

use crate::waveform::Trace;

/// What made the fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Provocation<'a> {
    /// A branch was closed for `pulse` seconds.
    Short {
        /// What its line shows.
        closure: &'a Closure,
        /// How long it was asked to stay closed.
        pulse: f64,
    },
    /// A load was told to draw a current for `pulse` seconds from the trigger
    /// on.
    Load {
        /// How long.
        pulse: f64,
    },
    /// Nobody says: a capture from anywhere. Whoever ended the current is taken
    /// for the board.
    Unknown,
}

/// What else was seen around a fault.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Witnesses<'a> {
    /// What made it.
    pub provocation: Provocation<'a>,
    /// The board's supply rail, and the voltage under which an interruption is
    /// not the board's own.
    pub supply: Option<(&'a Trace, f64)>,
    /// The output voltage, and its nominal magnitude.
    pub output: Option<(&'a Trace, f64)>,
    /// Whether the fuse of the closed branch was found intact; `None` where
    /// nobody can tell.
    pub fuse_intact: Option<bool>,
    /// The load said that it protected itself.
    pub load_protected: bool,
    /// The supply said that it protected itself.
    pub supply_protected: bool,
}

impl Witnesses<'_> {
    /// A current alone, of which nothing else is known.
    pub const NONE: Self = Self {
        provocation: Provocation::Unknown,
        supply: None,
        output: None,
        fuse_intact: None,
        load_protected: false,
        supply_protected: false,
    };
}

#[cfg(test)]
mod tests;
